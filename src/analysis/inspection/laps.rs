//! The laps of one ride taken alone.
//!
//! Given a ride; gives the laps that the cut finds, how it found them, or why there are none. It judges laps by the
//! record; braking and the like show in a trial solution and are taken over from there.

use super::drawn::Drawn;
use crate::circuit::{Lap, LapCut, RunToCut, cut, has_moving_positions};
use crate::evidence::{LinePoint, RunEvidence};
use crate::finding::What;
use crate::sample::Ride;
use crate::session::{Circuit, LapSource, Position, Uncertainty};
use crate::solve::separation::spread_of_squares;
use serde::Serialize;

/// Marks this close to the usual distance, relative, are regular; a device or a thumb is late by seconds.
const REGULAR: f64 = 0.03;

/// The laps of a ride.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct LapsHeld {
    /// Laps found, those that cannot be used too.
    pub count: usize,
    /// Those that nothing in the record speaks against.
    pub usable: usize,
    /// "positions", "lap marks" or "distance"; `null` when there are none.
    pub found_by: Option<&'static str>,
    /// Mean lap by the wheel, or as stated where laps are counted by distance.
    pub length_m: Option<f64>,
    /// Whether that is the wheel's.
    pub by_wheel: bool,
    /// Where they were cut; `null` unless found by positions.
    pub gate: Option<Position>,
    /// Lap marks in the file.
    pub device_marks: usize,
    /// Distance at which the marks repeat; `null` when they do not.
    pub device_lap_length_m: Option<f64>,
    /// Slowest and fastest of the usable laps.
    pub speed_min_m_s: Option<f64>,
    pub speed_max_m_s: Option<f64>,
    /// Standard deviation over mean of the square of lap speed: what tells CdA from Crr.
    pub spread: Option<f64>,
    /// Why there are no laps, and what would give them.
    pub refusal: Option<String>,
    pub laps: Vec<HeldLap>,
}

/// One lap.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HeldLap {
    pub lap: usize,
    pub start_s: f64,
    pub duration_s: f64,
    pub distance_m: f64,
    pub mean_speed_m_s: Option<f64>,
    pub mean_power_w: Option<f64>,
    /// Why it cannot be used.
    pub reason: Option<String>,
}

impl LapsHeld {
    /// Takes over what the energy account says of laps.
    pub(super) fn leave_out(&mut self, reasons: &[(usize, String)]) {
        for lap in self.laps.iter_mut().filter(|l| l.reason.is_none()) {
            lap.reason = reasons.iter().find(|(number, _)| *number == lap.lap).map(|(_, reason)| reason.clone());
        }
        let usable: Vec<&HeldLap> = self.laps.iter().filter(|l| l.reason.is_none()).collect();
        let speeds: Vec<f64> = usable.iter().filter_map(|l| l.mean_speed_m_s).collect();
        self.usable = usable.len();
        self.summarise(&speeds);
    }

    /// The range of the speeds of usable laps.
    fn summarise(&mut self, speeds: &[f64]) {
        let known = !speeds.is_empty();
        self.speed_min_m_s = known.then(|| speeds.iter().copied().fold(f64::INFINITY, f64::min));
        self.speed_max_m_s = known.then(|| speeds.iter().copied().fold(f64::NEG_INFINITY, f64::max));
        self.spread = (speeds.len() > 1).then(|| spread_of_squares(speeds)).filter(|s| s.is_finite());
    }
}

/// What the cut gives.
pub(super) struct Found {
    pub laps: LapsHeld,
    /// Whether positions move; `None` without positions.
    pub moves: Option<bool>,
    pub drawn: Drawn,
    /// What is odd about places, lap marks and lengths.
    pub told: Vec<What>,
}

pub(super) fn find(file: &str, ride: &Ride, length_m: Option<f64>) -> Found {
    let circuit = Circuit { length_m, ..Circuit::default() };
    let has_positions = ride.latitude_deg.iter().any(|x| x.is_finite());
    let stands = has_positions && !has_moving_positions(ride);
    // Marks are looked at by themselves: where positions exist the cut passes them over.
    let by_marks = cut_alone(file, ride, LapSource::Device, &Circuit::default()).ok();
    let mut laps = LapsHeld {
        device_marks: ride.lap_marks_s.len(),
        device_lap_length_m: by_marks.filter(mostly_regular).map(|cut| cut.length_m),
        ..LapsHeld::default()
    };
    let mut drawn = Drawn { run: whole(ride), ..Drawn::default() };
    if stands {
        laps.refusal = Some("positions stand still".into());
        return Found { laps, moves: Some(false), drawn, told: Vec::new() };
    }
    let mut told = Vec::new();
    match cut_alone(file, ride, LapSource::Auto, &circuit) {
        Ok(cut) => {
            describe(&mut laps, &mut drawn, ride, &cut);
            told = odd(&cut);
        }
        Err(e) => laps.refusal = Some(e.to_string()),
    }
    Found { laps, moves: has_positions.then_some(true), drawn, told }
}

