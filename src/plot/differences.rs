//! Figure `differences`: by how many watts each set-up differs from the baseline, with intervals and what may be said of it.
//!
//! Given the results; draws them, the fastest first. Where loop and rollers are taken together there is one row a set-up,
//! where not each venue has its rows. It judges nothing.

use super::figure::{Figure, names, percent, reference_speed};
use super::key::{MARGIN, heading};
use super::lettering::Letters;
use super::panel::Panel;
use super::polyline::Point;
use super::rows::{self, Column, Interval, Room, RowName};
use super::scale::{Range, number, with_half};
use super::set_ups::interval_of;
use super::sheet::{Anchor, Note, Sheet};
use super::style::{Dash, Form, Identity, MUTED, Style, TEXT};
use crate::evidence::Evidence;
use crate::solution::{Estimate, Solution};
use crate::standing::{Ground, Pair, Shown, Standing, Watts, standings};
use crate::wording::{capitalised, venue_name};

/// One row: a set-up beside the baseline, the baseline itself, or the best beside the next best.
struct Row {
    name: String,
    identity: Identity,
    interval: Option<Interval>,
    /// It is compared with another set-up than the baseline.
    of_best_two: bool,
    /// Value and what may be said of it.
    words: [String; 2],
}

/// See the module. `None` without a known difference.
pub fn draw(solution: &Solution, _evidence: &Evidence, style: &Style) -> Option<Figure> {
    let standings = standings(solution);
    let rows: Vec<Row> = standings.iter().flat_map(|standing| rows_of(solution, standing, style)).collect();
    let shown = || rows.iter().filter_map(|row| row.interval.as_ref());
    let range = Range::of(shown().flat_map(|i| [i.value, i.low, i.high]))?.including(0.0).padded(0.08);
    let mut sheet = Sheet::new(*style);
    let title = "Which set-up is faster, and by how much";
    let top = heading(&mut sheet, title);
    let right = style.width() - MARGIN;
    let widest = |k: usize| rows.iter().map(|r| sheet.width_of(&r.words[k], Letters::Small)).fold(0.0, f64::max);
    let words_column = widest(0).max(widest(1)) + 4.5;
    let paint = |sheet: &mut Sheet, panel: &Panel, index: usize, y: f64| {
        let Some(row) = rows.get(index) else { return };
        let tip = match &row.interval {
            Some(_) => format!("{}: {} W, {}", row.name, row.words[0], row.words[1]),
            None => format!("{}: {}", row.name, row.words[0]),
        };
        match &row.interval {
            Some(interval) => rows::interval(sheet, panel, y, interval, &row.identity, &tip),
            None => {
                let at = Point::new(panel.x.at(0.0), y);
                super::marker::marker(sheet, at, &row.identity, 1.05, &Note::tip(tip));
            }
        }
        let leading = sheet.style.leading(Letters::Small);
        let base = y + sheet.style.size(Letters::Small) * 0.36;
        let lines: Vec<&String> = row.words.iter().filter(|w| !w.is_empty()).collect();
        let first = base - leading * (lines.len() as f64 - 1.0) / 2.0;
        for (line, text) in lines.iter().enumerate() {
            let ink = if line == 0 { TEXT } else { MUTED };
            let at = Point::new(right, first + line as f64 * leading);
            sheet.words(at, text, Letters::Small, Anchor::End, ink);
        }
    };
    let rolling = standings.iter().all(|s| s.watts == Watts::Rolling);
    let baseline = name_in(solution, &standings.first()?.baseline);
    let watts = if rolling { "Rolling watts" } else { "Watts" };
    let column = Column {
        title: match style.narrow() {
            true => "W, less is faster".into(),
            false => format!("{watts} at {}: less is faster", reference_speed(solution, style)),
        },
        range,
        reference: Some(0.0),
        paint: &paint,
    };
    let labels: Vec<RowName> =
        rows.iter().map(|r| RowName { text: r.name.clone(), identity: Some(r.identity) }).collect();
    let least_row = 2.0 * style.leading(Letters::Small) + 2.2;
    let bottom = rows::draw_rows(
        &mut sheet,
        top,
        Room { edge: words_column, least_row, names: rows::names_room(style) },
        &labels,
        &[column],
    );
    let mut caption = format!(
        "Differences in power at {}, the fastest first, with {} intervals{}. Left of the upright line a set-up needs less power \
         than {}.",
        reference_speed(solution, style),
        percent(solution.confidence),
        if shown().any(|i| i.scatter.is_some()) { "; short ticks: what scatter alone would give" } else { "" },
        match rows.iter().any(|row| row.of_best_two) {
            true => format!("the one it is compared with, {baseline} where no other is named"),
            false => baseline,
        }
    );
    let both = format!("{} and rollers", capitalised(venue_name(&solution.circuit.kind)));
    if standings.iter().any(|s| s.ground == Ground::Together) {
        caption.push_str(&format!(" {both}, which agree, are taken together."));
    } else if standings.len() > 1 {
        caption.push_str(&format!(
            " {both} stand apart, because they do not say the same or did not see the same set-ups."
        ));
    }
    caption.push_str(
        " An interval that stays clear of the line is a difference that is real at that level before the number of \
                      comparisons is allowed for; the words beside it allow for that.",
    );
    Figure::of(sheet, bottom + 1.5, "differences", title, caption)
}

