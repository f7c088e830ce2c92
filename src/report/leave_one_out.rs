//! What each difference hangs on: its watts without the lap and without the run that move it most, a sentence each.
//!
//! Given the solution; gives words. It leaves nothing out and judges nothing.

use super::number::with_sign;
use super::verdict::name_of;
use crate::solution::{Contrast, LeaveOneOut, Solution, Without};
use crate::standing::standings;

/// Heading of the list.
pub const HEADING: &str = "Influence of single laps and runs";

/// One sentence a difference, in the order of the results.
pub fn sentences(solution: &Solution) -> Vec<String> {
    solution.leave_one_out.iter().filter_map(|one| sentence(solution, one)).collect()
}

/// That of the difference which the verdict speaks of first; empty where there is none.
pub fn leading(solution: &Solution) -> String {
    let pair = standings(solution).into_iter().next().and_then(|standing| standing.best_two);
    let is_leading = |one: &&LeaveOneOut| {
        let ids = [&one.setup, &one.baseline];
        pair.as_ref().is_some_and(|p| ids.contains(&&p.faster) && ids.contains(&&p.slower))
    };
    let found = solution.leave_one_out.iter().find(is_leading).or(solution.leave_one_out.first());
    found.and_then(|one| sentence(solution, one)).unwrap_or_default()
}

fn sentence(solution: &Solution, one: &LeaveOneOut) -> Option<String> {
    let is_of = |c: &&Contrast| c.setup == one.setup && c.baseline == one.baseline;
    let contrast = solution.contrasts.iter().chain(&solution.all_pairs).find(is_of)?;
    let value = contrast.power_w.value.filter(|w| w.is_finite())?;
    let of = |without: &Without| {
        let lap = without.lap.map_or(String::new(), |lap| format!("lap {lap} of "));
        format!("on {lap}run {}{}", without.run, left(without, contrast))
    };
    let on: Vec<String> = [&one.lap, &one.run].into_iter().flatten().map(of).collect();
    if on.is_empty() {
        return None;
    }
    let (setup, baseline) = (name_of(solution, &one.setup), name_of(solution, &one.baseline));
    Some(format!("{setup} less {baseline}, {} W, hangs most {}.", with_sign(value, 1), on.join(" and ")))
}

/// " (-5.6 W without it)".
fn left(without: &Without, contrast: &Contrast) -> String {
    let lost = without.separated == Some(false) && contrast.verdict == "separated";
    let told = if lost { ", which may be chance" } else { "" };
    format!(" ({} W without it{told})", with_sign(without.power_w, 1))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::solution::{Estimate, SetupResult};

    fn day() -> Solution {
        let setup = |id: &str, label: &str| SetupResult { id: id.into(), label: label.into(), ..Default::default() };
        let watts = |w: f64| Estimate { value: Some(w), se: Some(1.0), ..Estimate::default() };
        let contrast = |setup: &str, baseline: &str, w: f64| Contrast {
            setup: setup.into(),
            baseline: baseline.into(),
            power_w: watts(w),
            verdict: "separated".into(),
            ..Contrast::default()
        };
        let one = |setup: &str, baseline: &str, lap: f64, run: f64, separated| LeaveOneOut {
            setup: setup.into(),
            baseline: baseline.into(),
            lap: Some(Without { run: 1, lap: Some(6), power_w: lap, separated }),
            run: Some(Without { run: 5, lap: None, power_w: run, separated: None }),
        };
        Solution {
            baseline: "a".into(),
            setups: vec![setup("a", "Amber"), setup("b", "Basalt"), setup("c", "")],
            contrasts: vec![contrast("c", "a", -0.02), contrast("b", "a", -4.9)],
            leave_one_out: vec![one("c", "a", -0.03, 1.25, None), one("b", "a", -5.6, -4.2, Some(false))],
            ..Solution::default()
        }
    }

    #[test]
    fn a_difference_is_told_with_the_lap_and_the_run_it_hangs_on() {
        assert_eq!(
            sentences(&day()),
            [
                "c less Amber, 0.0 W, hangs most on lap 6 of run 1 (0.0 W without it) and on run 5 (+1.2 W without it).",
                "Basalt less Amber, -4.9 W, hangs most on lap 6 of run 1 (-5.6 W without it, which may be chance) and on run 5 \
                 (-4.2 W without it)."
            ]
        );
    }

    #[test]
    fn the_leading_difference_is_that_of_the_best_two() {
        let mut day = day();
        day.contrasts[0].power_w.value = Some(2.0);
        assert!(leading(&day).starts_with("Basalt less Amber"), "{}", leading(&day));
        day.leave_one_out.clear();
        assert_eq!(leading(&day), "");
    }
}
