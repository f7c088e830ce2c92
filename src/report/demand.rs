//! What a pace costs, as a table of causes, for one or two sets of parameters.
//!
//! Given demands and journeys; gives plain text. It solves for nothing.

use super::number::{fixed, significant};
use super::table::{Grid, paragraph};
use super::text::{LEAST_WIDTH, MOST_WIDTH};
use super::units::Units;
use crate::demand::{Demand, Journey, Pace};
use crate::quantity::mi_from_m;

/// One pace ridden with one or two sets of parameters.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PaceShown {
    pub pace: Pace,
    pub first: Ridden,
    pub against: Option<Ridden>,
}

/// A demand with the journey it makes, where a distance was given.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ridden {
    pub demand: Demand,
    pub journey: Option<Journey>,
}

/// See the module.
pub fn demand(paces: &[PaceShown], width: usize, units: Units) -> String {
    let width = width.clamp(LEAST_WIDTH, MOST_WIDTH);
    let blocks: Vec<String> = paces.iter().map(|pace| block(pace, width, units)).collect();
    blocks.join("\n")
}

fn block(shown: &PaceShown, width: usize, units: Units) -> String {
    let mut text = paragraph(&heading(shown, units), width, "");
    let table = match &shown.against {
        None => alone(&shown.first.demand),
        Some(against) => beside(&shown.first.demand, &against.demand),
    };
    text.push_str(table.text(width).trim_end());
    text.push('\n');
    if shown.first.demand.drivetrain_w != 0.0 {
        let words = "Air, tyres, bearings and slope are told at the road; results of solve tell them where power is measured, each \
                     with its share of the drivetrain.";
        text.push_str(&paragraph(words, width, ""));
    }
    for line in journeys(shown, units) {
        text.push_str(&paragraph(&line, width, ""));
    }
    text
}

fn heading(shown: &PaceShown, units: Units) -> String {
    let speed = |r: &Ridden| precise_speed(r.demand.speed_m_s, units);
    let power = |r: &Ridden| format!("{} W", fixed(Some(r.demand.total_w), 1));
    match (shown.pace, &shown.against) {
        (Pace::SpeedMS(v), None) if shown.first.demand.total_w < 0.0 => format!(
            "{} takes no power: slope and wind give {} W more than is spent, which the brakes must take",
            stated_speed(v, units),
            fixed(Some(-shown.first.demand.total_w), 1)
        ),
        (Pace::SpeedMS(v), None) => format!("{} takes {}", stated_speed(v, units), power(&shown.first)),
        (Pace::PowerW(w), None) => format!("{} W gives {}", significant(w, 5), speed(&shown.first)),
        (Pace::SpeedMS(v), Some(other)) => format!(
            "{} takes {} against {}: {} W",
            stated_speed(v, units),
            power(&shown.first),
            power(other),
            signed(other.demand.total_w - shown.first.demand.total_w, 1)
        ),
        (Pace::PowerW(w), Some(other)) => format!(
            "{} W gives {} against {}: {} {}",
            significant(w, 5),
            speed(&shown.first),
            speed(other),
            signed(units.speed_value(other.demand.speed_m_s) - units.speed_value(shown.first.demand.speed_m_s), 2),
            units.speed_unit()
        ),
    }
}

/// A stated speed, as reports have the one of their reference.
fn stated_speed(speed_m_s: f64, units: Units) -> String {
    let value = units.speed_value(speed_m_s);
    let digits = if units == Units::Metric { 4 } else { 3 };
    format!("{} {}", significant(value, digits), units.speed_unit())
}

fn precise_speed(speed_m_s: f64, units: Units) -> String {
    format!("{} {}", fixed(Some(units.speed_value(speed_m_s)), 2), units.speed_unit())
}

/// A difference with its sign; what rounds to nothing has none.
fn signed(value: f64, decimals: usize) -> String {
    let text = format!("{value:+.decimals$}");
    if text.chars().any(|c| c.is_ascii_digit() && c != '0') {
        text
    } else {
        text.trim_start_matches(['+', '-']).to_string()
    }
}

struct Cause {
    name: &'static str,
    of: fn(&Demand) -> f64,
}

const CAUSES: [Cause; 6] = [
    Cause { name: "air", of: |d| d.aero_w },
    Cause { name: "tyres", of: |d| d.rolling_w },
    Cause { name: "bearings", of: |d| d.bearing_w },
    Cause { name: "slope", of: |d| d.climbing_w },
    Cause { name: "drivetrain", of: |d| d.drivetrain_w },
    Cause { name: "total", of: |d| d.total_w },
];

fn alone(demand: &Demand) -> Grid {
    let mut grid = Grid::new(&["Cause", "W", "Share"]);
    for cause in &CAUSES {
        let watts = (cause.of)(demand);
        grid.rows.push(vec![cause.name.into(), fixed(Some(watts), 1), share(watts, demand.total_w)]);
    }
    grid
}

fn beside(first: &Demand, against: &Demand) -> Grid {
    let mut grid = Grid::new(&["Cause", "W", "Against, W", "Difference, W"]);
    for cause in &CAUSES {
        let (a, b) = ((cause.of)(first), (cause.of)(against));
        grid.rows.push(vec![cause.name.into(), fixed(Some(a), 1), fixed(Some(b), 1), signed(b - a, 1)]);
    }
    grid
}

/// A share of a total that is not spent means nothing.
fn share(watts: f64, total_w: f64) -> String {
    if total_w > 0.0 { format!("{} %", fixed(Some(100.0 * watts / total_w), 1)) } else { String::new() }
}

fn journeys(shown: &PaceShown, units: Units) -> Vec<String> {
    let Some(first) = &shown.first.journey else { return Vec::new() };
    let mut lines = vec![format!("Over {}: {}, {}", distance(first, units), time(first.time_s), energy(first))];
    if let Some(other) = shown.against.as_ref().and_then(|a| a.journey.as_ref()) {
        lines.push(format!(
            "Against: {}, {}; {} s, {} kJ",
            time(other.time_s),
            energy(other),
            signed(other.time_s - first.time_s, 1),
            signed((other.energy_j - first.energy_j) / 1000.0, 1)
        ));
    }
    lines
}

fn distance(journey: &Journey, units: Units) -> String {
    match units {
        Units::Metric => format!("{} km", significant(journey.distance_m / 1000.0, 6)),
        Units::Imperial => format!("{} mi", significant(mi_from_m(journey.distance_m), 4)),
    }
}

fn energy(journey: &Journey) -> String {
    format!("{} kJ", fixed(Some(journey.energy_j / 1000.0), 1))
}

/// "1:02:03.4".
pub(super) fn time(seconds: f64) -> String {
    let tenths = (seconds.max(0.0) * 10.0).round() as u64;
    let (hours, minutes, rest) = (tenths / 36_000, tenths % 36_000 / 600, tenths % 600);
    let seconds = format!("{:02}.{}", rest / 10, rest % 10);
    if hours > 0 { format!("{hours}:{minutes:02}:{seconds}") } else { format!("{minutes}:{seconds}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_and_differences_are_written_as_people_write_them() {
        assert_eq!((time(3723.45), time(59.96), time(0.0)), ("1:02:03.5".into(), "1:00.0".into(), "0:00.0".into()));
        assert_eq!((signed(-2.04, 1), signed(0.04, 1), signed(-0.04, 1)), ("-2.0".into(), "0.0".into(), "0.0".into()));
    }
}
