//! A forecast in words and tables for the terminal.
//!
//! Given a forecast and a width; gives plain text that fits it. It computes nothing but roundings.

use super::factors::of_result;
use super::number::{UNKNOWN, counted, percent, significant};
use super::table::{Grid, paragraph};
use super::units::Units;
use crate::forecast::{
    DifferenceForecast, Forecast, GoalReached, Measure, OneSpeed, Predicted, Prediction, TogetherForecast,
};

/// No narrower and no wider than this.
const WIDTHS: [usize; 2] = [40, 100];

/// See the module.
pub fn forecast_text(forecast: &Forecast, width: usize, units: Units) -> String {
    let width = width.clamp(WIDTHS[0], WIDTHS[1]);
    let of_setups = forecast.prediction.iter().flat_map(|p| &p.setups).map(|s| s.label.as_str());
    let names = of_setups.chain(forecast.order.iter().map(String::as_str)).collect();
    let mut out = Page { text: String::new(), width, units, names };
    if !forecast.title.trim().is_empty() {
        out.say(&forecast.title);
        out.text.push('\n');
    }
    out.say(&plan_in_words(forecast));
    if let Some(p) = &forecast.prediction {
        if let Some(together) = &forecast.together {
            out.say(&seen_together(together, forecast));
        }
        match (&forecast.one_speed, &p.not_separable) {
            (Some(one), _) => out.say(&one_speed(one, p, forecast.together.is_some())),
            (None, Some([reason, next])) => out.say(&format!(
                "This plan cannot tell CdA from Crr: {}. {next}",
                reason.replace("were ridden", "are ridden")
            )),
            (None, None) => {}
        }
        for goal in &forecast.goals {
            out.say(&judgement(forecast, goal));
        }
        if let Some(advice) = what_would(forecast) {
            out.say(&advice);
        }
        out.section(
            "Predicted errors of the set-ups (one standard error and its parts: scatter of the laps, what is expected \
             beforehand, changes from run to run, instrument)",
            &set_ups(p),
        );
        if let Some(together) = &forecast.together {
            out.section(
                &format!(
                    "Loop and rollers together, from {} rehearsals: errors of the differences, and what would be found",
                    together.rehearsals
                ),
                &differences(&together.differences),
            );
        }
        let alone = if forecast.together.is_some() { " on the loop alone" } else { "" };
        out.section(
            &format!("Predicted errors of the differences{alone}, and what would be found"),
            &differences(&p.differences),
        );
        if !p.differences.is_empty() {
            out.say(&format!(
                "'Finds' is the smallest true difference found with {} power when {} {} tested together (Holm), at a \
                 confidence of {}.",
                percent(forecast.power),
                p.differences.len(),
                if p.differences.len() == 1 { "comparison is" } else { "comparisons are" },
                percent(forecast.confidence)
            ));
        }
    }
    out.section(
        &format!("What would change it (smallest difference found, in {})", forecast.measure.name()),
        &changes(forecast),
    );
    if let Some(table) = &forecast.laps {
        let mut grid = Grid::new(&["Laps a set-up"]);
        grid.header.extend(table.winds.iter().map(|w| format!("gusts {} m/s", significant(w.gust_sd_m_s, 2))));
        for (i, laps) in table.laps_per_setup.iter().enumerate() {
            let watts = table.winds.iter().map(|w| w.detectable_power_w.get(i).copied().flatten());
            let cells = watts.map(|d| d.map_or(UNKNOWN.into(), |d| format!("{d:.1}")));
            grid.rows.push(std::iter::once(laps.to_string()).chain(cells).collect());
        }
        out.section("Watts found, by laps and wind", &grid);
        if table.rises() {
            out.say(&more_laps_find_less(forecast));
        }
    }
    if let Some(factors) = &forecast.factors {
        out.text.push_str("\nIf every set-up is as planned, such a day says of the factors\n");
        for line in of_result(factors, forecast.confidence) {
            out.item(&line);
        }
    }
    out.section("Orders against a drift through the day", &orders(forecast));
    if !forecast.orders.is_empty() {
        out.say(
            "'Left' is what a drift of 1 W an hour, and one that itself grows by 1 W an hour, leaves in the worst \
             difference. 'Follows' is how much oftener one set-up comes right after another one than any other pair does, which \
             matters where a run leaves something to the next. 'Fitted' is what is found when a drift of Crr is solved for as well.",
        );
    }
    if !forecast.caveats.is_empty() {
        out.text.push_str("\nBear in mind\n");
        for caveat in &forecast.caveats {
            out.item(caveat);
        }
    }
    // Names come from files: nothing of theirs may steer the terminal.
    out.text.chars().filter(|c| *c == '\n' || !c.is_control()).collect()
}

