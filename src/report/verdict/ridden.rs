//! What was ridden, in three lines at most: where and in which order, laps and speeds, air and mass.
//!
//! Given the runs of a solution; gives lines without a full stop. It counts what is there.

use super::super::number::fixed;
use super::super::units::Units;
use super::super::{lap_length, laps_left_out};
use super::names::name_of;
use crate::solution::{RunResult, Solution};
use crate::wording::{counted, listed};

/// A longer order is counted instead of spelled out.
const LONGEST_ORDER: usize = 12;

pub(super) fn lines(solution: &Solution, units: Units) -> Vec<String> {
    if solution.runs.is_empty() {
        return Vec::new();
    }
    [Some(place(solution, units)), laps(solution, units), Some(air(solution, units))]
        .into_iter()
        .flatten()
        .filter(|line| !line.is_empty())
        .collect()
}

/// Runs by the moment they began; runs without one stay where they stand.
fn in_order(solution: &Solution) -> Vec<&RunResult> {
    let mut runs: Vec<&RunResult> = solution.runs.iter().collect();
    if runs.iter().all(|run| run.started.is_some()) {
        runs.sort_by_key(|run| run.started.clone());
    }
    runs
}

fn place(solution: &Solution, units: Units) -> String {
    let mut text = format!("{} in {}", counted(solution.setups.len(), "set-up"), counted(solution.runs.len(), "run"));
    let on_rollers = solution.runs.iter().filter(|run| run.venue == "rollers").count();
    let length = lap_length::named(&solution.circuit, units).map(|named| format!(" of {named}"));
    let loop_kind = match solution.circuit.kind.as_str() {
        "track" => "a track",
        _ => "a road loop",
    };
    text.push_str(&match (on_rollers, solution.runs.len() - on_rollers) {
        (0, _) => format!(" on {loop_kind}{}", length.unwrap_or_default()),
        (_, 0) => " on rollers".into(),
        (r, l) => format!(", {l} on {loop_kind}{} and {r} on rollers", length.unwrap_or_default()),
    });
    let runs = in_order(solution);
    if solution.setups.len() > 1 && runs.len() <= LONGEST_ORDER && runs.iter().all(|run| run.started.is_some()) {
        let letter = |run: &&RunResult| {
            let place = solution.setups.iter().position(|s| s.id == run.setup).unwrap_or(0);
            char::from(b'A' + u8::try_from(place % 26).unwrap_or(0)).to_string()
        };
        let order: Vec<String> = runs.iter().map(letter).collect();
        let key: Vec<String> = solution
            .setups
            .iter()
            .take(4)
            .enumerate()
            .map(|(k, s)| format!("{} {}", char::from(b'A' + k as u8), name_of(solution, &s.id)))
            .collect();
        let key = if solution.setups.len() > 4 { String::new() } else { format!(" ({})", key.join(", ")) };
        text.push_str(&format!(", in the order {}{key}", order.join(" ")));
    }
    let mut dates: Vec<String> =
        runs.iter().filter_map(|run| Some(run.started.as_deref()?.get(..10)?.to_string())).collect();
    dates.dedup();
    match dates.as_slice() {
        [] => {}
        [one] => text.push_str(&format!(", {one}")),
        [first, .., last] => text.push_str(&format!(", {first} to {last}")),
    }
    text
}

fn laps(solution: &Solution, units: Units) -> Option<String> {
    let all: usize = solution.runs.iter().map(|run| run.laps.len()).sum();
    if all == 0 {
        let seconds: f64 = solution.runs.iter().filter_map(|run| run.window.as_ref()).map(|w| w.to_s - w.from_s).sum();
        return (seconds > 0.0).then(|| format!("{} min of steady riding count", fixed(Some(seconds / 60.0), 0)));
    }
    let used: usize = solution.runs.iter().map(laps_left_out::used).sum();
    let mut text = if used == all {
        format!("{}, all used", counted(all, "lap"))
    } else {
        format!("{}, {used} used", counted(all, "lap"))
    };
    let speeds = classes(solution, units);
    if !speeds.is_empty() {
        text.push_str(&format!(", at {} {}", listed(&speeds), units.speed_unit()));
    }
    Some(text)
}

