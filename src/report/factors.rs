//! What the factors of set-ups do, in words and tables: for the terminal, the page and `factors.csv`.
//!
//! Given what was found elsewhere; says it. It never names a level beyond those ridden as one to ride.

use super::number::{p_value, significant};
use super::table::{Cell, Column, PARTS, Parts, Readers, Table};
use crate::factor::{Answer, Curve, Effects, FactorOutput, FactorResult, Interval, OffBest};
use crate::session::factors::{Unit, shown_name, shown_with_unit};
use crate::solution::{Estimate, Solution};
use crate::wording::{capitalised, listed, percent};

/// Where a factor is a pressure.
const PRESSURES: &str = "Never inflate beyond the lower of the two maximum pressures marked on tyre and rim; a hookless rim has a \
                         lower limit still. No pressure outside the range ridden is named here, and none is advised.";
const ON_PAGE: Parts = Parts { on_terminal: false, ..PARTS };

/// Watts, or what there is.
fn main_output(result: &FactorResult) -> Option<&FactorOutput> {
    let told = || result.outputs.iter().filter_map(Answer::told);
    told().find(|o| o.output.ends_with("power_w")).or_else(|| told().next())
}

/// Words for an output within a sentence, and its unit.
fn quantity(output: &str) -> (&'static str, &'static str) {
    match output {
        "crr" => ("Crr", ""),
        "cda_m2" => ("CdA", " m²"),
        "rolling_power_w" => ("rolling power", " W"),
        _ => ("power", " W"),
    }
}

/// What is to be read first; nothing where no factors are stated.
pub fn sentences(solution: &Solution) -> Vec<String> {
    solution.factors.as_ref().map_or(Vec::new(), |result| of_result(result, solution.confidence))
}

/// The same of a result that stands by itself, as in a forecast.
pub fn of_result(result: &FactorResult, confidence: f64) -> Vec<String> {
    let mut out = Vec::new();
    match main_output(result) {
        Some(output) => {
            out.extend(output.curves.iter().map(|c| of_curve(c, &output.output, confidence)));
            out.extend(output.effects.iter().map(|e| of_effects(e, output, confidence)));
            out.extend(of_interaction(output, confidence));
        }
        None => {
            let why = result.outputs.iter().find_map(|o| match o {
                Answer::NotTold { why, .. } => Some(why.clone()),
                Answer::Told(_) => None,
            });
            let reason = why.unwrap_or_else(|| "not every pair of set-ups has a known difference".into());
            out.push(format!("What each factor does is not told: {reason}."));
        }
    }
    out.extend(caution(result.factors.iter().map(|f| f.name.as_str())));
    out
}

/// What must stand beside pressures, where one of these factors is one.
pub(super) fn caution<'a>(mut keys: impl Iterator<Item = &'a str>) -> Option<String> {
    keys.any(|key| Unit::of_key(key).is_some_and(|u| u.is_of_pressure())).then(|| PRESSURES.to_string())
}

/// A level with its unit: as ridden, or to three digits where it was worked out.
fn level(x: f64, curve: &Curve) -> String {
    let ridden = curve.points.iter().any(|p| p.level == x);
    let number = if ridden { x.to_string() } else { significant(x, 3) };
    match Unit::of_key(&curve.factor) {
        Some(unit) if !unit.shown.is_empty() => format!("{number} {}", unit.shown),
        _ => number,
    }
}

