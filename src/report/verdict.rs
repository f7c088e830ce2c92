//! The result in one sentence, with its uncertainty.
//!
//! Given the solution; says which set-ups are separated from the baseline and by how much, or what is known when they
//! are not. It takes the verdicts as they are and tests nothing.

use super::number::{counted, half_width, listed, percent, shown, significant};
use super::units::Units;
use crate::finding::grave;
use crate::quantity::m_s_from_km_h;
use crate::solution::{Contrast, Estimate, SetupResult, Solution};

/// More than so many set-ups of one verdict are counted instead of named.
const NAMED: usize = 3;

/// Label of a set-up, or its id.
pub fn name_of(solution: &Solution, id: &str) -> String {
    match solution.setups.iter().find(|setup| setup.id == id) {
        Some(setup) => setup_name(setup),
        None => id.to_string(),
    }
}

/// Label, or id where there is none.
pub fn setup_name(setup: &SetupResult) -> String {
    if setup.label.trim().is_empty() { setup.id.clone() } else { setup.label.trim().to_string() }
}

/// Speed of the reference conditions, "40 km/h".
pub fn reference_speed(solution: &Solution, units: Units) -> String {
    let speed = units.speed_value(m_s_from_km_h(solution.reference.speed_km_h));
    format!("{} {}", significant(speed, 3), units.speed_unit())
}

/// See the module.
pub fn sentence(solution: &Solution, units: Units) -> String {
    let share = percent(solution.confidence);
    if solution.setups.is_empty() {
        return "There is no result.".into();
    }
    let doubts = check_first(solution);
    let mut text = if solution.separable { String::new() } else { not_separable(solution, units, &share) };
    // With one of Crr and CdA shared, differences are known even where the values are not.
    let compared = differences(solution, units, &share);
    match compared {
        Some(compared) if text.is_empty() => text = compared,
        Some(compared) => text = format!("{text} {compared}"),
        None if text.is_empty() => text = estimates(solution, units, &share),
        None => {}
    }
    match together(solution, units) {
        Some(together) => format!("{doubts}{text} {together}"),
        None => format!("{doubts}{text}"),
    }
}

/// What casts doubt on every number that follows; empty where nothing does.
fn check_first(solution: &Solution) -> String {
    let mut words: Vec<String> = Vec::new();
    for word in solution.findings.iter().filter_map(|f| grave(&f.code)).map(String::from) {
        if !words.contains(&word) {
            words.push(word);
        }
    }
    if words.is_empty() { String::new() } else { format!("Check first, see the findings: {}. ", listed(&words)) }
}

/// Differences from the baseline; `None` where none is known.
fn differences(solution: &Solution, units: Units, share: &str) -> Option<String> {
    let against = name_of(solution, &solution.contrasts.first()?.baseline);
    if !solution.separable && solution.contrasts.iter().all(|c| c.power_w.value.is_none()) {
        return None;
    }
    let mut parts = Vec::new();
    let of = |verdict: &str| -> Vec<&Contrast> {
        let mut all: Vec<&Contrast> = solution.contrasts.iter().filter(|c| c.verdict == verdict).collect();
        all.sort_by(|a, b| size(&b.power_w).total_cmp(&size(&a.power_w)));
        all
    };
    let separated = of("separated");
    for contrast in separated.iter().take(NAMED) {
        parts.push(format!("{} needs {}", name_of(solution, &contrast.setup), change(&contrast.power_w)));
    }
    if separated.len() > NAMED {
        parts.push(format!("{} more are separated", separated.len() - NAMED));
    }
    let equivalent = of("equivalent");
    for contrast in equivalent.iter().take(NAMED) {
        parts.push(format!("{} is equivalent ({})", name_of(solution, &contrast.setup), change(&contrast.power_w)));
    }
    if equivalent.len() > NAMED {
        parts.push(format!("{} more are equivalent", equivalent.len() - NAMED));
    }
    let open = of("not separated");
    if open.len() > NAMED {
        parts.push(format!("{} cannot be told apart from it", counted(open.len(), "set-up")));
    } else {
        for contrast in open {
            let found = match contrast.detectable_power_w.filter(|w| w.is_finite()) {
                Some(watts) => format!("; {} W would have been found", significant(watts, 2)),
                None => String::new(),
            };
            let name = name_of(solution, &contrast.setup);
            parts.push(format!("{name} cannot be told apart from it ({}{found})", change(&contrast.power_w)));
        }
    }
    if parts.is_empty() {
        return None;
    }
    Some(format!(
        "Against {against} at {}: {} ({share} intervals).",
        reference_speed(solution, units),
        parts.join("; ")
    ))
}

/// What both venues say of rolling alone; `None` where they have no difference in common.
fn together(solution: &Solution, units: Units) -> Option<String> {
    let combined = &solution.venues.as_ref()?.combined;
    let mut parts: Vec<String> = combined
        .iter()
        .take(NAMED)
        .map(|c| {
            let doubt = if c.agreement.agree { "" } else { ", though the two disagree" };
            format!("{} takes {}{doubt}", name_of(solution, &c.setup), change(&c.rolling_power_w))
        })
        .collect();
    if combined.len() > NAMED {
        parts.push(format!("{} more are in the table", combined.len() - NAMED));
    }
    let against = name_of(solution, &combined.first()?.baseline);
    let speed = reference_speed(solution, units);
    Some(format!("Rolling alone at {speed}, loop and rollers together, against {against}: {}.", parts.join("; ")))
}

