//! Laps in which the rider goes from one planned speed to another, at the line or within the lap.
//!
//! Given rides and their laps; where such laps are the exception they get a reason, where they are the rule they are used and
//! that is told. It judges by the record alone, never by what a lap does to the answer.

use super::lap::{Lap, RunToCut};
use crate::finding::{Finding, What};
use crate::sample::{Reason, Ride};

/// Acceleration at the line from which speed is changing, m/s², and half of the time it is taken over, s.
const AT_LINE_M_S2: f64 = 0.25;
const AT_LINE_S: f64 = 1.5;
/// Share of laps up to which such laps are the exception.
const EXCEPTION: f64 = 0.3;
/// Speed and power are compared over this share of a lap before and after a moment.
const WINDOW: f64 = 0.15;
/// Moments that are looked at, shares of a lap. Getting from one speed to the next after the line may take a quarter of a short lap.
const MIDDLE: [f64; 2] = [0.3, 0.7];
const LOOKS: u32 = 16;
/// How long before and after a spoiled step riding may be unlike the rest of the lap, s.
const NEAR_STOP_S: f64 = 15.0;
/// How much faster, m/s, and with how many times the power a rider goes at another planned speed. Hills, wind and bends change
/// either one alone, or one up and the other down.
const FASTER_M_S: f64 = 1.2;
const MORE_POWER: f64 = 1.3;

/// See the module. Of laps that change at the line where that is the rule nothing is said: it is how two speeds in turn are
/// ridden.
pub(super) fn mark(runs: &[RunToCut], laps: &mut [Vec<Lap>]) -> Option<Finding> {
    leave_out_exceptions(runs, laps, changes_at_line, Reason::SpeedChanging);
    let laps_of_both = leave_out_exceptions(runs, laps, changes_within, Reason::SpeedChangesWithin);
    let laps_used = laps.iter().flatten().filter(|lap| lap.reason.is_none()).count();
    (laps_of_both > 0).then(|| Finding::of_session(What::SpeedChangesWithin { laps: laps_of_both, of: laps_used }))
}

/// Gives such laps a reason where they are the exception; how many there are where they are the rule.
fn leave_out_exceptions(
    runs: &[RunToCut],
    laps: &mut [Vec<Lap>],
    changes: impl Fn(&Ride, &Lap) -> bool,
    reason: Reason,
) -> usize {
    let total = laps.iter().flatten().filter(|l| l.reason.is_none()).count();
    let mut found: Vec<&mut Lap> = Vec::new();
    for (run, laps) in runs.iter().zip(laps) {
        found.extend(laps.iter_mut().filter(|l| l.reason.is_none() && changes(run.ride, l)));
    }
    if found.len() as f64 >= EXCEPTION * total as f64 {
        return found.len();
    }
    found.into_iter().for_each(|lap| lap.reason = Some(reason));
    0
}

/// Whether speed is changing where a lap begins or ends.
fn changes_at_line(ride: &Ride, lap: &Lap) -> bool {
    [lap.start_s, lap.end_s].iter().any(|t| {
        let change = ride.speed.at(t + AT_LINE_S) - ride.speed.at(t - AT_LINE_S);
        change.abs() > 2.0 * AT_LINE_S * AT_LINE_M_S2
    })
}

/// Whether speed and power go up together in the middle of the lap, or down, and stay so. Spoiled steps and what lies next to them are not looked at:
/// who stops rolls out before and starts anew after.
fn changes_within(ride: &Ride, lap: &Lap) -> bool {
    let window_s = WINDOW * lap.duration_s();
    let spoiled: Vec<[f64; 2]> = (lap.step_reason.iter().enumerate())
        .filter(|(step, reason)| reason.is_some() && step + 1 < lap.edge_s.len())
        .map(|(step, _)| [lap.edge_s[step], lap.edge_s[step + 1]])
        .collect();
    let clear = |t: f64| {
        spoiled.iter().all(|[from, to]| t + window_s + NEAR_STOP_S < *from || t - window_s - NEAR_STOP_S > *to)
    };
    let mean = |of: &dyn Fn(f64) -> f64, from_s: f64| (of(from_s + window_s) - of(from_s)) / window_s;
    (0..=LOOKS).any(|look| {
        let share = MIDDLE[0] + (MIDDLE[1] - MIDDLE[0]) * f64::from(look) / f64::from(LOOKS);
        let t = lap.start_s + share * lap.duration_s();
        if !clear(t) {
            return false;
        }
        let (way, work) = (|at: f64| ride.distance_m.at(at), |at: f64| ride.work_j.at(at));
        let [v_before, v_after] = [t - window_s, t].map(|from| mean(&way, from));
        let [p_before, p_after] = [t - window_s, t].map(|from| mean(&work, from));
        let up = v_after > v_before + FASTER_M_S && p_after > MORE_POWER * p_before;
        let down = v_before > v_after + FASTER_M_S && p_before > MORE_POWER * p_after;
        up || down
    })
}
