//! Cutting rides into laps at equal steps of chainage.
//!
//! Given rides, tracks and what the session says of the loop; gives laps with the instants of their step edges, or
//! an error that says why there is none. Laps that must not be used carry a reason.

use super::gate::Track;
use super::passes::{
    RunPasses, find_passes, gate_for, has_moving_positions, has_regular_marks, loop_length, no_laps, plane_of,
    refuse_countless, steady_offset,
};
use super::reference_line::{LapTrack, ReferenceLine};
use super::speed_age::{AgeEvidence, SpeedAge};
use super::stint::{Placing, RunStints, is_usual};
use super::track::track_line;
use crate::error::Error;
use crate::finding::{Finding, What};
use crate::sample::{Reason, Ride, mark_samples};
use crate::session::{Circuit, LapSource, Position, Venue};

/// Length of a step, m: gusts last longer than it takes to ride one.
const STEP_M: f64 = 32.0;
/// Fewest and most steps of a lap.
const STEPS: [f64; 2] = [12.0, 240.0];
/// Curvature from which a bend on a road is a hairpin, tighter than averaged positions resolve, 1/m; how far from one no
/// edge may lie, and the distance between looks, m.
const HAIRPIN_1_M: f64 = 1.0 / 16.0;
const HAIRPIN_REACH_M: f64 = 28.0;
const HAIRPIN_LOOK_M: f64 = 4.0;
/// Acceleration at the line from which speed is changing, m/s², half of the time it is taken over, s, and the share of laps
/// up to which such laps are the exception.
const CHANGING_M_S2: f64 = 0.25;
const CHANGING_S: f64 = 1.5;
const CHANGING_SHARE: f64 = 0.3;

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
    /// By how much later each of them is where the speed reading is a second older, s/s.
    pub edge_delay_per_age: Vec<f64>,
    pub reason: Option<Reason>,
}

impl Lap {
    pub fn duration_s(&self) -> f64 {
        self.end_s - self.start_s
    }

    pub fn mean_speed_m_s(&self) -> f64 {
        self.distance_m / self.duration_s()
    }

    /// Way that the lap moves along the loop where the speed reading is a second older, m/s.
    pub fn way_per_age(&self) -> f64 {
        let mean_delay = self.edge_delay_per_age.iter().sum::<f64>() / self.edge_delay_per_age.len().max(1) as f64;
        mean_delay * self.mean_speed_m_s()
    }

    /// Where the lap lies if the speed reading is older by so much, less the way per age that something else holds, m/s; where
    /// it is, if a stop at an edge leaves no order in that.
    pub fn with_older_speed(&self, by_s: f64, held_m_s: f64) -> Lap {
        let held = held_m_s / self.mean_speed_m_s();
        let later = |(t, delay): (&f64, &f64)| t + by_s * (delay - held);
        let edge_s: Vec<f64> = self.edge_s.iter().zip(&self.edge_delay_per_age).map(later).collect();
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
    /// Whether the line's headings are true bearings, so that wind can be told.
    pub has_bearings: bool,
    pub gate: Option<Position>,
    /// Laps of each run.
    pub runs: Vec<Vec<Lap>>,
    /// Reason of each record of each run, judged from the record alone.
    pub marks: Vec<Vec<Option<Reason>>>,
    pub findings: Vec<Finding>,
}

/// The loop of some runs: passes and line are found, and laps can be placed along it.
pub struct FoundLoop<'a> {
    runs: &'a [RunToCut<'a>],
    stints: Vec<RunStints<'a>>,
    offset: f64,
    /// Laps of no run yet.
    cut: LapCut,
}

