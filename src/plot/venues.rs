//! Figure `venues`: Crr of each set-up on loop and rollers, and the differences that both have seen with what they give
//! together.
//!
//! Given the results of the venues; draws two groups of rows. It combines nothing.

use super::figure::{Figure, names, percent};
use super::key::{Entry, Sample, heading, strip};
use super::panel::Panel;
use super::polyline::Point;
use super::rows::{self, Column, Interval, RowName};
use super::scale::{Range, number};
use super::set_ups::interval_of;
use super::sheet::{Note, Sheet};
use super::style::{Dash, Form, Identity, Ink, MUTED, Style};
use crate::evidence::Evidence;
use crate::solution::{Contrast, Solution, Venues};
use crate::wording::{capitalised, venue_name};

/// One row: an estimate on a venue, or what both give together.
struct Row {
    name: String,
    setup: usize,
    /// Place of the venue, `None` for both together.
    venue: Option<usize>,
    interval: Interval,
}

/// See the module. `None` for a session of one venue.
pub fn draw(solution: &Solution, _evidence: &Evidence, style: &Style) -> Option<Figure> {
    let venues = solution.venues.as_ref()?;
    let values = values(solution, venues);
    if values.is_empty() {
        return None;
    }
    let differences = differences(solution, venues);
    let mut sheet = Sheet::new(*style);
    let on = venue_name(&solution.circuit.kind);
    let title = format!("{} and rollers side by side", capitalised(on));
    let mut top = heading(&mut sheet, &title);
    let mut entries: Vec<Entry> = venues
        .results
        .iter()
        .enumerate()
        .map(|(place, v)| Entry::new(Sample::Mark(identity(MUTED, place)), venue_name(&v.venue)))
        .collect();
    if !differences.is_empty() {
        let diamond = Identity { form: Form::Diamond, ..identity(MUTED, 0) };
        entries.push(Entry::new(Sample::Mark(diamond), "together"));
    }
    top = strip(&mut sheet, top, &entries);
    top = group(&mut sheet, top, venues, &values, "Crr on a flat", None)?;
    if !differences.is_empty() {
        top = group(&mut sheet, top + 3.0, venues, &differences, "Difference in Crr from the baseline", Some(0.0))?;
    }
    let share = percent(solution.confidence);
    let seen = venues_of(&values);
    let mut caption = match seen[..] {
        [one] => {
            let one = venue_name(&venues.results[one].venue);
            format!(
                "Above: Crr of each set-up on the {one} with {share} intervals; elsewhere the rides do not tell it. It holds on \
                 a flat as far as the conversion from drum to flat does."
            )
        }
        _ => format!(
            "Above: Crr of each set-up on each venue with {share} intervals. The {on} reads higher by what its surface costs, \
             as far as the conversion from drum to flat holds."
        ),
    };
    if !differences.is_empty() {
        caption.push_str(
            " Below: difference from the baseline on each venue, and as a diamond what both give together; the upright line \
             is zero.",
        );
    }
    if values.iter().chain(&differences).any(|row| row.venue.is_some() && row.interval.scatter.is_some()) {
        caption.push_str(" Short ticks: what scatter alone would give.");
    }
    Figure::of(sheet, top + 1.5, "venues", &title, caption)
}

/// Ink tells the set-up, as everywhere; form tells the venue.
fn identity(ink: Ink, venue: usize) -> Identity {
    let form = if venue == 0 { Form::Disc } else { Form::Square };
    Identity { ink, form, open: venue > 0, dash: Dash::Solid }
}

/// Places of the venues that have a row.
fn venues_of(rows: &[Row]) -> Vec<usize> {
    let mut seen: Vec<usize> = rows.iter().filter_map(|row| row.venue).collect();
    seen.sort_unstable();
    seen.dedup();
    seen
}

fn values(solution: &Solution, venues: &Venues) -> Vec<Row> {
    let names = names(solution);
    let mut rows = Vec::new();
    for (index, (setup, name)) in solution.setups.iter().zip(&names).enumerate() {
        for (place, venue) in venues.results.iter().enumerate() {
            let found = venue.setups.iter().find(|s| s.id == setup.id).and_then(|s| interval_of(&s.crr));
            let row = |interval| Row { name: name.clone(), setup: index, venue: Some(place), interval };
            rows.extend(found.map(row));
        }
    }
    rows
}

fn differences(solution: &Solution, venues: &Venues) -> Vec<Row> {
    let names = names(solution);
    let mut rows = Vec::new();
    for combined in &venues.combined {
        let Some(setup) = solution.setups.iter().position(|s| s.id == combined.setup) else { continue };
        let name = &names[setup];
        for (place, venue) in venues.results.iter().enumerate() {
            let same = |c: &&Contrast| c.setup == combined.setup && c.baseline == combined.baseline;
            let found = venue.contrasts.iter().find(same).and_then(|c| interval_of(&c.crr));
            let row = |interval| Row { name: name.clone(), setup, venue: Some(place), interval };
            rows.extend(found.map(row));
        }
        let together = |interval| Row { name: name.clone(), setup, venue: None, interval };
        rows.extend(interval_of(&combined.crr).map(together));
    }
    rows
}

/// Rows on one axis, each with its set-up and venue. `None` when nothing is finite.
fn group(
    sheet: &mut Sheet,
    top: f64,
    venues: &Venues,
    rows: &[Row],
    title: &str,
    reference: Option<f64>,
) -> Option<f64> {
    let style = sheet.style;
    let mut range = Range::of(rows.iter().flat_map(|r| [r.interval.value, r.interval.low, r.interval.high]))?;
    if let Some(reference) = reference {
        range = range.including(reference);
    }
    let labels: Vec<RowName> = rows
        .iter()
        .map(|row| {
            let place = row.venue.map_or("together", |place| venue_name(&venues.results[place].venue));
            RowName { text: format!("{}: {place}", row.name), identity: None }
        })
        .collect();
    let paint = |sheet: &mut Sheet, panel: &Panel, index: usize, y: f64| {
        let Some(row) = rows.get(index) else { return };
        let text = |value: f64| number(value, 5, &style);
        let Interval { value, low, high, .. } = row.interval;
        let tip = format!("{}: {} ({} to {})", row.name, text(value), text(low), text(high));
        match row.venue {
            Some(venue) => rows::interval(sheet, panel, y, &row.interval, &identity(style.ink(row.setup), venue), &tip),
            None => {
                let corners = [(low, 0.0), (value, -1.5), (high, 0.0), (value, 1.5)];
                let outline = corners.map(|(value, dy)| Point::new(panel.x.at(value), y + dy));
                sheet.area(&outline, style.ink(row.setup), 1.0, &Note::tip(tip));
            }
        }
    };
    let column = Column { title: title.into(), range: range.padded(0.08), reference, paint: &paint };
    Some(rows::draw(sheet, top, rows::EDGE, &labels, &[column]))
}
