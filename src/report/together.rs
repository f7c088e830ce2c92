//! What a session on loop and rollers says: Crr of each set-up on both, what the road surface costs, and the differences
//! that both have seen.
//!
//! Given the results of the venues; gives rows of text. It combines nothing.

use super::differences::signed;
use super::number::{UNKNOWN, p_value, shown, significant};
use super::table::Grid;
use super::units::Units;
use super::verdict::{name_of, reference_speed};
use crate::solution::{Estimate, Solution, VenueResult, Venues};

/// The tables.
#[derive(Debug, Clone, PartialEq, Default, serde::Serialize)]
pub struct Together {
    pub setups: Grid,
    /// Empty when no difference was seen on both.
    pub differences: Grid,
}

/// See the module; `None` for a session of one venue.
pub fn together(solution: &Solution, units: Units) -> Option<Together> {
    let venues = solution.venues.as_ref()?;
    Some(Together { setups: setups(solution, venues, units), differences: differences(solution, venues, units) })
}

fn over(estimate: &Estimate) -> String {
    let shown = shown(estimate);
    if shown.half.is_empty() { shown.value } else { format!("{}\n{}", shown.value, shown.half) }
}

fn setups(solution: &Solution, venues: &Venues, units: Units) -> Grid {
    let mut header = vec!["Set-up".to_string()];
    header.extend(venues.results.iter().map(|v| format!("Crr,\n{}", v.venue)));
    header.push("Crr,\nsurface".into());
    header.push(format!("Surface, W\nat {}", reference_speed(solution, units)));
    let mut grid = Grid { header, rows: Vec::new() };
    for setup in &solution.setups {
        let mut row = vec![name_of(solution, &setup.id)];
        for venue in &venues.results {
            let found = venue.setups.iter().find(|s| s.id == setup.id);
            row.push(found.map_or(UNKNOWN.into(), |s| over(&s.crr)));
        }
        let loss = venues.surface_loss.iter().find(|l| l.setup == setup.id);
        row.push(loss.map_or(UNKNOWN.into(), |l| signed(&l.crr)));
        row.push(loss.map_or(UNKNOWN.into(), |l| signed(&l.rolling_power_w)));
        grid.rows.push(row);
    }
    grid.without_empty(UNKNOWN)
}

fn differences(solution: &Solution, venues: &Venues, units: Units) -> Grid {
    let mut header = vec!["Set-up".to_string()];
    header.extend(venues.results.iter().map(|v| format!("Crr,\n{}", v.venue)));
    header.push("Crr,\ntogether".into());
    header.push(format!("Rolling, W\nat {}", reference_speed(solution, units)));
    header.extend(["p".to_string(), "Would\nfind, W".into(), "Verdict".into()]);
    let mut grid = Grid { header, rows: Vec::new() };
    for combined in &venues.combined {
        let of = |venue: &VenueResult| {
            let same = venue.contrasts.iter().find(|c| c.setup == combined.setup && c.baseline == combined.baseline);
            same.map_or(UNKNOWN.into(), |c| signed(&c.crr))
        };
        let mut row = vec![name_of(solution, &combined.setup)];
        row.extend(venues.results.iter().map(of));
        row.extend([
            signed(&combined.crr),
            signed(&combined.rolling_power_w),
            p_value(combined.p_holm),
            combined.detectable_power_w.map_or(UNKNOWN.into(), |w| significant(w, 2)),
            combined.verdict.clone(),
        ]);
        grid.rows.push(row);
    }
    grid.without_empty(UNKNOWN)
}

/// Whether the venues agree on the differences, in a sentence; empty without a difference that both have seen.
pub fn agreement(solution: &Solution) -> String {
    let Some(venues) = &solution.venues else { return String::new() };
    let disagreeing: Vec<String> =
        venues.combined.iter().filter(|c| !c.agreement.agree).map(|c| name_of(solution, &c.setup)).collect();
    match (venues.combined.is_empty(), disagreeing.is_empty()) {
        (true, _) => String::new(),
        (_, true) => "Loop and rollers agree within their errors; together is their weighted mean.".into(),
        _ => format!(
            "Loop and rollers disagree on {}, so its interval together is that of two results that differ by more than \
             their errors.",
            super::number::listed(&disagreeing)
        ),
    }
}
