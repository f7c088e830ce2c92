//! Lap marks of a device: whether they are those of a loop, and which are too many or missing.
//!
//! Given a ride with its marks; gives what they say of laps.

use super::gate_search::{LENGTH_TOLERANCE, usual_length};
use crate::finding::What;
use crate::sample::Ride;

/// Marks that repeat at one distance, at least two laps of them.
pub(super) fn has_regular_marks(ride: &Ride) -> bool {
    let lengths = lap_lengths(ride, &ride.lap_marks_s);
    let usual = usual_length(&lengths);
    lengths.iter().filter(|l| (*l / usual - 1.0).abs() <= LENGTH_TOLERANCE).count() >= 2
}

/// Marks that a device sets by itself at a round distance say nothing of a loop.
pub(super) fn are_automatic(ride: &Ride) -> bool {
    let usual = usual_length(&lap_lengths(ride, &ride.lap_marks_s));
    [500.0, 1000.0, 2000.0, 5000.0, 10_000.0, 1609.344, 8046.72].iter().any(|round| (usual / round - 1.0).abs() < 0.004)
}

pub(super) fn lap_lengths(ride: &Ride, passes: &[f64]) -> Vec<f64> {
    passes.windows(2).map(|w| ride.distance_m.at(w[1]) - ride.distance_m.at(w[0])).filter(|l| *l > 50.0).collect()
}

/// Lap marks that do not lie a lap from the one before: which are too many, and after which one is missing.
pub(super) fn odd_marks(ride: &Ride) -> Option<What> {
    let marks = &ride.lap_marks_s;
    let usual = usual_length(&lap_lengths(ride, marks));
    let laps = |a: usize, b: usize| (ride.distance_m.at(marks[b]) - ride.distance_m.at(marks[a])) / usual;
    let whole = |laps: f64| laps.round() >= 1.0 && (laps / laps.round() - 1.0).abs() <= LENGTH_TOLERANCE;
    // What is ridden before the first whole lap and after the last is no lap, and its marks are not odd.
    let first = (1..marks.len()).find(|b| whole(laps(b - 1, *b)))? - 1;
    let last = (1..marks.len()).rev().find(|b| whole(laps(b - 1, *b)))?;
    let (mut extra, mut missing_after) = (Vec::new(), Vec::new());
    let mut from = first;
    for mark in first + 1..=last {
        let ridden = laps(from, mark);
        if whole(ridden) {
            missing_after.extend((1.5 < ridden).then_some(from + 1));
            from = mark;
        } else if ridden < 1.0 {
            extra.push(mark + 1);
        } else {
            from = mark;
        }
    }
    (!extra.is_empty() || !missing_after.is_empty()).then_some(What::LapMarksOdd { extra, missing_after })
}
