//! The rows of the page's tables.
//!
//! Given the solution; gives cells of text.

use serde::Serialize;

use super::super::laps_left_out;
use super::super::number::{Shown, UNKNOWN, fixed, measured, p_value, shown, significant};
use super::super::units::Units;
use super::super::verdict::{name_of, reference_speed, setup_name};
use crate::solution::{Estimate, RunResult, SetupResult, Solution};

/// A true minus sign before digits.
fn typographic(text: &str) -> String {
    match text.strip_prefix('-') {
        Some(rest) if rest.starts_with(|c: char| c.is_ascii_digit()) => format!("−{rest}"),
        _ => text.to_string(),
    }
}

fn cell(estimate: &Estimate, signed: bool) -> Shown {
    let mut shown = shown(estimate);
    let plus = signed && shown.known && estimate.value.is_some_and(|v| v > 0.0);
    shown.value = if plus { format!("+{}", shown.value) } else { typographic(&shown.value) };
    shown
}

#[derive(Serialize)]
pub struct SetupTable {
    columns: Vec<String>,
    rows: Vec<SetupRow>,
}

#[derive(Serialize)]
struct SetupRow {
    name: String,
    baseline: bool,
    cells: Vec<Shown>,
    laps: usize,
}

type Pick = fn(&SetupResult) -> Option<&Estimate>;

/// A column of the table of set-ups.
struct Quantity {
    title: String,
    pick: Pick,
}

pub fn setups(solution: &Solution, units: Units) -> SetupTable {
    let quantity = |title: &str, pick: Pick| Quantity { title: title.into(), pick };
    let mut columns = vec![
        quantity("Crr", |s| Some(&s.crr)),
        quantity("CdA, m²", |s| Some(&s.cda_m2)),
        quantity(&format!("Power, W at {}", reference_speed(solution, units)), |s| Some(&s.power_w)),
        quantity("of which rolling, W", |s| Some(&s.rolling_power_w)),
        quantity("of which air, W", |s| Some(&s.aero_power_w)),
    ];
    if !solution.separable {
        columns.push(quantity("Resistance at the mean speed, N", |s| s.drag_at_mean_speed_n.as_ref()));
    }
    columns.retain(|c| solution.setups.iter().any(|s| (c.pick)(s).is_some_and(|e| e.value.is_some())));
    let rows = solution
        .setups
        .iter()
        .map(|setup| SetupRow {
            name: setup_name(setup),
            baseline: solution.setups.len() > 1 && setup.id == solution.baseline,
            cells: columns.iter().map(|c| cell((c.pick)(setup).unwrap_or(&Estimate::default()), false)).collect(),
            laps: setup.laps_used,
        })
        .collect();
    SetupTable { columns: columns.into_iter().map(|c| c.title).collect(), rows }
}

#[derive(Serialize)]
pub struct ContrastTable {
    baseline: String,
    columns: Vec<&'static str>,
    rows: Vec<ContrastRow>,
}

#[derive(Serialize)]
struct ContrastRow {
    name: String,
    verdict: String,
    cells: Vec<Shown>,
    p: String,
    detectable: String,
}

pub fn contrasts(solution: &Solution) -> ContrastTable {
    let has_cda = solution.contrasts.iter().any(|c| c.cda_m2.value.is_some());
    let mut columns = vec!["Power, W", "Crr"];
    if has_cda {
        columns.push("CdA, m²");
    }
    let rows = solution
        .contrasts
        .iter()
        .map(|contrast| {
            let mut cells = vec![cell(&contrast.power_w, true), cell(&contrast.crr, true)];
            if has_cda {
                cells.push(cell(&contrast.cda_m2, true));
            }
            let detectable = contrast.detectable_power_w.filter(|w| w.is_finite());
            ContrastRow {
                name: name_of(solution, &contrast.setup),
                verdict: contrast.verdict.clone(),
                cells,
                p: p_value(contrast.p_holm),
                detectable: detectable.map_or(UNKNOWN.into(), |w| format!("{} W", significant(w, 2))),
            }
        })
        .collect();
    ContrastTable { baseline: name_of(solution, &solution.baseline), columns, rows }
}

#[derive(Serialize)]
pub struct BudgetTable {
    baseline: String,
    differences: bool,
    pub(super) rows: Vec<BudgetRow>,
}

