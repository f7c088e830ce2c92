//! The table of laps, used or not: for the page and `laps.csv`.
//!
//! Given the runs; gives a table.

use super::number::fixed;
use super::table::{Cell, Column, Readers, Row, Table};
use super::units::Units;
use crate::solution::Solution;
use crate::wording::percent;

/// See the module.
pub fn laps(solution: &Solution, units: Units) -> Table {
    let length = units.length_unit();
    let mut table = Table::new(vec![
        Column::numbers("run", "Run"),
        Column::words("file", "").only(Readers::Files),
        Column::words("setup", "").only(Readers::Files),
        Column::numbers("lap", "Lap"),
        Column::numbers("start_s", "Start, s"),
        Column::numbers("duration_s", "Duration, s"),
        Column::numbers("distance_m", format!("Length, {length}")),
        Column::numbers("mean_speed_m_s", format!("Speed, {}", units.speed_unit())),
        Column::numbers("mean_power_w", "Power, W"),
        Column::numbers("planned_speed_class", "Speed class"),
        Column::numbers("misclosure_m", format!("Misclosure, {length}")),
        Column::words("used", "").only(Readers::Files),
        Column::words("reason", "").only(Readers::Files),
        Column::numbers("share_used", "").only(Readers::Files),
        Column::words("use", "Used").only(Readers::People),
    ]);
    for (index, run) in solution.runs.iter().enumerate() {
        for lap in &run.laps {
            let tenth = |x: f64| fixed(Some(x), 1);
            let long = |x: f64, decimals: usize| fixed(Some(units.length_value(x)), decimals);
            let reason = || lap.reason.clone().unwrap_or_else(|| "no reason recorded".into());
            table.rows.push(Row {
                cells: vec![
                    Cell::count(index + 1),
                    Cell::words(&run.file),
                    Cell::words(&run.setup),
                    Cell::count(lap.lap),
                    Cell::number(Some(lap.start_s), tenth),
                    Cell::number(Some(lap.duration_s), tenth),
                    Cell::number(Some(lap.distance_m), |x| long(x, 1)),
                    Cell::number(Some(lap.mean_speed_m_s), |v| fixed(Some(units.speed_value(v)), 2)),
                    Cell::number(lap.mean_power_w, tenth),
                    lap.planned_speed_class.map_or(Cell::Missing, Cell::count),
                    Cell::number(lap.misclosure_m, |x| long(x, 3)),
                    Cell::words(lap.used.to_string()),
                    Cell::maybe(lap.reason.clone()),
                    Cell::number(Some(lap.share_used), |x| fixed(Some(x), 3)),
                    Cell::words(match lap.share_used {
                        _ if !lap.used => format!("no: {}", reason()),
                        1.0 => "yes".into(),
                        share => format!("{} of it", percent((100.0 * share).round() / 100.0)),
                    }),
                ],
                lap: Some(format!("{}-{}", index + 1, lap.lap)),
                pale: !lap.used,
            });
        }
    }
    table
}
