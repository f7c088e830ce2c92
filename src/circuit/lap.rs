//! Cutting rides into laps at equal steps of chainage.
//!
//! Given rides, tracks and what the session says of the loop; gives laps with the instants of their step edges, or
//! an error that says why there is none. Laps that must not be used carry a reason.

use super::chainage::{Chainage, Sighting};
use super::gate::{Gate, Track};
use super::gate_search::{LENGTH_TOLERANCE, find_gate, steady_gate, usual_length};
use super::plane::{Place, Plane};
use super::reference_line::{LapTrack, ReferenceLine};
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
/// Positions that span less than this do not move, m.
const STANDING_M: f64 = 60.0;
/// Power is looked at this far outside a lap, because of the lag, s.
const LAG_REACH_S: f64 = 2.0;

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
    pub reason: Option<Reason>,
}

impl Lap {
    pub fn duration_s(&self) -> f64 {
        self.end_s - self.start_s
    }

    pub fn mean_speed_m_s(&self) -> f64 {
        self.distance_m / self.duration_s()
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

/// How the passes of a run were found.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Passes {
    Gate,
    Marks,
    Distance,
}

/// Cuts all runs of one loop.
///
/// Errors: [`Error::NoLaps`] when a run has no way to tell its laps.
pub fn cut(runs: &[RunToCut], circuit: &Circuit) -> Result<LapCut, Error> {
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
    let has_geometry = circuit.kind == Venue::Track && circuit.bend_radius_m.is_some();
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
        passes.push(passes_of(k, run, &tracks[k], by_gate[k], gate.as_ref(), circuit, &mut findings)?);
    }

    let length_m = match (circuit.kind, circuit.length_m) {
        (Venue::Track, Some(length)) => length,
        _ => {
            loop_length(runs, &passes).ok_or_else(|| no_laps(runs, "the place is not passed twice in one direction"))?
        }
    };
    let line = if has_geometry {
        let bearing = circuit.home_straight_bearing_deg.unwrap_or(0.0);
        circuit.bend_radius_m.map(|r| track_line(length_m, r, circuit.transition_m.unwrap_or(0.0), bearing))
    } else {
        average_line(runs, &tracks, &passes, length_m)
    };
    let has_bearings = line.is_some() && (!has_geometry || circuit.home_straight_bearing_deg.is_some());
    let edge = edges(length_m, if has_geometry { None } else { line.as_ref() });

