//! What the program says to whoever types something wrong.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

/// What is wrong is told where it was said: a variable by its name, an option without one.
#[test]
fn a_bad_variable_is_named() {
    let serve = |variables: &[(&str, &str)], options: &[&str]| {
        let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_slowpoint"));
        // Wrong in each case: nothing is served.
        let run = command.arg("serve").args(options).envs(variables.iter().copied()).output().unwrap();
        assert_eq!(run.status.code(), Some(2), "{variables:?} {options:?}");
        String::from_utf8(run.stderr).unwrap()
    };
    for value in ["", "soon"] {
        let told = serve(&[("SLOWPOINT_DRAIN", value)], &[]);
        assert!(told.contains("give whole seconds") && told.contains("the variable SLOWPOINT_DRAIN"), "{told}");
    }
    for options in [&["--drain-s", "soon"][..], &["--drain-s=soon"]] {
        let told = serve(&[("SLOWPOINT_DRAIN", "1")], options);
        assert!(told.contains("give whole seconds") && !told.contains("variable"), "{told}");
    }
    assert!(serve(&[("SLOWPOINT_CORES", "100000000000")], &[]).contains("give a whole number up to 4096"));
    #[cfg(unix)]
    {
        use std::os::unix::ffi::OsStrExt;
        let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_slowpoint"));
        let odd = std::ffi::OsStr::from_bytes(b"\xff");
        let told = command.arg("serve").env("SLOWPOINT_DRAIN", odd).output().unwrap().stderr;
        let told = String::from_utf8(told).unwrap();
        assert!(told.contains("the variable SLOWPOINT_DRAIN"), "{told}");
    }
    // Nothing could be asked at all.
    for option in ["--uri-limit", "--head-limit"] {
        let told = serve(&[], &[option, "1023"]);
        assert!(told.contains("give whole bytes, 1024 to 16777216"), "{told}");
    }
}

/// Whoever only looks, or ends something, in a directory where nothing is does not make it.
#[test]
fn a_wrong_directory_is_not_made() {
    let place = tempfile::tempdir().unwrap();
    let wrong = place.path().join("wrong");
    let slowpoint = |arguments: &[&str]| {
        let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_slowpoint"));
        let run = command.args(arguments).arg("--data-dir").arg(&wrong).output().unwrap();
        (run.status.success(), String::from_utf8(run.stdout).unwrap(), String::from_utf8(run.stderr).unwrap())
    };
    let answer = format!("/v1/days/{}", "0".repeat(32));
    for arguments in [&["token", "list"][..], &["token", "revoke", "field"], &["keep", &answer]] {
        let (done, _, told) = slowpoint(arguments);
        assert!(!done && told.contains("--data-dir") && !wrong.exists(), "{arguments:?}: {told}");
    }
    // A name that is listed takes one line, and can be typed again.
    for name in ["", " field", "field\n", "a\tb", "a\u{7f}", "a\u{2028}b"] {
        let (done, _, told) = slowpoint(&["token", "add", name]);
        assert!(!done && told.contains("is one line") && !wrong.exists(), "{name:?}: {told}");
    }
    assert!(slowpoint(&["token", "add", "the field"]).0);
    let (done, list, _) = slowpoint(&["token", "list"]);
    assert!(done && list.starts_with("the field\tcompute\tmade ") && list.lines().count() == 1, "{list}");
    assert!(slowpoint(&["token", "revoke", "the field"]).0);
}