/// What a curve over a quantity says.
pub(super) fn of_curve(curve: &Curve, output: &str, confidence: f64) -> String {
    let (what, unit) = quantity(output);
    let name = shown_name(&curve.factor);
    let share = percent(confidence);
    let o = &curve.optimum;
    let at = |x: f64| level(x, curve);
    let (lowest, highest) =
        (curve.line.first().map_or(o.low, |p| p.level), curve.line.last().map_or(o.high, |p| p.level));
    let bend = p_value(Some(curve.bend_p_value));
    let shape = if curve.shape == "straight" {
        let per = interval(&curve.slope, unit);
        let one = Unit::of_key(&curve.factor).map_or("one more".to_string(), |u| format!("one {} more", u.shown));
        format!(
            "over the range ridden a bend of {what} is not told (p {bend}); as a straight line it changes by {per} for {one}."
        )
    } else {
        format!("{what} has one bend over the range ridden (p {bend}).")
    };
    let best = if o.at_either_end {
        format!(
            "It is highest in between, so the best lies at one of the ends ridden, {} or {}.",
            at(lowest),
            at(highest)
        )
    } else if o.open_below && o.open_above {
        format!(
            "Where the best {name} lies is not told: it may be anywhere from the lowest to the highest ridden ({} to {}), or beyond.",
            at(lowest),
            at(highest)
        )
    } else if o.low == o.high && o.open_above {
        format!("The best {name} lies at or above the highest ridden, {} ({share}).", at(highest))
    } else if o.low == o.high && o.open_below {
        format!("The best {name} lies at or below the lowest ridden, {} ({share}).", at(lowest))
    } else if o.open_above {
        format!(
            "The best {name} is {} or more ({share}); it may lie at or above the highest ridden, {}.",
            at(o.low),
            at(highest)
        )
    } else if o.open_below {
        format!(
            "The best {name} is {} or less ({share}); it may lie at or below the lowest ridden, {}.",
            at(o.high),
            at(lowest)
        )
    } else {
        format!("The best {name} is {}, from {} to {} ({share}, Fieller).", at(o.value), at(o.low), at(o.high))
    };
    let worst = curve.off_best.iter().max_by(|a, b| a.lost.value.total_cmp(&b.lost.value));
    let lost = worst
        .filter(|w| w.lost.low > 0.0 && !o.at_either_end)
        .map(|w| (at(w.level), interval(&w.lost, unit)))
        .map(|(level, cost)| {
            format!(" At {level} it costs {} more than at {}.", cost.trim_start_matches('+'), at(o.value))
        });
    let next = next_words(curve);
    format!("{}: {shape} {best}{}{next}", capitalised(&name), lost.unwrap_or_default())
}

fn next_words(curve: &Curve) -> String {
    let Some(first) = curve.next.first() else { return String::new() };
    let narrower = 100.0 * (1.0 - first.width_ratio);
    let what = if curve.shape == "straight" || curve.optimum.at_either_end {
        "the error of the bend"
    } else {
        "that interval"
    };
    format!(
        " One more run at {} would make {what} some {narrower:.0} % smaller, the most of the levels ridden and between.",
        level(first.level, curve)
    )
}

fn interval(i: &Interval, unit: &str) -> String {
    let e = estimate(i);
    format!("{}{unit}", super::table::signed(&e))
}

fn of_effects(effects: &Effects, output: &FactorOutput, confidence: f64) -> String {
    let (what, unit) = quantity(&output.output);
    let list: Vec<String> =
        effects.levels.iter().map(|l| format!("{} {}", l.level, interval(&l.effect, unit))).collect();
    let name = shown_with_unit(&effects.factor);
    format!(
        "{}: {what} against {}, every run used: {} (± at {}); {}.",
        capitalised(&name),
        effects.reference,
        listed(&list),
        percent(confidence),
        if effects.test.p_value < 1.0 - confidence { "the levels differ" } else { "the levels are not told apart" },
    ) + &format!(" p {}.", p_value(Some(effects.test.p_value)))
}

fn of_interaction(output: &FactorOutput, confidence: f64) -> Option<String> {
    let worst = output.interactions.iter().min_by(|a, b| a.p_value.total_cmp(&b.p_value));
    let lack = output.lack_of_fit.as_ref().filter(|t| t.p_value < 1.0 - confidence).map(|t| {
        format!(
            " The set-ups lie farther from what the factors say than their errors allow (p {}): something else differs between \
             them, or a curve has more than one bend.",
            p_value(Some(t.p_value))
        )
    });
    let words = match (output.adds, worst) {
        (Some(true), _) => "No sign that the effects depend on each other: they may be added.".to_string(),
        (Some(false), Some(w)) => format!(
            "The effects do not add ({}, p {}): what one does depends on the other, so the list of set-ups counts, not the \
             effects.",
            w.of,
            p_value(Some(w.p_value))
        ),
        (None, _) if output.effects.len() + output.curves.len() > 1 => {
            "Whether the effects add could not be tested: too few combinations were ridden.".to_string()
        }
        _ => String::new(),
    };
    let all = format!("{words}{}", lack.unwrap_or_default()).trim().to_string();
    (!all.is_empty()).then_some(all)
}