fn name_in(solution: &Solution, id: &str) -> String {
    let place = solution.setups.iter().position(|s| s.id == id);
    place.and_then(|place| names(solution).into_iter().nth(place)).unwrap_or_else(|| id.to_string())
}

fn rows_of(solution: &Solution, standing: &Standing, style: &Style) -> Vec<Row> {
    let place = match &standing.ground {
        Ground::Venue(venue) => format!(": {}", venue_name(venue)),
        Ground::Only | Ground::Together => String::new(),
    };
    let identity = |id: &str| style.identity(solution.setups.iter().position(|s| s.id == id).unwrap_or(0));
    let mut rows = Vec::new();
    for id in &standing.order {
        let name = format!("{}{place}", name_in(solution, id));
        let pair = standing.with_baseline.iter().find(|p| (p.faster == *id) != (p.slower == *id));
        rows.push(match pair.filter(|_| *id != standing.baseline) {
            Some(pair) => compared(name, identity(id), pair, pair.faster == *id, style),
            None => Row {
                name,
                identity: identity(id),
                interval: None,
                of_best_two: false,
                words: ["baseline".into(), String::new()],
            },
        });
    }
    // The best beside the next best is a question of its own where neither is the baseline.
    if let Some(pair) = standing.best_two.as_ref().filter(|p| ![&p.faster, &p.slower].contains(&&standing.baseline)) {
        let name = format!("{} less {}{place}", name_in(solution, &pair.faster), name_in(solution, &pair.slower));
        let identity = Identity { form: Form::Diamond, open: true, dash: Dash::Solid, ink: MUTED };
        rows.push(Row { of_best_two: true, ..compared(name, identity, pair, true, style) });
    }
    rows
}

fn compared(name: String, identity: Identity, pair: &Pair, faster: bool, style: &Style) -> Row {
    let e = pair.watts;
    let turned = |v: Option<f64>| v.map(|v| -v);
    let signed =
        if faster { Estimate { value: turned(e.value), low: turned(e.high), high: turned(e.low), ..e } } else { e };
    let interval = interval_of(&signed);
    let half = interval.map(|i| (i.high - i.low) / 2.0).filter(|h| *h > 0.0);
    let value = signed.value.unwrap_or(f64::NAN);
    let p = pair.p_holm.map_or(String::new(), |p| {
        if p < 0.001 { format!(", p < {}", number(0.001, 3, style)) } else { format!(", p {}", number(p, 3, style)) }
    });
    let verdict = match (pair.shown, style.narrow()) {
        (Shown::Real, false) => format!("real{p}"),
        (Shown::Open, false) => format!("may be chance{p}"),
        (Shown::Equivalent, false) => "too little to matter".into(),
        (Shown::Real, true) => "real".into(),
        (Shown::Open, true) => "chance?".into(),
        (Shown::Equivalent, true) => "alike".into(),
    };
    Row { name, identity, interval, of_best_two: false, words: [with_half(value, half, style), verdict] }
}
