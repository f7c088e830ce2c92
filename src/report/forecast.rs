//! A forecast in words and tables, for the terminal and as a page.
//!
//! Given a forecast; gives plain text of a width, or a page with its figure. It computes nothing but roundings.

mod tables;

use super::cautions::CAUTIONS;
use super::factors::of_result;
use super::number::{UNKNOWN, counted, percent, significant};
use super::page::drawn;
use super::piece::{self, Page, Piece};
use super::table::Grid;
use super::units::Units;
use crate::error::Error;
use crate::forecast::{Forecast, GoalReached, Measure, OneSpeed, Prediction, TogetherForecast, laps_of_each, place_of};
use crate::plan::Plan;
use crate::plot::Figure;
use crate::wording::capitalised;
use tables::{changes, differences, laps, orders, set_ups};

/// See the module.
pub fn forecast_text(plan: &Plan, forecast: &Forecast, width: usize, units: Units) -> String {
    let title = if forecast.title.trim().is_empty() { Vec::new() } else { vec![Piece::Words(forecast.title.clone())] };
    let about = vec![Piece::Words(plan_in_words(forecast))];
    let of = |pieces: Vec<Piece>| piece::text(&piece::in_units(&pieces, units, &names(forecast)), width);
    let gap = if title.is_empty() { "" } else { "\n" };
    format!("{}{gap}{}{}", of(title), of(about), of(pieces(plan, forecast)))
}

/// The same as a page with the figure of the plan.
///
/// Errors: [`Error::Page`], a fault of the program.
pub fn forecast_page(
    plan: &Plan,
    forecast: &Forecast,
    figures: &[Figure],
    narrow: &[Figure],
    units: Units,
) -> Result<String, Error> {
    let title = if forecast.title.trim().is_empty() { "What this plan can find" } else { forecast.title.trim() };
    let names = names(forecast);
    Page {
        title,
        about: units.in_words(&plan_in_words(forecast), &names),
        version: &forecast.loopwright,
        pieces: &piece::in_units(&pieces(plan, forecast), units, &names),
        figures: drawn(figures, narrow, |_| ["", ""]),
        cautions: &CAUTIONS,
    }
    .html()
}

/// Names of set-ups, which stay as they are.
fn names(forecast: &Forecast) -> Vec<&str> {
    let of_setups = forecast.prediction.iter().flat_map(|p| &p.setups).map(|s| s.label.as_str());
    of_setups.chain(forecast.order.iter().map(String::as_str)).collect()
}

fn table(heading: impl Into<String>, note: impl Into<String>, grid: Grid) -> Piece {
    Piece::Table { heading: heading.into(), note: note.into(), grid: grid.without_empty(UNKNOWN) }
}

fn pieces(plan: &Plan, forecast: &Forecast) -> Vec<Piece> {
    let mut out = Vec::new();
    let venue = place_of(plan);
    // What the tables of a mixed day leave to its rollers is said once, in their headings.
    let alone = if forecast.together.is_some() { format!(", on the {venue} alone") } else { String::new() };
    if let Some(p) = &forecast.prediction {
        out.extend(headline(plan, forecast, p).map(Piece::Words));
        out.extend(forecast.goals.iter().map(|goal| Piece::Words(judgement(forecast, goal))));
        out.extend(what_would(plan, forecast).map(Piece::Words));
        match (&forecast.one_speed, &p.not_separable) {
            (Some(one), _) => out.push(Piece::Words(one_speed(one, p, venue, forecast.together.is_some()))),
            (None, Some([reason, next])) => out.push(Piece::Words(format!(
                "This plan cannot tell CdA from Crr: {}. {next}",
                reason.replace("were ridden", "are ridden")
            ))),
            (None, None) => {}
        }
        if let Some(together) = &forecast.together {
            let heading = format!("How well differences will be known, {venue} and rollers together");
            let note = format!("se is one standard error, from {} rehearsals", together.rehearsals);
            out.push(table(heading, note, differences(plan, &together.differences)));
        }
        let heading = format!("How well differences will be known{alone}");
        out.push(table(heading, "se is one standard error", differences(plan, &p.differences)));
        if !p.differences.is_empty() {
            out.push(Piece::Words(format!(
                "SDD is the smallest detectable difference: if the true one is that large, {} of such days show it at a \
                 confidence of {}{}.",
                percent(forecast.power),
                percent(forecast.confidence),
                match p.differences.len() {
                    1 => String::new(),
                    n => format!(", {n} comparisons being tested together (Holm)"),
                }
            )));
        }
        let parts = "one standard error, and under it its parts: scatter of the laps, what is expected beforehand, changes from run \
                     to run, instruments";
        out.push(table(format!("How well each set-up will be known by itself{alone}"), parts, set_ups(p)));
    }
    let note = match forecast.measure {
        Measure::PowerW => format!("SDD in watts at {} km/h", significant(forecast.reference_speed_km_h, 3)),
        other => format!("SDD in {}", other.name()),
    };
    out.push(table(format!("What would change that{alone}"), note, changes(forecast)));
    if let Some(all) = &forecast.laps {
        out.push(table(format!("SDD in watts, by laps and gusts{alone}"), "", laps(all)));
        if all.rises() {
            out.push(Piece::Words(more_laps_find_less().into()));
        }
    }
    out.extend(forecast.factors.iter().map(|factors| Piece::List {
        heading: "If every set-up is as planned, such a day says of the factors".into(),
        lines: of_result(factors, forecast.confidence),
    }));
    out.push(table("Orders against a drift through the day", "", orders(forecast)));
    if !forecast.orders.is_empty() {
        out.push(Piece::Words(
            "'Steady' is by how much a drift of 1 W an hour falsifies the worst difference, 'growing' the same for a drift that \
             grows by 1 W an hour in every hour. 'Follows': how much more often one set-up is ridden right after another than \
             any other pair is; 0 is best where a run leaves something to the next, such as a warm tyre. The last column is the SDD when \
             a drift of Crr is solved for as well."
                .into(),
        ));
    }
    out.push(Piece::List { heading: "Bear in mind".into(), lines: forecast.caveats.clone() });
    out
}

