//! Positions that no bicycle can have reached: dropped before anything is averaged.
//!
//! Given a ride and its places; takes away the places that cannot be joined to the others at any speed that is ridden,
//! and says how many and how far off. It moves no place and judges none that can be reached.

use super::gate::Track;
use super::plane::Place;
use crate::sample::Ride;

/// Faster than any test is ridden, m/s.
const FASTEST_M_S: f64 = 30.0;
/// What satellite positions wander within seconds, m (common practice, no source).
const WANDER_M: f64 = 30.0;

/// Places that were dropped.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Unreachable {
    pub count: usize,
    /// The largest distance from where the bicycle was last or next, m.
    pub farthest_m: f64,
    /// Of the first of them, s from the first record.
    pub first_s: f64,
}

/// Takes away places that cannot be joined to the bulk of the others.
///
/// Neighbours that can be joined make up groups. From the largest group on, forward and backward, a group stays when its
/// near end can be reached from the last place that stayed.
pub(super) fn drop_unreachable(ride: &Ride, track: &mut Track) -> Option<Unreachable> {
    let known: Vec<usize> = (0..track.place.len()).filter(|&i| track.place[i].is_known()).collect();
    let too_far = |a: usize, b: usize| {
        let limit_m = WANDER_M + FASTEST_M_S * (ride.time_s[b] - ride.time_s[a]).abs();
        let d = distance_m(track.place[a], track.place[b]);
        (d > limit_m).then_some(d)
    };
    let groups: Vec<&[usize]> = known.chunk_by(|a, b| too_far(*a, *b).is_none()).collect();
    if groups.len() < 2 {
        return None;
    }
    let largest = (0..groups.len()).max_by_key(|g| groups[*g].len())?;
    let mut dropped: Vec<usize> = Vec::new();
    let mut farthest_m: f64 = 0.0;
    let mut last = *groups[largest].last()?;
    for group in &groups[largest + 1..] {
        match too_far(last, group[0]) {
            None => last = group[group.len() - 1],
            Some(d) => {
                farthest_m = farthest_m.max(d);
                dropped.extend_from_slice(group);
            }
        }
    }
    let mut next = groups[largest][0];
    for group in groups[..largest].iter().rev() {
        match too_far(group[group.len() - 1], next) {
            None => next = group[0],
            Some(d) => {
                farthest_m = farthest_m.max(d);
                dropped.extend_from_slice(group);
            }
        }
    }
    let first_s = dropped.iter().map(|&i| ride.time_s[i]).fold(f64::INFINITY, f64::min);
    for &i in &dropped {
        track.place[i] = Place { east_m: f64::NAN, north_m: f64::NAN };
    }
    (!dropped.is_empty()).then_some(Unreachable { count: dropped.len(), farthest_m, first_s })
}

fn distance_m(a: Place, b: Place) -> f64 {
    (b.east_m - a.east_m).hypot(b.north_m - a.north_m)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::Recording;
    use crate::sample::align;

    /// 200 s at 10 m/s due east.
    fn ride() -> (Ride, Track) {
        let ride = align(&Recording::of_speeds((0..200).map(f64::from).collect(), vec![10.0; 200])).0;
        let place = (0..200).map(|i| Place { east_m: 10.0 * f64::from(i), north_m: 0.0 }).collect();
        (ride, Track { place })
    }

    #[test]
    fn places_off_for_seconds_are_dropped_at_any_distance_and_the_rest_stay() {
        for off_m in [100.0, 3000.0, 200_000.0] {
            for (from, to) in [(0, 3), (60, 61), (60, 70), (190, 200)] {
                let (ride, mut track) = ride();
                track.place[from..to].iter_mut().for_each(|p| p.north_m += off_m);
                let told = drop_unreachable(&ride, &mut track).expect("told");
                assert_eq!((told.count, told.first_s), (to - from, from as f64), "{off_m} {from}");
                assert!((told.farthest_m / off_m - 1.0).abs() < 0.02, "{told:?}");
                assert_eq!(track.place.iter().filter(|p| p.is_known()).count(), 200 - (to - from));
            }
        }
    }

    #[test]
    fn places_that_wander_or_go_on_after_a_hole_stay() {
        let (ride, mut track) = ride();
        track.place[80..130].fill(Place { east_m: f64::NAN, north_m: f64::NAN });
        track.place[20].north_m += 15.0;
        assert_eq!(drop_unreachable(&ride, &mut track), None);
    }
}