fn size(estimate: &Estimate) -> f64 {
    estimate.value.filter(|v| v.is_finite()).map_or(-1.0, f64::abs)
}

/// "6.1 ± 2.4 W less".
fn change(power: &Estimate) -> String {
    let Some(value) = power.value.filter(|v| v.is_finite()) else { return "an unknown difference".into() };
    let absolute = Estimate {
        value: Some(value.abs()),
        // The interval only gives its width here.
        low: half_width(power).map(|half| value.abs() - half),
        high: half_width(power).map(|half| value.abs() + half),
        ..*power
    };
    let direction = if value < 0.0 { "less" } else { "more" };
    format!("{} W {direction}", shown(&absolute).whole())
}

fn estimates(solution: &Solution, units: Units, share: &str) -> String {
    let setups: Vec<String> = solution
        .setups
        .iter()
        .take(NAMED)
        .map(|setup| {
            let mut known = Vec::new();
            for (name, estimate, unit) in [("Crr", &setup.crr, ""), ("CdA", &setup.cda_m2, " m²")] {
                let shown = shown(estimate);
                if shown.known {
                    known.push(format!("{name} {}{unit}", shown.whole()));
                }
            }
            let power = shown(&setup.power_w);
            if power.known {
                known.push(format!("{} W at {}", power.whole(), reference_speed(solution, units)));
            }
            format!("{}: {}", setup_name(setup), listed(&known))
        })
        .collect();
    format!("{} ({share} intervals).", setups.join("; "))
}

fn not_separable(solution: &Solution, units: Units, share: &str) -> String {
    let known: Vec<String> = solution
        .setups
        .iter()
        .filter_map(|setup| {
            let drag = shown(setup.drag_at_mean_speed_n.as_ref()?);
            let speed = setup.mean_speed_m_s.filter(|v| v.is_finite())?;
            drag.known.then(|| format!("{} {} N at {}", setup_name(setup), drag.whole(), units.speed(speed)))
        })
        .take(NAMED)
        .collect();
    let mut text = String::from("CdA and Crr cannot be told apart from these rides");
    if !known.is_empty() {
        text.push_str(&format!("; what is known is the resistance at the mean speed: {} ({share})", known.join("; ")));
    }
    text.push('.');
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    fn estimate(value: f64, half: f64) -> Estimate {
        Estimate { value: Some(value), low: Some(value - half), high: Some(value + half), ..Estimate::default() }
    }

    fn two(verdict: &str, watts: f64) -> Solution {
        let setup =
            |id: &str, label: &str| SetupResult { id: id.into(), label: label.into(), ..SetupResult::default() };
        let mut solution = Solution { separable: true, confidence: 0.95, baseline: "a".into(), ..Solution::default() };
        solution.reference.speed_km_h = 40.0;
        solution.setups = vec![setup("a", "butyl"), setup("b", "latex")];
        solution.contrasts = vec![Contrast {
            setup: "b".into(),
            baseline: "a".into(),
            power_w: estimate(watts, 2.4),
            detectable_power_w: Some(3.12),
            verdict: verdict.into(),
            ..Contrast::default()
        }];
        solution
    }

    #[test]
    fn a_separated_set_up_is_told_in_watts_with_their_interval() {
        assert_eq!(
            sentence(&two("separated", -6.1), Units::Metric),
            "Against butyl at 40 km/h: latex needs 6.1 ± 2.4 W less (95 % intervals)."
        );
    }

    #[test]
    fn what_is_not_separated_says_what_would_have_been_found() {
        let text = sentence(&two("not separated", 0.8), Units::Imperial);
        assert!(text.contains("24.9 mph") && text.contains("0.8 ± 2.4 W more; 3.1 W would have been found"), "{text}");
    }

    #[test]
    fn an_inseparable_ride_never_shows_two_numbers() {
        let mut solution = two("separated", -6.1);
        solution.separable = false;
        solution.setups[0].drag_at_mean_speed_n = Some(estimate(19.4, 0.5));
        solution.setups[0].mean_speed_m_s = Some(10.0);
        // With neither value shared the solver knows no difference.
        solution.contrasts[0].power_w = Estimate::default();
        let text = sentence(&solution, Units::Metric);
        assert!(text.contains("cannot be told apart") && text.contains("butyl 19.40 ± 0.50 N at 36.0 km/h"), "{text}");
        assert!(!text.contains("latex"));
    }

    #[test]
    fn a_difference_that_is_known_without_the_values_is_told_after_them() {
        let mut solution = two("separated", -6.1);
        solution.separable = false;
        let text = sentence(&solution, Units::Metric);
        assert!(text.starts_with("CdA and Crr cannot be told apart"), "{text}");
        assert!(text.contains("latex needs 6.1 ± 2.4 W less"), "{text}");
    }
}
