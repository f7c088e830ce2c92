//! The tables of the page, each with its heading and what to know when reading it.
//!
//! Given the solution, and the session where a table is of what was stated; gives tables, or none where there is nothing to show.

use super::super::budget_overview::overview;
use super::super::differences::{self, Naming};
use super::super::table::PageTable;
use super::super::together::{agreement, heading_of_setups, together};
use super::super::units::Units;
use super::super::verdict::name_of;
use super::super::{factors, held_fixed, lap_length, left_open, monte_carlo, run_table, setup_table};
use super::input::PageInput;
use crate::factor::Answer;
use crate::solution::{Estimate, Solution};
use crate::wording::venue_name;

pub(super) fn differences_table(solution: &Solution) -> Option<PageTable> {
    let known = |e: &Estimate| e.value.is_some();
    if !solution.contrasts.iter().any(|c| known(&c.power_w) || known(&c.crr)) {
        return None;
    }
    let caption = "Errors that all runs share cancel in these. p is adjusted for the number of comparisons; the smallest \
                   detectable difference is what such a test finds in four of five repeats. Scatter is what differs between \
                   laps, run to run what changes with each mounting, expected what rests on what was supposed beforehand, \
                   instrument what power meter, wheel, scale and thermometer add; they add as squares.";
    let heading = format!("Differences from {}{}", name_of(solution, &solution.baseline), on_the_loop(solution));
    let table =
        differences::table(solution, &solution.contrasts, Naming::Setup).page("differences", &heading, caption)?;
    Some(PageTable { level: 2, ..table })
}

pub(super) fn factor_table(solution: &Solution) -> Option<PageTable> {
    let told = || solution.factors.iter().flat_map(|f| &f.outputs).filter_map(Answer::told);
    let caption = [
        told().any(|o| !o.effects.is_empty()).then_some(
            "Main effects of kinds by every run of every combination; p is adjusted for the number of effects.",
        ),
        told().any(|o| !o.curves.is_empty()).then_some("What each level of a quantity costs against the best one."),
    ];
    let caption = &caption.into_iter().flatten().collect::<Vec<_>>().join(" ");
    factors::table(solution).page("factor-table", "Effects and losses", caption)
}

/// Every pair, where there are more than the baseline's own.
pub(super) fn pairs(solution: &Solution) -> Option<PageTable> {
    if solution.setups.len() < 3 {
        return None;
    }
    let caption = "Here p is adjusted for the number of all pairs, so it may be larger than above; for those who ask every \
                   question at once.";
    differences::table(solution, &solution.all_pairs, Naming::Pair).page("pairs", "Every pair", caption)
}

pub(super) fn set_ups(solution: &Solution, units: Units) -> Option<PageTable> {
    let caption = if solution.setups.len() > 1 {
        "The differences decide: what the instruments add to these is largely common to all set-ups and cancels there."
    } else {
        "Scatter is what differs between laps, instrument what power meter, wheel, scale and thermometer add; they add as \
         squares."
    };
    let heading = format!("Set-ups{}", on_the_loop(solution));
    let mut table = setup_table::set_ups(solution, units).page("set-ups-table", &heading, caption);
    if let Some(table) = &mut table {
        table.level = 2;
    }
    table
}

/// Which venue the tables of the top are of, where there are two.
fn on_the_loop(solution: &Solution) -> String {
    let name = venue_name(&solution.circuit.kind);
    if solution.venues.is_some() { format!(" on the {name}") } else { String::new() }
}

