//! The line that laps are ridden on: averaged from positions, or that of stated bends, each checked by the other.
//!
//! Given passes and places; gives the line for lean and heading, and the one that positions are seen against. Where there are
//! positions worth the name they stand, with stated bends or without, and what does not fit together is told.

use super::gate::Track;
use super::gate_search::LENGTH_TOLERANCE;
use super::lap::RunToCut;
use super::lap_sequence::is_usual;
use super::passes::RunPasses;
use super::reference_line::{LapTrack, ReferenceLine};
use super::shown_track::{ShownTrack, shown};
use super::track::StatedBends;
use crate::finding::{Finding, What};
use crate::session::Circuit;
use std::f64::consts::TAU;

/// Positions further than this from their own average in the middle are not worth the name, as under a roof, m.
const POOR_M: f64 = 8.0;
/// Radius by which stated bends may differ from those that positions show, as a share, and transition, m.
const SAME_RADIUS: f64 = 0.05;
const SAME_TRANSITION_M: f64 = 14.0;
/// Angle that the best form of two bends may leave, rad.
const TWO_BENDS_RAD: f64 = 0.12;
/// Angle by which a stated bearing may be off, degrees.
const SAME_BEARING_DEG: f64 = 12.0;

/// See the module.
pub(super) struct LineOfLoop {
    /// Absent when there are neither positions nor the geometry of a track.
    pub line: Option<ReferenceLine>,
    /// The average of positions, where they are good for anything.
    pub fixed_on: Option<ReferenceLine>,
    /// What the line is made of where it is that of stated bends.
    pub bends: Option<StatedBends>,
    /// Whether headings are true bearings.
    pub has_bearings: bool,
}

impl LineOfLoop {
    /// The average of positions, or none.
    fn seen(average: Option<ReferenceLine>) -> LineOfLoop {
        LineOfLoop { line: average.clone(), has_bearings: average.is_some(), fixed_on: average, bends: None }
    }
}

pub(super) fn line_of_loop(
    runs: &[RunToCut],
    tracks: &[Track],
    passes: &[RunPasses],
    circuit: &Circuit,
    length_m: f64,
    findings: &mut Vec<Finding>,
) -> LineOfLoop {
    let laps = lap_tracks(runs, tracks, passes, length_m);
    let average = if laps.is_empty() { None } else { ReferenceLine::average(&laps, length_m) };
    let Some(radius_m) = circuit.bend_radius_m.filter(|_| circuit.has_known_bends()) else {
        return LineOfLoop::seen(average);
    };
    // The lap as ridden is longer than the measurement line by 2π for each metre further out.
    let stated_m = circuit.length_m.unwrap_or(length_m);
    let ridden_m = if (length_m / stated_m - 1.0).abs() <= LENGTH_TOLERANCE { length_m } else { stated_m };
    let out_m = (ridden_m - stated_m) / TAU;
    let spread_m = average.as_ref().map(|line| spread_m(&laps, line));
    // Laps that were found by positions lie where those begin, and no other line does.
    let by_gate = passes.iter().any(RunPasses::are_of_gate);
    let Some(average) = average.filter(|_| by_gate || spread_m.is_some_and(|s| s < POOR_M)) else {
        if let Some(spread_m) = spread_m {
            findings.push(Finding::of_session(What::PositionsPoor { spread_m }));
        }
        let bends = StatedBends {
            lap_m: ridden_m,
            radius_m: radius_m + out_m,
            transition_m: circuit.transition_m.unwrap_or(0.0),
            bearing_deg: circuit.home_straight_bearing_deg.unwrap_or(0.0),
            length_m,
            offset: 0.0,
        };
        let has_bearings = circuit.home_straight_bearing_deg.is_some();
        return LineOfLoop { line: Some(bends.line(0.0)), fixed_on: None, bends: Some(bends), has_bearings };
    };
    // Bends are looked for at their own size, whatever the wheel takes a lap for.
    let at_size = ReferenceLine { length_m: ridden_m, ..average.clone() };
    let smoothing_m = ReferenceLine::smoothing_m(laps.len(), length_m);
    findings.extend(match shown(&at_size, radius_m + out_m, smoothing_m) {
        Some(seen) if seen.misfit_rad <= TWO_BENDS_RAD => {
            let at_the_line = ShownTrack { radius_m: seen.radius_m - out_m, ..seen };
            contradictions(radius_m, circuit, at_the_line)
        }
        _ => vec![Finding::of_session(What::NotTwoBends)],
    });
    LineOfLoop::seen(Some(average))
}

/// What positions say against the stated bends and bearing.
fn contradictions(radius_m: f64, circuit: &Circuit, seen: ShownTrack) -> Vec<Finding> {
    let mut out = Vec::new();
    let same_transition = circuit.transition_m.is_none_or(|t| (t - seen.transition_m).abs() <= SAME_TRANSITION_M);
    if (radius_m / seen.radius_m - 1.0).abs() > SAME_RADIUS || !same_transition {
        out.push(What::BendsContradicted {
            radius_m,
            transition_m: circuit.transition_m,
            seen_radius_m: seen.radius_m,
            seen_transition_m: seen.transition_m,
        });
    }
    if let Some(stated_deg) = circuit.home_straight_bearing_deg {
        // Two straights look alike, so that either may be the home straight.
        let off = (stated_deg - seen.bearing_deg).rem_euclid(180.0);
        if off.min(180.0 - off) > SAME_BEARING_DEG {
            let other = (seen.bearing_deg + 180.0).rem_euclid(360.0);
            let turn = |b: f64| (stated_deg - b + 180.0).rem_euclid(360.0) - 180.0;
            let seen_deg = if turn(other).abs() < turn(seen.bearing_deg).abs() { other } else { seen.bearing_deg };
            out.push(What::BearingContradicted { stated_deg, seen_deg });
        }
    }
    out.into_iter().map(Finding::of_session).collect()
}

fn lap_tracks<'t>(
    runs: &[RunToCut<'t>],
    tracks: &'t [Track],
    passes: &[RunPasses],
    length_m: f64,
) -> Vec<LapTrack<'t>> {
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
    laps
}

/// How far places lie from the line in the middle, m.
fn spread_m(laps: &[LapTrack], line: &ReferenceLine) -> f64 {
    let mut off: Vec<f64> = Vec::new();
    for lap in laps {
        let start = lap.ride.distance_m.at(lap.from_s);
        let whole = lap.ride.distance_m.at(lap.to_s) - start;
        for i in lap.ride.records_between(lap.from_s, lap.to_s) {
            let place = lap.track.place[i];
            let expected = (lap.ride.distance_m.totals()[i] - start) / whole * line.length_m;
            if place.is_known() {
                let seen = line.project(place, expected, 45.0);
                off.extend(seen.map(|p| p.offset_m));
            }
        }
    }
    off.sort_by(f64::total_cmp);
    off.get(off.len() / 2).copied().unwrap_or(f64::INFINITY)
}
