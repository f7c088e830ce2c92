//! The headline where no difference is known: the values themselves, or the resistance that is known in their place.
//!
//! Given the solution; gives a sentence.

use super::super::crr_held;
use super::super::number::{shown, significant};
use super::super::units::Units;
use super::names::{NAMED, reference_speed, setup_name};
use super::pair::watts;
use crate::solution::{SetupResult, Solution};
use crate::wording::counted;

pub(super) fn headline(solution: &Solution, units: Units) -> String {
    if !solution.separable {
        return known_resistance(solution, units);
    }
    let mut setups: Vec<String> = solution.setups.iter().take(NAMED).map(|s| one(solution, s, units)).collect();
    if solution.setups.len() > NAMED {
        setups.push(format!("and {}", counted(solution.setups.len() - NAMED, "more set-up")));
    }
    format!("{}.", setups.join("; "))
}

fn one(solution: &Solution, setup: &SetupResult, units: Units) -> String {
    let mut parts = Vec::new();
    for (name, value, unit) in [("Crr", shown(&setup.crr), ""), ("CdA", shown(&setup.cda_m2), " m²")] {
        if value.known {
            parts.push(format!("{name} {}{unit}", value.whole()));
        }
    }
    let speed = reference_speed(solution, units);
    if setup.power_w.value.is_some() {
        parts.push(format!("{} at {speed}", watts(&setup.power_w)));
    } else if setup.rolling_power_w.value.is_some() {
        parts.push(format!("{} of rolling at {speed}", watts(&setup.rolling_power_w)));
    }
    if parts.is_empty() {
        parts.push("nothing could be told".into());
    }
    format!("{}: {}", setup_name(setup), parts.join(", "))
}

fn known_resistance(solution: &Solution, units: Units) -> String {
    let known: Vec<String> = solution
        .setups
        .iter()
        .filter_map(|setup| {
            let drag = shown(setup.drag_at_mean_speed_n.as_ref()?);
            let speed = setup.mean_speed_m_s.filter(|v| v.is_finite())?;
            // A force says little to who rides by watts.
            let force = setup.drag_at_mean_speed_n.and_then(|d| d.value)?;
            let power = significant(force * speed, 3);
            let text =
                format!("{} {} N ({power} W at the road) at {}", setup_name(setup), drag.whole(), units.speed(speed));
            drag.known.then_some(text)
        })
        .take(NAMED)
        .collect();
    match known.as_slice() {
        [] => "CdA and Crr cannot be told apart from these rides.".into(),
        known => format!("Only the resistance at the mean speed is known: {}.", known.join("; ")),
    }
}

pub(super) fn not_separable(solution: &Solution) -> String {
    let held =
        crr_held::words(solution).map_or(String::new(), |held| format!("; a CdA given here is right if Crr is {held}"));
    format!("CdA and Crr cannot be told apart from these rides{held}.")
}
