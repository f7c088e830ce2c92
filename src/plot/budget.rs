//! Figure `budget`: how much each source of uncertainty adds, in watts, Crr and CdA.
//!
//! Given the budget; draws a bar for each source, largest first, for the baseline set-up and, thinner, for the
//! difference between set-ups that it moves most, under the combined ones as the result has them. It combines nothing.

use super::figure::{Figure, counted, names, reference_speed};
use super::key::{Entry, Sample, heading, strip};
use super::panel::Panel;
use super::rows::{self, Column, Room, RowName};
use super::scale::{Range, short};
use super::sheet::Sheet;
use super::style::{Ink, Style};
use crate::evidence::Evidence;
use crate::solution::{BudgetLine, Contribution, Estimate, Solution};
use crate::wording::source_name;

/// Half heights of the bars of a value and of a difference, mm.
const THICK: f64 = 1.0;
const THIN: f64 = 0.5;

/// A source that adds a smaller share than this of the largest one is left to the table.
const LEAST_TOLD: f64 = 0.02;

/// Bars of one source.
struct Source {
    name: String,
    /// Watts, Crr, CdA.
    own: [Option<f64>; 3],
    difference: [Option<f64>; 3],
}

fn size(value: Option<f64>) -> Option<f64> {
    value.filter(|v| v.is_finite()).map(f64::abs)
}

/// What is known of the baseline's own values and of the differences.
#[derive(Clone, Copy)]
struct Told {
    own: bool,
    differences: bool,
}

fn source(line: &BudgetLine, told: Told, venue: &str) -> Source {
    let largest = |pick: fn(&Contribution) -> Option<f64>| {
        line.contrasts.iter().filter(|_| told.differences).filter_map(|c| size(pick(c))).max_by(f64::total_cmp)
    };
    Source {
        name: source_name(&line.source, venue),
        own: [line.power_w, line.crr, line.cda_m2].map(|v| size(v.filter(|_| told.own))),
        difference: [largest(|c| c.power_w), largest(|c| c.crr), largest(|c| c.cda_m2)],
    }
}

/// The combined standard uncertainty and scatter, as rows of their own above the sources.
fn totals(solution: &Solution) -> Vec<Source> {
    let Some(baseline) = solution.setups.iter().find(|s| s.id == solution.baseline).or(solution.setups.first()) else {
        return Vec::new();
    };
    let power = if on_rollers(solution) { &baseline.rolling_power_w } else { &baseline.power_w };
    let row = |name: &str, part: fn(&Estimate) -> Option<f64>| {
        let largest = |pick: fn(&crate::solution::Contrast) -> &Estimate| {
            solution.contrasts.iter().filter_map(|c| size(part(pick(c)))).max_by(f64::total_cmp)
        };
        Source {
            name: name.into(),
            own: [size(part(power)), size(part(&baseline.crr)), size(part(&baseline.cda_m2))],
            difference: [largest(|c| &c.power_w), largest(|c| &c.crr), largest(|c| &c.cda_m2)],
        }
    };
    let scatter = if on_rollers(solution) { "scatter of the runs" } else { "scatter between laps" };
    let mut rows = vec![row("combined", |e| e.se), row(scatter, |e| e.scatter_se)];
    rows.push(row("run to run", |e| e.run_to_run_se));
    rows.push(row("expected beforehand", |e| e.prior_se));
    rows.retain(|r| r.own.iter().chain(&r.difference).any(|v| v.is_some_and(|v| v > 0.0)));
    rows
}

/// Whether watts are those of rolling alone.
fn on_rollers(solution: &Solution) -> bool {
    solution.setups.iter().all(|s| s.power_w.value.is_none()) && !solution.runs.iter().any(|run| !run.laps.is_empty())
}

