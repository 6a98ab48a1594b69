//! `tests/VALIDATION.md`: the same rows as the tests, for people to read.

use slowpoint_tests::sheet::tables;
use std::path::Path;

/// Set to write the page instead of comparing it.
const RENEW: &str = "SLOWPOINT_RENEW_VALIDATION";

/// Reference cases that are at hand but wait for a part that is not built yet.
const WAITS: [(&str, &str); 4] = [
    (
        "opening force in the answer",
        "0.5 kg under 0.6 m: forces of 11.0 to 99.2 N at 10 to 30 m/s with an opening coefficient of 1.7",
    ),
    (
        "wind shear as a law",
        "low-altitude shear of MIL-F-8785C; NASA check case 8, of which only the initial state was at hand",
    ),
    ("turning of the wind with height", "Ekman's spiral; observed angles at the ground"),
    ("reading BUFR", "WMO-No. 306 and BUFR tables"),
];

/// What is held from outside by other commands, whose figures are printed and not kept here.
const ELSEWHERE: [(&str, &str); 7] = [
    (
        "drawn flights of four rockets",
        "SciPy's DOP853 on equations of motion written apart in Python: airspeed at ejection within 0.05 m/s and landing within 0.5 m for 99.9 % (`tests/oracle/run`)",
    ),
    ("air", "`ambiance`, at heights up to the tropopause and above, within 1e-5 of each (`tests/oracle/run`)"),
    ("gravity", "the gradient of the WGS 84 potential, figures of geographiclib (`tests/oracle/run`)"),
    (
        "intervals and laws",
        "statsmodels on 576 binomial intervals, SciPy on the quantiles of every law a number is drawn from (`tests/oracle/run`)",
    ),
    ("landing areas", "shapely on 24,000 points in polygons, circles and traced regions (`tests/oracle/run`)"),
    (
        "landings as GeoJSON, KML and pictures",
        "GDAL, fastkml and OGC's schema, shapely and geographiclib, libxml2 and Pillow on the files of a running service, across 180 deg and about the poles as well (`tests/oracle/run`)",
    ),
    (
        "coverage with real flights",
        "95 % intervals of two rockets, over 1,000 seeds, against half a million flights each (`cargo run --release -p slowpoint-tests --bin coverage`)",
    ),
];

/// What this model leaves out, so that a published case can be followed only in part, or not at all.
const LEFT_OUT: [(&str, &str); 10] = [
    (
        "gyroscopic coupling of roll",
        "A flight's roll rate is an input: it turns misalignments round, but carries no angular momentum. NASA check case 2 and most of case 3 are a brick with three different inertias (0.0019, 0.0062, 0.0072 slug ft²) that tumbles about all axes; here both transverse inertias are equal and the axial one does not appear, so Euler's coupling terms are absent. What can be followed is in *Rotation*.",
    ),
    (
        "vertical gusts",
        "Published with a scale equal to the height and a size of a tenth of the wind at 20 ft. In light turbulence they move the slowest airspeed by some 0.03 m/s, in quadrature, in severe ten times as much; frozen in height, one of the size of a descent rate would hold a canopy aloft for ever.",
    ),
    (
        "other models of turbulence",
        "IEC 61400-1 (15 m/s at class B: 2.36 m/s) and the length scale of EN 1991-1-4 give other sizes and scales for the same wind; only the intensity of the latter is used.",
    ),
    (
        "roll damping and cant",
        "Strip theory gives -0.1148 N m for the fins of CP-1 at 10 turns/s and 50 m/s; there is no counterpart, because the roll rate never changes.",
    ),
    (
        "a round Earth",
        "NASA check cases are followed with the difference that curvature makes computed apart and added; case 5 (a rotating sphere) tells no more than case 6.",
    ),
    ("added mass, canopy oscillation and glide", "Published for canopies, not modelled."),
    (
        "drag laws not used here",
        "Of case CF-1 the 0.074 and Schoenherr columns, of FF-1 the fuselage formula, and Hoerner's base drag, which is 2.5 times below the handbook's for the same rocket: that is the honest uncertainty of a build-up.",
    ),
    (
        "stand-off and field sizes",
        "Distances by rule of the hobby codes and of 14 CFR 101.25 (a quarter of the apogee, at least 457 m) are not part of an answer.",
    ),
    (
        "the drag crisis of a broadside tube",
        "Cross-flow drag is 1.2 at every Reynolds number; published fits fall to 0.3 above 3e5.",
    ),
    (
        "motor letter classes",
        "Letters are read by the service, not by the engine: their tests stand in `server/src/wire/motor_text.rs`.",
    ),
];

