//! Which steps of a lap are spoiled, and whether enough is left of it.
//!
//! Given a ride with the reasons of its records; gives the spans that must not be used, widened until riding is normal again,
//! and the reason of each step that one of them touches. Only the record and the line are looked at: what only other laps can
//! show (a draft, gentle braking) is for the account.

use crate::sample::{Reason, Ride};

/// A spoiled span is widened by this on each side at the least, s.
const LEAST_S: f64 = 3.0;
/// And at the most, while riding is not normal, s.
const MOST_S: f64 = 60.0;
/// Riding is normal at this share of the usual speed or more, and at this multiple of the usual power or less.
const NORMAL_SPEED: f64 = 0.7;
const NORMAL_POWER: f64 = 2.5;
/// What is usual is taken over this long on each side, s.
const USUAL_S: f64 = 180.0;
/// Instants off the line further apart than this are not one stay, s, and a stay is no shorter than this, s.
const ONE_STAY_S: f64 = 3.5;
pub(super) const SHORTEST_STAY_S: f64 = 4.0;
/// Nobody pedals with less, W.
const COASTING_W: f64 = 30.0;
/// Share of its steps that must be sound for a lap to count: with less, what it says of the loop is what its spoiled steps leave.
const LEAST_SOUND: f64 = 0.5;

/// A span of a ride that must not be used.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Hole {
    pub from_s: f64,
    pub to_s: f64,
    pub reason: Reason,
}

/// All holes of a ride, in order of their beginnings; they may overlap.
pub(super) fn holes(ride: &Ride, reasons: &[Option<Reason>], off_line_s: &[f64]) -> Vec<Hole> {
    let n = ride.len();
    let span = |first: usize, last: usize, reason: Reason| Hole {
        from_s: ride.time_s[first.saturating_sub(1)],
        to_s: ride.time_s[(last + 1).min(n - 1)],
        reason,
    };
    let mut out: Vec<Hole> = Vec::new();
    let braking = braking(ride);
    for of in [reasons, &braking[..]] {
        let mut i = 0;
        while i < n {
            let Some(reason) = of[i] else {
                i += 1;
                continue;
            };
            let first = i;
            while i < n && of[i] == Some(reason) {
                i += 1;
            }
            out.push(span(first, i - 1, reason));
        }
    }
    let broken = (1..n).filter(|&i| ride.stretch[i] != ride.stretch[i - 1]);
    out.extend(broken.map(|i| Hole { from_s: ride.time_s[i - 1], to_s: ride.time_s[i], reason: Reason::Gap }));
    for stay in off_line_s.chunk_by(|a, b| b - a <= ONE_STAY_S) {
        if let (Some(&from_s), Some(&to_s)) = (stay.first(), stay.last())
            && to_s - from_s >= SHORTEST_STAY_S
        {
            out.push(Hole { from_s, to_s, reason: Reason::OffTheLine });
        }
    }
    let mut out: Vec<Hole> = out.into_iter().map(|hole| widened(ride, reasons, hole)).collect();
    out.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
    out
}

/// Speed that falls faster than air, tyres and a climb of 6 % can bring about while nobody pedals.
fn braking(ride: &Ride) -> Vec<Option<Reason>> {
    let is_braked = |i: usize| {
        let dt = ride.time_s[i] - ride.time_s[i - 1];
        let (v, before) = (ride.speed_m_s[i], ride.speed_m_s[i - 1]);
        // ½ρCdA/m with 0.45 m² and 70 kg, and g times 0.06 and a Crr of 0.008.
        let steepest = 0.0039 * before * before + 0.67;
        ride.stretch[i] == ride.stretch[i - 1] && ride.power_w[i] < COASTING_W && (before - v) / dt > steepest
    };
    (0..ride.len()).map(|i| (i > 0 && is_braked(i)).then_some(Reason::Braking)).collect()
}

/// The hole as wide as speed and power are not what they are around it.
fn widened(ride: &Ride, reasons: &[Option<Reason>], hole: Hole) -> Hole {
    let around = ride.records_between(hole.from_s - USUAL_S, hole.to_s + USUAL_S);
    let middle = |of: &dyn Fn(usize) -> f64| {
        let mut all: Vec<f64> =
            around.clone().filter(|i| reasons[*i].is_none()).map(of).filter(|x| x.is_finite()).collect();
        all.sort_by(f64::total_cmp);
        all.get(all.len() / 2).copied()
    };
    let (usual_m_s, usual_w) = (middle(&|i| ride.speed_m_s[i]), middle(&|i| ride.power_w[i]));
    let is_normal = |i: usize| {
        let speed = usual_m_s.is_none_or(|usual| ride.speed_m_s[i] >= NORMAL_SPEED * usual);
        let power = usual_w.is_none_or(|usual| ride.power_w[i] <= NORMAL_POWER * usual.max(COASTING_W));
        speed && power
    };
    let before = ride.records_between(hole.from_s - MOST_S, hole.from_s);
    let after = ride.records_between(hole.to_s, hole.to_s + MOST_S);
    let first = before.rev().find(|&i| is_normal(i)).map_or(hole.from_s - MOST_S, |i| ride.time_s[i]);
    let last = after.clone().find(|&i| is_normal(i)).map_or(hole.to_s + MOST_S, |i| ride.time_s[i]);
    Hole { from_s: first.min(hole.from_s - LEAST_S), to_s: last.max(hole.to_s + LEAST_S), ..hole }
}

