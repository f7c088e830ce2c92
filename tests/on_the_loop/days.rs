//! Simulated days, and what solving them says.

use loopwright::analysis::{Analysis, Depth, RiddenSession, analyse};
use loopwright::circuit::Survey;
use loopwright::error::Error;
use loopwright::plan::Plan;
use loopwright::simulate::simulate;
use loopwright::solution::Solution;

/// A light day of three set-ups, each in two runs.
pub const THREE: &str = "order = [\"a\", \"b\", \"b\", \"a\"]\nlaps_per_run = 6\nspeeds_km_h = [29.0, 41.0]";
pub const ROAD: &str = "length_m = 1250.0\nhome_straight_bearing_deg = 70.0";
pub const NOISE: &str = "gust_sd_m_s = 0.2\ninstrument_errors = \"none\"";

pub fn plan(head: &str, circuit: &str, noise: &str) -> Plan {
    let text = format!(
        "{head}\n[rider_and_bike]\nmass_kg = 84.0\n[solve]\ncda = \"common\"\n[loop]\n{circuit}\n[wind]\nspeed_m_s = 1.5\nfrom_deg = 250.0\n\
         [noise]\n{noise}\n[[setup]]\nid = \"a\"\ncda_m2 = 0.26\ncrr = 0.0045\n[[setup]]\nid = \"b\"\ncda_m2 = 0.26\ncrr = 0.0040\n"
    );
    Plan::from_toml(&text, "plan.toml").unwrap_or_else(|e| panic!("{e}"))
}

pub fn day(head: &str, circuit: &str, noise: &str, seed: u64) -> RiddenSession {
    let day = simulate(&plan(head, circuit, noise), seed).unwrap_or_else(|e| panic!("{e}"));
    RiddenSession {
        session: day.session.clone(),
        recordings: day.rides.iter().map(|r| r.to_recording()).collect(),
        weather: None,
        survey: day.survey.as_ref().map(|s| Survey::parse(s, "survey.csv", 0.02).expect("our own survey")),
    }
}

/// The usual day on the road.
pub fn road(seed: u64) -> RiddenSession {
    day(THREE, ROAD, NOISE, seed)
}

pub fn analysed(inputs: &RiddenSession) -> Result<Analysis, Error> {
    analyse(inputs, Depth { budget: true, draws: 0 })
}

pub fn solved(inputs: &RiddenSession) -> Solution {
    analysed(inputs).unwrap_or_else(|e| panic!("{e}")).solution
}

pub fn refusal(inputs: &RiddenSession) -> String {
    match analysed(inputs) {
        Err(e) => e.to_string(),
        Ok(a) => panic!("solved: {:?}", a.solution.findings),
    }
}

/// Messages of the findings with a code.
pub fn said(solution: &Solution, code: &str) -> Vec<String> {
    solution.findings.iter().filter(|f| f.code == code).map(|f| f.message.clone()).collect()
}

pub fn has_said(solution: &Solution, code: &str) -> bool {
    solution.findings.iter().any(|f| f.code == code)
}

/// By how many of its standard errors Crr of the first set-up, CdA and the difference of Crr differ between two solutions.
pub fn moved(now: &Solution, before: &Solution) -> f64 {
    let by = |a: &loopwright::solution::Estimate, b: &loopwright::solution::Estimate| match (a.value, b.value, b.se) {
        (Some(a), Some(b), Some(se)) => (a - b).abs() / se,
        _ => f64::INFINITY,
    };
    let (a, b) = (&now.setups[0], &before.setups[0]);
    let difference = by(&now.contrasts[0].crr, &before.contrasts[0].crr);
    by(&a.crr, &b.crr).max(by(&a.cda_m2, &b.cda_m2)).max(difference)
}
