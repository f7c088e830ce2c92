//! How the passes of a run are found: at a gate, at the device's lap marks, or by distance.
//!
//! Given rides and what the session says of the loop; gives the instants at which laps begin. It judges no lap.

use super::counted_laps::CountedLaps;
use super::gate::{Gate, Track};
use super::gate_search::{LENGTH_TOLERANCE, find_gate, is_steady, steady_gate, usual_length};
use super::lap::RunToCut;
use super::placed_rides::PlacedRides;
use super::plane::{Place, Plane};
use super::reference_line::ReferenceLine;
use crate::error::Error;
use crate::finding::{Finding, Slip, What};
use crate::sample::Ride;
use crate::session::{Circuit, LapSource, Venue};

/// More laps than anybody rides in one run: a day and a night on a track of 250 m have fewer. What follows grows faster
/// than their number.
const MOST_LAPS: usize = 4000;

/// How the passes of a run were found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Passes {
    Gate,
    Marks,
    Distance,
}

pub(super) fn no_laps(runs: &[RunToCut], reason: &str) -> Error {
    Error::NoLaps {
        file: runs.first().map_or(String::new(), |r| r.file.to_string()),
        reason: reason.to_string(),
        next: "ride at least two whole laps past one point, or state length_m, or press the lap button at the line",
    }
}

