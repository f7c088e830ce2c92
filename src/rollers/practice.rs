//! What a sound roller test has, and what this one lacks.
//!
//! Given the steps of a window, or the conditions of several runs; gives findings. None of them changes a number.

use super::account::Step;
use super::drum::flat_over_drum;
use super::window::TRIM_S;
use crate::finding::What;
use crate::quantity::km_h_from_m_s;
use crate::record::Recording;
use crate::session::TyrePressure;
use crate::wording::counted;

/// Steady running after the warm-up that is asked for, s (common practice, no source).
pub const WANTED_WINDOW_S: f64 = 300.0;
/// Time constants after which a warm-up is over: 2 % of it are left.
pub const WARM_UP_TIMES: f64 = 4.0;

/// How long a run should be, s, for a warm-up of this time constant, to the next whole minute.
pub fn wanted_duration_s(time_constant_s: f64) -> f64 {
    ((WARM_UP_TIMES * time_constant_s + WANTED_WINDOW_S) / 60.0).ceil() * 60.0
}
/// Scatter of speed above which running is not steady (common practice, no source).
const STEADY_SPEED: f64 = 0.04;
/// Jump of cadence over speed that is a change of gear: one tooth of the smallest cogs that are ridden on rollers.
const GEAR_JUMP: f64 = 0.05;
/// Records on each side of a jump.
const GEAR_RECORDS: usize = 8;
/// Difference in tyre pressure that matters, kPa: a gauge reads no closer (common practice, no source).
const SAME_PRESSURE_KPA: f64 = 10.0;
/// Difference in mean speed, or in cadence over speed, between runs that are meant to be alike.
const SAME_SPEED: f64 = 0.03;

fn advice(what: String) -> What {
    What::RollerPractice { what }
}

/// Drums that people ride on, m in diameter (common practice, no source).
const USUAL_DRUMS_M: [f64; 2] = [0.07, 0.6];

/// Drums of a size that is hardly ridden, and what it does to Crr if a radius was stated for the diameter.
pub fn of_drums(drum_diameter_m: f64, wheel_radius_m: f64) -> Option<What> {
    if (USUAL_DRUMS_M[0]..=USUAL_DRUMS_M[1]).contains(&drum_diameter_m) {
        return None;
    }
    let factor = |diameter_m: f64| flat_over_drum(0.5 * diameter_m, wheel_radius_m);
    let mm = 1000.0 * drum_diameter_m;
    let (other_mm, other) = match drum_diameter_m < USUAL_DRUMS_M[0] {
        true => (2.0 * mm, "the radius"),
        false => (mm / std::f64::consts::PI, "the circumference"),
    };
    let wrong = 100.0 * (factor(drum_diameter_m) / factor(other_mm / 1000.0) - 1.0);
    Some(What::DrumsOdd {
        what: format!(
            "Drums of {mm:.0} mm in diameter are rare; usual ones have {:.0} to {:.0} mm. If that is {other}, so that the diameter is \
         {other_mm:.0} mm, Crr on the flat is {:.0} % too {}. Measure across the drum and check drum_diameter_m.",
            1000.0 * USUAL_DRUMS_M[0],
            1000.0 * USUAL_DRUMS_M[1],
            wrong.abs(),
            if wrong < 0.0 { "low" } else { "high" }
        ),
    })
}

