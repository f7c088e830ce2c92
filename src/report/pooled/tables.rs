//! The tables of pooled results: what was brought together, the means, and what each result says of a difference.
//!
//! Given a pooled result; gives tables. It pools nothing.

use super::super::factors::{best_columns, head, head_columns, losses, output_cell};
use super::super::number::{fixed, p_value, significant, verdict_with_p};
use super::super::table::{Cell, Column, Parts, Readers, Table};
use super::super::units::Units;
use super::names::{pair, reference_speed, tested};
use crate::pool::{PooledContrast, PooledQuantity, PooledResult};
use crate::session::factors::shown_with_unit;
use crate::solution::Estimate;
use crate::wording::{counted, venue_name};

/// What each day errs by itself, and what all share.
const OWN_AND_SHARED: Parts = Parts { names: ["own", "shared"], on_terminal: true };
/// The parts of a single day's interval are not asked for here.
const SCATTER: Parts = Parts { names: ["scatter", "instrument"], on_terminal: false };

pub fn days(result: &PooledResult) -> Table {
    let mut table = Table::new(vec![
        Column::words("result", "Result"),
        Column::words("file", "File"),
        Column::words("date", "Date"),
        Column::words("venue", "Venue"),
    ]);
    for day in &result.days {
        // A name that is the file's is not told twice.
        let file = (day.file != day.name).then(|| day.file.clone());
        let cells = [
            Cell::words(&day.name),
            Cell::maybe(file),
            Cell::maybe(day.date.clone()),
            Cell::words(venue_name(&day.venue)),
        ];
        table.push(cells.into());
    }
    table
}

/// The means, each with its two parts.
pub fn means(result: &PooledResult, units: Units) -> Table {
    let mut table = Table::new(vec![
        Column::words("name", "Set-up"),
        Column::estimates("power_w", format!("W at\n{}", reference_speed(result, units)), OWN_AND_SHARED),
        Column::estimates("crr", "Crr", OWN_AND_SHARED),
        Column::estimates("cda_m2", "CdA, m²", OWN_AND_SHARED),
        Column::words("days", "Days"),
        Column::numbers("p_holm", "p").only(Readers::Page),
        Column::numbers("detectable", "SDD"),
        Column::words("verdict", "Verdict").only(Readers::Page),
        // Side by side with p it would take more than eighty columns.
        Column::words("verdict", "Verdict").only(Readers::Terminal),
    ]);
    for contrast in &result.contrasts {
        let own = contrast.baseline == result.baseline;
        let name = if own { result.name_of(&contrast.setup) } else { pair(result, contrast) };
        let mean = |q: &Option<PooledQuantity>| q.as_ref().map_or(Cell::Missing, |q| Cell::Difference(q.together));
        let (results, days) = (contrast.days.len(), result.days_of_riding(contrast.days.iter().map(|d| d.day)));
        let days = if days == results { days.to_string() } else { format!("{days}\n({})", counted(results, "result")) };
        let verdict = if contrast.tested.is_some() { contrast.verdict.as_str() } else { "not known" };
        table.push(vec![
            Cell::Words(name),
            mean(&contrast.power_w),
            mean(&contrast.crr),
            mean(&contrast.cda_m2),
            Cell::Words(days),
            Cell::number(contrast.p_holm, |p| p_value(Some(p))),
            Cell::number(contrast.detectable, |d| significant(d, 2)),
            Cell::words(verdict),
            Cell::words(verdict_with_p(verdict, contrast.p_holm)),
        ]);
    }
    table
}

/// What each result says; the weight is that in the quantity that is tested.
pub fn by_day(result: &PooledResult, contrast: &PooledContrast, units: Units) -> Table {
    let mut table = Table::new(vec![
        Column::words("result", "Result"),
        Column::estimates("power_w", format!("W at\n{}", reference_speed(result, units)), SCATTER),
        Column::estimates("crr", "Crr", SCATTER),
        Column::estimates("cda_m2", "CdA, m²", SCATTER),
        Column::numbers("weight", "Weight"),
        Column::words("remark", "Remark"),
    ]);
    let tested = tested(contrast);
    for day in &contrast.days {
        let weight = tested.and_then(|q| q.days.iter().find(|w| w.day == day.day)).map(|w| w.weight);
        let mut remark = Vec::new();
        if day.turned {
            remark.push("sign turned".to_string());
        }
        remark.extend(day.power_left_out.clone().map(|why| format!("W: {why}")));
        table.push(vec![
            Cell::maybe(day.day.checked_sub(1).and_then(|i| result.days.get(i)).map(|d| d.name.clone())),
            Cell::Difference(day.power_w),
            Cell::Difference(day.crr),
            Cell::Difference(day.cda_m2),
            Cell::number(weight, |w| format!("{} %", fixed(Some(100.0 * w), 0))),
            Cell::Words(remark.join(",\n")),
        ]);
    }
    let together = |q: &Option<PooledQuantity>, days: &dyn Fn(usize) -> Estimate| match q {
        Some(q) => Cell::Difference(q.together),
        // What every result shares is shared in the mean.
        None if (0..contrast.days.len()).all(|k| super::super::number::is_shared(&days(k))) => {
            Cell::Difference(days(0))
        }
        None => Cell::Missing,
    };
    table.push(vec![
        Cell::words("Together"),
        together(&contrast.power_w, &|k| contrast.days[k].power_w),
        together(&contrast.crr, &|k| contrast.days[k].crr),
        together(&contrast.cda_m2, &|k| contrast.days[k].cda_m2),
        Cell::Missing,
        Cell::Missing,
    ]);
    table
}

/// Effects of factors over the days that have them.
pub fn effects(result: &PooledResult) -> Table {
    let mut table = Table::new(vec![
        Column::words("output", "Output"),
        Column::words("factor", "Factor"),
        Column::words("level", "Level"),
        Column::words("against", "Against"),
        Column::estimates("effect", "Effect", OWN_AND_SHARED),
        Column::words("days", "Days"),
        Column::numbers("p_holm", "p"),
        Column::words("agree", "Results"),
    ]);
    for e in &result.effects {
        let days = result.days_of_riding(e.days.iter().map(|d| d.day));
        table.push(vec![
            output_cell(&e.output),
            Cell::Words(shown_with_unit(&e.factor)),
            Cell::words(&e.level),
            Cell::words(&e.against),
            Cell::Difference(e.effect.together),
            Cell::Words(days.to_string()),
            Cell::number(e.p_holm, |p| p_value(Some(p))),
            Cell::words(if e.effect.agree { "agree" } else { "differ" }),
        ]);
    }
    table
}

/// What each level of a quantity costs, by the curves that the days have in common.
pub fn curves(result: &PooledResult) -> Table {
    let mut columns = head_columns();
    columns.push(Column::estimates("lost", "Lost", SCATTER));
    columns.extend(best_columns());
    columns.extend([Column::words("days", "Days"), Column::words("agree", "Results")]);
    let mut table = Table::new(columns);
    for c in &result.curves {
        let days = result.days_of_riding(c.days.iter().copied());
        for lost in losses(&c.curve) {
            let mut cells = head(&c.output, &c.curve.factor);
            cells.extend([lost.level, lost.against, lost.change]);
            cells.extend(lost.best);
            cells.extend([Cell::Words(days.to_string()), Cell::words(if c.agree { "agree" } else { "differ" })]);
            table.push(cells);
        }
    }
    table
}
