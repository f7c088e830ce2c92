//! What ties the wheel's distance to the line: positions seen on it, or the lap marks of a device.
//!
//! Given a ride and the rough passes of a sequence of laps; gives fixes with their standard deviations.

use super::fixes::Fix;
use super::gate::Track;
use super::reference_line::ReferenceLine;
use crate::sample::Ride;

/// Standard deviation of a satellite position along the line, m, and the time over which it stays the same, s
/// (common practice, no source).
const POSITION_SD_M: f64 = 2.0;
const POSITION_TIME_S: f64 = 60.0;
/// Standard deviation of the instant of a lap mark, s (a button pressed by hand).
const MARK_SD_S: f64 = 0.15;
/// Further than this from the line is off it, m.
const OFF_LINE_M: f64 = 22.0;

/// Lap marks as fixes of the line's beginning.
pub(super) fn marked(ride: &Ride, passes_s: &[f64], length_m: f64) -> Vec<Fix> {
    passes_s
        .iter()
        .enumerate()
        .map(|(i, &t)| {
            let sd_m = MARK_SD_S * ride.distance_m.rate_at(t).max(1.0);
            Fix::new(ride, t, i as f64 * length_m, sd_m)
        })
        .collect()
}

/// Places on the line for the records of a sequence; instants off the line are noted.
pub(super) fn placed_on(
    ride: &Ride,
    track: &Track,
    line: &ReferenceLine,
    passes_s: &[f64],
    length_m: f64,
    off_line_s: &mut Vec<f64>,
) -> Vec<Fix> {
    let mut out = Vec::new();
    for (lap, w) in passes_s.windows(2).enumerate() {
        let (start, whole) = (ride.distance_m.at(w[0]), ride.distance_m.at(w[1]) - ride.distance_m.at(w[0]));
        for i in ride.records_between(w[0], w[1]) {
            let place = track.place[i];
            if !place.is_known() {
                continue;
            }
            let expected = (lap as f64 + (ride.distance_m.totals()[i] - start) / whole) * length_m;
            let Some(p) = line.project(place, expected, 45.0) else { continue };
            if p.offset_m > OFF_LINE_M {
                off_line_s.push(ride.time_s[i]);
                continue;
            }
            let interval = if i > 0 { ride.time_s[i] - ride.time_s[i - 1] } else { 1.0 };
            // Neighbouring fixes share their error, so each weighs as little as its share of the error's life.
            let share = (2.0 * POSITION_TIME_S / interval.clamp(0.2, 2.0 * POSITION_TIME_S)).sqrt();
            out.push(Fix::new(ride, ride.time_s[i], p.chainage_m, POSITION_SD_M * share));
        }
    }
    out
}
