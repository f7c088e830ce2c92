//! Values that no rider and tyre have, with the likely cause; a Crr beyond belief is not given as a result.
//!
//! Given a finished solution; gives a finding and takes such values back. It knows nothing of how they were solved.

use crate::constant::STANDARD_GRAVITY_M_S2;
use crate::finding::{Finding, Slip, What};
use crate::quantity::km_h_from_m_s;
use crate::session::credible::CREDIBLE_CRR;
use crate::solution::{CombinedContrast, Contrast, Estimate, SetupResult, Solution, Venues};
use std::ops::RangeInclusive;

/// Below lie record bids of small riders, above upright riders in loose clothes, m² (common practice, no source).
const CDA_M2: RangeInclusive<f64> = 0.2..=0.7;
/// Mean speeds of laps alone on a closed loop, m/s.
const SPEED_M_S: RangeInclusive<f64> = 3.5..=20.0;
/// A rider to hold the resistance against: CdA, Crr and density of the air.
const USUAL_CDA_M2: f64 = 0.27;
const USUAL_CRR: f64 = 0.0045;
const USUAL_DENSITY_KG_M3: f64 = 1.2;

/// Tells of such values and takes back what is no result.
pub(in crate::analysis) fn tell(solution: &mut Solution) -> Option<Finding> {
    let mut values: Vec<String> = Vec::new();
    let on_venues = solution.venues.iter().flat_map(|v| v.results.iter().flat_map(|r| &r.setups));
    for setup in solution.setups.iter().chain(on_venues) {
        for value in odd_values(setup) {
            if !values.contains(&value) {
                values.push(value);
            }
        }
    }
    let fastest = lap_speeds(solution).fold(f64::NAN, f64::max);
    let slowest = lap_speeds(solution).fold(f64::NAN, f64::min);
    for (word, speed) in [("fastest", fastest), ("slowest", slowest)] {
        if speed.is_finite() && !SPEED_M_S.contains(&speed) {
            values.push(format!("{word} lap at {:.0} km/h", km_h_from_m_s(speed)));
        }
    }
    if values.is_empty() {
        return None;
    }
    let cause = cause(solution, fastest, slowest);
    let withheld = take_back(solution);
    Some(Finding::of_session(What::Slip(Slip::Implausible { values, cause, withheld })))
}

fn lap_speeds(solution: &Solution) -> impl Iterator<Item = f64> + '_ {
    solution.runs.iter().flat_map(|r| &r.laps).filter(|l| l.used).map(|l| l.mean_speed_m_s)
}

fn beyond(estimate: &Estimate, range: &RangeInclusive<f64>) -> Option<f64> {
    estimate.value.filter(|v| !range.contains(v))
}

fn odd_values(setup: &SetupResult) -> Vec<String> {
    let name = if setup.label.is_empty() { &setup.id } else { &setup.label };
    let mut out = Vec::new();
    out.extend(beyond(&setup.crr, &CREDIBLE_CRR).map(|v| format!("Crr of {name} is {v:.5}")));
    out.extend(beyond(&setup.cda_m2, &CDA_M2).map(|v| format!("CdA of {name} is {v:.3} m²")));
    let held = setup.cda_m2_with_crr_held.as_ref().zip(setup.crr_held);
    let held = held.and_then(|(e, crr)| Some((beyond(e, &CDA_M2)?, crr)));
    out.extend(held.map(|(v, crr)| format!("CdA of {name} is {v:.3} m² if Crr is {crr:.3}")));
    let drag = setup.drag_at_mean_speed_n.as_ref().and_then(|e| e.value).filter(|n| *n <= 0.0);
    out.extend(drag.map(|n| format!("resistance of {name} is {n:.1} N")));
    out
}

/// Resistance of a set-up at a speed over that of a usual rider, mean of the set-ups for which it is known.
fn over_usual(solution: &Solution) -> Option<f64> {
    let mass_kg = solution.runs.iter().map(|r| r.mass_kg).sum::<f64>() / solution.runs.len().max(1) as f64;
    let ratios: Vec<f64> = solution
        .setups
        .iter()
        .filter_map(|s| {
            let v = s.mean_speed_m_s?;
            let force =
                |crr: f64, cda: f64| crr * mass_kg * STANDARD_GRAVITY_M_S2 + 0.5 * USUAL_DENSITY_KG_M3 * cda * v * v;
            let solved = s.crr.value.zip(s.cda_m2.value).map(|(crr, cda)| force(crr, cda));
            let drag = s.drag_at_mean_speed_n.as_ref().and_then(|e| e.value);
            Some(drag.or(solved)? / force(USUAL_CRR, USUAL_CDA_M2))
        })
        .collect();
    (!ratios.is_empty()).then(|| ratios.iter().sum::<f64>() / ratios.len() as f64)
}

