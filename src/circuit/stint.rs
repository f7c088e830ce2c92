//! Stints of consecutive laps: one chainage for all of them, step edges in time, reasons.
//!
//! Given the passes of a run and the line; gives its laps. A lap keeps its reason and is never removed.

use super::chainage::{Chainage, Sighting};
use super::gate::Track;
use super::gate_search::LENGTH_TOLERANCE;
use super::lap::{Lap, RunToCut};
use super::passes::{Passes, RunPasses};
use super::reference_line::ReferenceLine;
use crate::sample::{Reason, Ride};

/// Standard deviation of a satellite position along the line, m, and the time over which it stays the same, s
/// (common practice, no source).
const POSITION_SD_M: f64 = 2.0;
const POSITION_TIME_S: f64 = 60.0;
/// Standard deviation of the instant of a lap mark, s (a button pressed by hand).
const MARK_SD_S: f64 = 0.15;
/// Further than this from the line is off it, m.
const OFF_LINE_M: f64 = 22.0;
/// Longest stay off the line, s.
const OFF_LINE_S: f64 = 4.0;
/// Power is looked at this far outside a lap, because of the lag, s.
const LAG_REACH_S: f64 = 2.0;

/// Whether a span has the usual length of a lap.
pub(super) fn is_usual(ride: &Ride, from_s: f64, to_s: f64, length_m: f64) -> bool {
    let length = ride.distance_m.at(to_s) - ride.distance_m.at(from_s);
    (length / length_m - 1.0).abs() <= LENGTH_TOLERANCE
}

/// Cuts one run.
pub(super) struct RunCutter<'a> {
    pub run: &'a RunToCut<'a>,
    pub track: &'a Track,
    pub passes: &'a RunPasses,
    pub line: Option<&'a ReferenceLine>,
    pub length_m: f64,
    pub edge: &'a [f64],
    pub marks: &'a [Option<Reason>],
}

