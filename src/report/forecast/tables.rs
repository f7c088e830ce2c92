//! The tables of a forecast.
//!
//! Given a forecast or a part of it; gives grids. It computes nothing but roundings.

use super::super::number::{UNKNOWN, significant};
use super::super::table::Grid;
use crate::forecast::{DifferenceForecast, Forecast, LapsTable, Measure, Predicted, Prediction};
use crate::plan::Plan;

/// Standard error with its parts under it.
fn errors(p: Option<Predicted>, decimals: usize) -> String {
    p.map_or(UNKNOWN.into(), |p| {
        let parts = [
            ("scatter", p.scatter_se),
            ("expected", p.prior_se),
            ("runs", p.run_to_run_se),
            ("instrument", p.instrument_se),
        ];
        let lines = parts.iter().map(|(name, part)| format!("\n{name} {part:.decimals$}"));
        std::iter::once(format!("{:.decimals$}", p.se)).chain(lines).collect()
    })
}

pub(super) fn set_ups(p: &Prediction) -> Grid {
    let mut grid = Grid::new(&["Set-up", "Laps that\ncount", "Crr", "CdA, m²", "Power, W", "Resistance, N"]);
    for s in &p.setups {
        let drag = if p.separable { UNKNOWN.into() } else { errors(s.drag_n, 2) };
        grid.rows.push(vec![
            s.label.clone(),
            if s.laps > 0 { s.laps.to_string() } else { UNKNOWN.into() },
            errors(s.crr, 5),
            errors(s.cda_m2, 4),
            errors(s.power_w, 1),
            drag,
        ]);
    }
    grid
}

pub(super) fn differences(plan: &Plan, all: &[DifferenceForecast]) -> Grid {
    let mut grid =
        Grid::new(&["Difference", "Crr,\nse", "Crr,\nSDD", "CdA,\nm², se", "CdA,\nm², SDD", "W,\nse", "W,\nSDD"]);
    let found = |p: Option<Predicted>, decimals: usize| {
        p.and_then(|p| p.detectable).map_or(UNKNOWN.into(), |d| format!("{d:.decimals$}"))
    };
    let error = |p: Option<Predicted>, decimals: usize| p.map_or(UNKNOWN.into(), |p| format!("{:.decimals$}", p.se));
    for d in all {
        grid.rows.push(vec![
            format!("{} less {}", name_in(plan, &d.setup), name_in(plan, &d.baseline)),
            error(d.crr, 6),
            found(d.crr, 5),
            error(d.cda_m2, 5),
            found(d.cda_m2, 4),
            error(d.power_w, 1),
            found(d.power_w, 1),
        ]);
    }
    grid
}

/// Label of a set-up, or its id.
fn name_in(plan: &Plan, id: &str) -> String {
    plan.setups.iter().find(|setup| setup.id == id).map_or(id, |setup| setup.name()).to_string()
}

fn number(measure: Measure, value: Option<f64>) -> String {
    let decimals = match measure {
        Measure::PowerW => 1,
        Measure::Crr => 5,
        Measure::CdaM2 => 4,
    };
    value.map_or("none".into(), |v| format!("{v:.decimals$}"))
}

pub(super) fn changes(f: &Forecast) -> Grid {
    let mut grid = Grid::new(&["Change", "SDD"]);
    let Some(p) = f.prediction.as_ref().filter(|_| f.laps.is_some()) else { return grid };
    let mut row = |change: String, value: Option<f64>| grid.rows.push(vec![change, number(f.measure, value)]);
    row("as planned".into(), f.measure.detectable(p));
    for a in &f.alternatives {
        row(a.change.clone(), a.detectable);
    }
    if let Some(s) = &f.best_speeds {
        let within = format!(
            "within {:.0} to {:.0} km/h{}{}",
            s.slowest_km_h,
            s.fastest_km_h,
            s.most_power_w.map_or(String::new(), |w| format!(" and {w:.0} W")),
            if s.stated { "" } else { ", no [limits] stated" }
        );
        match s.best {
            Some(b) => row(
                format!(
                    "best pair of speeds, {:.0} and {:.0} km/h ({:.0} W; {within})",
                    b.slow_km_h, b.fast_km_h, b.fast_power_w
                ),
                Some(b.detectable),
            ),
            None => row(format!("no pair of speeds can be ridden {within}"), None),
        }
    }
    grid
}

pub(super) fn orders(f: &Forecast) -> Grid {
    let mut grid = Grid::new(&["Order", "Steady,\nW", "Growing,\nW", "Follows", "SDD, W,\ndrift fitted"]);
    let planned = f.orders.first().map_or(0, |o| o.order.len());
    for o in &f.orders {
        let more = if o.order.len() > planned { ", every set-up twice" } else { "" };
        grid.rows.push(vec![
            format!(
                "{}{more}: {}{}",
                o.name,
                o.order.join(" "),
                if o.confounded { " (looks like a drift)" } else { "" }
            ),
            format!("{:.2}", o.left_of_steady_drift_w),
            format!("{:.2}", o.left_of_growing_drift_w),
            o.carry_over_gap.to_string(),
            match (o.detectable_with_drift_fitted_w, f.laps.is_some()) {
                (Some(d), _) => format!("{d:.1}"),
                (None, true) => "none".into(),
                (None, false) => UNKNOWN.into(),
            },
        ]);
    }
    grid
}

pub(super) fn laps(table: &LapsTable) -> Grid {
    let mut grid = Grid::new(&["Laps a set-up"]);
    grid.header.extend(table.winds.iter().map(|w| format!("gusts {} m/s", significant(w.gust_sd_m_s, 2))));
    for (i, laps) in table.laps_per_setup.iter().enumerate() {
        let watts = table.winds.iter().map(|w| w.detectable_power_w.get(i).copied().flatten());
        let cells = watts.map(|d| d.map_or(UNKNOWN.into(), |d| format!("{d:.1}")));
        grid.rows.push(std::iter::once(laps.to_string()).chain(cells).collect());
    }
    grid
}