/// Loop and rollers side by side.
pub(super) fn venues(solution: &Solution, units: Units) -> Vec<PageTable> {
    let Some(both) = together(solution, units) else { return Vec::new() };
    let crr = match solution.venues.as_ref().is_some_and(|v| !v.surface_loss.is_empty()) {
        true => format!(
            "Crr of each set-up where it was ridden, on a flat. Surface: Crr on the {} less Crr on the rollers, what the surface and \
             the casing on it cost as far as the conversion from drum to flat holds.",
            venue_name(&solution.circuit.kind)
        ),
        false => "Crr of each set-up on a flat, as far as the conversion from drum to flat holds.".into(),
    };
    let differences = format!(
        "Differences in Crr from the baseline, and of the best from the next best, on each venue and together; p is adjusted \
             for the number of differences from the baseline, that of the best and the next best for the number of all pairs. {}",
        agreement(solution)
    );
    [
        both.differences.page("venue-differences", "Differences seen on both", differences.trim()),
        both.setups.page("venue-set-ups", &heading_of_setups(solution), &crr),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// The budget of the results at the top, where a session mixes venues that of the rollers, and their check by draws.
pub(super) fn budgets(solution: &Solution, units: Units) -> Vec<PageTable> {
    let mut all = Vec::new();
    for (place, venue) in solution.by_venue().iter().enumerate() {
        let rollers = solution.venues.is_some() && venue.venue == "rollers";
        if solution.venues.is_some() && !rollers && place > 0 {
            continue;
        }
        let (id, heading) = if rollers { ("budget-rollers", "Rollers") } else { ("budget-values", "Results") };
        let compared = venue.contrasts.iter().any(|c| c.power_w.value.is_some());
        let more = if compared { " itself and for the difference that it moves most" } else { "" };
        let caption = format!(
            "By how much one standard uncertainty of each source moves the results, for {}{more}. The parts combine as the \
             root of the sum of their squares.",
            name_of(solution, &venue.baseline)
        );
        let table = overview(solution, units, venue, solution.separable || rollers);
        // A budget of sources alone says nothing of a result.
        all.extend(table.page(id, heading, &caption).filter(|t| t.columns.len() > 2));
    }
    let rests =
        "What the intervals rest on beside the laps, with what was expected of it before the rides were looked at.";
    all.extend(left_open::table(solution).page("left-open", "Run to run and yaw", rests));
    if let Some(made) = &solution.monte_carlo {
        let table = monte_carlo::table(solution, made, monte_carlo::IN_PAGE);
        let caption = format!("{} draws of all instrument inputs. {}", made.draws, monte_carlo::sentence(made));
        all.extend(table.page("budget-draws", "Check by random draws", &caption));
    }
    all
}

pub(super) fn fixed(input: &PageInput) -> Option<PageTable> {
    let caption =
        "Stated or usual values that were not estimated, with the standard uncertainty that enters the budget.";
    let table = held_fixed::table(input.session, input.solution, input.units).page("fixed", "Held fixed", caption)?;
    Some(PageTable { level: 2, ..table })
}

/// Runs on the loop and runs on rollers.
pub(super) fn runs(solution: &Solution, units: Units) -> Vec<PageTable> {
    let on_loop = run_table::on_loop(solution, units);
    let on_rollers = run_table::on_rollers(solution, units);
    let wind = format!(
        "{} Lag is by how much speed runs behind power. Wind is where it blows from, at the height of the rider.",
        lap_length::sentence(&solution.circuit, units)
    );
    let on_loop_heading = format!("On the {}", venue_name(&solution.circuit.kind));
    let window = "Seconds of the window count from the first record; the standard error of Crr is that of the scatter within \
                  the window alone.";
    let one_venue = on_loop.rows.is_empty() || on_rollers.rows.is_empty();
    // Where there is one venue the heading of the part is that of its table.
    let headed = |id, heading| if one_venue { ("runs", "") } else { (id, heading) };
    let (loop_id, on_loop_heading) = headed("runs-loop", on_loop_heading.as_str());
    let (rollers_id, on_rollers_heading) = headed("runs-rollers", "On rollers");
    [on_loop.page(loop_id, on_loop_heading, wind.trim_start()), on_rollers.page(rollers_id, on_rollers_heading, window)]
        .into_iter()
        .flatten()
        .collect()
}
