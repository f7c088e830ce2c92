//! Finding a gate where none was stated: the place where the rides pass again and again at one distance.
//!
//! Given rides and tracks; gives a gate. Coarse search over the whole of a ride first, then along one lap.

use super::gate::{Gate, Track};
use super::plane::Place;
use crate::sample::Ride;
use std::collections::HashMap;

/// Edge of the cells that records are sorted into, m.
const CELL_M: f64 = 40.0;
/// Candidates tried in each of the two searches.
const CANDIDATES: usize = 240;
/// A lap may differ from the usual length by this fraction.
pub(super) const LENGTH_TOLERANCE: f64 = 0.03;
/// Half of the time over which a pass is judged steady, s.
const PASSING_S: f64 = 2.0;
/// The record must go on this far beyond the first and the last pass, because refining moves a pass, s.
const MARGIN_S: f64 = 3.0;
/// A place counts as steady when riders pass it with no more acceleration than this multiple of the steadiest place,
/// and a little.
const STEADY_FACTOR: f64 = 1.5;
const STEADY_M_S2: f64 = 0.02;
/// How far along the lap a cut may be moved from a stated gate, share of the lap.
const MOST_MOVED: f64 = 0.3;
/// Shortest lap looked for, m.
const SHORTEST_LAP_M: f64 = 150.0;

/// Records of all rides by the cell they lie in.
struct Cells<'a> {
    rides: &'a [(&'a Ride, &'a Track)],
    cells: HashMap<[i32; 2], Vec<[u32; 2]>>,
}

fn cell(place: Place) -> [i32; 2] {
    [(place.east_m / CELL_M).floor() as i32, (place.north_m / CELL_M).floor() as i32]
}

/// What a gate would give.
struct Trial {
    gate: Gate,
    laps: usize,
    /// Usual lap length, m.
    length_m: f64,
    /// Variance of the square of lap speed, the spread that separates CdA from Crr.
    spread: f64,
    /// Root-mean-square acceleration while passing, m/s².
    unsteady_m_s2: f64,
    first_lap: Option<LapSpan>,
}

#[derive(Clone, Copy)]
struct LapSpan {
    ride: usize,
    from_s: f64,
    to_s: f64,
}

impl<'a> Cells<'a> {
    fn new(rides: &'a [(&'a Ride, &'a Track)]) -> Self {
        let mut cells: HashMap<[i32; 2], Vec<[u32; 2]>> = HashMap::new();
        for (r, (_, track)) in rides.iter().enumerate() {
            for (i, place) in track.place.iter().enumerate() {
                if place.is_known() {
                    cells.entry(cell(*place)).or_default().push([r as u32, i as u32]);
                }
            }
        }
        Cells { rides, cells }
    }

    /// Passes of every ride, found among the records near the gate only.
    fn passes(&self, gate: &Gate) -> Vec<Vec<f64>> {
        let [x, y] = cell(gate.at);
        let mut crossings: Vec<(usize, f64)> = Vec::new();
        for dx in -2..=2 {
            for dy in -2..=2 {
                for [r, i] in self.cells.get(&[x + dx, y + dy]).into_iter().flatten() {
                    let (ride, track) = self.rides[*r as usize];
                    crossings.extend(gate.crossing(ride, track, *i as usize).map(|t| (*r as usize, t)));
                }
            }
        }
        crossings.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
        let mut passes: Vec<Vec<f64>> = vec![Vec::new(); self.rides.len()];
        for (r, t) in crossings {
            let distance_m = &self.rides[r].0.distance_m;
            let list = &mut passes[r];
            if list.last().is_none_or(|last| distance_m.at(t) - distance_m.at(*last) > SHORTEST_LAP_M) {
                list.push(t);
            }
        }
        passes
    }