/// The likeliest slip behind the values.
fn cause(solution: &Solution, fastest_m_s: f64, slowest_m_s: f64) -> String {
    if fastest_m_s > *SPEED_M_S.end() {
        return "speed in another unit than its column says (km/h where m/s is meant), or a wheel size that is far off"
            .into();
    }
    if slowest_m_s < *SPEED_M_S.start() {
        return "speed in another unit than its column says (m/s where km/h is meant), or a wheel size that is far off"
            .into();
    }
    let all = |pick: &dyn Fn(&SetupResult) -> Option<bool>| solution.setups.iter().filter_map(pick).any(|x| x);
    let high_crr = all(&|s| s.crr.value.map(|v| v > *CREDIBLE_CRR.end()));
    let low_crr = all(&|s| s.crr.value.map(|v| v < *CREDIBLE_CRR.start()));
    let high_cda = all(&|s| s.cda_m2.value.map(|v| v > *CDA_M2.end()));
    match over_usual(solution) {
        Some(ratio) if ratio <= 0.0 => {
            "power that is missing or far too low, or speed in another unit than its column says".into()
        }
        Some(ratio) if ratio < 0.62 => format!(
            "a power meter that counts one leg and is not doubled: the resistance is {:.0} % of what a rider in a usual position \
             has; else a rider who was followed or drafted, or a mass or speed in another unit",
            100.0 * ratio
        ),
        Some(ratio) if ratio < 0.86 => format!(
            "a power meter that reads low: the resistance is {:.0} % of what a rider in a usual position has (its scale, its zero, \
             battery, a crank length that was never set); else drafting, or a wheel size that is too large",
            100.0 * ratio
        ),
        Some(ratio) if ratio > 1.6 || high_cda => {
            "braking, a wind that was not allowed for, speed that is too low (wheel size, unit), or a power meter that is counted \
             twice"
                .into()
        }
        _ if low_crr => {
            "a mass that is too high (pounds?), a power meter whose zero is low, or speeds too alike to tell rolling from air".into()
        }
        _ if high_crr => {
            "power of another bicycle or of a trainer, drums of another diameter than stated (m, not mm), braking, or speeds too \
             alike to tell rolling from air"
                .into()
        }
        _ => "the zero of the power meter, the mass, the wind, or speeds too alike to tell rolling from air".into(),
    }
}

/// Empties every value that rests on a Crr beyond belief; whether there was one.
fn take_back(solution: &mut Solution) -> bool {
    let mut any = empty(&mut solution.setups, &mut solution.contrasts, &mut solution.all_pairs);
    for venue in solution.venues.iter_mut().flat_map(|v| &mut v.results) {
        any |= empty(&mut venue.setups, &mut venue.contrasts, &mut venue.all_pairs);
    }
    // What loop and rollers gave together rests on both.
    if let Some(Venues { results, combined, combined_pairs, .. }) = &mut solution.venues {
        let known = |c: &CombinedContrast| {
            let same = |x: &&Contrast| x.setup == c.setup && x.baseline == c.baseline;
            results
                .iter()
                .all(|v| v.contrasts.iter().chain(&v.all_pairs).find(same).is_some_and(|x| x.crr.value.is_some()))
        };
        combined.retain(known);
        combined_pairs.retain(known);
    }
    any
}

fn empty(setups: &mut [SetupResult], contrasts: &mut [Contrast], pairs: &mut [Contrast]) -> bool {
    let odd: Vec<String> =
        setups.iter().filter(|s| beyond(&s.crr, &CREDIBLE_CRR).is_some()).map(|s| s.id.clone()).collect();
    for setup in setups.iter_mut().filter(|s| odd.contains(&s.id)) {
        for value in [&mut setup.crr, &mut setup.power_w, &mut setup.rolling_power_w] {
            *value = Estimate::default();
        }
        setup.least_squares_crr = None;
    }
    let touched = |c: &&mut Contrast| odd.contains(&c.setup) || odd.contains(&c.baseline);
    for contrast in contrasts.iter_mut().chain(pairs).filter(touched) {
        *contrast = Contrast {
            setup: contrast.setup.clone(),
            baseline: contrast.baseline.clone(),
            cda_m2: contrast.cda_m2,
            verdict: "not separated".into(),
            ..Contrast::default()
        };
    }
    !odd.is_empty()
}
