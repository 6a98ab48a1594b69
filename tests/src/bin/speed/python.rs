//! SciPy's general integrators on the physics that `tests/oracle/` has written in Python.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use serde_json::Value;

/// Flights that SciPy flies with each tolerance: it takes its time.
const FLIGHTS: u64 = 24;

/// Times SciPy against the fastest engine, in a table.
pub fn solve_ivp(fastest_per_s: f64) {
    println!();
    if let Err(reason) = measured(fastest_per_s) {
        println!("SciPy's solve_ivp: not measured. {reason}");
    }
}

fn measured(fastest_per_s: f64) -> Result<(), String> {
    let python = python().ok_or("No python3 here has SciPy and pytest: tests/oracle/run installs them.")?;
    let exporter = slowpoint_tests::served::built("slowpoint-tests", "oracle_export")?;
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("oracle/speed.py");
    // One core, as the others.
    let out = Command::new(python)
        .arg(script)
        .arg(FLIGHTS.to_string())
        .env("SLOWPOINT_ORACLE_EXPORT", exporter)
        .env("OMP_NUM_THREADS", "1")
        .env("OPENBLAS_NUM_THREADS", "1")
        .env("PYTHONDONTWRITEBYTECODE", "1")
        .output()
        .map_err(|e| e.to_string())?;
    if !out.status.success() {
        return Err(String::from_utf8_lossy(&out.stderr).into_owned());
    }
    println!(
        "SciPy's solve_ivp on the oracle's physics in Python, 0.6 kg club, ascents alone. Ratio: whole flights of the"
    );
    println!("fastest engine with eight delays over it.");
    println!(
        "  {:<10} {:>9} {:>8} {:>12} {:>10} {:>8}",
        "method", "tolerance", "flights", "largest, m/s", "flights/s", "ratio"
    );
    for line in String::from_utf8_lossy(&out.stdout).lines() {
        let row: Value = serde_json::from_str(line).map_err(|e| e.to_string())?;
        let number = |name: &str| row[name].as_f64().unwrap_or(f64::NAN);
        let (method, flights, rate) =
            (row["method"].as_str().unwrap_or(""), number("flights"), number("flights_per_s"));
        println!(
            "  {method:<10} {:>9.1e} {flights:>8} {:>12.4} {rate:>10.1} {:>8.0}",
            number("tolerance"),
            number("largest_m_s"),
            fastest_per_s / rate
        );
    }
    Ok(())
}

/// A Python with what the script imports: that of the oracles, or the system's.
fn python() -> Option<PathBuf> {
    let target = std::env::current_exe().ok()?.parent()?.parent()?.to_path_buf();
    let has_all = |python: &PathBuf| {
        let asked = Command::new(python).args(["-c", "import scipy, pytest"]).stderr(Stdio::null()).status();
        asked.is_ok_and(|status| status.success())
    };
    [target.join("oracle-venv/bin/python"), PathBuf::from("python3")].into_iter().find(has_all)
}
