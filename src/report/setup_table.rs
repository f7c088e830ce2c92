//! The table of set-ups: for the terminal, the page and `setups.csv`.
//!
//! Given the solution; gives a table. Where CdA and Crr are not known the resistance that is known takes their place.

use super::crr_held;
use super::number::{UNKNOWN, fixed};
use super::table::{Cell, Column, PARTS, Readers, Table};
use super::units::Units;
use super::verdict::{reference_speed, setup_name};
use crate::solution::Solution;

/// See the module.
pub fn set_ups(solution: &Solution, units: Units) -> Table {
    let speed = reference_speed(solution, units);
    let held = crr_held::words(solution).unwrap_or(UNKNOWN.into());
    // Watts of rolling are of interest on a terminal where those of air are not known, as on rollers.
    let rolling_only = solution.setups.iter().all(|s| s.power_w.value.is_none());
    let (rolling, rolling_readers) = match rolling_only {
        true => (format!("Rolling W\nat {speed}"), Readers::People),
        false => ("rolling, W".to_string(), Readers::Page),
    };
    let mut table = Table::new(vec![
        Column::words("setup", "").only(Readers::Files),
        Column::words("label", "").only(Readers::Files),
        Column::words("name", "Set-up").only(Readers::People),
        Column::estimates("crr", "Crr", PARTS),
        Column::estimates("cda_m2", "CdA, m²", PARTS),
        Column::estimates("power_w", format!("W at {speed}"), PARTS),
        Column::estimates("rolling_power_w", rolling, PARTS).only(rolling_readers),
        Column::estimates("aero_power_w", "air, W", PARTS).only(Readers::Page),
        Column::numbers("bearing_power_w", "bearings, W").only(Readers::Page),
        Column::numbers("mean_speed_m_s", "").only(Readers::Files),
        Column::numbers("mean_speed", format!("Mean speed,\n{}", units.speed_unit())).only(Readers::People),
        Column::estimates("drag_n", "Resistance\nat it, N", PARTS).only(Readers::People),
        Column::estimates("cda_if", format!("CdA, m²,\nif Crr is\n{held}"), PARTS).only(Readers::People),
        Column::numbers("laps_used", "Laps"),
    ]);
    let has_laps = solution.runs.iter().any(|run| !run.laps.is_empty());
    for setup in &solution.setups {
        let baseline = solution.setups.len() > 1 && setup.id == solution.baseline;
        let name = setup_name(setup);
        // Resistance is only of interest when its parts are not known.
        let drag = setup.drag_at_mean_speed_n.filter(|_| !solution.separable);
        let speed = setup.mean_speed_m_s.filter(|v| drag.is_some() && v.is_finite());
        // What all set-ups spend in the bearings: the watts left when rolling and air are taken off.
        let bearings = setup.power_w.value.zip(setup.rolling_power_w.value).zip(setup.aero_power_w.value);
        table.push(vec![
            Cell::words(&setup.id),
            Cell::words(&setup.label),
            Cell::words(if baseline { format!("{name} (baseline)") } else { name }),
            Cell::Estimate(setup.crr),
            Cell::Estimate(setup.cda_m2),
            Cell::Estimate(setup.power_w),
            Cell::Estimate(setup.rolling_power_w),
            Cell::Estimate(setup.aero_power_w),
            Cell::number(bearings.map(|((all, rolling), air)| all - rolling - air), |w| fixed(Some(w), 1)),
            Cell::number(setup.mean_speed_m_s, |v| v.to_string()),
            Cell::number(speed, |v| fixed(Some(units.speed_value(v)), 1)),
            drag.map_or(Cell::Missing, Cell::Estimate),
            setup.cda_m2_with_crr_held.map_or(Cell::Missing, Cell::Estimate),
            if has_laps { Cell::count(setup.laps_used) } else { Cell::Missing },
        ]);
    }
    table
}