impl<'a> FoundLoop<'a> {
    /// Errors: [`Error::NoLaps`] when a run has no way to tell its laps, [`Error::TooLarge`] when they are countless.
    pub fn new(runs: &'a [RunToCut<'a>], circuit: &Circuit) -> Result<FoundLoop<'a>, Error> {
        let mut findings = Vec::new();
        let moving: Vec<bool> = runs.iter().map(|r| has_moving_positions(r.ride)).collect();
        for (k, run) in runs.iter().enumerate() {
            if !moving[k] && run.ride.latitude_deg.iter().any(|x| x.is_finite()) {
                findings.push(Finding::of_run(k, What::NotMoving));
            }
        }
        let plane = plane_of(runs, &moving);
        let tracks: Vec<Track> =
            runs.iter().map(|r| plane.as_ref().map_or_else(Track::default, |p| Track::of(r.ride, p))).collect();
        let has_geometry = circuit.has_known_bends();
        let by_gate: Vec<bool> = runs
            .iter()
            .zip(&moving)
            .map(|(r, &m)| m && r.source == LapSource::Auto && !(has_geometry && has_regular_marks(r.ride)))
            .collect();

        let gate = match (&plane, by_gate.iter().any(|b| *b)) {
            (Some(plane), true) => gate_for(runs, &tracks, &by_gate, circuit, plane, &mut findings)?,
            _ => None,
        };
        let mut passes = Vec::with_capacity(runs.len());
        for (k, run) in runs.iter().enumerate() {
            let found = find_passes(k, run, &tracks[k], by_gate[k], gate.as_ref(), circuit, &mut findings)?;
            refuse_countless(run, &found)?;
            passes.push(found);
        }

        let length_m = match (circuit.kind, circuit.length_m) {
            (Venue::Track, Some(length)) => length,
            _ => loop_length(runs, &passes)
                .ok_or_else(|| no_laps(runs, "the place is not passed twice in one direction"))?,
        };
        let line = if has_geometry {
            let bearing = circuit.home_straight_bearing_deg.unwrap_or(0.0);
            circuit.bend_radius_m.map(|r| track_line(length_m, r, circuit.transition_m.unwrap_or(0.0), bearing))
        } else {
            average_line(runs, &tracks, &passes, length_m)
        };
        let has_bearings = line.is_some() && (!has_geometry || circuit.home_straight_bearing_deg.is_some());
        if line.is_none() {
            findings.push(Finding::of_session(What::BendsUnknown { track: circuit.kind == Venue::Track }));
        }
        let offset = steady_offset(runs, &passes, length_m, line.as_ref());
        if offset != 0.0 {
            findings.push(Finding::of_session(What::CutMoved { distance_m: (offset * length_m).abs() }));
        }
        let sighted = if has_geometry { None } else { line.as_ref() };
        let stints: Vec<RunStints> =
            (0..runs.len()).map(|k| RunStints::new(&runs[k], &tracks[k], &passes[k], sighted, length_m)).collect();
        let cut_line = line.as_ref().map(|l| l.rotated(offset * length_m));
        let cut = LapCut {
            length_m,
            edge: edges(length_m, if has_geometry { None } else { cut_line.as_ref() }),
            line: cut_line,
            has_bearings,
            gate: gate.zip(plane).map(|(g, p)| p.position(g.at)),
            runs: Vec::new(),
            marks: runs.iter().zip(&by_gate).map(|(run, by_gate)| mark_samples(run.ride, *by_gate)).collect(),
            findings,
        };
        Ok(FoundLoop { runs, stints, offset, cut })
    }

    pub fn lap_count(&self) -> usize {
        self.stints.iter().map(RunStints::lap_count).sum()
    }

    /// The age of the speed reading by positions or lap marks of all runs; `None` where there are neither.
    pub fn speed_age(&self) -> Option<SpeedAge> {
        let evidence: Vec<AgeEvidence> = self.stints.iter().flat_map(RunStints::age_evidence).collect();
        (!evidence.is_empty()).then(|| SpeedAge::shared(&evidence))
    }

    /// The laps with speed readings of some age, s.
    pub fn cut(&self, age_s: f64) -> LapCut {
        let mut out = self.cut.clone();
        let placing = Placing { edge: &self.cut.edge, offset: self.offset, age_s };
        out.runs = self.stints.iter().zip(&self.cut.marks).map(|(s, marks)| s.placed(&placing, marks)).collect();
        mark_changing_speed(self.runs, &mut out.runs);
        out
    }
}

/// Cuts all runs of one loop.
///
/// Errors: those of [`FoundLoop::new`].
pub fn cut(runs: &[RunToCut], circuit: &Circuit) -> Result<LapCut, Error> {
    let found = FoundLoop::new(runs, circuit)?;
    Ok(found.cut(found.speed_age().unwrap_or(SpeedAge::USUAL).mean_s))
}

/// Step edges at equal shares of the lap, but none in a hairpin: there the bicycle trades height for speed within
/// metres, faster than positions can follow, and only a step that holds the whole bend closes.
fn edges(length_m: f64, line: Option<&ReferenceLine>) -> Vec<f64> {
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

/// Marks laps that begin or end while speed is changing, where those are the exception: the first lap of a block at a new
/// speed, and the lap before it.
fn mark_changing_speed(runs: &[RunToCut], laps: &mut [Vec<Lap>]) {
    let changing = |run: &RunToCut, lap: &Lap| {
        [lap.start_s, lap.end_s].iter().any(|t| {
            let change = run.ride.speed.at(t + CHANGING_S) - run.ride.speed.at(t - CHANGING_S);
            change.abs() > 2.0 * CHANGING_S * CHANGING_M_S2
        })
    };
    let usable = |lap: &&mut Lap| lap.reason.is_none();
    let total = laps.iter().flatten().filter(|l| l.reason.is_none()).count();
    let mut found: Vec<&mut Lap> = Vec::new();
    for (run, laps) in runs.iter().zip(laps) {
        found.extend(laps.iter_mut().filter(usable).filter(|l| changing(run, l)));
    }
    if (found.len() as f64) < CHANGING_SHARE * total as f64 {
        for lap in found {
            lap.reason = Some(Reason::SpeedChanging);
        }
    }
}

fn average_line(runs: &[RunToCut], tracks: &[Track], passes: &[RunPasses], length_m: f64) -> Option<ReferenceLine> {
    let mut laps = Vec::new();
    for ((run, track), passes) in runs.iter().zip(tracks).zip(passes) {
        if track.place.is_empty() {
            continue;
        }
        for w in passes.at_s.windows(2) {
            if run.ride.is_unbroken(w[0], w[1]) && is_usual(run.ride, w[0], w[1], length_m) {
                laps.push(LapTrack { ride: run.ride, track, from_s: w[0], to_s: w[1] });
            }
        }
    }
    if laps.is_empty() { None } else { ReferenceLine::average(&laps, length_m) }
}