struct Page<'a> {
    text: String,
    width: usize,
    units: Units,
    /// Names of set-ups, which stay as they are.
    names: Vec<&'a str>,
}

impl Page<'_> {
    fn say(&mut self, words: &str) {
        self.text.push_str(&paragraph(&self.units.in_words(words, &self.names), self.width, ""));
    }

    fn item(&mut self, words: &str) {
        let words = self.units.in_words(words, &self.names);
        self.text.push_str(&paragraph(&words, self.width, "  ").replacen("  ", "- ", 1));
    }

    fn section(&mut self, heading: &str, grid: &Grid) {
        let mut grid = grid.clone();
        for cell in grid.header.iter_mut().chain(grid.rows.iter_mut().flatten()) {
            *cell = self.units.in_words(cell, &self.names);
        }
        let body = grid.without_empty(UNKNOWN).text(self.width);
        if !body.is_empty() {
            self.text.push_str(&format!("\n{}{}\n", paragraph(heading, self.width, ""), body.trim_end()));
        }
    }
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
    let length = f.loop_length_m.map_or(String::new(), |l| format!(" of {l:.0} m"));
    let laps = (f.laps_per_run > 0).then(|| format!("{}{length} each at {aims}", counted(f.laps_per_run, "lap")));
    let rollers = f.rollers_run_s.map(|s| format!("{:.0} min each on rollers", s / 60.0));
    let tasks: Vec<String> = laps.into_iter().chain(rollers).collect();
    format!("{} runs in the order {}, {}.", f.order.len(), f.order.join(" "), tasks.join(", or "))
}

/// What a day at one speed gives, and what a second speed and a repeat would add, in watts.
fn one_speed(one: &OneSpeed, p: &Prediction, with_rollers: bool) -> String {
    let watts = |w: Option<f64>| w.map_or("no difference at all".into(), |w| format!("{w:.1} W"));
    let mut said = vec![format!(
        "All laps are at one speed, {} km/h: such a day tells how far set-ups differ, not what CdA and Crr of any of them \
         are.",
        significant(one.speed_km_h, 3)
    )];
    if p.differences.is_empty() {
        said.push("With a single set-up there is nothing to compare.".into());
    } else {
        let on = if with_rollers { "On the loop alone the" } else { "The" };
        said.push(format!("{on} weakest comparison finds {}.", watts(one.detectable_w)));
        said.push(format!("With every run ridden once more it finds {}.", watts(one.every_run_again_w)));
    }
    match &one.second_speed {
        Some(second) => {
            let [slow, fast] = second.speeds_km_h;
            let finds = match p.differences.is_empty() {
                true => String::new(),
                false => format!(" finds {} and", watts(second.detectable_w)),
            };
            let values = match (second.crr, second.cda_m2) {
                (Some(crr), Some(cda)) => {
                    format!(" tells Crr to ± {:.5} and CdA to ± {:.4} m² (one standard error)", crr.se, cda.se)
                }
                _ => " still tells no values".into(),
            };
            said.push(format!("As many laps, in turn at {slow:.0} and {fast:.0} km/h,{finds}{values}."));
        }
        None => said.push("A second speed about it cannot be ridden on this loop.".into()),
    }
    said.join(" ")
}

