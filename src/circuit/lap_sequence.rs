//! Sequences of consecutive laps: one chainage for all of them, step edges in time, reasons.
//!
//! Given the passes of a run and the line; gives its laps. A lap keeps its reason and is never removed.

use super::chainage::Chainage;
use super::counted_laps::touches;
use super::fixes::Fixes;
use super::gate::Track;
use super::gate_search::LENGTH_TOLERANCE;
use super::lap::{Lap, RunToCut};
use super::lap_fixes::{marked, placed_on};
use super::mapped_length::{Mapped, Spot};
use super::passes::{Passes, RunPasses};
use super::reference_line::ReferenceLine;
use super::speed_delay::DelayEvidence;
use super::spoiled_steps::{SHORTEST_STAY_S, holes, of_lap, of_steps};
use crate::sample::{Reason, Ride};
use std::ops::Range;

/// Power is looked at this far outside a lap, because of the lag, s.
const LAG_REACH_S: f64 = 2.0;

/// Whether a span has the usual length of a lap.
pub(super) fn is_usual(ride: &Ride, from_s: f64, to_s: f64, length_m: f64) -> bool {
    let length = ride.distance_m.at(to_s) - ride.distance_m.at(from_s);
    (length / length_m - 1.0).abs() <= LENGTH_TOLERANCE
}

/// A run whose laps are told apart but not placed along the line yet.
pub(super) struct RunLaps<'a> {
    ride: &'a Ride,
    length_m: f64,
    /// As wide as the passes are apart; laps that cannot be placed have a reason.
    laps: Vec<Lap>,
    sequences: Vec<LapSequence>,
}

/// Laps that follow each other and share one chainage.
struct LapSequence {
    laps: Range<usize>,
    /// Rough instants of the passes that bound the laps.
    passes_s: Vec<f64>,
    tie: Tie,
    /// Instants off the line.
    off_line_s: Vec<f64>,
}

/// What ties the wheel's distance to the line.
enum Tie {
    /// Nothing: laps are counted by the wheel from some instant on.
    Distance {
        from_s: f64,
    },
    Fixes(Fixes),
    TooFewFixes,
}

/// Where laps are cut.
pub(super) struct Placing<'a> {
    /// Step edges as shares of the lap.
    pub edge: &'a [f64],
    /// Where the cut lies from the pass, share of the lap.
    pub offset: f64,
    pub delay_s: f64,
}

