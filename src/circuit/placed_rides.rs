//! Rides in one plane: which of them move, and where they are at each record.
//!
//! Given rides; gives places, those that no bicycle can have reached taken away and told. It finds no lap.

use super::gate::Track;
use super::lap::RunToCut;
use super::plane::Plane;
use super::reach::drop_unreachable;
use crate::finding::{Finding, What};
use crate::sample::Ride;
use crate::session::Position;

/// Positions that span less than this do not move, m.
const STANDING_M: f64 = 60.0;
/// Share of the positions at either end of their range that may be faults of the receiver.
const FAULTY: f64 = 0.02;

/// Rides in a plane.
pub(super) struct PlacedRides {
    /// `None` without positions that move.
    pub plane: Option<Plane>,
    pub moving: Vec<bool>,
    pub tracks: Vec<Track>,
}

pub(super) fn placed(runs: &[RunToCut], findings: &mut Vec<Finding>) -> PlacedRides {
    let moving: Vec<bool> = runs.iter().map(|r| has_moving_positions(r.ride)).collect();
    for (k, run) in runs.iter().enumerate() {
        if !moving[k] && run.ride.latitude_deg.iter().any(|x| x.is_finite()) {
            findings.push(Finding::of_run(k, What::NotMoving));
        }
    }
    let plane = plane_of(runs, &moving);
    let tracks = runs
        .iter()
        .enumerate()
        .map(|(k, run)| {
            let Some(plane) = &plane else { return Track::default() };
            let mut track = Track::of(run.ride, plane);
            if let Some(lost) = drop_unreachable(run.ride, &mut track) {
                let (count, first_s) = (lost.count, lost.first_s);
                let what = What::PositionsUnreachable { count, farthest_m: lost.farthest_m, first_s };
                findings.push(Finding::of_run(k, what));
            }
            track
        })
        .collect();
    PlacedRides { plane, moving, tracks }
}

/// Whether positions are there and move.
pub fn has_moving_positions(ride: &Ride) -> bool {
    let span = |values: &[f64]| {
        let mut known: Vec<f64> = values.iter().copied().filter(|x| x.is_finite()).collect();
        known.sort_by(f64::total_cmp);
        let cut = (FAULTY * known.len() as f64) as usize;
        match (known.get(cut), known.get(known.len().wrapping_sub(1 + cut))) {
            (Some(low), Some(high)) => (high - low) * 111_000.0,
            _ => 0.0,
        }
    };
    let known = ride.latitude_deg.iter().filter(|x| x.is_finite()).count();
    known * 2 > ride.len() && span(&ride.latitude_deg).max(span(&ride.longitude_deg)) > STANDING_M
}

/// About the middle of the first run that moves, which no single fault of the receiver moves.
fn plane_of(runs: &[RunToCut], moving: &[bool]) -> Option<Plane> {
    let ride = runs.iter().zip(moving).find(|(_, m)| **m)?.0.ride;
    let known = (0..ride.len()).filter(|&i| ride.latitude_deg[i].is_finite() && ride.longitude_deg[i].is_finite());
    let mut by_latitude: Vec<usize> = known.collect();
    by_latitude.sort_by(|a, b| ride.latitude_deg[*a].total_cmp(&ride.latitude_deg[*b]));
    let i = *by_latitude.get(by_latitude.len() / 2)?;
    Some(Plane::at(Position { lat_deg: ride.latitude_deg[i], lon_deg: ride.longitude_deg[i] }))
}
