//! What a lap is, and where its steps begin.
//!
//! Given the line of a loop; gives step edges that spare its hairpins. Laps that must not be used carry a reason; none is
//! removed.

use super::chainage::Chainage;
use super::lap_length::LapLengths;
use super::reference_line::ReferenceLine;
use super::track::StatedBends;
use crate::error::Error;
use crate::finding::Finding;
use crate::sample::{Reason, Ride};
use crate::session::{LapSource, Position};

/// Length of a step, m: gusts last longer than it takes to ride one.
const STEP_M: f64 = 32.0;
/// Fewest and most steps of a lap.
const STEPS: [f64; 2] = [12.0, 240.0];
/// Curvature from which a bend on a road is a hairpin, tighter than averaged positions resolve, 1/m; how far from one no
/// edge may lie, and the distance between looks, m.
const HAIRPIN_1_M: f64 = 1.0 / 16.0;
const HAIRPIN_REACH_M: f64 = 28.0;
const HAIRPIN_LOOK_M: f64 = 4.0;
/// Furthest that a lap is moved for another length of the loop, s.
const REACH_S: f64 = 120.0;

/// One lap of one run.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Lap {
    /// From 1, the first whole lap.
    pub number: usize,
    /// From the run's first record.
    pub start_s: f64,
    pub end_s: f64,
    /// By the wheel.
    pub distance_m: f64,
    /// Instants of the step edges, one more than there are steps; empty when they cannot be found.
    pub edge_s: Vec<f64>,
    /// By how much later each of them is where the speed reading is a second later, s/s.
    pub edge_shift_per_delay: Vec<f64>,
    /// Laps from where counting begins to each of them; empty unless laps are counted by distance.
    pub edge_count: Vec<f64>,
    pub reason: Option<Reason>,
    /// Why a step must not be used, one entry a step; empty where steps are not judged one by one.
    pub step_reason: Vec<Option<Reason>>,
}

impl Lap {
    pub fn duration_s(&self) -> f64 {
        self.end_s - self.start_s
    }

    pub fn mean_speed_m_s(&self) -> f64 {
        self.distance_m / self.duration_s()
    }

    /// Way that the lap moves along the loop where the speed reading is a second later, m/s.
    pub fn way_per_delay(&self) -> f64 {
        let mean_shift = self.edge_shift_per_delay.iter().sum::<f64>() / self.edge_shift_per_delay.len().max(1) as f64;
        mean_shift * self.mean_speed_m_s()
    }

    /// Way that a lap counted by distance moves along the loop where each lap is a metre longer, m/m; 0 of other laps.
    pub fn way_per_length(&self) -> f64 {
        self.edge_count.iter().sum::<f64>() / self.edge_count.len().max(1) as f64
    }

    /// Where the lap lies if the speed reading is later by so much, less the way per delay that something else holds, m/s; where
    /// it is, if a stop at an edge leaves no order in that.
    pub fn with_later_speed(&self, by_s: f64, held_m_s: f64) -> Lap {
        let held = held_m_s / self.mean_speed_m_s();
        let later = |(t, shift): (&f64, &f64)| t + by_s * (shift - held);
        self.with_edges(self.edge_s.iter().zip(&self.edge_shift_per_delay).map(later).collect())
    }

    /// Where a lap counted by distance lies if every lap is longer by so much, less the way per length that something else
    /// holds, m/m; where it is, if the record does not reach so far without a break.
    pub fn of_longer_laps(&self, ride: &Ride, by_m: f64, held: f64) -> Lap {
        let later = |(&t, count): (&f64, &f64)| {
            let way = Chainage::by_distance(ride, t);
            way.time_at(ride, by_m * (count - held), (t - REACH_S).max(0.0), (t + REACH_S).min(ride.duration_s()))
        };
        let edges: Option<Vec<f64>> = self.edge_s.iter().zip(&self.edge_count).map(later).collect();
        let moved = edges.map_or_else(|| self.clone(), |edges| self.with_edges(edges));
        if ride.is_unbroken(moved.start_s, moved.end_s) { moved } else { self.clone() }
    }

    fn with_edges(&self, edge_s: Vec<f64>) -> Lap {
        let in_order = edge_s.windows(2).all(|w| w[1] > w[0]);
        match (edge_s.first(), edge_s.last()) {
            (Some(&start_s), Some(&end_s)) if in_order => Lap { start_s, end_s, edge_s, ..self.clone() },
            _ => self.clone(),
        }
    }
}

/// What one run has to say before it is cut.
pub struct RunToCut<'a> {
    pub file: &'a str,
    pub ride: &'a Ride,
    pub source: LapSource,
}

/// The loop and the laps of each run.
#[derive(Debug, Clone, Default)]
pub struct LapCut {
    pub length_m: f64,
    /// Chainage of the step edges as shares of the lap, from 0 to 1.
    pub edge: Vec<f64>,
    /// Absent when there are neither positions nor the geometry of a track.
    pub line: Option<ReferenceLine>,
    /// The stated bends that the line is made of, where it is.
    pub bends: Option<StatedBends>,
    /// Whether the line's headings are true bearings, so that wind can be told.
    pub has_bearings: bool,
    pub gate: Option<Position>,
    /// Laps of each run.
    pub runs: Vec<Vec<Lap>>,
    /// Why a run has no laps at all, where it has none.
    pub refused: Vec<Option<Error>>,
    /// Readings of the length of a lap; empty until they are asked for.
    pub lengths: LapLengths,
    /// Reason of each record of each run, judged from the record alone.
    pub reasons: Vec<Vec<Option<Reason>>>,
    pub findings: Vec<Finding>,
}

impl LapCut {
    /// Takes the readings of the length. From here on the loop is as long as the mean lap by the wheel, where that is seen: the
    /// passes by which laps were found gave only the middle one of them, rounded to their records.
    pub fn take_lengths(&mut self, lengths: LapLengths) {
        self.length_m = lengths.by_wheel().unwrap_or(self.length_m);
        self.lengths = lengths;
    }
}

/// Step edges at equal shares of the lap, but none in a hairpin: there the bicycle trades height for speed within
/// metres, faster than positions can follow, and only a step that holds the whole bend closes.
pub(super) fn edges(length_m: f64, line: Option<&ReferenceLine>) -> Vec<f64> {
    let steps = (length_m / STEP_M).round().clamp(STEPS[0], STEPS[1]) as usize;
    let in_hairpin = |share: f64| {
        let Some(line) = line else { return false };
        let reach = (HAIRPIN_REACH_M / HAIRPIN_LOOK_M) as i32;
        (-reach..=reach)
            .any(|k| line.curvature_at(share * length_m + f64::from(k) * HAIRPIN_LOOK_M).abs() > HAIRPIN_1_M)
    };
    (0..=steps)
        .map(|j| j as f64 / steps as f64)
        .filter(|share| *share == 0.0 || *share == 1.0 || !in_hairpin(*share))
        .collect()
}
