//! The rows of the page's tables.
//!
//! Given the solution; gives cells of text.

use serde::Serialize;

use super::super::number::{SHARED, Shown, UNKNOWN, fixed, is_shared, p_value, shown, significant};
use super::super::units::Units;
use super::super::verdict::{name_of, reference_speed, setup_name};
use crate::solution::{Contrast, Estimate, SetupResult, Solution};

/// A true minus sign before digits.
pub(super) fn typographic(text: &str) -> String {
    match text.strip_prefix('-') {
        Some(rest) if rest.starts_with(|c: char| c.is_ascii_digit()) => format!("−{rest}"),
        _ => text.to_string(),
    }
}

fn cell(estimate: &Estimate, signed: bool) -> Shown {
    let mut shown = shown(estimate);
    if signed && is_shared(estimate) {
        return Shown { value: SHARED.into(), known: true, ..Shown::default() };
    }
    let plus = signed && shown.known && estimate.value.is_some_and(|v| v > 0.0);
    shown.value = if plus { format!("+{}", shown.value) } else { typographic(&shown.value) };
    shown
}

#[derive(Serialize)]
pub struct SetupTable {
    columns: Vec<String>,
    has_laps: bool,
    has_speeds: bool,
    rows: Vec<SetupRow>,
}

#[derive(Serialize)]
struct SetupRow {
    name: String,
    baseline: bool,
    cells: Vec<Shown>,
    /// Where the resistance is told.
    mean_speed: String,
    laps: String,
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
    ];
    // On rollers watts of rolling stand alone.
    let rolling = match solution.setups.iter().any(|s| s.power_w.value.is_some()) {
        true => "of which rolling, W".to_string(),
        false => format!("Rolling, W at {}", reference_speed(solution, units)),
    };
    columns.push(quantity(&rolling, |s| Some(&s.rolling_power_w)));
    columns.push(quantity("of which air, W", |s| Some(&s.aero_power_w)));
    if !solution.separable {
        columns.push(quantity("Resistance at the mean speed, N", |s| s.drag_at_mean_speed_n.as_ref()));
        let held = solution.setups.iter().find_map(|s| s.crr_held).map_or(UNKNOWN.into(), |crr| significant(crr, 2));
        columns.push(quantity(&format!("CdA, m², if Crr were {held}"), |s| s.cda_m2_with_crr_held.as_ref()));
    }
    columns.retain(|c| solution.setups.iter().any(|s| (c.pick)(s).is_some_and(|e| e.value.is_some())));
    let has_laps = solution.runs.iter().any(|run| !run.laps.is_empty());
    let rows = solution
        .setups
        .iter()
        .map(|setup| SetupRow {
            name: setup_name(setup),
            baseline: solution.setups.len() > 1 && setup.id == solution.baseline,
            cells: columns.iter().map(|c| cell((c.pick)(setup).unwrap_or(&Estimate::default()), false)).collect(),
            mean_speed: setup
                .mean_speed_m_s
                .filter(|v| v.is_finite() && !solution.separable)
                .map_or(String::new(), |v| units.speed(v)),
            laps: if has_laps { setup.laps_used.to_string() } else { String::new() },
        })
        .collect();
    SetupTable {
        columns: columns.into_iter().map(|c| c.title).collect(),
        has_laps,
        has_speeds: !solution.separable,
        rows,
    }
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
    let known = |pick: fn(&Contrast) -> &Estimate| solution.contrasts.iter().any(|c| pick(c).value.is_some());
    if !known(|c| &c.power_w) && !known(|c| &c.crr) {
        return ContrastTable { baseline: String::new(), columns: Vec::new(), rows: Vec::new() };
    }
    let has_cda = known(|c| &c.cda_m2);
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

/// A ride file, to check that it is the same one.
#[derive(Serialize)]
pub struct FileRow {
    file: String,
    sha256: String,
    records: usize,
    minutes: String,
}

pub fn files(solution: &Solution) -> Vec<FileRow> {
    let row = |run: &crate::solution::RunResult| FileRow {
        file: run.file.clone(),
        sha256: run.sha256.clone(),
        records: run.records,
        minutes: fixed(Some(run.duration_s / 60.0), 0),
    };
    solution.runs.iter().map(row).collect()
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