/// What can be held against nothing that was ever published.
const UNPUBLISHED: [(&str, &str); 9] = [
    (
        "the speed at which a tube tears",
        "No load is published at which a cord cuts down the wall of a body tube. The limits of 35 and 100 mph are common practice.",
    ),
    (
        "spreads marked as assumptions",
        "Burn time, mass, centre of gravity and of pressure, drag, slope, misalignments, roll, rail angle, canopy drag, line-stretch and apogee lags, sensed height, temperature and pressure: every default in the answer that says \"assumption\".",
    ),
    (
        "spread of impulse and delay",
        "Bounds of NFPA 1125 are from memory; how motors lie inside them, and the share of delays outside, are assumptions.",
    ),
    (
        "growth of a wind forecast's error",
        "Errors of short forecasts are published, their growth over 1 to 24 h and over height is not; a correlation length of 500 m and 1 m/s per kilometre above the highest known wind are assumptions.",
    ),
    (
        "the plume",
        "Behind a burning motor the motor's part of the base is taken not to drag; what a plume does to the flow over fins is left out.",
    ),
    (
        "a rocket tail first or broadside",
        "The factor on drag tail first and the force broadside follow published forms, but no measurement of a tumbling model rocket was found.",
    ),
    (
        "a stop at apogee",
        "How a rocket turns over when it all but stops depends on air that nobody measures. The integration is checked there, the model is not.",
    ),
    ("streamers", "Only a second-hand range of drag coefficients, 0.14 to 0.40, was found."),
    (
        "whole flights",
        "No published set of instrumented flights with all of card, wind and track was found. Trajectories are held against check cases and closed forms only.",
    ),
];

fn table(heads: [&str; 2], rows: &[(&str, &str)]) -> String {
    let rows: Vec<String> = rows.iter().map(|(a, b)| format!("| {a} | {b} |")).collect();
    format!("| {} | {} |\n|---|---|\n{}\n", heads[0], heads[1], rows.join("\n"))
}

fn page() -> String {
    format!(
        "# Held against what this project did not write\n\n\
        Written by `{RENEW}=1 cargo test -p slowpoint-tests --test validation` from the rows that the tests check; a \
        test fails when this page is stale. Check cases run through the engine's own equations of motion with parts \
        swapped: a sphere for the airframe, air of one density, no gravity.\n\n\
        Trust: **A** published data, reproduced independently; **B** a published formula or closed form, its numbers \
        computed apart from the engine; **from memory** a published figure not looked up again; **common practice** \
        what the trade knows; **own statement** nothing from outside, the engine held to what it says of itself. \
        *Difference* is what was got less what was \
        expected; a tolerance \"of it\" is relative to the expected value, and a letter after it names its reason in the \
        list above the table. Neither an expected value nor a tolerance is ever moved \
        to make a row hold.\n\n{}\n\
        ## Held by other commands\n\nTheir figures are printed, not kept here.\n\n{}\n\
        ## What waits\n\nReference cases at hand for parts that are not built yet.\n\n{}\n\
        ## What this model leaves out\n\nPublished cases that can be followed in part or not at all, and why.\n\n{}\n\
        ## What nothing published can check\n\n{}",
        tables(&super::SUBJECTS),
        table(["subject", "against"], &ELSEWHERE),
        table(["part", "cases"], &WAITS),
        table(["left out", "consequence"], &LEFT_OUT),
        table(["what", "why"], &UNPUBLISHED),
    )
}

#[test]
fn the_page_is_what_the_tests_found() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("VALIDATION.md");
    let page = page();
    if std::env::var_os(RENEW).is_some() {
        std::fs::write(&path, page).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
        return;
    }
    let committed = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let stale = committed.lines().zip(page.lines()).find(|(a, b)| a != b);
    let stale = stale.map_or_else(|| "another length".to_string(), |(a, b)| format!("it says\n{a}\nnow\n{b}"));
    let renew = format!("{RENEW}=1 cargo test -p slowpoint-tests --test validation");
    assert!(committed == page, "tests/VALIDATION.md is stale: {stale}\nrenew with {renew}");
}

/// The lint for dead code is silent on what another crate's macro lays down, so a module is looked for by its list.
#[test]
fn no_module_is_left_out() {
    let here = Path::new(env!("CARGO_MANIFEST_DIR")).join("validation");
    let entries = std::fs::read_dir(&here).unwrap_or_else(|e| panic!("{}: {e}", here.display()));
    let list = concat!("subject", "! {");
    let mut with_a_list = 0;
    for entry in entries {
        let path = entry.expect("a directory can be read").path();
        let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
        with_a_list += usize::from(text.contains(list));
    }
    assert_eq!(with_a_list, super::SUBJECTS.len(), "modules with a list of cases, and modules on the page");
}