/// What both venues find, which is what such a day is ridden for.
fn seen_together(together: &TogetherForecast, f: &Forecast) -> String {
    match Measure::PowerW.of_all(&together.differences) {
        Some(found) => format!(
            "Loop and rollers together find {found:.1} W of rolling at {:.0} km/h in the weakest comparison.",
            f.reference_speed_km_h
        ),
        None => "Loop and rollers together find no difference in the weakest comparison.".into(),
    }
}

/// Why a lap more does not find more.
fn more_laps_find_less(f: &Forecast) -> String {
    let dof =
        f.prediction.iter().flat_map(|p| &p.differences).filter_map(|d| d.power_w?.dof).fold(f64::INFINITY, f64::min);
    let told = if dof.is_finite() { format!(", as planned with {dof:.1} degrees of freedom") } else { String::new() };
    format!(
        "Where more laps find no more, the scatter of laps is small against what changes from run to run, and so few runs of \
         a set-up tell little of that{told}: the test must then allow for more. More runs help, not more laps."
    )
}

fn judgement(f: &Forecast, g: &GoalReached) -> String {
    let target = g.goal.measure.text(g.goal.target);
    let what = if f.prediction.as_ref().is_some_and(|p| p.differences.is_empty()) { "change" } else { "difference" };
    match (g.detectable, g.reached) {
        (Some(d), true) => {
            format!("Target reached: a {what} of {target} is asked for, {} is found.", g.goal.measure.text(d))
        }
        (Some(d), false) => {
            format!("Target not reached: a {what} of {target} is asked for, {} is found.", g.goal.measure.text(d))
        }
        (None, _) => {
            format!("Target not reached: a {what} of {target} is asked for, and this plan can find none of that kind.")
        }
    }
}

/// What would reach the targets that the plan misses.
fn what_would(f: &Forecast) -> Option<String> {
    let missed: Vec<&GoalReached> = f.goals.iter().filter(|g| !g.reached).collect();
    if missed.is_empty() {
        return None;
    }
    let laps: Option<Vec<usize>> = missed.iter().map(|g| g.laps_per_run).collect();
    if let Some(most) = laps.and_then(|l| l.into_iter().max()) {
        let per_setup = missed.iter().filter_map(|g| g.laps_per_setup).max().unwrap_or(0);
        return Some(format!("It would be with laps_per_run = {most} ({per_setup} laps a set-up)."));
    }
    let mut said: Vec<String> = Vec::new();
    for g in missed.iter().filter(|g| g.laps_per_run.is_none()) {
        if let Some(d) = g.with_most_laps.filter(|_| g.most_laps_per_run > 0) {
            said.push(format!("{} laps a run would still find only {}.", g.most_laps_per_run, g.goal.measure.text(d)));
        }
    }
    if f.laps.is_none() {
        return Some("More runs of each set-up, in the order there and back, would bring it nearer.".into());
    }
    if let Some(n) = f.rounds_needed {
        said.push(format!("The whole order ridden {n} times would reach it."));
    }
    // The list of changes is counted in the first target only.
    if let Some(first) = missed.first().filter(|g| g.goal.measure == f.measure) {
        let mut enough: Vec<String> = f
            .alternatives
            .iter()
            .filter(|a| a.detectable.is_some_and(|d| d <= first.goal.target))
            .map(|a| a.change.clone())
            .collect();
        if let Some(best) = f.best_speeds.as_ref().and_then(|s| s.best).filter(|b| b.detectable <= first.goal.target) {
            enough.push(format!("laps in turn at {:.0} and {:.0} km/h", best.slow_km_h, best.fast_km_h));
        }
        match (enough.is_empty(), f.rounds_needed) {
            (false, _) => said.push(format!("Any one of these would reach it: {}.", enough.join("; "))),
            (true, None) => said.push(
                "No single change below reaches it; combine them, wait for a calmer day, or ask for a larger difference."
                    .into(),
            ),
            (true, Some(_)) => {}
        }
    }
    Some(said.join(" "))
}