fn gate_for(
    runs: &[RunToCut],
    tracks: &[Track],
    by_gate: &[bool],
    circuit: &Circuit,
    plane: &Plane,
    findings: &mut Vec<Finding>,
) -> Result<Gate, Error> {
    let of = |wanted: &[bool]| -> Vec<(&Ride, &Track)> {
        runs.iter().zip(tracks).zip(wanted).filter(|(_, b)| **b).map(|((r, t), _)| (r.ride, t)).collect()
    };
    let together = of(by_gate);
    let Some(stated) = circuit.gate else {
        let gate =
            find_gate(&together).ok_or_else(|| no_laps(runs, "no place is passed twice in the same direction"))?;
        // The longest ride may be the one on another loop; the gate of most laps stands.
        let laps = |gate: &Gate| together.iter().map(|(r, t)| gate.passes(r, t).len().saturating_sub(1)).sum::<usize>();
        let passed = |k: usize| gate.passes(runs[k].ride, &tracks[k]).len() >= 2;
        let others: Vec<bool> = (0..runs.len()).map(|k| by_gate[k] && !passed(k)).collect();
        let of_others = if others.contains(&true) { find_gate(&of(&others)) } else { None };
        return Ok(of_others.filter(|other| laps(other) > laps(&gate)).unwrap_or(gate));
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
    Ok(cut_at)
}

/// Marks that repeat at one distance, at least two laps of them.
pub(super) fn has_regular_marks(ride: &Ride) -> bool {
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
pub(super) struct RunPasses {
    pub how: Passes,
    pub at_s: Vec<f64>,
    /// Of laps counted by distance, see [`CountedLaps`]; empty of others.
    pub begins_s: Vec<f64>,
    pub unplaced_s: Vec<[f64; 2]>,
}

impl RunPasses {
    /// Passes that are not counted by distance.
    fn seen(how: Passes, at_s: Vec<f64>) -> RunPasses {
        RunPasses { how, at_s, begins_s: Vec::new(), unplaced_s: Vec::new() }
    }

    pub fn are_of_gate(&self) -> bool {
        self.how == Passes::Gate
    }
}

/// The passes of all runs.
pub(super) struct Passed {
    pub gate: Option<Gate>,
    /// Of each run; none where it is refused.
    pub passes: Vec<RunPasses>,
    pub refused: Vec<Option<Error>>,
}

/// Finds the passes of every run that has any.
///
/// Errors: that of the first run where no run has any.
pub(super) fn all_passes(
    runs: &[RunToCut],
    places: &PlacedRides,
    by_gate: &[bool],
    circuit: &Circuit,
    findings: &mut Vec<Finding>,
) -> Result<Passed, Error> {
    let tracks = &places.tracks;
    let gate = match (&places.plane, by_gate.iter().any(|b| *b)) {
        (Some(plane), true) => Some(gate_for(runs, tracks, by_gate, circuit, plane, findings)),
        _ => None,
    };
    let mut passes = Vec::with_capacity(runs.len());
    let mut refused = Vec::with_capacity(runs.len());
    for (k, run) in runs.iter().enumerate() {
        let found = match (&gate, by_gate[k]) {
            (Some(Err(e)), true) => Err(e.clone()),
            (gate, by_gate) => {
                let gate = gate.as_ref().and_then(|g| g.as_ref().ok());
                find_passes(k, run, &tracks[k], by_gate, gate, circuit, findings)
            }
        };
        let found = found.and_then(|passes| refuse_countless(run, &passes).map(|()| passes));
        refused.push(found.as_ref().err().cloned());
        passes.push(found.unwrap_or(RunPasses::seen(Passes::Distance, Vec::new())));
    }
    match refused.iter().flatten().next() {
        Some(first) if refused.iter().all(Option::is_some) => Err(first.clone()),
        _ => Ok(Passed { gate: gate.and_then(Result::ok), passes, refused }),
    }
}

/// Errors: [`Error::TooLarge`] for more passes than laps can have been ridden, as when every record is a lap mark.
fn refuse_countless(run: &RunToCut, passes: &RunPasses) -> Result<(), Error> {
    if passes.at_s.len() <= MOST_LAPS {
        return Ok(());
    }
    let (value, limit) = (passes.at_s.len() as u64, MOST_LAPS as u64);
    Err(Error::TooLarge { file: run.file.to_string(), what: "the number of laps", value, limit })
}

fn find_passes(
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
            next: "record positions, press the lap button at the line, or state length_m of the loop; if it was ridden on rollers \
                   say kind = \"rollers\"",
        })
    };
    if let (true, Some(gate)) = (by_gate, gate) {
        let at_s = gate.passes(ride, track);
        let backward = gate.reversed().passes(ride, track).len();
        return if at_s.len() >= 2 {
            Ok(RunPasses::seen(Passes::Gate, at_s))
        } else if backward >= 2 {
            Err(Error::NoLaps {
                file: run.file.to_string(),
                reason: format!("the gate is passed {backward} times against the direction of the other runs"),
                next: "ride every run the same way round; laps ridden the other way have another profile and need a session of \
                       their own",
            })
        } else {
            refuse(
                "the gate is passed fewer than twice in the direction of travel, as on another loop than the other runs",
            )
        };
    }
    let stated = run.source == LapSource::Device || circuit.kind == Venue::Track;
    if has_regular_marks(ride) && (stated || !are_automatic(ride)) {
        findings.push(Finding::of_run(k, What::DeviceLaps { count: ride.lap_marks_s.len() }));
        findings.extend(odd_marks(ride).map(|what| Finding::of_run(k, what)));
        return Ok(RunPasses::seen(Passes::Marks, ride.lap_marks_s.clone()));
    }
    if run.source == LapSource::Device {
        return refuse("the lap marks do not repeat at one distance");
    }
    let Some(length) = circuit.length_m else {
        return refuse("there are no positions, no regular lap marks and no stated loop length");
    };
    let ridden = ride.distance_m.at(ride.duration_s()) / length;
    let last_off_m = ridden * circuit.length_sd_or_usual_m().unwrap_or(0.0);
    findings.push(Finding::of_run(k, What::LapsByDistance { length_m: length, last_off_m }));
    let marks_s = if are_automatic(ride) { &[][..] } else { &ride.lap_marks_s };
    let counted = CountedLaps::new(ride, length, marks_s);
    if let Some(first) = counted.unplaced_s.first() {
        let (unplaced, of) = (counted.unplaced(), counted.passes_s.len().saturating_sub(1));
        let said = Slip::WayUnknown { holes: counted.unplaced_s.len(), first_s: first[0], unplaced, of };
        findings.push(Finding::of_run(k, What::Slip(said)));
    }
    let CountedLaps { passes_s, begins_s, unplaced_s } = counted;
    Ok(RunPasses { how: Passes::Distance, at_s: passes_s, begins_s, unplaced_s })
}