/// What such a day is worth, in one sentence; `None` where it compares nothing or a target says it.
fn headline(plan: &Plan, f: &Forecast, p: &Prediction) -> Option<String> {
    if let Some(together) = &f.together {
        return Some(seen_together(plan, together, f));
    }
    if p.differences.is_empty() || f.one_speed.is_some() || !f.goals.is_empty() {
        return None;
    }
    let repeats = "between two set-ups, in four of five repeats";
    Some(match (Measure::PowerW.of_all(&p.differences), f.measure.of_all(&p.differences)) {
        (Some(w), _) => {
            let speed = significant(f.reference_speed_km_h, 3);
            format!("Such a day finds {} or more at {speed} km/h {repeats}.", Measure::PowerW.text(w))
        }
        (None, Some(d)) => format!("Such a day finds {} or more {repeats}.", f.measure.text(d)),
        (None, None) => "Such a day finds no difference between two of its set-ups, however large.".into(),
    })
}

fn plan_in_words(f: &Forecast) -> String {
    let in_turn = |values: &[f64]| {
        let one = |same: &[f64]| match same.len() {
            1 => significant(same[0], 3),
            laps => format!("{laps} × {}", significant(same[0], 3)),
        };
        values.chunk_by(|a, b| a == b).map(one).collect::<Vec<_>>().join(" and ")
    };
    let aims = match f.powers_w.as_slice() {
        [] => format!("{} km/h", in_turn(&f.speeds_km_h)),
        powers => format!("{} W ({} km/h on the level in still air)", in_turn(powers), in_turn(&f.speeds_km_h)),
    };
    let length = f.loop_length_m.map_or(String::new(), |l| format!(" of {l:.1} m"));
    let laps = (f.laps_per_run > 0).then(|| format!("{}{length} at {aims}", counted(f.laps_per_run, "lap")));
    let rollers = f.rollers_run_s.map(|s| format!("{:.0} min on rollers", s / 60.0));
    let tasks: Vec<String> = laps.into_iter().chain(rollers).collect();
    let each = if tasks.len() > 1 { "either " } else { "" };
    format!("{} runs in the order {}, each of them {each}{}.", f.order.len(), f.order.join(" "), tasks.join(" or "))
}

/// What a day at one speed gives, and what a second speed and a repeat would add, in watts.
fn one_speed(one: &OneSpeed, p: &Prediction, venue: &str, with_rollers: bool) -> String {
    let watts = |w: Option<f64>| w.map_or("no difference at all".into(), |w| format!("{w:.1} W or more"));
    let mut said = vec![format!(
        "All laps are at one speed, {} km/h: that tells how far set-ups differ, not what CdA and Crr of any of them are.",
        significant(one.speed_km_h, 3)
    )];
    if p.differences.is_empty() {
        said.push("With a single set-up there is nothing to compare.".into());
    } else {
        let on = if with_rollers { format!("On the {venue} alone such a day") } else { "Such a day".into() };
        let speed = " in four of five repeats";
        said.push(format!("{on} finds {}{speed}.", watts(one.detectable_w)));
        said.push(format!("With every run ridden once more it finds {}.", watts(one.every_run_again_w)));
    }
    match &one.second_speed {
        Some(second) => {
            let [slow, fast] = second.speeds_km_h;
            let finds = match p.differences.is_empty() {
                true => String::new(),
                false => format!("it finds {}, and ", watts(second.detectable_w)),
            };
            let values = match (second.crr, second.cda_m2) {
                (Some(crr), Some(cda)) => {
                    format!("CdA will be known to ± {:.4} m² and Crr to ± {:.5} (one standard error)", cda.se, crr.se)
                }
                _ => "CdA and Crr are still not told".into(),
            };
            said.push(format!("With as many laps, but in turn at {slow:.0} and {fast:.0} km/h, {finds}{values}."));
        }
        None => said.push(format!("A second speed about it cannot be ridden on this {venue}.")),
    }
    said.join(" ")
}