/// Standard error with its parts under it.
fn errors(p: Option<Predicted>, decimals: usize) -> String {
    p.map_or(UNKNOWN.into(), |p| {
        let parts = [
            ("scatter", p.scatter_se),
            ("expected", p.prior_se),
            ("runs", p.run_to_run_se),
            ("instrument", p.instrument_se),
        ];
        let lines = parts.iter().map(|(name, part)| format!("\n{name} {part:.decimals$}"));
        std::iter::once(format!("{:.decimals$}", p.se)).chain(lines).collect()
    })
}

fn set_ups(p: &Prediction) -> Grid {
    let mut grid = Grid::new(&["Set-up", "Laps", "Crr", "CdA, m²", "Power, W", "Resistance, N"]);
    for s in &p.setups {
        let drag = if p.separable { UNKNOWN.into() } else { errors(s.drag_n, 2) };
        grid.rows.push(vec![
            s.label.clone(),
            if s.laps > 0 { s.laps.to_string() } else { UNKNOWN.into() },
            errors(s.crr, 5),
            errors(s.cda_m2, 4),
            errors(s.power_w, 2),
            drag,
        ]);
    }
    grid
}

fn differences(all: &[DifferenceForecast]) -> Grid {
    let mut grid = Grid::new(&["Difference", "Crr", "finds", "CdA, m²", "finds ", "Power, W", "finds, W"]);
    let found = |p: Option<Predicted>, decimals: usize| {
        p.and_then(|p| p.detectable).map_or(UNKNOWN.into(), |d| format!("{d:.decimals$}"))
    };
    let error = |p: Option<Predicted>, decimals: usize| p.map_or(UNKNOWN.into(), |p| format!("{:.decimals$}", p.se));
    for d in all {
        grid.rows.push(vec![
            format!("{} − {}", d.setup, d.baseline),
            error(d.crr, 6),
            found(d.crr, 5),
            error(d.cda_m2, 5),
            found(d.cda_m2, 4),
            error(d.power_w, 2),
            found(d.power_w, 1),
        ]);
    }
    grid
}

fn number(measure: Measure, value: Option<f64>) -> String {
    let decimals = match measure {
        Measure::PowerW => 2,
        Measure::Crr => 5,
        Measure::CdaM2 => 4,
    };
    value.map_or("none".into(), |v| format!("{v:.decimals$}"))
}

fn changes(f: &Forecast) -> Grid {
    let mut grid = Grid::new(&["Change", "finds"]);
    let Some(p) = f.prediction.as_ref().filter(|_| f.laps.is_some()) else { return grid };
    let mut row = |change: String, value: Option<f64>| grid.rows.push(vec![change, number(f.measure, value)]);
    row("as planned".into(), f.measure.detectable(p));
    for a in &f.alternatives {
        row(a.change.clone(), a.detectable);
    }
    if let Some(s) = &f.best_speeds {
        let within = format!(
            "within {:.0} to {:.0} km/h{}{}",
            s.slowest_km_h,
            s.fastest_km_h,
            s.most_power_w.map_or(String::new(), |w| format!(" and {w:.0} W")),
            if s.stated { "" } else { ", no [limits] stated" }
        );
        match s.best {
            Some(b) => row(
                format!(
                    "best pair of speeds, {:.0} and {:.0} km/h ({:.0} W; {within})",
                    b.slow_km_h, b.fast_km_h, b.fast_power_w
                ),
                Some(b.detectable),
            ),
            None => row(format!("no pair of speeds can be ridden {within}"), None),
        }
    }
    grid
}

fn orders(f: &Forecast) -> Grid {
    let mut grid = Grid::new(&["Order", "left, W", "left of growing, W", "follows", "fitted, finds W"]);
    for o in &f.orders {
        grid.rows.push(vec![
            format!("{}: {}{}", o.name, o.order.join(" "), if o.confounded { " (looks like a drift)" } else { "" }),
            format!("{:.2}", o.left_of_steady_drift_w),
            format!("{:.2}", o.left_of_growing_drift_w),
            o.carry_over_gap.to_string(),
            match (o.detectable_with_drift_fitted_w, f.laps.is_some()) {
                (Some(d), _) => format!("{d:.1}"),
                (None, true) => "none".into(),
                (None, false) => UNKNOWN.into(),
            },
        ]);
    }
    grid
}
