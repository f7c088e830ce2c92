//! The uncertainty budget at a glance: what each source does to the baseline and to the difference that it moves most, with
//! the combined line.
//!
//! Given budget lines; gives a table for the page. It propagates nothing.

use super::budget::uncertainty;
use super::table::{Cell, Column, Table};
use super::units::Units;
use super::verdict::reference_speed;
use crate::solution::{BudgetLine, Contrast, Contribution, Estimate, SetupResult, Solution, VenueResult};
use crate::uncertainty::rounding::Place;
use crate::wording::source_name;

/// One part of a combined standard uncertainty.
type Part = fn(&Estimate) -> Option<f64>;

/// Decimals beyond which a contribution is not told.
const CRR_DECIMALS: usize = 6;
const CDA_DECIMALS: usize = 5;
const WATT_DECIMALS: usize = 3;
const DRAG_DECIMALS: usize = 3;

/// Values that are not known have no budget; differences may be known all the same.
pub fn overview(solution: &Solution, units: Units, venue: &VenueResult, own_known: bool) -> Table {
    let speed = reference_speed(solution, units);
    let rolling = venue.setups.iter().all(|s| s.power_w.value.is_none());
    let watts = if rolling { format!("Rolling, W at {speed}") } else { format!("W at {speed}") };
    let mut table = Table::new(vec![
        Column::words("source", "Source"),
        Column::numbers("u", "Standard uncertainty"),
        Column::numbers("crr", "Crr"),
        Column::numbers("cda_m2", "CdA, m²"),
        Column::numbers("power_w", watts),
        Column::numbers("drag_n", "Resistance, N"),
        Column::numbers("crr_d", "Crr, difference"),
        Column::numbers("cda_d", "CdA, m², difference"),
        Column::numbers("power_d", "W, difference"),
    ]);
    let compared = venue.contrasts.iter().any(|c| c.power_w.value.is_some());
    let baseline = venue.setups.iter().find(|s| s.id == venue.baseline).or(venue.setups.first());
    let power: fn(&SetupResult) -> &Estimate = if rolling { |s| &s.rolling_power_w } else { |s| &s.power_w };
    let of_own = |pick: fn(&SetupResult) -> &Estimate, most| decimals(baseline.and_then(|s| pick(s).se), most);
    let of_difference = |pick: fn(&Contrast) -> &Estimate, most| {
        decimals(venue.contrasts.iter().filter_map(|c| pick(c).se).reduce(f64::max), most)
    };
    let own_crr = of_own(|s| &s.crr, CRR_DECIMALS);
    let own_cda = of_own(|s| &s.cda_m2, CDA_DECIMALS);
    let own_watts = of_own(power, WATT_DECIMALS);
    let drag = decimals(baseline.and_then(|s| s.drag_at_mean_speed_n.as_ref()?.se), DRAG_DECIMALS);
    let crr_apart = of_difference(|c| &c.crr, CRR_DECIMALS);
    let cda_apart = of_difference(|c| &c.cda_m2, CDA_DECIMALS);
    let watts_apart = of_difference(|c| &c.power_w, WATT_DECIMALS);
    let own = |value: Option<f64>, decimals| if own_known { at(value, decimals) } else { Cell::Missing };
    for line in &venue.budget {
        table.push(vec![
            Cell::words(source_name(&line.source, &solution.circuit.kind)),
            Cell::words(uncertainty(line, units)),
            own(line.crr, own_crr),
            own(line.cda_m2, own_cda),
            own(line.power_w, own_watts),
            at(line.drag_n, drag),
            largest(line, compared, |c| c.crr, crr_apart),
            largest(line, compared, |c| c.cda_m2, cda_apart),
            largest(line, compared, |c| c.power_w, watts_apart),
        ]);
    }
    let widest = |pick: fn(&Contrast) -> &Estimate, part: Part| {
        venue.contrasts.iter().filter(|_| compared).filter_map(|c| part(pick(c))).reduce(f64::max)
    };
    let parts: [(&str, Part); 5] = [
        ("all instruments", |e| e.instrument_se),
        ("scatter", |e| e.scatter_se),
        ("run to run", |e| e.run_to_run_se),
        ("expected beforehand", |e| e.prior_se),
        ("combined", |e| e.se),
    ];
    for (name, part) in parts {
        let of = |pick: fn(&SetupResult) -> &Estimate| baseline.and_then(|s| part(pick(s)));
        let known = of(|s| &s.crr).or(of(power)).or(widest(|c| &c.power_w, part));
        if known.is_none_or(|se| se <= 0.0) && name != "combined" {
            continue;
        }
        table.push(vec![
            Cell::words(name),
            Cell::Missing,
            own(of(|s| &s.crr), own_crr),
            own(of(|s| &s.cda_m2), own_cda),
            own(of(power), own_watts),
            at(baseline.and_then(|s| part(s.drag_at_mean_speed_n.as_ref().filter(|_| !own_known)?)), drag),
            at(widest(|c| &c.crr, part), crr_apart),
            at(widest(|c| &c.cda_m2, part), cda_apart),
            at(widest(|c| &c.power_w, part), watts_apart),
        ]);
    }
    table
}

/// The contribution to the difference that it moves most.
fn largest(line: &BudgetLine, compared: bool, pick: fn(&Contribution) -> Option<f64>, decimals: usize) -> Cell {
    let values = line.contrasts.iter().filter(|_| compared).filter_map(pick).map(f64::abs);
    at(values.filter(|v| v.is_finite()).reduce(f64::max), decimals)
}

/// One place more than two digits of what is combined, for the whole column; no more than so many.
fn decimals(combined: Option<f64>, most: usize) -> usize {
    combined.and_then(Place::of).map_or(most, |place| (place.decimals() + 1).min(most))
}

/// With so many decimals, or "< 0.01" where they would hold nothing: nobody needs a millionth of a watt.
fn at(value: Option<f64>, decimals: usize) -> Cell {
    // A quantity that a source cannot move at all would fill a column with zeros.
    Cell::number(value.map(f64::abs).filter(|v| *v > 1e-12), |size| {
        let least = 10f64.powi(-(decimals as i32));
        if size < least { format!("< {least:.decimals$}") } else { format!("{size:.decimals$}") }
    })
}