impl<'a> RunLaps<'a> {
    /// `line` where positions are to be seen against it.
    pub fn new(
        run: &RunToCut<'a>,
        track: &Track,
        passes: &RunPasses,
        line: Option<&ReferenceLine>,
        length_m: f64,
    ) -> RunLaps<'a> {
        let ride = run.ride;
        let laps: Vec<Lap> = passes
            .at_s
            .windows(2)
            .enumerate()
            .map(|(i, w)| Lap {
                number: i + 1,
                start_s: w[0],
                end_s: w[1],
                distance_m: ride.distance_m.at(w[1]) - ride.distance_m.at(w[0]),
                edge_s: Vec::new(),
                edge_shift_per_delay: Vec::new(),
                edge_count: Vec::new(),
                step_reason: Vec::new(),
                reason: if !ride.is_unbroken(w[0], w[1]) {
                    Some(Reason::Gap)
                } else if touches(&passes.unplaced_s, w[0], w[1]) {
                    Some(Reason::WayUnknown)
                } else if !is_usual(ride, w[0], w[1], length_m) {
                    Some(Reason::LapLengthOff)
                } else {
                    None
                },
            })
            .collect();
        let sequences = laps
            .chunk_by(|a, b| a.reason.is_none() == b.reason.is_none())
            .filter(|chunk| chunk[0].reason.is_none())
            .map(|chunk| {
                let from = chunk[0].number - 1;
                let passes_s: Vec<f64> = chunk.iter().map(|l| l.start_s).chain(chunk.last().map(|l| l.end_s)).collect();
                let mut off_line_s = Vec::new();
                let tied = |all| Fixes::new(all, &passes_s).map_or(Tie::TooFewFixes, Tie::Fixes);
                let tie = match (passes.how, line) {
                    (Passes::Distance, _) => {
                        let begun = passes.begins_s.partition_point(|t| *t <= passes_s[0]);
                        Tie::Distance { from_s: passes.begins_s.get(begun.saturating_sub(1)).copied().unwrap_or(0.0) }
                    }
                    (Passes::Marks, _) => tied(marked(ride, &passes_s, length_m)),
                    (Passes::Gate, Some(line)) => {
                        tied(placed_on(ride, track, line, &passes_s, length_m, &mut off_line_s))
                    }
                    (Passes::Gate, None) => Tie::TooFewFixes,
                };
                LapSequence { laps: from..from + chunk.len(), passes_s, tie, off_line_s }
            })
            .collect();
        RunLaps { ride, length_m, laps, sequences }
    }

    pub fn lap_count(&self) -> usize {
        self.laps.len()
    }

    /// Mean lap by the wheel, m; `None` where laps are counted by it, or none is tied to anything.
    pub fn lap_by_wheel_m(&self, delay_s: f64) -> Option<f64> {
        let (mut ridden_m, mut laps) = (0.0, 0.0);
        for sequence in &self.sequences {
            if let Tie::Fixes(fixes) = &sequence.tie
                && let Some(chainage) = fixes.chainage(delay_s)
            {
                let count = sequence.laps.len() as f64;
                ridden_m += count * self.length_m / chainage.scale();
                laps += count;
            }
        }
        (laps > 0.0).then(|| ridden_m / laps)
    }

    /// Adds the places of all laps to a map of the loop.
    pub fn map(&self, delay_s: f64, track: &Track, mapped: &mut Mapped) {
        if track.place.is_empty() {
            return;
        }
        for sequence in &self.sequences {
            let Tie::Fixes(fixes) = &sequence.tie else { continue };
            let Some(chainage) = fixes.chainage(delay_s) else { continue };
            let (from_s, to_s) = (sequence.passes_s[0], sequence.passes_s[sequence.laps.len()]);
            let spot = |i: usize| {
                let time_s = self.ride.time_s[i];
                Spot { time_s, chainage_m: chainage.at(self.ride, time_s), place: track.place[i] }
            };
            mapped.add(self.ride.records_between(from_s, to_s).map(spot).filter(|s| s.place.is_known()));
        }
    }

    /// What the sequences say of the speed delay.
    pub fn delay_evidence(&self) -> impl Iterator<Item = DelayEvidence> {
        self.sequences.iter().filter_map(|sequence| match &sequence.tie {
            Tie::Fixes(fixes) => fixes.delay_evidence(),
            Tie::Distance { .. } | Tie::TooFewFixes => None,
        })
    }

    /// The laps, cut at the step edges, with the reason of each step: a stop, a brake, a lost meter, a break in the record or a stay
    /// off the line costs the steps that it touches, and a lap counts as long as half of its steps are sound. `reasons` are the
    /// reasons of the records.
    pub fn placed(&self, placing: &Placing, reasons: &[Option<Reason>]) -> Vec<Lap> {
        let mut laps = self.laps.clone();
        for sequence in &self.sequences {
            self.place(sequence, &mut laps[sequence.laps.clone()], placing, reasons);
        }
        let off_line_s: Vec<f64> = self.sequences.iter().flat_map(|s| s.off_line_s.iter().copied()).collect();
        let holes = holes(self.ride, reasons, &off_line_s);
        for (i, lap) in laps.iter_mut().enumerate() {
            if lap.edge_s.is_empty() && lap.reason == Some(Reason::Gap) {
                self.place_over_a_break(i, lap, placing);
            }
            if !lap.edge_s.is_empty() {
                lap.step_reason = of_steps(&lap.edge_s, &holes);
                lap.reason = of_lap(&lap.step_reason);
            }
        }
        laps
    }

    /// Places a lap over a break in the record from both its ends: the laps before it tie its first part, those after it its
    /// last. Edges within the break get times in between, and their steps are marked because the break touches them.
    fn place_over_a_break(&self, i: usize, lap: &mut Lap, placing: &Placing) {
        let ride = self.ride;
        let sequence = |wanted: &dyn Fn(&LapSequence) -> bool| self.sequences.iter().find(|s| wanted(s));
        let chainage = |sequence: &LapSequence| match &sequence.tie {
            Tie::Distance { .. } => Some(Chainage::by_distance(ride, sequence.passes_s[0])),
            Tie::Fixes(fixes) => fixes.chainage(placing.delay_s),
            Tie::TooFewFixes => None,
        };
        let (Some(before), Some(after)) = (sequence(&|s| s.laps.end == i), sequence(&|s| s.laps.start == i + 1)) else {
            return;
        };
        let (Some(from), Some(to)) = (chainage(before), chainage(after)) else { return };
        let stretch_of = |time_s: f64| ride.index_at(time_s).map_or(0, |k| ride.stretch[k]);
        let close_s = ride.time_s[ride.stretch.partition_point(|s| *s <= stretch_of(lap.start_s)) - 1];
        let open_s = ride.time_s[ride.stretch.partition_point(|s| *s < stretch_of(lap.end_s))];
        let count = before.laps.len() as f64;
        let near_s = 0.5 * lap.duration_s();
        let mut edges: Vec<Option<(f64, f64)>> = Vec::with_capacity(placing.edge.len());
        for share in placing.edge {
            let at_m = |laps: f64| (laps + placing.offset + share) * self.length_m;
            let first = from.time_at(ride, at_m(count), lap.start_s - near_s, close_s);
            let last = || to.time_at(ride, at_m(-1.0), open_s, lap.end_s + near_s);
            let placed = first.map(|t| (t, from.shift_per_delay(ride, t)));
            edges.push(placed.or_else(|| last().map(|t| (t, to.shift_per_delay(ride, t)))));
        }
        // Only a single row of edges may lie in the break.
        let lost: Vec<usize> = (0..edges.len()).filter(|k| edges[*k].is_none()).collect();
        if let (Some(&a), Some(&b)) = (lost.first(), lost.last()) {
            let whole = b - a + 1 == lost.len() && a > 0 && b + 1 < edges.len();
            let ends = if whole { edges[a - 1].zip(edges[b + 1]) } else { None };
            let Some(((from_s, _), (to_s, _))) = ends else { return };
            for (k, edge) in edges.iter_mut().enumerate().take(b + 1).skip(a) {
                let share = (k - a + 1) as f64 / (b - a + 2) as f64;
                *edge = Some((from_s + share * (to_s - from_s), 0.0));
            }
        }
        let (times, delays): (Vec<f64>, Vec<f64>) = edges.into_iter().flatten().unzip();
        if times.windows(2).all(|w| w[1] > w[0]) {
            (lap.start_s, lap.end_s) = (times[0], times[times.len() - 1]);
            (lap.edge_s, lap.edge_shift_per_delay) = (times, delays);
        }
    }

    fn place(&self, sequence: &LapSequence, laps: &mut [Lap], placing: &Placing, reasons: &[Option<Reason>]) {
        let ride = self.ride;
        let (from_s, to_s) = (sequence.passes_s[0], sequence.passes_s[laps.len()]);
        let chainage = match &sequence.tie {
            Tie::Distance { .. } => Some(Chainage::by_distance(ride, from_s)),
            Tie::Fixes(fixes) => fixes.chainage(placing.delay_s),
            Tie::TooFewFixes => None,
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
        let lap_s = (to_s - from_s) / laps.len() as f64;
        let reach_s = 30.0 + placing.offset.abs() * 2.0 * lap_s;
        let (open_s, close_s) = (ride.time_s[a].max(from_s - reach_s), ride.time_s[b - 1].min(to_s + reach_s));
        let reason_in = |lap: &Lap| reason_in(ride, reasons, lap.start_s, lap.end_s, &sequence.off_line_s);
        for (i, lap) in laps.iter_mut().enumerate() {
            let edges: Option<Vec<f64>> = placing
                .edge
                .iter()
                .map(|share| {
                    let target = (i as f64 + placing.offset + share) * self.length_m;
                    let near = (lap.start_s - reach_s).max(open_s)..(lap.end_s + reach_s).min(close_s);
                    chainage.time_at(ride, target, near.start, near.end)
                })
                .collect();
            match edges.filter(|e| e.windows(2).all(|w| w[1] > w[0])) {
                Some(edges) => {
                    lap.start_s = edges[0];
                    lap.end_s = edges[edges.len() - 1];
                    lap.distance_m = ride.distance_m.at(lap.end_s) - ride.distance_m.at(lap.start_s);
                    lap.edge_shift_per_delay = edges.iter().map(|t| chainage.shift_per_delay(ride, *t)).collect();
                    if let Tie::Distance { from_s } = sequence.tie {
                        let count = |t: &f64| (ride.distance_m.at(*t) - ride.distance_m.at(from_s)) / self.length_m;
                        lap.edge_count = edges.iter().map(count).collect();
                    }
                    lap.edge_s = edges;
                }
                None => lap.reason = Some(reason_in(lap).unwrap_or(Reason::Gap)),
            }
        }
    }
}

/// The gravest reason among the records of a span, power looked at a little beyond it.
fn reason_in(ride: &Ride, reasons: &[Option<Reason>], from_s: f64, to_s: f64, off_line_s: &[f64]) -> Option<Reason> {
    let inner = ride.records_between(from_s, to_s);
    let outer = ride.records_between(from_s - LAG_REACH_S, to_s + LAG_REACH_S);
    let power = |i: &usize| matches!(reasons[*i], Some(Reason::PowerMissing | Reason::PowerStuck));
    let marked = inner.filter_map(|i| reasons[i]).min();
    let off = off_line_s.iter().filter(|t| **t >= from_s && **t < to_s).count() as f64 > SHORTEST_STAY_S;
    marked.or_else(|| outer.filter(power).find_map(|i| reasons[i])).or(off.then_some(Reason::OffTheLine))
}