/// What a session would be told of the same ride.
fn odd(cut: &LapCut) -> Vec<What> {
    let is_odd = |what: &&What| matches!(what, What::PositionsUnreachable { .. } | What::LapMarksOdd { .. });
    let places = cut.findings.iter().map(|f| &f.what).filter(is_odd).cloned();
    places.chain(cut.lengths.wheel_finding(Uncertainty::default().speed_fraction)).collect()
}

fn cut_alone(file: &str, ride: &Ride, source: LapSource, circuit: &Circuit) -> Result<LapCut, crate::error::Error> {
    cut(&[RunToCut { file, ride, source }], circuit)
}

/// The cut is content with two marks at one distance; a person calls marks regular when most are.
fn mostly_regular(cut: &LapCut) -> bool {
    let laps = cut.runs.first().map_or(&[][..], Vec::as_slice);
    let off = laps.iter().filter(|l| (l.distance_m / cut.length_m - 1.0).abs() > REGULAR).count();
    2 * off < laps.len()
}

fn describe(laps: &mut LapsHeld, drawn: &mut Drawn, ride: &Ride, cut: &LapCut) {
    let all: &[Lap] = cut.runs.first().map_or(&[], Vec::as_slice);
    let usable: Vec<&Lap> = all.iter().filter(|l| l.reason.is_none()).collect();
    let speeds: Vec<f64> = usable.iter().map(|l| l.mean_speed_m_s()).filter(|v| v.is_finite()).collect();
    let found_by = |what: &What| match what {
        What::DeviceLaps { .. } => Some("lap marks"),
        What::LapsByDistance { .. } => Some("distance"),
        _ => None,
    };
    laps.count = all.len();
    laps.usable = usable.len();
    if !all.is_empty() {
        laps.found_by = cut.findings.iter().find_map(|f| found_by(&f.what)).or(Some("positions"));
        laps.length_m = Some(cut.length_m).filter(|l| l.is_finite());
        laps.by_wheel = cut.lengths.by_wheel().is_some();
        laps.gate = cut.gate;
    }
    laps.summarise(&speeds);
    laps.laps = all.iter().map(|lap| held(ride, lap)).collect();
    for lap in &usable {
        for i in ride.records_between(lap.start_s, lap.end_s) {
            if let Some(used) = drawn.run.used.get_mut(i) {
                *used = true;
            }
        }
    }
    drawn.line = cut.line.as_ref().map(closed).unwrap_or_default();
}

fn held(ride: &Ride, lap: &Lap) -> HeldLap {
    let known = |x: f64| x.is_finite().then_some(x);
    let has_power = ride.records_between(lap.start_s, lap.end_s).any(|i| ride.power_w[i].is_finite());
    let work_j = ride.work_j.at(lap.end_s) - ride.work_j.at(lap.start_s);
    HeldLap {
        lap: lap.number,
        start_s: lap.start_s,
        duration_s: lap.duration_s(),
        distance_m: lap.distance_m,
        mean_speed_m_s: known(lap.mean_speed_m_s()),
        mean_power_w: known(work_j / lap.duration_s()).filter(|_| has_power),
        reason: lap.reason.map(|r| r.to_string()),
    }
}

fn whole(ride: &Ride) -> RunEvidence {
    RunEvidence { residual_m: Vec::new(), ..RunEvidence::unused(0, ride) }
}

/// The line from its gate round to it again.
fn closed(line: &crate::circuit::ReferenceLine) -> Vec<LinePoint> {
    let Some(origin) = line.place.first() else { return Vec::new() };
    let point = |p: &crate::circuit::Place| LinePoint {
        east_m: p.east_m - origin.east_m,
        north_m: p.north_m - origin.north_m,
        residual_m: 0.0,
    };
    line.place.iter().chain(std::iter::once(origin)).map(point).collect()
}
