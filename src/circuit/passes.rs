//! How the passes of a run are found: at a gate, at the device's lap marks, or by distance.
//!
//! Given rides and what the session says of the loop; gives the instants at which laps begin. It judges no lap.

use super::counted_laps::CountedLaps;
use super::gate::{Gate, Track};
use super::gate_search::{find_gate, steady_gate, usual_length};
use super::lap::RunToCut;
use super::lap_marks::{are_automatic, has_regular_marks, lap_lengths, odd_marks};
use super::placed_rides::PlacedRides;
use super::plane::{Place, Plane};
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

/// Usual lap by the wheel of the runs whose passes are seen; `None` where all are counted by the wheel itself.
pub(super) fn loop_length(runs: &[RunToCut], passes: &[RunPasses]) -> Option<f64> {
    let seen = runs.iter().zip(passes).filter(|(_, p)| p.how != Passes::Distance);
    let lengths: Vec<f64> = seen.flat_map(|(r, p)| lap_lengths(r.ride, &p.at_s)).collect();
    let usual = usual_length(&lengths);
    (usual > 0.0).then_some(usual)
}
