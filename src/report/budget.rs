//! The uncertainty budget of every set-up and every difference as tables: each source with its standard uncertainty and
//! what it does to the result, then instruments and scatter side by side, combined and expanded.
//!
//! Given a solution and a width; gives plain text that fits it. It propagates nothing.

use super::number::{SHARED, UNKNOWN, half_width, is_shared, percent, significant};
use super::table::{Grid, paragraph};
use super::text::{LEAST_WIDTH, MOST_WIDTH, section};
use super::units::Units;
use super::verdict::{name_of, reference_speed};
use crate::solution::{BudgetLine, Contrast, Contribution, Estimate, SetupResult, Solution};
use crate::uncertainty::rounding::Place;
use crate::wording::{harmless, source_name};

/// See the module.
pub fn budgets(solution: &Solution, width: usize, units: Units) -> String {
    let width = width.clamp(LEAST_WIDTH, MOST_WIDTH);
    let mut text = String::new();
    let venues = solution.by_venue();
    for venue in &venues {
        let place = if solution.venues.is_some() { format!(", {}", venue.venue) } else { String::new() };
        for setup in &venue.setups {
            let of = |line: &BudgetLine| line.setups.iter().find(|c| c.setup == setup.id).cloned();
            let heading = format!("Uncertainty budget of {}{place}", name_of(solution, &setup.id));
            let table = Table { solution, units, lines: &venue.budget, columns: of_setup(setup), of: &of };
            section(&mut text, width, &heading, &table.grid().text(width));
        }
        for contrast in &venue.contrasts {
            let of = |line: &BudgetLine| line.contrasts.iter().find(|c| c.setup == contrast.setup).cloned();
            let heading = format!(
                "Uncertainty budget of {} less {}{place}",
                name_of(solution, &contrast.setup),
                name_of(solution, &contrast.baseline)
            );
            let table = Table { solution, units, lines: &venue.budget, columns: of_contrast(contrast), of: &of };
            section(&mut text, width, &heading, &table.grid().text(width));
        }
    }
    if text.is_empty() {
        let words = "No result has an interval, so there is no budget; the findings say why.";
        section(&mut text, width, "Uncertainty budget", &paragraph(words, width, ""));
    } else {
        text.push_str(&paragraph(WORDS, width, ""));
        if venues.iter().any(|venue| !venue.contrasts.is_empty()) {
            text.push_str(&paragraph(OF_DIFFERENCES, width, ""));
        }
    }
    harmless(&text)
}

const WORDS: &str = "Each line of a source is what one standard uncertainty of it does to the result; the squares of the \
                     sources add up to that of the instrument line, of those left open to that of the expected line, and \
                     these with scatter and run to run to that of the combined one. Scatter is what differs between laps or \
                     runs; more of them make it smaller, and the instrument part not.";
const OF_DIFFERENCES: &str = "Errors common to both set-ups have cancelled in a difference.";

/// A quantity with its interval and how a contribution to it is picked.
struct Quantity {
    name: &'static str,
    estimate: Estimate,
    pick: fn(&Contribution) -> Option<f64>,
}

fn of_setup(setup: &SetupResult) -> Vec<Quantity> {
    // Rollers have watts of rolling alone.
    let power = if setup.power_w.value.is_none() && setup.cda_m2.value.is_none() {
        Quantity { name: "Rolling W", estimate: setup.rolling_power_w, pick: |c| c.power_w }
    } else {
        Quantity { name: "W", estimate: setup.power_w, pick: |c| c.power_w }
    };
    columns(setup.crr, setup.cda_m2, power)
}

fn of_contrast(contrast: &Contrast) -> Vec<Quantity> {
    let power = Quantity { name: "W", estimate: contrast.power_w, pick: |c| c.power_w };
    columns(contrast.crr, contrast.cda_m2, power)
}

fn columns(crr: Estimate, cda_m2: Estimate, power: Quantity) -> Vec<Quantity> {
    vec![
        Quantity { name: "Crr", estimate: crr, pick: |c| c.crr },
        Quantity { name: "CdA, m²", estimate: cda_m2, pick: |c| c.cda_m2 },
        power,
    ]
}

struct Table<'a> {
    solution: &'a Solution,
    units: Units,
    lines: &'a [BudgetLine],
    columns: Vec<Quantity>,
    of: &'a dyn Fn(&BudgetLine) -> Option<Contribution>,
}

