//! Planned speeds seen from the laps of all runs, where they fall into clearly separate classes that repeat.
//!
//! Given the places and speeds of usable laps; gives a cycle of speeds for each run. The same class has the same speed in all
//! runs: the solver takes equal numbers for one planned speed.

use super::proposed::Proposed;
use crate::quantity::km_h_from_m_s;
use crate::solve::speed_class::{Origin, classify};

/// Longest cycle that is looked for, laps.
const LONGEST_CYCLE: usize = 6;
/// Fewest laps of a run that show a cycle.
const FEWEST_LAPS: usize = 4;
/// Speeds are planned in halves of a km/h at the finest.
const ROUNDED_KM_H: f64 = 0.5;

/// A usable lap: its place in the run from 0, and its speed.
#[derive(Debug, Clone, Copy, PartialEq)]
struct LapSpeed {
    place: usize,
    speed_m_s: f64,
}

/// Planned speeds of each run, km/h, one for each lap of the cycle; `None` where laps do not show them.
pub(super) fn planned_km_h(runs: &[Proposed]) -> Vec<Option<Vec<f64>>> {
    let laps: Vec<Vec<LapSpeed>> = runs
        .iter()
        .map(|run| {
            let usable = run.held.laps.laps.iter().filter(|l| l.reason.is_none());
            usable.filter_map(|l| Some(LapSpeed { place: l.lap - 1, speed_m_s: l.mean_speed_m_s? })).collect()
        })
        .collect();
    cycles(&laps)
}

fn cycles(runs: &[Vec<LapSpeed>]) -> Vec<Option<Vec<f64>>> {
    let speeds: Vec<f64> = runs.iter().flatten().map(|l| l.speed_m_s).collect();
    let none = vec![None; runs.len()];
    if speeds.len() < FEWEST_LAPS {
        return none;
    }
    let classes = classify(&speeds, &vec![None; speeds.len()]);
    if classes.origin != Origin::Found {
        return none;
    }
    let planned: Vec<f64> = (0..classes.count)
        .map(|class| {
            let of: Vec<f64> =
                speeds.iter().zip(&classes.of_lap).filter(|(_, c)| **c == class).map(|(v, _)| *v).collect();
            let mean_km_h = km_h_from_m_s(of.iter().sum::<f64>() / of.len() as f64);
            (mean_km_h / ROUNDED_KM_H).round() * ROUNDED_KM_H
        })
        .collect();
    if planned.windows(2).any(|w| w[0] >= w[1]) {
        return none;
    }
    let mut of_lap = classes.of_lap.iter();
    runs.iter()
        .map(|laps| {
            let of_run: Vec<usize> = of_lap.by_ref().take(laps.len()).copied().collect();
            Some(cycle(laps, &of_run)?.into_iter().map(|class| planned[class]).collect())
        })
        .collect()
}

/// The shortest cycle of classes that all laps keep to.
fn cycle(laps: &[LapSpeed], of_lap: &[usize]) -> Option<Vec<usize>> {
    if laps.len() < FEWEST_LAPS {
        return None;
    }
    (1..=LONGEST_CYCLE.min(laps.len() / 2)).find_map(|length| {
        let mut at: Vec<Option<usize>> = vec![None; length];
        let kept = laps.iter().zip(of_lap).all(|(lap, class)| *at[lap.place % length].get_or_insert(*class) == *class);
        at.into_iter().collect::<Option<Vec<usize>>>().filter(|_| kept)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(speeds: &[f64]) -> Vec<LapSpeed> {
        speeds.iter().enumerate().map(|(place, &speed_m_s)| LapSpeed { place, speed_m_s }).collect()
    }

    #[test]
    fn laps_in_turn_give_their_speeds_and_others_none() {
        // 8.1 and 11.1 m/s are 29.16 and 39.96 km/h.
        let of = |speeds: &[f64]| cycles(&[run(speeds)]).remove(0);
        assert_eq!(of(&[8.0, 11.0, 8.2, 11.2, 8.1, 11.1]), Some(vec![29.0, 40.0]));
        assert_eq!(of(&[8.0, 8.1, 11.0, 11.1, 8.1, 8.0, 11.1, 11.0]), Some(vec![29.0, 29.0, 40.0, 40.0]));
        assert_eq!(of(&[8.0, 9.5, 11.0, 8.1, 9.6, 11.1]), Some(vec![29.0, 34.5, 40.0]));
        assert_eq!(of(&[8.0, 8.1, 8.2, 11.0, 11.1, 11.2]), None);
        assert_eq!(of(&[9.0, 9.1, 9.0, 9.1, 9.05]), None);
    }

    #[test]
    fn runs_of_one_plan_have_the_same_numbers_and_a_lap_left_out_keeps_its_place() {
        let mut second = run(&[8.1, 11.2, 8.2, 11.1, 8.15, 11.15, 8.2, 11.3]);
        second.remove(2);
        let third = run(&[11.0, 11.1, 11.05, 11.0]);
        let all = cycles(&[run(&[8.0, 11.0, 8.05, 11.05, 8.1, 10.9]), second, third]);
        assert_eq!(all[0], all[1]);
        assert_eq!((all[0].as_ref().map(Vec::len), all[2].as_ref().map(Vec::len)), (Some(2), Some(1)));
        assert_eq!(all[2].as_ref().map(|c| c[0]), all[0].as_ref().map(|c| c[1]));
    }
}
