//! Figure `factor-effects`: watts of every level of a kind against the level it is compared with.
//!
//! Given effects that were estimated elsewhere; draws value and interval of each. It estimates nothing.

use super::figure::{Figure, reference_speed};
use super::key::{MARGIN, heading, strip};
use super::lettering::Letters;
use super::panel::Panel;
use super::polyline::Point;
use super::rows::{self, Column, Interval, RowName, ticks_explained};
use super::scale::{Range, short, with_half};
use super::sheet::{Anchor, Sheet};
use super::style::{Style, TEXT};
use crate::evidence::Evidence;
use crate::session::factors::shown_name;
use crate::solution::Solution;

/// See the module. `None` where there is no kind.
pub fn draw(solution: &Solution, _: &Evidence, style: &Style) -> Option<Figure> {
    let outputs = solution.factors.as_ref()?.outputs.iter().filter_map(|o| o.told());
    let watts = outputs.filter(|o| o.output.ends_with("power_w")).find(|o| !o.effects.is_empty())?;
    let all: Vec<(String, Interval)> = watts
        .effects
        .iter()
        .flat_map(|e| {
            e.levels.iter().map(move |l| {
                let name = format!("{}: {} less {}", shown_name(&e.factor), l.level, e.reference);
                (name, Interval { value: l.effect.value, low: l.effect.low, high: l.effect.high, scatter: None })
            })
        })
        .collect();
    let range = Range::of(all.iter().flat_map(|(_, i)| [i.low, i.high]))?.including(0.0);
    let names: Vec<RowName> = all.iter().map(|(text, _)| RowName { text: text.clone(), identity: None }).collect();
    let mut sheet = Sheet::new(*style);
    let title = "What each factor does";
    let share = crate::wording::percent(solution.confidence);
    let top = heading(&mut sheet, title);
    let top = strip(&mut sheet, top, &ticks_explained(&share, false, false));
    let words = |i: &Interval| with_half(i.value, Some((i.high - i.low) / 2.0), style);
    let widest = all.iter().map(|(_, i)| sheet.width_of(&words(i), Letters::Small)).fold(0.0, f64::max);
    let paint = |sheet: &mut Sheet, panel: &Panel, index: usize, y: f64| {
        let Some((name, interval)) = all.get(index) else { return };
        let at = Point::new(style.width() - MARGIN, y + style.size(Letters::Small) * 0.36);
        sheet.words(at, &words(interval), Letters::Small, Anchor::End, TEXT);
        let tip = format!(
            "{name}: {} W ({} to {})",
            short(interval.value, style),
            short(interval.low, style),
            short(interval.high, style)
        );
        rows::interval(sheet, panel, y, interval, &style.identity(0), &tip);
    };
    let column = Column {
        title: match style.narrow() {
            true => "W, less is faster".into(),
            false => format!("Watts at {}: less is faster", reference_speed(solution, style)),
        },
        range: range.padded(0.08),
        reference: Some(0.0),
        paint: &paint,
    };
    let bottom = rows::draw(&mut sheet, top, widest + 4.5, &names, &[column]);
    let caption = format!(
        "Main effects of the factors in watts at {}, with {share} intervals, every run of every combination used.{}",
        reference_speed(solution, style),
        if watts.adds == Some(false) {
            " The effects do not add: they depend on what they are combined with, so the list of set-ups counts, not these."
        } else {
            ""
        }
    );
    Figure::of(sheet, bottom + 1.5, "factor-effects", title, caption)
}
