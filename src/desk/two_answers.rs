//! Two answers side by side, such as before and after a lap is left out.
//!
//! Given two solutions; gives rows of what changed, in the words of the tables.

use loopwright::report::number::{SHARED, is_shared, shown};
use loopwright::report::verdict::name_of;
use loopwright::solution::{Estimate, Solution};
use loopwright::wording::venue_name;
use serde::Serialize;

/// One quantity in two answers.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Compared {
    pub what: String,
    pub before: String,
    pub after: String,
    /// Change of the value over the half-width before, for the eye; `None` where one of them is unknown.
    pub moved: Option<String>,
}

/// Two answers side by side: what loop and rollers say together, watts of every difference with its verdict, then Crr, CdA and
/// watts of every set-up.
pub fn side_by_side(before: &Solution, after: &Solution) -> Vec<Compared> {
    let mut rows = Vec::new();
    let name = |id: &str| name_of(after, id);
    let venue = venue_name(&after.circuit.kind);
    let together = |of: &Solution| of.venues.as_ref().map_or(Vec::new(), |v| v.combined.clone());
    let (then_together, now_together) = (together(before), together(after));
    for now in &now_together {
        let then = then_together.iter().find(|c| c.setup == now.setup && c.baseline == now.baseline);
        let pair = format!("{} less {}, {venue} and rollers together", name(&now.setup), name(&now.baseline));
        push(&mut rows, format!("{pair}, W"), then.map(|c| &c.rolling_power_w), &now.rolling_power_w);
        push(&mut rows, format!("{pair}, Crr"), then.map(|c| &c.crr), &now.crr);
        let verdict = then.map_or("–".into(), |c| c.verdict.clone());
        rows.push(Compared {
            what: format!("{pair}, verdict"),
            before: verdict,
            after: now.verdict.clone(),
            moved: None,
        });
    }
    let on = if now_together.is_empty() { String::new() } else { format!(" on the {venue}") };
    for now in &after.contrasts {
        let then = before.contrasts.iter().find(|c| c.setup == now.setup && c.baseline == now.baseline);
        let what = |quantity: &str| format!("{} less {}{on}, {quantity}", name(&now.setup), name(&now.baseline));
        push(&mut rows, what("W"), then.map(|c| &c.power_w), &now.power_w);
        push(&mut rows, what("Crr"), then.map(|c| &c.crr), &now.crr);
        push(&mut rows, what("CdA in m²"), then.map(|c| &c.cda_m2), &now.cda_m2);
        let verdict = then.map_or("–".into(), |c| c.verdict.clone());
        rows.push(Compared { what: what("verdict"), before: verdict, after: now.verdict.clone(), moved: None });
    }
    for now in &after.setups {
        let then = before.setups.iter().find(|s| s.id == now.id);
        let what = |quantity: &str| format!("{}{on}, {quantity}", name(&now.id));
        push(&mut rows, what("Crr"), then.map(|s| &s.crr), &now.crr);
        push(&mut rows, what("CdA in m²"), then.map(|s| &s.cda_m2), &now.cda_m2);
        push(&mut rows, what("W"), then.map(|s| &s.power_w), &now.power_w);
    }
    rows
}

fn push(rows: &mut Vec<Compared>, what: String, before: Option<&Estimate>, after: &Estimate) {
    let text = |e: &Estimate| if is_shared(e) { SHARED.to_string() } else { shown(e).whole() };
    let was = before.map_or("–".into(), text);
    let now = text(after);
    if was == now && (now == SHARED || !shown(after).known) {
        return;
    }
    let moved = before.and_then(|before| {
        let half = (before.high? - before.low?) / 2.0;
        let share = (after.value? - before.value?) / half;
        share.is_finite().then(|| format!("{share:+.2}"))
    });
    rows.push(Compared { what, before: was, after: now, moved });
}
