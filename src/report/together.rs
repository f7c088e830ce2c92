//! What a session on loop and rollers says: Crr of each set-up on both, what the road surface costs, and the differences
//! that both have seen.
//!
//! Given the results of the venues; gives tables. It combines nothing.

use super::number::{p_value, significant, verdict_with_p};
use super::table::{Cell, Column, PARTS, Parts, Readers, Table};
use super::units::Units;
use super::verdict::{name_of, reference_speed};
use crate::solution::{CombinedContrast, Solution, VenueResult, Venues};
use crate::standing::{Ground, standings};
use crate::wording::{capitalised, listed, venue_name};

/// Parts on the page alone.
const ON_PAGE: Parts = Parts { on_terminal: false, ..PARTS };

/// The tables.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Together {
    pub setups: Table,
    /// Without rows when no difference was seen on both.
    pub differences: Table,
}

/// See the module; `None` for a session of one venue.
pub fn together(solution: &Solution, units: Units) -> Option<Together> {
    let venues = solution.venues.as_ref()?;
    Some(Together { setups: setups(solution, venues, units), differences: differences(solution, venues, units) })
}

/// "track and rollers".
pub fn both(solution: &Solution) -> String {
    format!("{} and rollers", venue_name(&solution.circuit.kind))
}

/// Over the table of set-ups: on which venues their Crr is known.
pub fn heading_of_setups(solution: &Solution) -> String {
    let known = |v: &&VenueResult| v.setups.iter().any(|s| s.crr.value.is_some());
    let venues = solution.venues.iter().flat_map(|v| v.results.iter().filter(known));
    let names: Vec<String> = venues
        .map(|v| if v.venue == "rollers" { "rollers".into() } else { format!("the {}", venue_name(&v.venue)) })
        .collect();
    format!("Crr on {}", listed(&names))
}

fn by_venue(venues: &Venues) -> impl Iterator<Item = Column> + '_ {
    venues.results.iter().map(|v| Column::estimates("crr", format!("Crr,\n{}", venue_name(&v.venue)), ON_PAGE))
}

fn setups(solution: &Solution, venues: &Venues, units: Units) -> Table {
    let mut columns = vec![Column::words("label", "Set-up")];
    columns.extend(by_venue(venues));
    columns.push(Column::estimates("crr", "Crr,\nsurface", ON_PAGE));
    columns.push(Column::estimates("power_w", format!("Surface, W\nat {}", reference_speed(solution, units)), ON_PAGE));
    let mut table = Table::new(columns);
    for setup in &solution.setups {
        let mut row = vec![Cell::words(name_of(solution, &setup.id))];
        for venue in &venues.results {
            let found = venue.setups.iter().find(|s| s.id == setup.id);
            row.push(found.map_or(Cell::Missing, |s| Cell::Estimate(s.crr)));
        }
        let loss = venues.surface_loss.iter().find(|l| l.setup == setup.id);
        row.push(loss.map_or(Cell::Missing, |l| Cell::Difference(l.crr)));
        row.push(loss.map_or(Cell::Missing, |l| Cell::Difference(l.rolling_power_w)));
        table.push(row);
    }
    table
}

fn differences(solution: &Solution, venues: &Venues, units: Units) -> Table {
    let mut columns = vec![Column::words("label", "Set-up")];
    columns.extend(by_venue(venues));
    columns.extend([
        Column::estimates("crr", "Crr,\ntogether", ON_PAGE),
        Column::estimates("power_w", format!("Rolling, W\nat {}", reference_speed(solution, units)), ON_PAGE),
        Column::numbers("p_holm", "p").only(Readers::Page),
        Column::numbers("detectable_power_w", "SDD,\nW"),
        Column::words("verdict", "Verdict").only(Readers::Page),
        // Side by side with p it would take more than eighty columns.
        Column::words("verdict", "Verdict").only(Readers::Terminal),
    ]);
    let mut table = Table::new(columns);
    let best_two = best_two(solution, venues);
    for combined in venues.combined.iter().chain(best_two) {
        let of = |venue: &VenueResult| {
            let mut all = venue.contrasts.iter().chain(&venue.all_pairs);
            let same = all.find(|c| c.setup == combined.setup && c.baseline == combined.baseline);
            same.map_or(Cell::Missing, |c| Cell::Difference(c.crr))
        };
        let name = name_of(solution, &combined.setup);
        let is_pair = best_two.is_some_and(|pair| std::ptr::eq(pair, combined));
        let mut row = vec![Cell::words(match is_pair {
            true => format!("{name} less {}", name_of(solution, &combined.baseline)),
            false => name,
        })];
        row.extend(venues.results.iter().map(of));
        row.extend([
            Cell::Difference(combined.crr),
            Cell::Difference(combined.rolling_power_w),
            Cell::number(combined.p_holm, |p| p_value(Some(p))),
            Cell::number(combined.detectable_power_w, |w| significant(w, 2)),
            Cell::words(&combined.verdict),
            Cell::words(verdict_with_p(&combined.verdict, combined.p_holm)),
        ]);
        table.push(row);
    }
    table
}

/// The fastest less the next best, where both venues together say which they are and neither is the baseline.
fn best_two<'a>(solution: &Solution, venues: &'a Venues) -> Option<&'a CombinedContrast> {
    let standings = standings(solution);
    let together = standings.iter().find(|s| s.ground == Ground::Together)?;
    let [a, b] = together.order.get(..2)? else { return None };
    if [a, b].contains(&&together.baseline) {
        return None;
    }
    venues.combined_pairs.iter().find(|c| [[a, b], [b, a]].contains(&[&c.setup, &c.baseline]))
}

/// Whether the venues agree on the differences, in a sentence; empty without a difference that both have seen.
pub fn agreement(solution: &Solution) -> String {
    let Some(venues) = &solution.venues else { return String::new() };
    let disagreeing: Vec<String> =
        venues.combined.iter().filter(|c| !c.agreement.agree).map(|c| name_of(solution, &c.setup)).collect();
    let both = capitalised(&both(solution));
    match (venues.combined.is_empty(), disagreeing.is_empty()) {
        (true, _) => String::new(),
        (_, true) => format!("{both} agree within their errors; together is their weighted mean."),
        _ => format!(
            "{both} disagree on {}, so its interval together is that of two results that differ by more than \
             their errors.",
            listed(&disagreeing)
        ),
    }
}
