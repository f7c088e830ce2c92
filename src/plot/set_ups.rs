//! Figure `set-ups`: every set-up with its estimate and interval in Crr, CdA and watts, on shared rows.
//!
//! Given the results; draws them. Long ticks end the whole interval, short ticks the part that comes from scatter
//! between laps alone. Where the two coefficients are not separable, the resistance that is known takes their place.

use super::figure::{Figure, names, percent, reference_speed};
use super::key::{heading, strip};
use super::panel::Panel;
use super::rows::{self, Column, Interval, RowName};
use super::scale::{Range, number, short};
use super::sheet::Sheet;
use super::style::Style;
use crate::evidence::Evidence;
use crate::solution::{Estimate, Solution};
use crate::wording::venue_name;

/// The interval of an estimate, where it has one.
pub(super) fn interval_of(estimate: &Estimate) -> Option<Interval> {
    let value = estimate.value.filter(|v| v.is_finite())?;
    let low = estimate.low.filter(|v| v.is_finite()).unwrap_or(value);
    let high = estimate.high.filter(|v| v.is_finite()).unwrap_or(value);
    let scatter = match (estimate.scatter_se, estimate.se) {
        (Some(scatter), Some(se)) if se > 0.0 && scatter.is_finite() => {
            Some((high - low) / 2.0 * (scatter / se).clamp(0.0, 1.0)).filter(|half| *half > 0.0)
        }
        _ => None,
    };
    Some(Interval { value, low, high, scatter })
}

struct Quantity {
    title: String,
    decimals: Option<usize>,
    unit: &'static str,
    rows: Vec<Option<Interval>>,
}

impl Quantity {
    fn tip(&self, name: &str, interval: &Interval, style: &Style) -> String {
        let text = |value: f64| match self.decimals {
            Some(decimals) => number(value, decimals, style),
            None => short(value, style),
        };
        let (value, low, high) = (text(interval.value), text(interval.low), text(interval.high));
        format!("{name}: {value}{} ({low} to {high})", self.unit)
    }
}

fn quantities(solution: &Solution, style: &Style) -> Vec<Quantity> {
    let of = |title: String, decimals, unit, pick: &dyn Fn(usize) -> Option<Interval>| Quantity {
        title,
        decimals,
        unit,
        rows: (0..solution.setups.len()).map(pick).collect(),
    };
    let speed = reference_speed(solution, style);
    let mut all = vec![
        of("Crr".into(), Some(5), "", &|i| interval_of(&solution.setups[i].crr)),
        of("CdA, m²".into(), Some(4), " m²", &|i| interval_of(&solution.setups[i].cda_m2)),
        of(format!("Power at {speed}, W"), Some(1), " W", &|i| interval_of(&solution.setups[i].power_w)),
    ];
    if all[2].rows.iter().all(Option::is_none) {
        let title = format!("Rolling power at {speed}, W");
        all.push(of(title, Some(1), " W", &|i| interval_of(&solution.setups[i].rolling_power_w)));
    }
    if !solution.separable {
        all.push(of("Resistance at the mean speed, N".into(), None, " N", &|i| {
            solution.setups[i].drag_at_mean_speed_n.as_ref().and_then(interval_of)
        }));
    }
    all.retain(|quantity| quantity.rows.iter().any(Option::is_some));
    all
}

/// See the module. `None` when no set-up has any estimate.
pub fn draw(solution: &Solution, _evidence: &Evidence, style: &Style) -> Option<Figure> {
    let quantities = quantities(solution, style);
    if quantities.is_empty() {
        return None;
    }
    let names = names(solution);
    let rows: Vec<RowName> = names
        .iter()
        .zip(&solution.setups)
        .enumerate()
        .map(|(index, (name, setup))| RowName {
            text: if solution.setups.len() > 1 && setup.id == solution.baseline {
                format!("{name} (baseline)")
            } else {
                name.clone()
            },
            identity: Some(style.identity(index)),
        })
        .collect();
    let mut sheet = Sheet::new(*style);
    let title = match (names.len() > 1, solution.venues.is_some()) {
        (true, true) => &format!("The set-ups by themselves, on the {}", venue_name(&solution.circuit.kind)),
        (true, false) => "The set-ups by themselves",
        _ => "Estimates with their intervals",
    };
    let top = heading(&mut sheet, title);
    let share = percent(solution.confidence);
    let any_scatter = quantities.iter().any(|q| q.rows.iter().flatten().any(|i| i.scatter.is_some()));
    let top = strip(&mut sheet, top, &rows::ticks_explained(&share, any_scatter, names.len() > 1));

    let baseline = solution.setups.iter().position(|s| s.id == solution.baseline);
    let painters: Vec<_> = quantities
        .iter()
        .map(|quantity| {
            let names = &names;
            move |sheet: &mut Sheet, panel: &Panel, row: usize, y: f64| {
                if let Some(interval) = &quantity.rows[row] {
                    let tip = quantity.tip(&names[row], interval, style);
                    rows::interval(sheet, panel, y, interval, &style.identity(row), &tip);
                }
            }
        })
        .collect();
    let columns: Vec<Column> = quantities
        .iter()
        .zip(&painters)
        .filter_map(|(quantity, paint)| {
            let shown = quantity.rows.iter().flatten();
            let range = Range::of(shown.flat_map(|i| [i.value, i.low, i.high]))?.padded(0.08);
            let reference = baseline
                .filter(|_| quantity.rows.len() > 1)
                .and_then(|index| quantity.rows[index])
                .map(|interval| interval.value);
            Some(Column { title: quantity.title.clone(), range, reference, paint })
        })
        .collect();
    let bottom = rows::draw(&mut sheet, top, rows::EDGE, &rows, &columns);
    let mut caption = format!(
        "Estimates with {share} intervals. Long end ticks: the whole interval, scatter and instruments together."
    );
    if any_scatter {
        caption.push_str(" Short ticks: what scatter alone would give.");
    }
    if names.len() > 1 {
        caption.push_str(
            " What instruments add is largely common to all set-ups and cancels in their differences, so two intervals that \
             overlap may still belong to set-ups that differ.",
        );
    }
    if baseline.is_some() && names.len() > 1 {
        caption.push_str(" The upright line goes through the baseline.");
    }
    if !solution.separable {
        caption.push_str(" CdA and Crr could not be told apart; the resistance at the mean speed is what is known.");
    }
    Figure::of(sheet, bottom + 1.5, "set-ups", title, caption)
}
