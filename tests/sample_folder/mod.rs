//! A folder of `sample-loops` as inputs of the analysis, and what was put into its rides.

use loopwright::analysis::{Analysis, Depth, RiddenSession, analyse};
use loopwright::error::Error;
use loopwright::plan::Plan;
use loopwright::record::{Recording, decode_fit};
use loopwright::session::Session;
use loopwright::solution::{Estimate, Solution};
use std::path::{Path, PathBuf};

fn folder(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-loops").join(name)
}

fn text(path: &Path) -> String {
    std::fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// Session and rides of a folder.
pub fn inputs(name: &str) -> RiddenSession {
    let folder = folder(name);
    let session = Session::from_toml(&text(&folder.join("session.toml")), "session.toml").expect("a sound session");
    let read = |file: &String| -> Recording {
        decode_fit(&std::fs::read(folder.join(file)).expect("a ride"), file).expect("a sound ride")
    };
    let recordings = session.runs.iter().map(|r| read(&r.file)).collect();
    RiddenSession { session, recordings, weather: None, survey: None }
}

pub fn plan(name: &str) -> Plan {
    Plan::from_toml(&text(&folder(name).join("plan.toml")), "plan.toml").expect("a sound plan")
}

/// The inputs with some of the runs only, counted from 1.
pub fn with_runs(inputs: &RiddenSession, runs: &[usize]) -> RiddenSession {
    let mut out = inputs.clone();
    out.session.runs = runs.iter().map(|k| inputs.session.runs[k - 1].clone()).collect();
    out.recordings = runs.iter().map(|k| inputs.recordings[k - 1].clone()).collect();
    let runs = &out.session.runs;
    out.session.setups.retain(|s| runs.iter().any(|r| r.setup == s.id));
    out
}

pub fn solve(inputs: &RiddenSession) -> Result<Analysis, Error> {
    analyse(inputs, Depth::default())
}

pub fn solved(inputs: &RiddenSession) -> Solution {
    solve(inputs).unwrap_or_else(|e| panic!("{e}")).solution
}

/// A number of `expected.toml` under a set-up.
pub fn truth(name: &str, setup: &str, key: &str) -> f64 {
    let all: toml::Table = text(&folder(name).join("expected.toml")).parse().expect("TOML");
    let setups = all["setup"].as_array().expect("set-ups");
    let found = setups.iter().find(|s| s["id"].as_str() == Some(setup)).expect("the set-up");
    found[key].as_float().expect("a number")
}

/// Whether the interval of an estimate holds a value.
pub fn holds(estimate: &Estimate, value: f64) -> bool {
    estimate.low.is_some_and(|low| low <= value) && estimate.high.is_some_and(|high| value <= high)
}

/// Messages of the findings with a code.
pub fn said(solution: &Solution, code: &str) -> Vec<String> {
    solution.findings.iter().filter(|f| f.code == code).map(|f| f.message.clone()).collect()
}