/// Mean speed of the used laps of each planned class.
fn classes(solution: &Solution, units: Units) -> Vec<String> {
    let used =
        || solution.runs.iter().flat_map(|run| &run.laps).filter(|lap| lap.used && lap.mean_speed_m_s.is_finite());
    let count = used().filter_map(|lap| lap.planned_speed_class).max().unwrap_or(0);
    let mean = |laps: Vec<f64>| laps.iter().sum::<f64>() / laps.len().max(1) as f64;
    let of = |class: usize| -> Vec<f64> {
        used().filter(|lap| lap.planned_speed_class == Some(class)).map(|lap| lap.mean_speed_m_s).collect()
    };
    let text = |v: f64| fixed(Some(units.speed_value(v)), 1);
    if (1..=4).contains(&count) {
        return (1..=count).map(of).filter(|laps| !laps.is_empty()).map(|laps| text(mean(laps))).collect();
    }
    let all: Vec<f64> = used().map(|lap| lap.mean_speed_m_s).collect();
    match (all.iter().copied().reduce(f64::min), all.iter().copied().reduce(f64::max)) {
        (Some(low), Some(high)) => vec![format!("{} to {}", text(low), text(high))],
        _ => Vec::new(),
    }
}

/// "a to b unit", or one value where both read alike.
fn span(values: impl Iterator<Item = f64>, show: impl Fn(f64) -> String) -> Option<String> {
    let values: Vec<f64> = values.filter(|v| v.is_finite()).collect();
    let (low, high) = (values.iter().copied().reduce(f64::min)?, values.iter().copied().reduce(f64::max)?);
    let (low, high) = (show(low), show(high));
    if low == high {
        return Some(low);
    }
    // A unit stands once.
    let unit = |text: &str| text.split_once(' ').map(|(_, unit)| unit.to_string());
    let low = if unit(&low) == unit(&high) { low.split(' ').next().unwrap_or_default().to_string() } else { low };
    Some(format!("{low} to {high}"))
}

fn air(solution: &Solution, units: Units) -> String {
    let mut parts = Vec::new();
    let temperature =
        span(solution.runs.iter().filter_map(|run| run.temperature_c), |t| fixed(Some(units.temperature_value(t)), 0));
    parts.extend(temperature.map(|t| format!("air {t} {}", units.temperature_unit())));
    let density = span(solution.runs.iter().filter_map(|run| run.air_density_kg_m3), |d| fixed(Some(d), 3));
    parts.extend(density.map(|d| format!("{d} kg/m³")));
    parts.extend(wind(solution, units));
    let mass = span(solution.runs.iter().map(|run| run.mass_kg), |m| units.mass(m));
    parts.extend(mass.map(|m| format!("rider and bicycle {m}")));
    parts.join(", ")
}

/// The range of the fitted winds; where none is told from still air, how well the rides know it.
fn wind(solution: &Solution, units: Units) -> Option<String> {
    let fitted = || solution.runs.iter().filter(|run| run.wind.speed_m_s.is_some_and(|w| w > 0.0));
    let shown = |m_s: f64| fixed(Some(units.wind_value(m_s)), 1);
    if fitted().any(|run| run.wind.is_told()) {
        let wind = span(fitted().filter_map(|run| run.wind.speed_m_s), shown);
        return wind.map(|wind| format!("wind {wind} {}", units.wind_unit()));
    }
    let se_m_s = fitted().filter_map(|run| run.wind.component_se_m_s()).reduce(f64::max)?;
    Some(format!("wind not told by the rides (± {} {} each way)", shown(se_m_s), units.wind_unit()))
}