impl RunCutter<'_> {
    pub fn laps(&self) -> Vec<Lap> {
        let ride = self.run.ride;
        let mut laps: Vec<Lap> = self
            .passes
            .at_s
            .windows(2)
            .enumerate()
            .map(|(i, w)| Lap {
                number: i + 1,
                start_s: w[0],
                end_s: w[1],
                distance_m: ride.distance_m.at(w[1]) - ride.distance_m.at(w[0]),
                edge_s: Vec::new(),
                reason: if !ride.is_unbroken(w[0], w[1]) {
                    Some(Reason::Gap)
                } else if !is_usual(ride, w[0], w[1], self.length_m) {
                    Some(Reason::LapLengthOff)
                } else {
                    None
                },
            })
            .collect();
        let mut from = 0;
        while from < laps.len() {
            if laps[from].reason.is_some() {
                from += 1;
                continue;
            }
            let mut to = from;
            while to < laps.len() && laps[to].reason.is_none() {
                to += 1;
            }
            self.cut_stint(&mut laps[from..to]);
            from = to;
        }
        laps
    }

    /// Laps that follow each other share one chainage.
    fn cut_stint(&self, laps: &mut [Lap]) {
        let ride = self.run.ride;
        let (Some(first), Some(last)) = (laps.first(), laps.last()) else { return };
        let (from_s, to_s) = (first.start_s, last.end_s);
        let passes: Vec<f64> = laps.iter().map(|l| l.start_s).chain(std::iter::once(to_s)).collect();
        let mut off_line: Vec<f64> = Vec::new();
        let chainage = match self.passes.how {
            Passes::Distance => Some(Chainage::by_distance(ride, from_s)),
            Passes::Marks => {
                let sightings: Vec<Sighting> = passes
                    .iter()
                    .enumerate()
                    .map(|(i, &t)| Sighting {
                        time_s: t,
                        chainage_m: i as f64 * self.length_m,
                        sd_m: MARK_SD_S * ride.distance_m.rate_at(t).max(1.0),
                    })
                    .collect();
                Chainage::fit(ride, &sightings, &passes)
            }
            Passes::Gate => {
                let sightings = self.sightings(&passes, &mut off_line);
                Chainage::fit(ride, &sightings, &passes)
            }
        };
        let Some(chainage) = chainage else {
            for lap in laps {
                lap.reason = Some(Reason::PositionLost);
            }
            return;
        };
        // The refined pass may lie some seconds from the rough one, but never outside the unbroken stretch.
        let stretch = ride.index_at(from_s).map_or(0, |i| ride.stretch[i]);
        let a = ride.stretch.partition_point(|s| *s < stretch);
        let b = ride.stretch.partition_point(|s| *s <= stretch);
        let (open_s, close_s) = (ride.time_s[a].max(from_s - 30.0), ride.time_s[b - 1].min(to_s + 30.0));
        for (i, lap) in laps.iter_mut().enumerate() {
            let edges: Option<Vec<f64>> = self
                .edge
                .iter()
                .map(|share| {
                    let target = (i as f64 + share) * self.length_m;
                    let near = (lap.start_s - 30.0).max(open_s)..(lap.end_s + 30.0).min(close_s);
                    chainage.time_at(ride, target, near.start, near.end)
                })
                .collect();
            match edges.filter(|e| e.windows(2).all(|w| w[1] > w[0])) {
                Some(edges) => {
                    lap.start_s = edges[0];
                    lap.end_s = edges[edges.len() - 1];
                    lap.distance_m = ride.distance_m.at(lap.end_s) - ride.distance_m.at(lap.start_s);
                    lap.edge_s = edges;
                    lap.reason = self.reason_in(lap.start_s, lap.end_s, &off_line);
                }
                None => {
                    let reason = self.reason_in(lap.start_s, lap.end_s, &off_line);
                    lap.reason = Some(reason.unwrap_or(Reason::Gap));
                }
            }
        }
    }

    /// Places on the line for the records of a stint; instants off the line are noted.
    fn sightings(&self, passes: &[f64], off_line: &mut Vec<f64>) -> Vec<Sighting> {
        let ride = self.run.ride;
        let Some(line) = self.line else { return Vec::new() };
        let mut out = Vec::new();
        for (lap, w) in passes.windows(2).enumerate() {
            let (start, whole) = (ride.distance_m.at(w[0]), ride.distance_m.at(w[1]) - ride.distance_m.at(w[0]));
            for i in ride.records_between(w[0], w[1]) {
                let place = self.track.place[i];
                if !place.is_known() {
                    continue;
                }
                let expected = (lap as f64 + (ride.distance_m.totals()[i] - start) / whole) * self.length_m;
                let Some(p) = line.project(place, expected, 45.0) else { continue };
                if p.offset_m > OFF_LINE_M {
                    off_line.push(ride.time_s[i]);
                    continue;
                }
                let interval = if i > 0 { ride.time_s[i] - ride.time_s[i - 1] } else { 1.0 };
                // Neighbouring fixes share their error, so each weighs as little as its share of the error's life.
                let share = (2.0 * POSITION_TIME_S / interval.clamp(0.2, 2.0 * POSITION_TIME_S)).sqrt();
                out.push(Sighting { time_s: ride.time_s[i], chainage_m: p.chainage_m, sd_m: POSITION_SD_M * share });
            }
        }
        out
    }

    /// The gravest reason among the records of a span, power looked at a little beyond it.
    fn reason_in(&self, from_s: f64, to_s: f64, off_line: &[f64]) -> Option<Reason> {
        let ride = self.run.ride;
        let inner = ride.records_between(from_s, to_s);
        let outer = ride.records_between(from_s - LAG_REACH_S, to_s + LAG_REACH_S);
        let power = |i: &usize| matches!(self.marks[*i], Some(Reason::PowerMissing | Reason::PowerStuck));
        let marked = inner.filter_map(|i| self.marks[i]).min();
        let off = off_line.iter().filter(|t| **t >= from_s && **t < to_s).count() as f64 > OFF_LINE_S;
        marked.or_else(|| outer.filter(power).find_map(|i| self.marks[i])).or(off.then_some(Reason::OffTheLine))
    }
}