impl Table<'_> {
    /// Empty when no quantity has an interval.
    fn grid(&self) -> Grid {
        let speed = reference_speed(self.solution, self.units);
        let head = |q: &Quantity| {
            if q.name.ends_with('W') { format!("{} at\n{speed}", q.name) } else { q.name.to_string() }
        };
        let mut header = vec!["Source".to_string(), "Standard\nuncertainty".into()];
        header.extend(self.columns.iter().map(head));
        let mut grid = Grid { header, rows: Vec::new() };
        if self.columns.iter().all(|q| q.estimate.se.is_none()) {
            return grid;
        }
        for line in self.lines {
            let contribution = (self.of)(line).unwrap_or_default();
            let cells = self
                .columns
                .iter()
                .map(|q| if q.estimate.se.is_some() { in_place((q.pick)(&contribution), q) } else { UNKNOWN.into() });
            let name = source_name(&line.source, &self.solution.circuit.kind);
            grid.rows.push([name, uncertainty(line, self.units)].into_iter().chain(cells).collect());
        }
        let share = percent(self.solution.confidence);
        let mut sum = |name: &str, cell: fn(&Quantity) -> String| {
            let cells = self.columns.iter().map(cell);
            grid.rows.push([name.to_string(), String::new()].into_iter().chain(cells).collect());
        };
        sum("INSTRUMENT", |q| in_place(q.estimate.instrument_se, q));
        sum("SCATTER", |q| in_place(q.estimate.scatter_se, q));
        if self.columns.iter().any(|q| q.estimate.run_to_run_se.is_some()) {
            sum("RUN TO RUN", |q| in_place(q.estimate.run_to_run_se, q));
        }
        if self.columns.iter().any(|q| q.estimate.prior_se.is_some()) {
            sum("EXPECTED", |q| in_place(q.estimate.prior_se, q));
        }
        sum("Combined", |q| in_place(q.estimate.se, q));
        sum("Degrees of freedom", |q| degrees(&q.estimate));
        sum(&format!("Expanded, {share}"), expanded);
        sum("Value", value);
        grid.without_empty(UNKNOWN)
    }
}

/// At the place that the combined standard uncertainty allows; what rounds to nothing is told as less than that place.
fn in_place(part: Option<f64>, q: &Quantity) -> String {
    let (Some(part), Some(place)) = (part.filter(|x| x.is_finite()), q.estimate.se.and_then(Place::of)) else {
        return UNKNOWN.into();
    };
    let text = place.text(part.abs());
    let nothing = text.chars().all(|c| matches!(c, '0' | '.'));
    if nothing && part != 0.0 {
        format!("< {:.*}", place.decimals(), 10f64.powi(-(place.decimals() as i32)))
    } else {
        text
    }
}

/// Degrees of freedom are cut to whole ones (JCGM 100, G.4.1 note 1).
fn degrees(e: &Estimate) -> String {
    match (e.se, e.dof) {
        (None, _) => UNKNOWN.into(),
        (Some(_), Some(dof)) if dof < 1000.0 => format!("{}", dof.floor().max(1.0)),
        _ => "> 1000".into(),
    }
}

fn expanded(q: &Quantity) -> String {
    let Some(half) = half_width(&q.estimate).filter(|h| *h > 0.0) else { return UNKNOWN.into() };
    let factor = q.estimate.se.map_or(String::new(), |se| format!(" (k {:.2})", half / se));
    Place::of(half).map_or(UNKNOWN.into(), |place| format!("{}{factor}", place.text(half)))
}

fn value(q: &Quantity) -> String {
    if is_shared(&q.estimate) {
        return SHARED.into();
    }
    super::number::shown(&q.estimate).value
}

/// "0.1 kg", "1 %"; shares of a whole stay numbers.
pub(super) fn uncertainty(line: &BudgetLine, units: Units) -> String {
    let share = ["drivetrain efficiency", "weight share"].contains(&line.source.as_str());
    match line.unit.as_str() {
        "" | "1" if share => significant(line.standard_uncertainty, 3),
        "" | "1" => format!("{} %", significant(100.0 * line.standard_uncertainty, 3)),
        unit => units.uncertainty(line.standard_uncertainty, unit),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn quantity(se: f64) -> Quantity {
        let estimate = Estimate { value: Some(1.0), se: Some(se), ..Estimate::default() };
        Quantity { name: "Crr", estimate, pick: |c| c.crr }
    }

    #[test]
    fn a_small_contribution_is_less_than_a_place_and_not_nothing() {
        // Two digits of 0.00012 end at the fifth decimal.
        assert_eq!(in_place(Some(0.000_051), &quantity(0.000_12)), "0.00005");
        assert_eq!(in_place(Some(0.000_004), &quantity(0.000_12)), "< 0.00001");
        assert_eq!(in_place(Some(0.0), &quantity(0.000_12)), "0.00000");
        assert_eq!(in_place(None, &quantity(0.000_12)), "–");
    }

    #[test]
    fn degrees_of_freedom_are_cut_and_never_rounded_up() {
        let of = |dof| degrees(&Estimate { se: Some(1.0), dof, ..Estimate::default() });
        assert_eq!((of(Some(17.9)), of(None), of(Some(0.4))), ("17".into(), "> 1000".into(), "1".into()));
    }
}
