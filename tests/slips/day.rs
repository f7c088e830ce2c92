//! A sound day to get wrong: three tyres on a loop, or two on rollers.

use loopwright::analysis::{Depth, RiddenSession, analyse};
use loopwright::error::Error;
use loopwright::plan::Plan;
use loopwright::record::Recording;
use loopwright::report::Units;
use loopwright::report::text::Print;
use loopwright::simulate::{Rehearsal, RehearsedFile, simulate};
use loopwright::solution::{FindingResult, Solution};

/// Six runs of six laps at two speeds, there and back, CdA shared. Devices write no cadence.
const TYRES: &str = "order = [\"a\", \"b\", \"c\", \"c\", \"b\", \"a\"]\nlaps_per_run = 6\nspeeds_km_h = [29.0, 41.0]\n\
    rider_and_bike.mass_kg = 86.0\n[solve]\ncda = \"common\"\n\
    [noise]\ngust_sd_m_s = 0.2\ninstrument_errors = \"none\"\n\
    [[setup]]\nid = \"a\"\ncda_m2 = 0.268\ncrr = 0.0047\n[[setup]]\nid = \"b\"\ncda_m2 = 0.268\ncrr = 0.0040\n\
    [[setup]]\nid = \"c\"\ncda_m2 = 0.268\ncrr = 0.0051\n";

const DRUMS: &str = "order = [\"a\", \"b\", \"b\", \"a\"]\nrun_duration_s = 900.0\nspeeds_km_h = [38.0]\n\
    rider_and_bike.mass_kg = 86.0\nloop.kind = \"rollers\"\n[rollers]\nno_load_power_w_at_40_km_h = 8.0\n\
    [noise]\ninstrument_errors = \"none\"\n\
    [[setup]]\nid = \"a\"\ncda_m2 = 0.27\ncrr = 0.0045\n[[setup]]\nid = \"b\"\ncda_m2 = 0.27\ncrr = 0.0038\n";

pub struct Wind {
    pub speed_m_s: f64,
    pub from_deg: f64,
}

pub const LIGHT: Wind = Wind { speed_m_s: 1.3, from_deg: 205.0 };

fn rehearsal(text: &str, seed: u64) -> Rehearsal {
    let plan = Plan::from_toml(text, "day").unwrap_or_else(|e| panic!("{e}"));
    simulate(&plan, seed).unwrap_or_else(|e| panic!("{e}"))
}

fn inputs(day: Rehearsal) -> RiddenSession {
    let recordings = day.rides.iter().map(|r| r.to_recording()).collect();
    RiddenSession { session: day.session, recordings, weather: None, survey: None }
}

/// The tyres on the loop, at some metres above the sea.
pub fn tyres_at(altitude_m: f64, wind: Wind, pressure_hpa: f64, seed: u64) -> RiddenSession {
    let place = format!(
        "[loop]\nlength_m = 1240.0\nshape = \"bean\"\nelevation_amplitude_m = 1.5\naltitude_m = {altitude_m:?}\n\
         [wind]\nspeed_m_s = {:?}\nfrom_deg = {:?}\n[air]\ntemperature_c = 19.0\npressure_hpa = {pressure_hpa:?}\nhumidity_pct = 60.0\n",
        wind.speed_m_s, wind.from_deg
    );
    inputs(rehearsal(&TYRES.replacen("[solve]", &format!("{place}[solve]"), 1), seed))
}

/// The tyres in runs of sixteen laps.
pub fn tyres_in_long_runs(seed: u64) -> RiddenSession {
    let place = "[loop]\nlength_m = 1240.0\nshape = \"bean\"\nelevation_amplitude_m = 1.5\n";
    let text = TYRES.replacen("[solve]", &format!("{place}[solve]"), 1);
    inputs(rehearsal(&text.replacen("laps_per_run = 6", "laps_per_run = 16", 1), seed))
}

pub fn tyres(seed: u64) -> RiddenSession {
    tyres_at(30.0, LIGHT, 1008.0, seed)
}

/// The tyres on a track of 400 m, with positions.
pub fn tyres_on_a_track(seed: u64) -> RiddenSession {
    let place = "[loop]\nkind = \"track\"\nlength_m = 400.0\nbend_radius_m = 36.5\npositions = true\n";
    let text = TYRES.replacen("[solve]", &format!("{place}[solve]"), 1);
    inputs(rehearsal(&text.replacen("laps_per_run = 6", "laps_per_run = 16", 1), seed))
}

/// The files of that day.
pub fn tyre_files(seed: u64) -> Vec<RehearsedFile> {
    let place = "[loop]\nlength_m = 1240.0\nshape = \"bean\"\nelevation_amplitude_m = 1.5\n";
    let day = rehearsal(&TYRES.replacen("[solve]", &format!("{place}[solve]"), 1), seed);
    day.files().expect("files")
}

pub fn drums(seed: u64) -> RiddenSession {
    inputs(rehearsal(DRUMS, seed))
}

pub fn solve(inputs: &RiddenSession) -> Result<Solution, Error> {
    analyse(inputs, Depth { budget: true, draws: 0 }).map(|a| a.solution)
}

pub fn solved(inputs: &RiddenSession) -> Solution {
    solve(inputs).unwrap_or_else(|e| panic!("{e}"))
}

/// Findings of a kind.
pub fn told<'a>(solution: &'a Solution, code: &str) -> Vec<&'a FindingResult> {
    solution.findings.iter().filter(|f| f.code == code).collect()
}

pub fn codes(solution: &Solution) -> Vec<&str> {
    solution.findings.iter().map(|f| f.code.as_str()).collect()
}

/// Whether the summary warns before it gives a number.
pub fn warns_first(solution: &Solution) -> bool {
    let text = loopwright::report::text::summary(solution, Print::plain(100, Units::Metric));
    text.lines().take(4).any(|line| line.contains("Check first"))
}

/// Every number that a solution gives as CdA or Crr of the first set-up, with its standard error.
pub struct Given {
    pub crr: f64,
    pub crr_se: f64,
    pub cda_m2: f64,
    pub cda_se: f64,
}

pub fn given(solution: &Solution, setup: usize) -> Given {
    let (crr, cda) = (solution.setups[setup].crr, solution.setups[setup].cda_m2);
    let known = |x: Option<f64>| x.unwrap_or(f64::NAN);
    Given { crr: known(crr.value), crr_se: known(crr.se), cda_m2: known(cda.value), cda_se: known(cda.se) }
}

/// A cheap source of numbers from 0 to 1 that are the same every time.
pub struct Dice(pub u64);

impl Dice {
    pub fn next(&mut self) -> f64 {
        // SplitMix64 (Steele, Lea & Flood 2014, OOPSLA, fig. 17).
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }
}

/// Multiplies a column.
pub fn scale(column: &mut [f64], by: f64) {
    column.iter_mut().for_each(|x| *x *= by);
}

pub fn each(inputs: &mut RiddenSession, change: impl Fn(&mut Recording)) {
    inputs.recordings.iter_mut().for_each(change);
}