#[derive(Serialize)]
pub(super) struct BudgetRow {
    source: String,
    uncertainty: String,
    crr: String,
    cda: String,
    power: String,
    difference: String,
}

pub fn budget(solution: &Solution) -> BudgetTable {
    let two =
        |value: Option<f64>| value.filter(|v| v.is_finite()).map_or(UNKNOWN.to_string(), |v| significant(v.abs(), 2));
    let rows = solution
        .budget
        .iter()
        .map(|line| {
            let largest = line.contrasts.iter().filter_map(|c| c.power_w).map(f64::abs).filter(|w| w.is_finite());
            let unit = if line.unit.is_empty() || line.unit == "1" { String::new() } else { format!(" {}", line.unit) };
            BudgetRow {
                source: line.source.clone(),
                uncertainty: format!("{}{unit}", significant(line.standard_uncertainty, 3)),
                crr: two(line.crr),
                cda: two(line.cda_m2),
                power: two(line.power_w),
                difference: two(largest.reduce(f64::max)),
            }
        })
        .collect();
    BudgetTable {
        baseline: name_of(solution, &solution.baseline),
        differences: solution.budget.iter().any(|line| !line.contrasts.is_empty()),
        rows,
    }
}

#[derive(Serialize)]
pub struct RunRow {
    number: usize,
    file: String,
    sha256: String,
    setup: String,
    started: String,
    records: usize,
    minutes: String,
    laps: String,
    lag: String,
    wind: String,
    density: String,
    temperature: String,
    mass: String,
    tyres: String,
}

fn wind(run: &RunResult) -> String {
    let speed = run.wind.speed_m_s.filter(|v| v.is_finite());
    let from = run.wind.from_deg.filter(|v| v.is_finite());
    match (speed, from) {
        (Some(speed), Some(from)) => format!("{} m/s from {}°", fixed(Some(speed), 1), fixed(Some(from), 0)),
        (Some(speed), None) => format!("{} m/s", fixed(Some(speed), 1)),
        _ => UNKNOWN.into(),
    }
}

pub fn runs(solution: &Solution, units: Units) -> Vec<RunRow> {
    solution
        .runs
        .iter()
        .enumerate()
        .map(|(index, run)| RunRow {
            number: index + 1,
            file: run.file.clone(),
            sha256: run.sha256.clone(),
            setup: name_of(solution, &run.setup),
            started: run.started.as_deref().map_or(UNKNOWN.into(), |s| s.replace('T', " ").replace('Z', " UTC")),
            records: run.records,
            minutes: fixed(Some(run.duration_s / 60.0), 0),
            laps: if run.laps.is_empty() {
                UNKNOWN.into()
            } else {
                format!("{} of {}", laps_left_out::used(run), run.laps.len())
            },
            lag: typographic(&measured(&run.lag_s)),
            wind: wind(run),
            density: fixed(run.air_density_kg_m3, 3),
            temperature: typographic(&fixed(run.temperature_c, 1)),
            mass: units.mass(run.mass_kg),
            tyres: run
                .tyre_pressure_kpa
                .map_or(UNKNOWN.into(), |p| format!("{} / {}", units.pressure(p.front), units.pressure(p.rear))),
        })
        .collect()
}

#[derive(Serialize)]
pub struct LapRow {
    run: usize,
    lap: usize,
    start: String,
    duration: String,
    distance: String,
    speed: String,
    power: String,
    class: String,
    misclosure: String,
    used: bool,
    reason: String,
}

pub fn laps(solution: &Solution, units: Units) -> Vec<LapRow> {
    let mut rows = Vec::new();
    for (index, run) in solution.runs.iter().enumerate() {
        for lap in &run.laps {
            rows.push(LapRow {
                run: index + 1,
                lap: lap.lap,
                start: fixed(Some(lap.start_s), 1),
                duration: fixed(Some(lap.duration_s), 1),
                distance: fixed(Some(units.length_value(lap.distance_m)), 1),
                speed: fixed(Some(units.speed_value(lap.mean_speed_m_s)), 2),
                power: fixed(lap.mean_power_w, 1),
                class: lap.planned_speed_class.map_or(UNKNOWN.into(), |class| class.to_string()),
                misclosure: typographic(&fixed(lap.misclosure_m, 3)),
                used: lap.used,
                reason: lap.reason.clone().unwrap_or_else(|| "no reason recorded".into()),
            });
        }
    }
    rows
}
