//! The tables of runs on the loop and on rollers: few columns for the terminal, all for the page and `runs.csv`.
//!
//! Given the runs; gives tables. A run that was left out keeps its row.

use super::laps_left_out;
use super::number::{fixed, measured, significant};
use super::table::{Cell, Column, Readers, Table};
use super::units::Units;
use super::verdict::name_of;
use crate::solution::{Measured, RunResult, Solution};

/// A run with its number, from 1.
struct Numbered<'a> {
    number: usize,
    run: &'a RunResult,
}

fn runs_where<'a>(
    solution: &'a Solution,
    wanted: impl Fn(&RunResult) -> bool + 'a,
) -> impl Iterator<Item = Numbered<'a>> {
    let numbered = solution.runs.iter().enumerate().map(|(k, run)| Numbered { number: k + 1, run });
    numbered.filter(move |n| wanted(n.run))
}

fn is_on_rollers(run: &RunResult) -> bool {
    run.venue == "rollers"
}

/// The columns that name a run.
fn naming() -> Vec<Column> {
    vec![
        Column::words("file", "Run").only(Readers::Terminal),
        Column::words("setup", "Set-up").only(Readers::Terminal),
        Column::numbers("run", "Run").only(Readers::Page),
        Column::words("label", "Set-up").only(Readers::Page),
        Column::numbers("run", "").only(Readers::Files),
        Column::words("file", "").only(Readers::Files),
        Column::words("setup", "").only(Readers::Files),
        Column::words("started", "Started").only(Readers::Page),
        Column::words("started", "").only(Readers::Files),
    ]
}

fn named(solution: &Solution, Numbered { number, run }: &Numbered) -> Vec<Cell> {
    let day_and_time = run.started.as_deref().map(|s| s.replace('T', " ").replace('Z', " UTC"));
    vec![
        Cell::words(format!("{number} {}", run.file)),
        Cell::words(&run.setup),
        Cell::count(*number),
        Cell::words(name_of(solution, &run.setup)),
        Cell::count(*number),
        Cell::words(&run.file),
        Cell::words(&run.setup),
        Cell::maybe(day_and_time),
        Cell::maybe(run.started.clone()),
    ]
}

fn nuisance(value: &Measured) -> Cell {
    Cell::number(value.value, |_| measured(value))
}

/// Runs on a loop or track; without rows when there are none.
pub fn on_loop(solution: &Solution, units: Units) -> Table {
    let mut columns = naming();
    columns.extend([
        Column::words("laps", "Laps used").only(Readers::People),
        Column::numbers("laps_used", "").only(Readers::Files),
        Column::numbers("laps", "").only(Readers::Files),
        Column::numbers("lag_s", "Lag ± se,\ns"),
        Column::numbers("wind_speed_m_s", format!("Wind ± se,\n{}", units.wind_unit())).only(Readers::People),
        Column::numbers("wind_speed_m_s", "").only(Readers::Files),
        Column::numbers("wind_from_deg", "").only(Readers::Files),
        Column::numbers("air_density_kg_m3", "Air,\nkg/m³"),
        Column::numbers("temperature_c", format!("Air, {}", units.temperature_unit())).only(Readers::Page),
        Column::numbers("temperature_c", "").only(Readers::Files),
        Column::numbers("mass_kg", "Mass").only(Readers::People),
        Column::numbers("mass_kg", "").only(Readers::Files),
        Column::words("tyres", "Tyres front / rear").only(Readers::Page),
    ]);
    let mut table = Table::new(columns);
    for one in runs_where(solution, |run| !is_on_rollers(run)) {
        let run = one.run;
        let used = laps_left_out::used(run);
        let laps = (!run.laps.is_empty()).then(|| format!("{used} of {}", run.laps.len()));
        let mut row = named(solution, &one);
        row.extend([
            Cell::maybe(laps),
            Cell::count(used),
            Cell::count(run.laps.len()),
            nuisance(&run.lag_s),
            wind(run, units),
            Cell::number(run.wind.speed_m_s, |v| v.to_string()),
            Cell::number(run.wind.from_deg, |v| v.to_string()),
            Cell::number(run.air_density_kg_m3, |d| fixed(Some(d), 3)),
            Cell::number(run.temperature_c, |t| fixed(Some(units.temperature_value(t)), 1)),
            Cell::number(run.temperature_c, |t| t.to_string()),
            Cell::number(Some(run.mass_kg), |m| units.mass(m)),
            Cell::number(Some(run.mass_kg), |m| m.to_string()),
            tyres(run, units),
        ]);
        table.push(row);
    }
    table
}

