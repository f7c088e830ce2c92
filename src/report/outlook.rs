//! What a result means at another pace, as a table: watts or speed and time of each set-up, and against the baseline.
//!
//! Given an outlook; gives plain text. It solves for nothing.

use super::number::{fixed, percent, significant};
use super::table::{Cell, Column, PARTS, Parts, Table, paragraph};
use super::text::{LEAST_WIDTH, MOST_WIDTH, section};
use super::units::Units;
use crate::demand::Pace;
use crate::outlook::AtPace;
use crate::solution::{Estimate, Solution};
use crate::wording::harmless;

const PLAIN: Parts = Parts { on_terminal: false, ..PARTS };

/// One pace with what each set-up makes of it.
#[derive(Debug, Clone, PartialEq)]
pub struct PaceOutlook {
    pub pace: Pace,
    pub set_ups: Vec<AtPace>,
}

/// See the module.
pub fn text(solution: &Solution, paces: &[PaceOutlook], width: usize, units: Units) -> String {
    let width = width.clamp(LEAST_WIDTH, MOST_WIDTH);
    let mut text = String::new();
    for pace in paces {
        let heading = match pace.pace {
            Pace::SpeedMS(v) => format!("At {} {}", fixed(Some(units.speed_value(v)), 2), units.speed_unit()),
            Pace::PowerW(w) => format!("At {} W", significant(w, 5)),
        };
        section(&mut text, width, &heading, &table(solution, pace, units).text(width));
    }
    let share = percent(solution.confidence);
    text.push_str(&paragraph(
        &format!(
            "± is half the width of the {share} interval, that of the result carried to this pace; it holds what the result's own \
             interval holds and nothing of another day's wind, road or position."
        ),
        width,
        "",
    ));
    harmless(text.trim_start_matches('\n'))
}

fn table(solution: &Solution, pace: &PaceOutlook, units: Units) -> Table {
    let mut table = Table::new(vec![
        Column::words("label", "Set-up"),
        Column::estimates("power_w", "W", PLAIN),
        Column::estimates("speed", units.speed_unit(), PLAIN),
        Column::numbers("time", "Time"),
        Column::estimates("power_d", "W to the\nbaseline", PLAIN),
        Column::estimates("time_d", "s to the\nbaseline", PLAIN),
    ]);
    let at_power = matches!(pace.pace, Pace::PowerW(_));
    for one in &pace.set_ups {
        let name = if one.label.trim().is_empty() { &one.setup } else { &one.label };
        let name = if one.setup == solution.baseline { format!("{name} (baseline)") } else { name.clone() };
        let in_unit = |e: &Estimate| {
            let turn = |v: Option<f64>| v.map(|v| units.speed_value(v));
            Estimate { value: turn(e.value), se: turn(e.se), low: turn(e.low), high: turn(e.high), ..*e }
        };
        let time = one.time_s.as_ref().and_then(|t| t.value.map(|v| (v, t)));
        let against = one.against_baseline.as_ref();
        table.push(vec![
            Cell::words(name),
            if at_power { Cell::Missing } else { Cell::Estimate(one.power_w) },
            if at_power { Cell::Estimate(in_unit(&one.speed_m_s)) } else { Cell::Missing },
            Cell::number(time.map(|(v, _)| v), |v| {
                let half = time.and_then(|(_, t)| Some((t.high? - t.low?) / 2.0));
                // Tenths of a second say nothing beside tens of them.
                let whole = half.is_some_and(|h| h >= 10.0);
                let spread = half.map_or(String::new(), |h| format!(" ± {} s", fixed(Some(h), usize::from(!whole))));
                let told = super::demand::time(if whole { v.round() } else { v });
                format!("{}{spread}", if whole { told.trim_end_matches(".0") } else { &told })
            }),
            against.map_or(Cell::Missing, |a| Cell::Difference(a.power_w)),
            against.and_then(|a| a.time_s).map_or(Cell::Missing, Cell::Difference),
        ]);
    }
    table
}