/// Findings on one window.
pub fn within_run(window: &[Step], recording: &Recording) -> Vec<What> {
    let mut findings = Vec::new();
    let length_s: f64 = window.iter().map(|s| s.sums.duration_s).sum();
    // What trimming may take off the ends is not missing.
    if length_s < WANTED_WINDOW_S - TRIM_S {
        findings.push(advice(format!(
            "The window holds {:.1} steady minutes after the warm-up, {:.0} or more are wanted; ride on longer.",
            length_s / 60.0,
            WANTED_WINDOW_S / 60.0
        )));
    }
    let count = window.len().max(1) as f64;
    let mean = window.iter().map(|s| s.to_m_s).sum::<f64>() / count;
    let scatter = (window.iter().map(|s| (s.to_m_s - mean).powi(2)).sum::<f64>() / count).sqrt() / mean;
    if scatter > STEADY_SPEED {
        findings.push(advice(format!(
            "Speed varies by {:.1} % within the window, {:.0} % is the limit for steady running; hold one speed.",
            100.0 * scatter,
            100.0 * STEADY_SPEED
        )));
    }
    let changes = gear_changes(&cadence_over_speed(window, recording));
    if changes > 0 {
        findings.push(advice(format!(
            "The ratio of cadence to speed jumps {} within the window: a change of gear, which changes the loss in the chain. Ride the test in one gear.",
            counted(changes, "time")
        )));
    }
    findings
}

/// Cadence over speed at the steps where both are known and the rider pedals, turns for each metre.
fn cadence_over_speed(window: &[Step], recording: &Recording) -> Vec<f64> {
    let ratio = |step: &Step| {
        let cadence = recording.cadence_rpm.get(step.record).copied().unwrap_or(f64::NAN);
        cadence / 60.0 / step.to_m_s
    };
    window.iter().map(ratio).filter(|r| r.is_finite() && *r > 0.0).collect()
}

/// Median of cadence over speed, turns for each metre; `None` without cadence.
pub fn gear(window: &[Step], recording: &Recording) -> Option<f64> {
    let mut ratios = cadence_over_speed(window, recording);
    ratios.sort_by(f64::total_cmp);
    ratios.get(ratios.len() / 2).copied()
}

/// Places where the mean of some ratios before and after differ by a jump and both sides are even.
fn gear_changes(ratios: &[f64]) -> usize {
    let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
    let even = |part: &[f64], centre: f64| part.iter().all(|r| (r / centre - 1.0).abs() < 0.5 * GEAR_JUMP);
    let mut changes = 0;
    let mut next = 0;
    for i in 0..ratios.len().saturating_sub(2 * GEAR_RECORDS) {
        let before = &ratios[i..i + GEAR_RECORDS];
        let after = &ratios[i + GEAR_RECORDS..i + 2 * GEAR_RECORDS];
        let (low, high) = (mean(before), mean(after));
        if i >= next && (high / low - 1.0).abs() > GEAR_JUMP && even(before, low) && even(after, high) {
            changes += 1;
            next = i + GEAR_RECORDS;
        }
    }
    changes
}

/// What two runs that are compared should have in common.
#[derive(Debug, Clone, PartialEq)]
pub struct RunConditions {
    /// How the run is called in a message.
    pub name: String,
    pub tyre_pressure_kpa: Option<TyrePressure>,
    /// Whether the run states its own mass.
    pub weighed: bool,
    pub mean_speed_m_s: f64,
    /// Cadence over speed, turns for each metre.
    pub gear: Option<f64>,
}

