//! The gate: a line across the road where laps begin, and the instants a ride passes it.
//!
//! Given a track in the plane; gives passes to a fraction of a second, in the direction of travel only.

use super::plane::{Place, Plane};
use crate::sample::Ride;

/// Positions of a ride in the plane, one a record; unknown places are NaN.
#[derive(Debug, Clone, Default)]
pub struct Track {
    pub place: Vec<Place>,
}

impl Track {
    pub fn of(ride: &Ride, plane: &Plane) -> Self {
        Track {
            place: ride
                .latitude_deg
                .iter()
                .zip(&ride.longitude_deg)
                .map(|(&lat, &lon)| plane.place(lat, lon))
                .collect(),
        }
    }
}

/// A timing point with the direction in which it is passed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gate {
    pub at: Place,
    /// Unit vector of travel.
    pub toward: Place,
}

/// Half the width of the gate, m: satellite positions wander by several metres and riders use the road.
const HALF_WIDTH_M: f64 = 25.0;
/// Records further before or behind the gate than this do not make a pass, m.
const REACH_M: f64 = 90.0;
/// Cosine of the largest angle between travel and the gate's direction.
const DIRECTION_COS: f64 = 0.5;
/// Places further apart in time than this make no pass, s: a receiver may lose some, and a lost one must not cost a lap.
const LONGEST_HOLE_S: f64 = 6.0;
/// Shortest time between two passes, s.
const SHORTEST_LAP_S: f64 = 10.0;

impl Gate {
    /// The same line passed the other way.
    pub fn reversed(&self) -> Gate {
        Gate { at: self.at, toward: Place { east_m: -self.toward.east_m, north_m: -self.toward.north_m } }
    }

    /// Instant at which the ride passes between record `i` and the next whose place is known, if it does.
    pub fn crossing(&self, ride: &Ride, track: &Track, i: usize) -> Option<f64> {
        let a = *track.place.get(i).filter(|p| p.is_known())?;
        let in_reach = |k: &usize| ride.time_s[*k] - ride.time_s[i] <= LONGEST_HOLE_S || *k == i + 1;
        let next = (i + 1..track.place.len()).take_while(in_reach).find(|k| track.place[*k].is_known())?;
        let b = track.place[next];
        if ride.stretch[i] != ride.stretch[next] {
            return None;
        }
        let along = |p: Place| {
            (p.east_m - self.at.east_m) * self.toward.east_m + (p.north_m - self.at.north_m) * self.toward.north_m
        };
        let across = |p: Place| {
            (p.east_m - self.at.east_m) * self.toward.north_m - (p.north_m - self.at.north_m) * self.toward.east_m
        };
        let (before, after) = (along(a), along(b));
        if !(before < 0.0 && after >= 0.0 && before > -REACH_M && after < REACH_M) {
            return None;
        }
        let f = before / (before - after);
        if (across(a) + f * (across(b) - across(a))).abs() > HALF_WIDTH_M {
            return None;
        }
        let length = (b.east_m - a.east_m).hypot(b.north_m - a.north_m);
        if after - before < DIRECTION_COS * length {
            return None;
        }
        Some(ride.time_s[i] + f * (ride.time_s[next] - ride.time_s[i]))
    }

    /// All passes of a ride, s from its first record.
    pub fn passes(&self, ride: &Ride, track: &Track) -> Vec<f64> {
        let mut passes: Vec<f64> = Vec::new();
        for i in 0..ride.len().saturating_sub(1) {
            if let Some(t) = self.crossing(ride, track, i)
                && passes.last().is_none_or(|last| t - last > SHORTEST_LAP_S)
            {
                passes.push(t);
            }
        }
        passes
    }

    /// Direction of travel at a place: the mean direction of the records near it, by majority.
    pub fn through(at: Place, rides: &[(&Ride, &Track)]) -> Option<Gate> {
        let mut directions: Vec<Place> = Vec::new();
        for (ride, track) in rides {
            for i in 1..ride.len() {
                let (a, b) = (track.place[i - 1], track.place[i]);
                let near = (b.east_m - at.east_m).hypot(b.north_m - at.north_m) < 2.0 * HALF_WIDTH_M;
                let step = (b.east_m - a.east_m).hypot(b.north_m - a.north_m);
                if near && step > 1.0 && step < REACH_M {
                    directions
                        .push(Place { east_m: (b.east_m - a.east_m) / step, north_m: (b.north_m - a.north_m) / step });
                }
            }
        }
        // The direction that most records share within 60°.
        let support = |d: &Place| {
            directions.iter().filter(|o| d.east_m * o.east_m + d.north_m * o.north_m > DIRECTION_COS).count()
        };
        let every = directions.len() / 50 + 1;
        let best = directions.iter().step_by(every).max_by_key(|d| support(d)).copied()?;
        let mut sum = Place::default();
        for d in &directions {
            if best.east_m * d.east_m + best.north_m * d.north_m > DIRECTION_COS {
                sum.east_m += d.east_m;
                sum.north_m += d.north_m;
            }
        }
        let norm = sum.east_m.hypot(sum.north_m);
        Some(Gate { at, toward: Place { east_m: sum.east_m / norm, north_m: sum.north_m / norm } })
    }
}
