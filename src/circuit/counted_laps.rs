//! Laps counted by the wheel's distance, where neither positions nor lap marks show the passes of the line.
//!
//! Given a ride and the length of a lap; gives the passes, and the spans of which nobody knows where on the loop they were
//! ridden: from a hole in the distance to the next lap mark, where counting begins anew.

use super::chainage::Chainage;
use crate::sample::Ride;

/// Slower than this on both sides of a hole, the bicycle is taken to have stood in it, m/s (walking pace; common practice, no
/// source).
const STOOD_M_S: f64 = 2.0;

/// Laps of one ride.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct CountedLaps {
    pub passes_s: Vec<f64>,
    /// Instants at which counting begins: the first record, and lap marks after holes.
    pub begins_s: Vec<f64>,
    /// Spans in which the place on the loop is not known, in order of their beginnings; they may overlap.
    pub unplaced_s: Vec<[f64; 2]>,
}

impl CountedLaps {
    /// `marks_s` are lap marks pressed at the line.
    pub fn new(ride: &Ride, length_m: f64, marks_s: &[f64]) -> CountedLaps {
        let end_s = ride.duration_s();
        let until = |hole: [f64; 2]| [hole[0], marks_s.iter().copied().find(|m| *m >= hole[1]).unwrap_or(end_s)];
        let unplaced_s: Vec<[f64; 2]> = holes(ride).into_iter().map(until).collect();
        let mut begins_s = vec![0.0];
        begins_s.extend(unplaced_s.iter().map(|span| span[1]).filter(|t| *t < end_s));
        begins_s.dedup();
        let mut passes_s = Vec::new();
        for (k, &from_s) in begins_s.iter().enumerate() {
            let to_s = begins_s.get(k + 1).copied().unwrap_or(end_s);
            let zero = Chainage::by_distance(ride, from_s);
            let count = (zero.at(ride, to_s) / length_m).floor().min(1e6) as usize;
            let pass = |i: usize| zero.time_at(ride, i as f64 * length_m, from_s, to_s);
            passes_s.extend((0..=count).filter_map(pass).filter(|t| *t < to_s || to_s == end_s));
        }
        CountedLaps { passes_s, begins_s, unplaced_s }
    }

    /// Laps that touch a span in which their place is not known.
    pub fn unplaced(&self) -> usize {
        self.passes_s.windows(2).filter(|w| touches(&self.unplaced_s, w[0], w[1])).count()
    }
}

/// Whether a lap touches one of some spans.
pub(super) fn touches(spans_s: &[[f64; 2]], from_s: f64, to_s: f64) -> bool {
    spans_s.iter().any(|span| from_s < span[1] && to_s > span[0])
}

/// Spans in which the bicycle moved and its distance was not recorded: breaks in the record and stretches without speed.
fn holes(ride: &Ride) -> Vec<[f64; 2]> {
    let (time_s, speed_m_s) = (&ride.time_s, &ride.speed_m_s);
    let is_hole = |i: &usize| {
        let (before, after) = (i - 1, *i);
        let middle_s = 0.5 * (time_s[before] + time_s[after]);
        ride.stretch[before] != ride.stretch[after] || !ride.speed.at(middle_s).is_finite()
    };
    let pieces: Vec<usize> = (1..ride.len()).filter(is_hole).collect();
    let known = |i: usize| Some(speed_m_s[i]).filter(|v| v.is_finite());
    let hole = |pieces: &[usize]| {
        let (first, last) = (pieces[0] - 1, pieces[pieces.len() - 1]);
        // Before the first speed and after the last one nothing is counted.
        let before = (0..=first).rev().find_map(known)?;
        let after = (last..ride.len()).find_map(known)?;
        (before.max(after) >= STOOD_M_S).then_some([time_s[first], time_s[last]])
    };
    pieces.chunk_by(|a, b| b - a == 1).filter_map(hole).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::{Pause, Recording};
    use crate::sample::align;

    const LAP_M: f64 = 250.0;

    /// 1000 s at 10 m/s, a record a second, then changed; a lap takes 25 s.
    fn counted(marks_s: &[f64], change: impl Fn(&mut Recording)) -> CountedLaps {
        let mut recording = Recording::of_speeds((0..1000).map(f64::from).collect(), vec![10.0; 1000]);
        change(&mut recording);
        CountedLaps::new(&align(&recording).0, LAP_M, marks_s)
    }

    fn pause(from_s: f64, to_s: f64) -> impl Fn(&mut Recording) {
        move |r| r.pauses_s = vec![Pause { from_s, to_s }]
    }

    /// Slows down to rest before a pause and starts from rest after it.
    fn stood(from: usize, to: usize) -> impl Fn(&mut Recording) {
        move |r| {
            (0..5).for_each(|k| r.speed_m_s[from - k] = 2.0 * k as f64);
            (0..5).for_each(|k| r.speed_m_s[to + k] = 2.0 * k as f64);
            r.pauses_s = vec![Pause { from_s: from as f64 + 0.2, to_s: to as f64 - 0.2 }];
            r.speed_m_s[from + 1..to].fill(0.0);
        }
    }

    #[test]
    fn a_sound_record_and_a_pause_stood_through_lose_no_place() {
        let sound = counted(&[500.0], |_| ());
        assert_eq!((sound.unplaced_s.len(), sound.passes_s.len()), (0, 40));
        assert!((sound.passes_s[39] - 975.0).abs() < 1e-3);
        let stood = counted(&[], stood(300, 340));
        assert_eq!((&stood.unplaced_s[..], &stood.begins_s[..]), (&[][..], &[0.0][..]));
    }

    #[test]
    fn after_a_pause_ridden_through_no_lap_is_placed() {
        let lost = counted(&[200.0], pause(310.2, 310.8));
        assert_eq!(lost.unplaced_s, [[310.0, 999.0]]);
        // Of 39 laps those that end by 300 s keep their place.
        assert_eq!((lost.passes_s.len() - 1, lost.unplaced()), (39, 27));
    }

    #[test]
    fn a_lap_mark_after_a_pause_begins_the_count_anew() {
        let lost = counted(&[200.0, 433.0, 700.0], pause(310.2, 310.8));
        assert_eq!((&lost.unplaced_s[..], &lost.begins_s[..]), (&[[310.0, 433.0]][..], &[0.0, 433.0][..]));
        let after: Vec<f64> = lost.passes_s.iter().copied().filter(|t| *t >= 433.0).collect();
        assert_eq!(after.len(), 23);
        assert!(after.iter().enumerate().all(|(i, t)| (t - 433.0 - 25.0 * i as f64).abs() < 1e-3), "{after:?}");
        // Five laps end between 310 s and 433 s, and the sixth is cut off.
        assert_eq!(lost.unplaced(), 6);
    }

    #[test]
    fn records_missing_while_riding_and_speed_missing_are_holes_of_the_distance_too() {
        let missing = counted(&[], |r| {
            let kept = |i: &usize| !(400..420).contains(i);
            *r = Recording::of_speeds((0..1000).filter(kept).map(|i| i as f64).collect(), vec![10.0; 980]);
        });
        assert_eq!(missing.unplaced_s, [[399.0, 999.0]]);
        let silent = counted(&[], |r| r.speed_m_s[400..420].fill(f64::NAN));
        assert_eq!(silent.unplaced_s, [[399.0, 999.0]]);
        let at_first = counted(&[], |r| r.speed_m_s[..20].fill(f64::NAN));
        assert!(at_first.unplaced_s.is_empty());
    }
}