/// Findings on runs that are compared: the same pressure, speed and gear in all, and a weighing before each.
pub fn between_runs(runs: &[RunConditions]) -> Vec<What> {
    let Some((first, others)) = runs.split_first() else { return Vec::new() };
    let mut findings = Vec::new();
    if !others.is_empty() && runs.iter().any(|r| r.tyre_pressure_kpa.is_none()) {
        findings.push(advice(
            "Tyre pressure is not noted for every run; a difference in pressure would pass for one between tyres. Note \
             tyre_pressure_kpa."
                .into(),
        ));
    }
    if !others.is_empty() && runs.iter().any(|r| !r.weighed) {
        let missing: Vec<&str> = runs.iter().filter(|r| !r.weighed).map(|r| r.name.as_str()).collect();
        findings.push(advice(format!(
            "No mass of its own is stated for {}; Crr goes with one over the mass, and a bottle is half a per cent. Weigh \
             rider and bicycle before every run and note mass_kg in the [[run]].",
            missing.join(", ")
        )));
    }
    for other in others {
        if let (Some(a), Some(b)) = (first.tyre_pressure_kpa, other.tyre_pressure_kpa) {
            let gap = (a.front - b.front).abs().max((a.rear - b.rear).abs());
            if gap > SAME_PRESSURE_KPA {
                findings.push(advice(format!(
                    "{} and {} differ by {gap:.0} kPa in tyre pressure, so their difference is that of pressure too; \
                     inflate alike unless pressure is what is tested.",
                    first.name, other.name
                )));
            }
        }
        if (other.mean_speed_m_s / first.mean_speed_m_s - 1.0).abs() > SAME_SPEED {
            findings.push(advice(format!(
                "{} was ridden at {:.1} km/h and {} at {:.1} km/h; ride both at one speed.",
                first.name,
                km_h_from_m_s(first.mean_speed_m_s),
                other.name,
                km_h_from_m_s(other.mean_speed_m_s)
            )));
        }
        if let (Some(a), Some(b)) = (first.gear, other.gear)
            && (b / a - 1.0).abs() > SAME_SPEED
        {
            findings.push(advice(format!(
                "{} and {} were ridden in different gears or cadences ({:+.0} %), which changes the loss in the chain; \
                 use one gear.",
                first.name,
                other.name,
                100.0 * (b / a - 1.0)
            )));
        }
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_radius_stated_for_the_diameter_is_told_with_what_it_does() {
        assert_eq!([0.075, 0.1113, 0.5].map(|d| of_drums(d, 0.335)), [None, None, None]);
        let Some(What::DrumsOdd { what }) = of_drums(0.0556, 0.335) else { panic!("nothing said") };
        // √((0.0278/0.3628)/(0.0556/0.3906)) = 0.7337, by hand.
        assert!(what.contains("56 mm") && what.contains("111 mm") && what.contains("27 % too low"), "{what}");
    }

    #[test]
    fn a_change_of_gear_is_told_from_a_wandering_speed() {
        let wander: Vec<f64> = (0..300).map(|i| 0.13 * (1.0 + 0.04 * (f64::from(i) / 40.0).sin())).collect();
        assert_eq!(gear_changes(&wander), 0);
        let shift: Vec<f64> = (0..300).map(|i| if (100..220).contains(&i) { 0.14 } else { 0.13 }).collect();
        assert_eq!(gear_changes(&shift), 2);
    }

    #[test]
    fn runs_at_different_pressure_speed_or_gear_are_told() {
        let run = |name: &str, kpa: f64, speed: f64, gear: f64| RunConditions {
            name: name.into(),
            tyre_pressure_kpa: Some(TyrePressure { front: kpa, rear: kpa }),
            weighed: true,
            mean_speed_m_s: speed,
            gear: Some(gear),
        };
        assert!(between_runs(&[run("A", 620.0, 11.0, 0.13), run("B", 625.0, 11.1, 0.131)]).is_empty());
        assert_eq!(between_runs(&[run("A", 620.0, 11.0, 0.13), run("B", 560.0, 11.6, 0.14)]).len(), 3);
        let unknown = RunConditions { tyre_pressure_kpa: None, ..run("B", 0.0, 11.0, 0.13) };
        assert_eq!(between_runs(&[run("A", 620.0, 11.0, 0.13), unknown]).len(), 1);
        let unweighed = RunConditions { weighed: false, ..run("B", 620.0, 11.0, 0.13) };
        let said = between_runs(&[run("A", 620.0, 11.0, 0.13), unweighed.clone()]);
        assert!(said.len() == 1 && said[0].message().contains("stated for B"), "{said:?}");
        // A single run is compared with nothing.
        assert!(between_runs(&[unweighed]).is_empty() && between_runs(&[]).is_empty());
    }
}