    fn trial(&self, gate: Gate) -> Trial {
        let passes = self.passes(&gate);
        let (mut squares, mut count) = (0.0, 0.0_f64);
        for ((ride, _), list) in self.rides.iter().zip(&passes) {
            for t in list {
                let change = ride.speed.at(t + PASSING_S) - ride.speed.at(t - PASSING_S);
                if change.is_finite() {
                    squares += (change / (2.0 * PASSING_S)).powi(2);
                    count += 1.0;
                }
            }
        }
        let unsteady_m_s2 = (squares / count.max(1.0)).sqrt();
        let mut spans: Vec<(f64, LapSpan)> = Vec::new();
        for (r, list) in passes.iter().enumerate() {
            let (ride, _) = self.rides[r];
            for w in list.windows(2) {
                let length = ride.distance_m.at(w[1]) - ride.distance_m.at(w[0]);
                if ride.is_unbroken(w[0] - MARGIN_S, w[0]) && ride.is_unbroken(w[0], w[1] + MARGIN_S) {
                    spans.push((length, LapSpan { ride: r, from_s: w[0], to_s: w[1] }));
                }
            }
        }
        let length_m = usual_length(&spans.iter().map(|s| s.0).collect::<Vec<_>>());
        spans.retain(|(l, _)| (l / length_m - 1.0).abs() <= LENGTH_TOLERANCE);
        let squares: Vec<f64> = spans.iter().map(|(l, s)| (l / (s.to_s - s.from_s)).powi(2)).collect();
        let n = squares.len().max(1) as f64;
        let mean = squares.iter().sum::<f64>() / n;
        Trial {
            gate,
            laps: spans.len(),
            length_m,
            spread: squares.iter().map(|q| (q - mean).powi(2)).sum::<f64>() / n,
            unsteady_m_s2,
            first_lap: spans.first().map(|s| s.1),
        }
    }
}

/// The length that most laps share: the one with most others within the tolerance, the longest total among equals.
pub(super) fn usual_length(lengths: &[f64]) -> f64 {
    let mut sorted: Vec<f64> = lengths.iter().copied().filter(|l| l.is_finite() && *l > 0.0).collect();
    sorted.sort_by(f64::total_cmp);
    let mut best = 0.0;
    let mut best_total = 0.0;
    // The lengths that share one form a window of the sorted ones, which moves on with it.
    let (mut from, mut to) = (0, 0);
    for &l in &sorted {
        while sorted[from] / l < 1.0 - LENGTH_TOLERANCE {
            from += 1;
        }
        while to < sorted.len() && sorted[to] / l <= 1.0 + LENGTH_TOLERANCE {
            to += 1;
        }
        let total = ((to - from) as f64 - 0.5) * l;
        if total > best_total {
            best_total = total;
            best = sorted[from + (to - from) / 2];
        }
    }
    best
}

/// Finds the gate that gives the most whole laps and, among those, steady passes and the widest spread of lap speed.
///
/// Riders change speed at a certain place. Just after it a lap is at one speed; at it, speed is changing, and a sensor
/// that averages over a second misses half a second of the change, which is worth decimetres of elevation. `None` when
/// no place is passed twice in the same direction.
pub fn find_gate(rides: &[(&Ride, &Track)]) -> Option<Gate> {
    let cells = Cells::new(rides);
    let coarse_of = |(ride, track): &(&Ride, &Track)| {
        candidates(ride, track, 0.0, ride.duration_s())
            .map(|gate| cells.trial(gate))
            .filter(|t| t.laps >= 1)
            .max_by(|a, b| covered(a).total_cmp(&covered(b)))
    };
    // The longest ride first; one that passes no place twice leaves the search to the next.
    let mut longest_first: Vec<&(&Ride, &Track)> = rides.iter().collect();
    longest_first.sort_by_key(|(ride, _)| std::cmp::Reverse(ride.len()));
    let coarse = longest_first.into_iter().find_map(coarse_of)?;
    let fine = along_a_lap(&cells, coarse);
    let most = fine.iter().map(|t| t.laps).max()?;
    let steadiest = fine.iter().map(|t| t.unsteady_m_s2).fold(f64::MAX, f64::min);
    let enough = |t: &Trial| t.laps + rides.len() >= most && t.laps >= 1;
    fine.into_iter()
        .filter(|t| enough(t) && is_steady(t.unsteady_m_s2, steadiest))
        .max_by(|a, b| (a.laps as f64 * a.spread).total_cmp(&(b.laps as f64 * b.spread)))
        .map(|t| t.gate)
}