/// The gravest reason of each step between edges.
pub(super) fn of_steps(edge_s: &[f64], holes: &[Hole]) -> Vec<Option<Reason>> {
    let touches = |w: &[f64], hole: &Hole| hole.from_s < w[1] && hole.to_s > w[0];
    edge_s.windows(2).map(|w| holes.iter().filter(|h| touches(w, h)).map(|h| h.reason).min()).collect()
}

/// Why a lap is left out when its marked steps are: too little of it is sound.
pub(super) fn of_lap(steps: &[Option<Reason>]) -> Option<Reason> {
    let sound = steps.iter().filter(|s| s.is_none()).count();
    if sound as f64 >= LEAST_SOUND * steps.len() as f64 { None } else { steps.iter().flatten().min().copied() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::Recording;
    use crate::sample::{align, mark_samples};

    /// 400 s at 10 m/s and 200 W, a record a second, then changed.
    fn ride(change: impl Fn(&mut Recording)) -> (Ride, Vec<Option<Reason>>) {
        let mut recording = Recording::of_speeds((0..400).map(f64::from).collect(), vec![10.0; 400]);
        recording.power_w = (0..400).map(|i| 200.0 + f64::from(i % 7)).collect();
        change(&mut recording);
        let ride = align(&recording).0;
        let reasons = mark_samples(&ride, |_| true);
        (ride, reasons)
    }

    fn only_hole(change: impl Fn(&mut Recording)) -> Hole {
        let (ride, reasons) = ride(change);
        let all = holes(&ride, &reasons, &[]);
        assert_eq!(all.len(), 1, "{all:?}");
        all[0]
    }

    #[test]
    fn a_hole_is_three_seconds_wider_on_each_side_at_any_length() {
        for seconds in [5, 20, 60] {
            let hole = only_hole(|r| r.power_w[100..100 + seconds].fill(f64::NAN));
            assert_eq!((hole.from_s, hole.to_s), (96.0, 103.0 + seconds as f64), "{seconds}");
            assert_eq!(hole.reason, Reason::PowerMissing);
        }
    }

    #[test]
    fn a_stop_lasts_until_the_rider_is_up_to_speed_again() {
        for seconds in [2, 30] {
            let hole = only_hole(|r| {
                r.speed_m_s[100..100 + seconds].fill(0.0);
                // Ten seconds from rest to 10 m/s, and slowing down without braking hard before.
                (0..10).for_each(|k| r.speed_m_s[100 + seconds + k] = 1.5 + k as f64);
                (0..15).for_each(|k| r.speed_m_s[85 + k] = 10.0 - 0.6 * k as f64);
            });
            assert_eq!(hole.reason, Reason::Stop);
            // 7 m/s is reached 6 s after the stop, and left 9 s before it.
            assert_eq!((hole.from_s, hole.to_s), (90.0, 106.0 + seconds as f64), "{seconds}");
        }
    }

    #[test]
    fn braking_is_what_air_and_a_climb_cannot_do() {
        let slowed = |by_m_s: f64, power_w: f64| {
            let (ride, reasons) = ride(|r| {
                r.speed_m_s[200..210].fill(10.0 - by_m_s);
                r.power_w[200] = power_w;
            });
            holes(&ride, &reasons, &[]).iter().any(|h| h.reason == Reason::Braking)
        };
        assert!(slowed(2.0, 0.0) && slowed(4.0, 0.0));
        // Air at 10 m/s and a climb of 4 % take 0.8 m/s²; a rider who pedals does not brake.
        assert!(!slowed(0.8, 0.0) && !slowed(2.0, 200.0));
    }

    #[test]
    fn a_break_in_the_record_and_a_stay_off_the_line_are_holes() {
        let mut recording = Recording::of_speeds((0..100).chain(130..300).map(f64::from).collect(), vec![10.0; 270]);
        recording.power_w = (0..270).map(|i| 200.0 + f64::from(i % 7)).collect();
        let ride = align(&recording).0;
        let off: Vec<f64> = [150.0, 151.0, 200.0, 201.0, 202.0, 203.0, 204.0, 205.0].to_vec();
        let all = holes(&ride, &vec![None; 270], &off);
        let told: Vec<(f64, f64, Reason)> = all.iter().map(|h| (h.from_s, h.to_s, h.reason)).collect();
        assert_eq!(told, [(96.0, 133.0, Reason::Gap), (197.0, 208.0, Reason::OffTheLine)]);
    }

    #[test]
    fn steps_that_a_hole_touches_are_marked_and_half_a_lap_is_enough() {
        let edges: Vec<f64> = (0..=10).map(|i| 10.0 * f64::from(i)).collect();
        let hole = |from_s, to_s| Hole { from_s, to_s, reason: Reason::Stop };
        let marked = |h: Hole| of_steps(&edges, &[h]);
        assert_eq!(marked(hole(12.0, 18.0)).iter().flatten().count(), 1);
        assert_eq!(marked(hole(12.0, 31.0))[1..4], [Some(Reason::Stop); 3]);
        assert_eq!(of_lap(&marked(hole(0.0, 49.0))), None);
        assert_eq!(of_lap(&marked(hole(0.0, 51.0))), Some(Reason::Stop));
    }
}