fn estimate(i: &Interval) -> Estimate {
    Estimate {
        value: Some(i.value),
        se: Some(i.se),
        low: Some(i.low),
        high: Some(i.high),
        dof: i.dof,
        ..Estimate::default()
    }
}

/// An output with its unit.
pub(super) fn output_cell(output: &str) -> Cell {
    let (what, unit) = quantity(output);
    Cell::words(format!("{what},{unit}").trim_end_matches(','))
}

/// What a row is of: its output and factor, a level and what that is held against.
pub(super) fn head_columns() -> Vec<Column> {
    vec![
        Column::words("output", "Output"),
        Column::words("factor", "").only(Readers::Files),
        Column::words("name", "Factor").only(Readers::People),
        Column::words("level", "Level"),
        Column::words("against", "Against"),
    ]
}

/// Output and factor of a row.
pub(super) fn head(output: &str, factor: &str) -> Vec<Cell> {
    vec![output_cell(output), Cell::words(factor), Cell::words(shown_with_unit(factor))]
}

/// What holds the best level, for files.
pub(super) fn best_columns() -> [Column; 3] {
    [
        Column::numbers("best_low", "").only(Readers::Files),
        Column::numbers("best_high", "").only(Readers::Files),
        Column::words("best_open", "").only(Readers::Files),
    ]
}

/// Every effect, every loss and every level to ride next, one a row.
pub fn table(solution: &Solution) -> Table {
    let mut columns = head_columns();
    columns.extend([
        Column::estimates("change", "Change", ON_PAGE),
        Column::numbers("p_value", "").only(Readers::Files),
        Column::numbers("p_holm", "p"),
    ]);
    columns.extend(best_columns());
    let mut table = Table::new(columns);
    let told = solution.factors.iter().flat_map(|r| &r.outputs).filter_map(Answer::told);
    for output in told {
        for effects in &output.effects {
            for l in &effects.levels {
                let mut cells = head(&output.output, &effects.factor);
                cells.extend([
                    Cell::words(&l.level),
                    Cell::words(&effects.reference),
                    Cell::Difference(estimate(&l.effect)),
                    Cell::number(l.effect.p_value, |p| p_value(Some(p))),
                    Cell::number(l.p_holm, |p| p_value(Some(p))),
                    Cell::Missing,
                    Cell::Missing,
                    Cell::Missing,
                ]);
                table.push(cells);
            }
        }
        for curve in &output.curves {
            for lost in losses(curve) {
                let mut cells = head(&output.output, &curve.factor);
                cells.extend([lost.level, lost.against, lost.change, Cell::Missing, Cell::Missing]);
                cells.extend(lost.best);
                table.push(cells);
            }
        }
    }
    table
}

/// What a level costs beside the best one, as cells.
pub(super) struct Lost {
    pub level: Cell,
    pub against: Cell,
    pub change: Cell,
    /// Lower and upper end of what holds the best level, and where that is open.
    pub best: [Cell; 3],
}

/// One for each level ridden.
pub(super) fn losses(curve: &Curve) -> Vec<Lost> {
    let o = &curve.optimum;
    let open = match (o.open_below, o.open_above) {
        (true, true) => "below and above",
        (true, false) => "below",
        (false, true) => "above",
        (false, false) => "",
    };
    let one = |lost: &OffBest| Lost {
        level: Cell::words(lost.level.to_string()),
        against: Cell::words(format!("best, {}", level(o.value, curve))),
        change: Cell::Difference(estimate(&lost.lost)),
        best: [
            Cell::number(Some(o.low), |x| significant(x, 3)),
            Cell::number(Some(o.high), |x| significant(x, 3)),
            Cell::words(open),
        ],
    };
    curve.off_best.iter().filter(|l| l.lost.se > 0.0).map(one).collect()
}
