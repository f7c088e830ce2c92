//! Where to cut laps that are timed by marks or distance: where riding is steady.
//!
//! Given the passes of all runs and the line; gives how far from the pass to cut, as a share of the lap.

use super::gate_search::is_steady;
use super::lap::RunToCut;
use super::passes::{Passes, RunPasses};
use super::reference_line::ReferenceLine;

/// Offsets of the cut from a lap mark that are tried, shares of the lap.
const OFFSETS: i32 = 15;
const OFFSET_STEP: f64 = 0.02;
/// Curvature below which the line is straight, 1/m, and how far about a cut it must be so, m: in a bend speed and height of
/// the centre of mass hang on the metre.
const STRAIGHT_1_M: f64 = 0.003;
const STRAIGHT_REACH_M: f64 = 4.0;
/// Half of the time over which a pass is judged steady, and how far the record must go on beyond it, s.
const PASSING_S: f64 = 1.5;

/// Where to cut laps that are timed by marks or distance: beside the mark when speed changes at it.
///
/// A rider who changes speed at the line does it while the sensor averages; a few metres before it riding is steady. Of
/// the offsets that lose no lap the nearest steady one is taken. 0 where laps come from a gate, which has been moved already.
pub(super) fn steady_offset(
    runs: &[RunToCut],
    passes: &[RunPasses],
    length_m: f64,
    line: Option<&ReferenceLine>,
) -> f64 {
    if passes.iter().any(|p| p.how == Passes::Gate) {
        return 0.0;
    }
    let trial = |offset: f64| -> (usize, f64) {
        let (mut count, mut squares) = (0, 0.0);
        for (run, passes) in runs.iter().zip(passes) {
            let ride = run.ride;
            for &t in &passes.at_s {
                // Near a pass speed changes little enough to turn metres into seconds.
                let at = t + offset * length_m / ride.distance_m.rate_at(t).max(1.0);
                let change = ride.speed.at(at + PASSING_S) - ride.speed.at(at - PASSING_S);
                if ride.is_unbroken(at - 2.0 * PASSING_S, at)
                    && ride.is_unbroken(at, at + 2.0 * PASSING_S)
                    && change.is_finite()
                {
                    count += 1;
                    squares += (change / (2.0 * PASSING_S)).powi(2);
                }
            }
        }
        (count, (squares / f64::from(count.max(1) as u32)).sqrt())
    };
    let is_straight = |offset: f64| {
        let bends = |l: &ReferenceLine, by: f64| l.curvature_at(offset * length_m + by).abs() > STRAIGHT_1_M;
        line.is_none_or(|l| ![-STRAIGHT_REACH_M, 0.0, STRAIGHT_REACH_M].iter().any(|by| bends(l, *by)))
    };
    let trials: Vec<(f64, usize, f64)> = (-OFFSETS..=OFFSETS)
        .filter(|k| *k == 0 || is_straight(f64::from(*k) * OFFSET_STEP))
        .map(|k| {
            let offset = f64::from(k) * OFFSET_STEP;
            let (count, unsteady) = trial(offset);
            (offset, count, unsteady)
        })
        .collect();
    let most = trials.iter().map(|t| t.1).max().unwrap_or(0);
    let steadiest = trials.iter().filter(|t| t.1 == most).map(|t| t.2).fold(f64::MAX, f64::min);
    trials
        .iter()
        .filter(|t| t.1 == most && is_steady(t.2, steadiest))
        .min_by(|a, b| a.0.abs().total_cmp(&b.0.abs()))
        .map_or(0.0, |t| t.0)
}