/// What both venues find, which is what such a day is ridden for.
fn seen_together(plan: &Plan, together: &TogetherForecast, f: &Forecast) -> String {
    let both = capitalised(&format!("{} and rollers", place_of(plan)));
    match Measure::PowerW.of_all(&together.differences) {
        Some(found) => format!(
            "{both} together find {found:.1} W of rolling or more at {} km/h between two set-ups, in four of five repeats.",
            significant(f.reference_speed_km_h, 3)
        ),
        None => format!("{both} together find no difference between two set-ups, however large."),
    }
}

/// Why a lap more does not find more.
fn more_laps_find_less() -> &'static str {
    "More laps do not always help here. Once their scatter is small, what changes from run to run decides, and few runs of a \
     set-up hardly show how large that is. More runs help, not more laps."
}

fn judgement(f: &Forecast, g: &GoalReached) -> String {
    let target = g.goal.measure.text(g.goal.target);
    let what = if f.prediction.as_ref().is_some_and(|p| p.differences.is_empty()) { "change" } else { "difference" };
    let found = |d: f64| format!("such a day finds {} or more, in four of five repeats", g.goal.measure.text(d));
    match (g.detectable, g.reached) {
        (Some(d), true) => format!("Target reached: a {what} of {target} is asked for, and {}.", found(d)),
        (Some(d), false) => format!("Target not reached: a {what} of {target} is asked for, but {}.", found(d)),
        (None, _) => {
            format!("Target not reached: a {what} of {target} is asked for, and such a day can find none of that kind.")
        }
    }
}

/// What would reach the targets that the plan misses.
fn what_would(plan: &Plan, f: &Forecast) -> Option<String> {
    let missed: Vec<&GoalReached> = f.goals.iter().filter(|g| !g.reached).collect();
    if missed.is_empty() {
        return None;
    }
    let laps: Option<Vec<usize>> = missed.iter().map(|g| g.laps_per_run).collect();
    if let Some(most) = laps.and_then(|l| l.into_iter().max()) {
        return Some(format!("{} would reach it.", laps_of_each(plan, most)));
    }
    let mut said: Vec<String> = Vec::new();
    for g in missed.iter().filter(|g| g.laps_per_run.is_none()) {
        if let Some(d) = g.with_most_laps.filter(|_| g.most_laps_per_run > 0) {
            said.push(format!(
                "More laps do not: even with {} it would be {}.",
                laps_of_each(plan, g.most_laps_per_run),
                g.goal.measure.text(d)
            ));
        }
    }
    if f.laps.is_none() {
        return Some("More runs of each set-up, in the order there and back, would bring it nearer.".into());
    }
    if let Some(n) = f.rounds_needed {
        let times = if n == 2 { "twice".to_string() } else { format!("{n} times") };
        said.push(format!("The whole order ridden {times} would reach it."));
    }
    // The list of changes is counted in the first target only.
    if let Some(first) = missed.first().filter(|g| g.goal.measure == f.measure) {
        let mut enough: Vec<String> = f
            .alternatives
            .iter()
            .filter(|a| a.detectable.is_some_and(|d| d <= first.goal.target))
            .map(|a| a.change.clone())
            // That has been said.
            .filter(|change| f.rounds_needed.is_none() || change != "the whole order ridden twice")
            .collect();
        if let Some(best) = f.best_speeds.as_ref().and_then(|s| s.best).filter(|b| b.detectable <= first.goal.target) {
            enough.push(format!("laps in turn at {:.0} and {:.0} km/h", best.slow_km_h, best.fast_km_h));
        }
        match (enough.is_empty(), f.rounds_needed) {
            (false, _) => said.push(format!("Each of these alone would reach it: {}.", enough.join("; "))),
            (true, None) => said.push(
                "No single change below reaches it; combine them, wait for a calmer day, or ask for a larger difference."
                    .into(),
            ),
            (true, Some(_)) => {}
        }
    }
    Some(said.join(" "))
}