/// Lap marks that do not lie a lap from the one before: which are too many, and after which one is missing.
fn odd_marks(ride: &Ride) -> Option<What> {
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

/// Usual lap by the wheel of the runs whose passes are seen; `None` where all are counted by the wheel itself.
pub(super) fn loop_length(runs: &[RunToCut], passes: &[RunPasses]) -> Option<f64> {
    let seen = runs.iter().zip(passes).filter(|(_, p)| p.how != Passes::Distance);
    let lengths: Vec<f64> = seen.flat_map(|(r, p)| lap_lengths(r.ride, &p.at_s)).collect();
    let usual = usual_length(&lengths);
    (usual > 0.0).then_some(usual)
}

/// Offsets of the cut from a lap mark that are tried, shares of the lap.
const OFFSETS: i32 = 15;
const OFFSET_STEP: f64 = 0.02;
/// Curvature below which the line is straight, 1/m, and how far about a cut it must be so, m: in a bend speed and height of
/// the centre of mass hang on the metre.
const STRAIGHT_1_M: f64 = 0.003;
const STRAIGHT_REACH_M: f64 = 4.0;
/// Half of the time over which a pass is judged steady, and how far the record must go on beyond it, s.
const PASSING_S: f64 = 1.5;

/// Where to cut laps that are timed by marks or distance: beside the mark when speed changes at it.
///
/// A rider who changes speed at the line does it while the sensor averages; a few metres before it riding is steady. Of
/// the offsets that lose no lap the nearest steady one is taken. 0 where laps come from a gate, which has been moved already.
pub(super) fn steady_offset(
    runs: &[RunToCut],
    passes: &[RunPasses],
    length_m: f64,
    line: Option<&ReferenceLine>,
) -> f64 {
    if passes.iter().any(|p| p.how == Passes::Gate) {
        return 0.0;
    }
    let trial = |offset: f64| -> (usize, f64) {
        let (mut count, mut squares) = (0, 0.0);
        for (run, passes) in runs.iter().zip(passes) {
            let ride = run.ride;
            for &t in &passes.at_s {
                // Near a pass speed changes little enough to turn metres into seconds.
                let at = t + offset * length_m / ride.distance_m.rate_at(t).max(1.0);
                let change = ride.speed.at(at + PASSING_S) - ride.speed.at(at - PASSING_S);
                if ride.is_unbroken(at - 2.0 * PASSING_S, at)
                    && ride.is_unbroken(at, at + 2.0 * PASSING_S)
                    && change.is_finite()
                {
                    count += 1;
                    squares += (change / (2.0 * PASSING_S)).powi(2);
                }
            }
        }
        (count, (squares / f64::from(count.max(1) as u32)).sqrt())
    };
    let is_straight = |offset: f64| {
        let bends = |l: &ReferenceLine, by: f64| l.curvature_at(offset * length_m + by).abs() > STRAIGHT_1_M;
        line.is_none_or(|l| ![-STRAIGHT_REACH_M, 0.0, STRAIGHT_REACH_M].iter().any(|by| bends(l, *by)))
    };
    let trials: Vec<(f64, usize, f64)> = (-OFFSETS..=OFFSETS)
        .filter(|k| *k == 0 || is_straight(f64::from(*k) * OFFSET_STEP))
        .map(|k| {
            let offset = f64::from(k) * OFFSET_STEP;
            let (count, unsteady) = trial(offset);
            (offset, count, unsteady)
        })
        .collect();
    let most = trials.iter().map(|t| t.1).max().unwrap_or(0);
    let steadiest = trials.iter().filter(|t| t.1 == most).map(|t| t.2).fold(f64::MAX, f64::min);
    trials
        .iter()
        .filter(|t| t.1 == most && is_steady(t.2, steadiest))
        .min_by(|a, b| a.0.abs().total_cmp(&b.0.abs()))
        .map_or(0.0, |t| t.0)
}