/// The first steady place at or after a stated gate, no further than three tenths of the lap; the gate itself where
/// there is none.
pub fn steady_gate(rides: &[(&Ride, &Track)], stated: Gate) -> Gate {
    let cells = Cells::new(rides);
    let at_gate = cells.trial(stated);
    let (laps, length_m) = (at_gate.laps, at_gate.length_m);
    let Some(span) = at_gate.first_lap else { return stated };
    let ride = rides[span.ride].0;
    let from_m = ride.distance_m.at(span.from_s);
    let stated_unsteady = at_gate.unsteady_m_s2;
    let fine = along_a_lap(&cells, at_gate);
    let steadiest = fine.iter().map(|t| t.unsteady_m_s2).fold(f64::MAX, f64::min);
    if is_steady(stated_unsteady, steadiest) {
        return stated;
    }
    fine.into_iter()
        .filter(|t| t.laps + rides.len() >= laps && is_steady(t.unsteady_m_s2, steadiest))
        .filter_map(|t| Some((ride.distance_m.at(t.first_lap?.from_s) - from_m, t)))
        .filter(|(moved, _)| (0.0..MOST_MOVED * length_m).contains(moved))
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map_or(stated, |(_, t)| t.gate)
}

/// Whether passes are steady enough beside the steadiest, both as root-mean-square acceleration in m/s².
pub(super) fn is_steady(unsteady_m_s2: f64, steadiest_m_s2: f64) -> bool {
    unsteady_m_s2 <= STEADY_FACTOR * steadiest_m_s2 + STEADY_M_S2
}

/// Trials at places along the first lap of a trial, itself among them.
fn along_a_lap(cells: &Cells, trial: Trial) -> Vec<Trial> {
    let Some(span) = trial.first_lap else { return vec![trial] };
    let (ride, track) = cells.rides[span.ride];
    let usual_m = trial.length_m;
    candidates(ride, track, span.from_s, span.to_s)
        .map(|gate| cells.trial(gate))
        .filter(|t| (t.length_m / usual_m - 1.0).abs() <= LENGTH_TOLERANCE)
        .chain(std::iter::once(trial))
        .collect()
}

/// Distance ridden in repeated laps: a place passed once again counts little.
fn covered(trial: &Trial) -> f64 {
    (trial.laps as f64 - 0.9) * trial.length_m
}

/// Gates at evenly spaced records of a span, pointing along the travel there.
fn candidates(ride: &Ride, track: &Track, from_s: f64, to_s: f64) -> impl Iterator<Item = Gate> {
    let range = ride.records_between(from_s, to_s);
    let every = (range.len() / CANDIDATES).max(1);
    range
        .step_by(every)
        .filter_map(move |i| {
            let a = track.place.get(i.checked_sub(2)?)?;
            let (at, b) = (track.place.get(i)?, track.place.get(i + 2)?);
            let d = Place { east_m: b.east_m - a.east_m, north_m: b.north_m - a.north_m };
            let norm = d.east_m.hypot(d.north_m);
            (norm > 4.0 && at.is_known())
                .then(|| Gate { at: *at, toward: Place { east_m: d.east_m / norm, north_m: d.north_m / norm } })
        })
        .collect::<Vec<_>>()
        .into_iter()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The definition, word by word: every length against every other.
    fn by_definition(lengths: &[f64]) -> f64 {
        let (mut best, mut best_total) = (0.0, 0.0);
        for &l in lengths {
            let mut sharing: Vec<f64> =
                lengths.iter().copied().filter(|o| (o / l - 1.0).abs() <= LENGTH_TOLERANCE).collect();
            let total = (sharing.len() as f64 - 0.5) * l;
            if total > best_total {
                sharing.sort_by(f64::total_cmp);
                best_total = total;
                best = sharing[sharing.len() / 2];
            }
        }
        best
    }

    #[test]
    fn the_usual_length_is_that_of_its_definition_at_any_number_of_laps() {
        let mut state = 1u64;
        let mut next = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) as f64 / f64::from(1u32 << 31)
        };
        for count in [0, 1, 2, 3, 10, 60] {
            let lengths: Vec<f64> = (0..count).map(|_| 1000.0 * (1.0 + 0.2 * next())).collect();
            assert_eq!(usual_length(&lengths), by_definition(&lengths), "{lengths:?}");
        }
        // A file can hold a lap mark for every record.
        let many: Vec<f64> = (0..1_000_000).map(|_| 60.0 + next()).collect();
        assert!(usual_length(&many) > 60.0);
    }
}