/// See the module. `None` without a budget, and where neither values nor differences are known.
pub fn draw(solution: &Solution, _evidence: &Evidence, style: &Style) -> Option<Figure> {
    if solution.budget.is_empty() {
        return None;
    }
    let told =
        Told { own: solution.separable, differences: solution.contrasts.iter().any(|c| c.power_w.value.is_some()) };
    if !(told.own || told.differences) {
        return None;
    }
    let mut sources: Vec<Source> =
        solution.budget.iter().map(|line| source(line, told, &solution.circuit.kind)).collect();
    // Largest first in the first quantity that has values; equal ones keep their order.
    let bar = |s: &Source, q: usize| s.own[q].or(s.difference[q]);
    let leading = (0..3).find(|q| sources.iter().any(|s| bar(s, *q).is_some()))?;
    sources.sort_by(|a, b| bar(b, leading).unwrap_or(-1.0).total_cmp(&bar(a, leading).unwrap_or(-1.0)));
    // What adds next to nothing to every quantity is for the table.
    let largest: Vec<f64> = (0..3).map(|q| sources.iter().filter_map(|s| bar(s, q)).fold(0.0, f64::max)).collect();
    let all = sources.len();
    sources.retain(|s| {
        let tells = |value: Option<f64>, q: usize| value.is_some_and(|v| v > LEAST_TOLD * largest[q]);
        (0..3).any(|q| tells(s.own[q], q) || tells(s.difference[q], q))
    });
    let untold = all - sources.len();
    sources.splice(0..0, totals(solution).into_iter().filter(|s| told.own || s.difference.iter().any(Option::is_some)));

    let setup_names = names(solution);
    let baseline = solution.setups.iter().position(|s| s.id == solution.baseline).unwrap_or(0);
    let own_name = setup_names.get(baseline).cloned().unwrap_or_default();
    let differences = sources.iter().any(|s| s.difference.iter().any(Option::is_some));
    // Bars are no set-up's: they get greys that no set-up has.
    let (ink, thin_ink) = (Ink::grey(70), Ink::grey(160));
    let mut sheet = Sheet::new(*style);
    let title = "Where the uncertainty comes from";
    let mut top = heading(&mut sheet, title);
    if differences {
        let looks = if told.own { "thin and pale: " } else { "" };
        let mut entries = vec![Entry::new(
            Sample::Bar { half_mm: THIN, ink: thin_ink },
            format!("{looks}the difference it moves most"),
        )];
        if told.own {
            let text = format!("thick and dark: the value itself ({own_name})");
            entries.insert(0, Entry::new(Sample::Bar { half_mm: THICK, ink }, text));
        }
        top = strip(&mut sheet, top, &entries);
    }
    let names: Vec<RowName> = sources.iter().map(|s| RowName { text: s.name.clone(), identity: None }).collect();
    let paint = |quantity: usize, sheet: &mut Sheet, panel: &Panel, row: usize, y: f64| {
        let Some(source) = sources.get(row) else { return };
        if let Some(value) = source.own[quantity] {
            let tip = format!("{}, {own_name}: {}", source.name, short(value, style));
            rows::bar(sheet, panel, y - if differences { 0.6 } else { 0.0 }, THICK, value, ink, &tip);
        }
        if let Some(value) = source.difference[quantity] {
            let tip = format!("{}, difference: {}", source.name, short(value, style));
            rows::bar(sheet, panel, y + if told.own { 1.1 } else { 0.0 }, THIN, value, thin_ink, &tip);
        }
    };
    let painter = |quantity: usize| {
        let paint = &paint;
        move |sheet: &mut Sheet, panel: &Panel, row: usize, y: f64| paint(quantity, sheet, panel, row, y)
    };
    let painters = [painter(0), painter(1), painter(2)];
    let watts = if on_rollers(solution) { "Rolling power" } else { "Power" };
    let titles = [format!("{watts} at {}, W", reference_speed(solution, style)), "Crr".into(), "CdA, m²".into()];
    let columns: Vec<Column> = titles
        .into_iter()
        .enumerate()
        .filter_map(|(quantity, title)| {
            let values = sources.iter().flat_map(|s| [s.own[quantity], s.difference[quantity]]).flatten();
            let range = Range::of(values)?.including(0.0);
            if range.high <= 0.0 {
                return None;
            }
            let range = Range { low: 0.0, high: range.high * 1.08 };
            Some(Column { title, range, reference: Some(0.0), paint: &painters[quantity] })
        })
        .collect();
    // On a narrow sheet panels stand under each other: one of them is enough beside the table.
    let columns: Vec<Column> = columns.into_iter().take(if style.narrow() { 1 } else { 3 }).collect();
    if columns.is_empty() {
        return None;
    }
    // Two dozen sources, each on one line and close together, so that they stand on one sheet of paper beside another figure.
    let room = Room { edge: rows::EDGE, least_row: 4.4, names: rows::names_room(style).max(42.0) };
    let bottom = rows::draw_rows(&mut sheet, top, room, &names, &columns);
    let mut caption = String::from(if told.own { "" } else { "Values of their own are not known; differences are. " });
    caption.push_str(&format!(
        "What one standard uncertainty of each source moves {} by; at the top what they give combined, as the root of the sum \
         of their squares, and what scatter adds to it.",
        if told.own { own_name.as_str() } else { "the differences" }
    ));
    if differences && told.own {
        caption.push_str(
            " Thin bars: the same for the difference from the baseline that is moved most. An error that all runs share \
             cancels there, which is why differences are known better than values.",
        );
    }
    if untold > 0 {
        caption.push_str(&format!(
            " {} that add less than a fiftieth of the largest one are in the table alone.",
            counted(untold, "source")
        ));
    }
    Figure::of(sheet, bottom + 1.5, "budget", title, caption)
}