    let mut out = LapCut {
        length_m,
        edge: edge.clone(),
        has_bearings,
        gate: gate.zip(plane).map(|(g, p)| p.position(g.at)),
        ..LapCut::default()
    };
    for (k, run) in runs.iter().enumerate() {
        let marks = mark_samples(run.ride, by_gate[k]);
        let sighted = if has_geometry { None } else { line.as_ref() };
        let cutter = RunCutter {
            run,
            track: &tracks[k],
            passes: &passes[k],
            line: sighted,
            length_m,
            edge: &edge,
            marks: &marks,
        };
        out.runs.push(cutter.laps());
        out.marks.push(marks);
    }
    out.line = line;
    out.findings = findings;
    Ok(out)
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

fn no_laps(runs: &[RunToCut], reason: &str) -> Error {
    Error::NoLaps {
        file: runs.first().map_or(String::new(), |r| r.file.to_string()),
        reason: reason.to_string(),
        next: "ride at least two whole laps past one point, or state length_m, or press the lap button at the line",
    }
}

/// Whether positions are there and move.
pub fn has_moving_positions(ride: &Ride) -> bool {
    let span = |values: &[f64]| {
        let known = values.iter().filter(|x| x.is_finite());
        let (low, high) = known.fold((f64::MAX, f64::MIN), |(a, b), &x| (a.min(x), b.max(x)));
        (high - low).max(0.0) * 111_000.0
    };
    let known = ride.latitude_deg.iter().filter(|x| x.is_finite()).count();
    known * 2 > ride.len() && span(&ride.latitude_deg).max(span(&ride.longitude_deg)) > STANDING_M
}

fn plane_of(runs: &[RunToCut], moving: &[bool]) -> Option<Plane> {
    let run = runs.iter().zip(moving).find(|(_, m)| **m)?.0;
    let i =
        (0..run.ride.len()).find(|&i| run.ride.latitude_deg[i].is_finite() && run.ride.longitude_deg[i].is_finite())?;
    Some(Plane::at(Position { lat_deg: run.ride.latitude_deg[i], lon_deg: run.ride.longitude_deg[i] }))
}

fn gate_for(
    runs: &[RunToCut],
    tracks: &[Track],
    by_gate: &[bool],
    circuit: &Circuit,
    plane: &Plane,
    findings: &mut Vec<Finding>,
) -> Result<Option<Gate>, Error> {
    let together: Vec<(&Ride, &Track)> =
        runs.iter().zip(tracks).zip(by_gate).filter(|(_, b)| **b).map(|((r, t), _)| (r.ride, t)).collect();
    let Some(stated) = circuit.gate else {
        return find_gate(&together)
            .map(Some)
            .ok_or_else(|| no_laps(runs, "no place is passed twice in the same direction"));
    };
    let at = plane.place(stated.lat_deg, stated.lon_deg);
    let distance_m = tracks
        .iter()
        .flat_map(|t| &t.place)
        .map(|p: &Place| (p.east_m - at.east_m).hypot(p.north_m - at.north_m))
        .filter(|d| d.is_finite())
        .fold(f64::MAX, f64::min);
    if distance_m > 20.0 {
        findings.push(Finding::of_session(What::GateFar { distance_m }));
    }
    let stated = Gate::through(at, &together).ok_or_else(|| {
        no_laps(runs, &format!("the stated gate is {distance_m:.0} m from the route; check its coordinates"))
    })?;
    let cut_at = steady_gate(&together, stated);
    let moved_m = (cut_at.at.east_m - at.east_m).hypot(cut_at.at.north_m - at.north_m);
    if moved_m > 1.0 {
        findings.push(Finding::of_session(What::CutMoved { distance_m: moved_m }));
    }
    Ok(Some(cut_at))
}

/// Marks that repeat at one distance, at least two laps of them.
fn has_regular_marks(ride: &Ride) -> bool {
    let lengths = lap_lengths(ride, &ride.lap_marks_s);
    let usual = usual_length(&lengths);
    lengths.iter().filter(|l| (*l / usual - 1.0).abs() <= LENGTH_TOLERANCE).count() >= 2
}

/// Marks that a device sets by itself at a round distance say nothing of a loop.
fn are_automatic(ride: &Ride) -> bool {
    let usual = usual_length(&lap_lengths(ride, &ride.lap_marks_s));
    [500.0, 1000.0, 2000.0, 5000.0, 10_000.0, 1609.344, 8046.72].iter().any(|round| (usual / round - 1.0).abs() < 0.004)
}

fn lap_lengths(ride: &Ride, passes: &[f64]) -> Vec<f64> {
    passes.windows(2).map(|w| ride.distance_m.at(w[1]) - ride.distance_m.at(w[0])).filter(|l| *l > 50.0).collect()
}

/// Passes of a run with the way they were found.
struct RunPasses {
    how: Passes,
    at_s: Vec<f64>,
}

fn passes_of(
    k: usize,
    run: &RunToCut,
    track: &Track,
    by_gate: bool,
    gate: Option<&Gate>,
    circuit: &Circuit,
    findings: &mut Vec<Finding>,
) -> Result<RunPasses, Error> {
    let ride = run.ride;
    let refuse = |reason: &str| {
        Err(Error::NoLaps {
            file: run.file.to_string(),
            reason: reason.to_string(),
            next: "record positions, press the lap button at the line, or state length_m of the loop",
        })
    };
    if let (true, Some(gate)) = (by_gate, gate) {
        let at_s = gate.passes(ride, track);
        return if at_s.len() < 2 {
            refuse("the gate is passed fewer than twice in the direction of travel")
        } else {
            Ok(RunPasses { how: Passes::Gate, at_s })
        };
    }
    let stated = run.source == LapSource::Device || circuit.kind == Venue::Track;
    if has_regular_marks(ride) && (stated || !are_automatic(ride)) {
        findings.push(Finding::of_run(k, What::DeviceLaps { count: ride.lap_marks_s.len() }));
        return Ok(RunPasses { how: Passes::Marks, at_s: ride.lap_marks_s.clone() });
    }
    if run.source == LapSource::Device {
        return refuse("the lap marks do not repeat at one distance");
    }
    let Some(length) = circuit.length_m else {
        return refuse("there are no positions, no regular lap marks and no stated loop length");
    };
    findings.push(Finding::of_run(k, What::LapsByDistance { length_m: length }));
    let zero = Chainage::by_distance(ride, 0.0);
    let total = ride.distance_m.at(ride.duration_s());
    let count = (total / length).floor().min(1e6) as usize;
    let at_s = (0..=count).filter_map(|i| zero.time_at(ride, i as f64 * length, 0.0, ride.duration_s())).collect();
    Ok(RunPasses { how: Passes::Distance, at_s })
}

fn loop_length(runs: &[RunToCut], passes: &[RunPasses]) -> Option<f64> {
    let lengths: Vec<f64> = runs.iter().zip(passes).flat_map(|(r, p)| lap_lengths(r.ride, &p.at_s)).collect();
    let usual = usual_length(&lengths);
    (usual > 0.0).then_some(usual)
}

fn is_usual(ride: &Ride, from_s: f64, to_s: f64, length_m: f64) -> bool {
    let length = ride.distance_m.at(to_s) - ride.distance_m.at(from_s);
    (length / length_m - 1.0).abs() <= LENGTH_TOLERANCE
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

/// Cuts one run.
struct RunCutter<'a> {
    run: &'a RunToCut<'a>,
    track: &'a Track,
    passes: &'a RunPasses,
    line: Option<&'a ReferenceLine>,
    length_m: f64,
    edge: &'a [f64],
    marks: &'a [Option<Reason>],
}

impl RunCutter<'_> {
    fn laps(&self) -> Vec<Lap> {
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