/// Runs on rollers; without rows when there are none. A run that was left out has no window.
pub fn on_rollers(solution: &Solution, units: Units) -> Table {
    let mut columns = naming();
    columns.extend([
        Column::words("window_s", "Window, s").only(Readers::People),
        Column::numbers("window_from_s", "").only(Readers::Files),
        Column::numbers("window_to_s", "").only(Readers::Files),
        Column::numbers("warm_up_time_constant_s", "Warm-up time constant, s").only(Readers::Page),
        Column::numbers("mean_speed_m_s", format!("Speed,\n{}", units.speed_unit())),
        Column::numbers("mean_power_w", "Power,\nW"),
        Column::numbers("crr_drum", "Crr on the drums").only(Readers::Page),
        Column::numbers("crr", "Crr on\nthe flat ± se"),
        Column::numbers("mass_kg", "Mass").only(Readers::People),
        Column::numbers("mass_kg", "").only(Readers::Files),
        Column::words("tyres", "Tyres front / rear").only(Readers::Page),
    ]);
    let mut table = Table::new(columns);
    for one in runs_where(solution, is_on_rollers) {
        let run = one.run;
        let window = run.window.as_ref();
        let of = |pick: fn(&crate::solution::RollerWindow) -> f64| window.map(pick);
        let whole = |x: f64| fixed(Some(x), 0);
        let mut row = named(solution, &one);
        row.extend([
            Cell::maybe(window.map(|w| format!("{} to {}", whole(w.from_s), whole(w.to_s)))),
            Cell::number(of(|w| w.from_s), whole),
            Cell::number(of(|w| w.to_s), whole),
            Cell::number(window.and_then(|w| w.time_constant_s), whole),
            Cell::number(of(|w| w.mean_speed_m_s), |v| fixed(Some(units.speed_value(v)), 1)),
            Cell::number(of(|w| w.mean_power_w), |w| fixed(Some(w), 1)),
            Cell::number(of(|w| w.crr_drum), |crr| significant(crr, 4)),
            window.map_or(Cell::Missing, |w| nuisance(&w.crr)),
            Cell::number(Some(run.mass_kg), |m| units.mass(m)),
            Cell::number(Some(run.mass_kg), |m| m.to_string()),
            tyres(run, units),
        ]);
        table.push(row);
    }
    table
}

fn tyres(run: &RunResult, units: Units) -> Cell {
    Cell::maybe(run.tyre_pressure_kpa.map(|p| format!("{} / {}", units.pressure(p.front), units.pressure(p.rear))))
}

fn wind(run: &RunResult, units: Units) -> Cell {
    let from = run.wind.from_deg.filter(|v| v.is_finite());
    let still = run.wind.speed_m_s == Some(0.0) && run.wind.east_m_s.se.is_none();
    let shown = |m_s: f64| fixed(Some(units.wind_value(m_s)), 1);
    let error = |se: Option<f64>| se.map_or(String::new(), |se| format!(" ± {}", shown(se)));
    let se_m_s = run.wind.component_se_m_s();
    Cell::number(run.wind.speed_m_s, |speed_m_s| match from {
        _ if still => "held still".into(),
        // What may as well be still blows from nowhere.
        Some(from) if run.wind.is_told() => {
            format!("{}{}\nfrom {}°", shown(speed_m_s), error(se_m_s), fixed(Some(from), 0))
        }
        None if run.wind.along_m_s.value.is_some() => {
            let of = |m: &Measured| format!("{}{}", fixed(m.value.map(|v| units.wind_value(v)), 1), error(m.se));
            format!("{} along, {} across", of(&run.wind.along_m_s), of(&run.wind.across_m_s))
        }
        _ => format!("{}{}", shown(speed_m_s), error(se_m_s)),
    })
}
