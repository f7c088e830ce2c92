//! What the template of the page is filled with: every number already rounded, every unit chosen.
//!
//! Given the page's input; gives text. It holds no markup except the figures and what the tables are turned into.

use super::super::cautions::CAUTIONS;
use super::super::crr_held;
use super::super::factors;
use super::super::findings::{Group, grouped, of_result};
use super::super::number::significant;
use super::super::shown_figures::on_page;
use super::super::table::PageTable;
use super::super::together::both;
use super::super::units::Units;
use super::super::verdict::{Verdict, reference_speed};
use super::super::{lap_table, laps_left_out, leave_one_out, methods, ride_files, run_to_run};
use super::input::PageInput;
use super::tables::{budgets, differences_table, factor_table, fixed, pairs, runs, set_ups, venues};
use super::template::{Drawn, STYLE, Template, drawn};
use crate::error::Error;
use crate::solution::{Estimate, Solution};
use crate::wording::{capitalised, counted, percent};
use serde::Serialize;

#[derive(Serialize)]
pub(super) struct Context<'a> {
    css: &'static str,
    js: &'static str,
    title: &'a str,
    version: &'a str,
    schema: u32,
    overview: String,
    verdict: Verdict,
    share: String,
    lead: String,
    parts: Vec<Part>,
    differences: String,
    influence: Vec<String>,
    influence_heading: &'static str,
    factors: Vec<String>,
    factor_figures: String,
    factor_table: String,
    pairs: String,
    set_ups: String,
    conditions: String,
    second: String,
    both_venues: String,
    venues: String,
    findings: Vec<Group>,
    figures: String,
    methods: Vec<Words>,
    sources: Vec<&'static str>,
    budgets: String,
    no_budget: &'static str,
    fixed: String,
    runs: String,
    inputs: String,
    laps: String,
    laps_count: String,
    laps_sentence: String,
    cautions: &'static [&'static str],
}

#[derive(Serialize)]
struct Part {
    id: &'static str,
    heading: String,
}

#[derive(Serialize)]
struct Words {
    heading: &'static str,
    text: String,
}

impl<'a> Context<'a> {
    /// Errors: those of the templates.
    pub(super) fn of(input: &PageInput<'a>, template: &Template) -> Result<Context<'a>, Error> {
        let (session, solution, units) = (input.session, input.solution, input.units);
        let title = solution.title.trim();
        let paragraphs = methods::paragraphs(session, solution, units);
        // What loop and rollers say together, which a day of both is ridden for, has the first figure.
        let numbers_of = |figure: &str| match (figure, solution.venues.is_some()) {
            ("differences", true) => table_of("venues"),
            _ => table_of(figure),
        };
        let shown = input.figures.iter().filter(|figure| on_page(figure.name, solution));
        let all: Vec<Drawn> = drawn(shown, input.narrow_figures, numbers_of);
        let is_lead = |d: &Drawn| d.name == all[0].name;
        let is_second = |d: &Drawn| d.name == "set-ups" && !is_lead(d);
        let is_of_factors = |d: &Drawn| d.name.starts_with("factor-") && !is_lead(d);
        let pick =
            |wanted: &dyn Fn(&Drawn) -> bool| -> Vec<Drawn> { all.iter().filter(|d| wanted(d)).cloned().collect() };
        let budgets = budgets(solution, units);
        let laps = lap_table::laps(solution, units).page("laps", "", "");
        let mut inputs = ride_files::files(solution).page(
            "inputs",
            "Inputs",
            "SHA-256 of every ride file, to check that it is the same one; on paper its first 16 digits, all of them in solution.json.",
        );
        if let Some(inputs) = &mut inputs {
            inputs.level = 2;
        }
        let rest = pick(&|d| !is_lead(d) && !is_second(d) && !is_of_factors(d));
        Ok(Context {
            css: STYLE,
            js: include_str!("page.js"),
            title: if title.is_empty() { "Rolling and air resistance" } else { title },
            version: &solution.loopwright,
            schema: solution.schema,
            overview: overview_line(solution),
            verdict: unbroken(Verdict::of(solution, units)),
            share: percent(solution.confidence),
            lead: template.figures(&pick(&is_lead))?,
            parts: parts(solution, !rest.is_empty(), laps.is_some()),
            differences: template.tables(differences_table(solution))?,
            influence: leave_one_out::sentences(solution).into_iter().map(with_true_minus).collect(),
            influence_heading: leave_one_out::HEADING,
            factors: factors::sentences(solution),
            factor_figures: template.figures(&pick(&is_of_factors))?,
            factor_table: template.tables(factor_table(solution))?,
            pairs: template.tables(pairs(solution))?,
            set_ups: template.tables(set_ups(solution, units))?,
            conditions: format!("{} {}", conditions(solution, units), run_to_run::sentence(solution))
                .trim_end()
                .to_string(),
            second: template.figures(&pick(&is_second))?,
            both_venues: both_venues(solution),
            venues: template.tables(venues(solution, units))?,
            findings: grouped(&of_result(solution, units)),
            figures: if rest.is_empty() { String::new() } else { template.figures(&rest)? },
            // What was held fixed has a table of its own.
            methods: paragraphs
                .iter()
                .filter(|p| p.heading != methods::HELD_FIXED)
                .map(|p| Words { heading: p.heading, text: p.text.clone() })
                .collect(),
            sources: methods::sources(&paragraphs).into_iter().map(|source| source.full()).collect(),
            no_budget: if budgets.is_empty() {
                "Values that are not known have no budget. The interval of the resistance holds the scales of power and \
                 speed and the drivetrain efficiency; see the method."
            } else {
                ""
            },
            budgets: template.tables(budgets)?,
            fixed: template.tables(fixed(input))?,
            runs: template.tables(runs(solution, units))?,
            inputs: template.tables(inputs)?,
            laps_count: counted(laps.as_ref().map_or(0, |t| t.rows.len()), "lap"),
            laps: template.tables(laps.map(|t| PageTable { scrolled: true, ..t }))?,
            laps_sentence: laps_left_out::sentence(solution),
            cautions: &CAUTIONS,
        })
    }
}

/// A value is not parted from its uncertainty at the end of a line, nor p from its number.
fn unbroken(verdict: Verdict) -> Verdict {
    let joined = |line: String| line.replace(" ± ", "\u{a0}±\u{a0}").replace("p < ", "p\u{a0}<\u{a0}");
    let all = |lines: Vec<String>| lines.into_iter().map(joined).collect();
    let Verdict { headline, also, ridden, not_shown, doubts } = verdict;
    Verdict {
        headline: joined(headline),
        also: all(also),
        ridden: all(ridden),
        not_shown: all(not_shown),
        doubts: all(doubts),
    }
}

/// Minus signs before numbers as they are set.
fn with_true_minus(line: String) -> String {
    let line = [", ", "("].iter().fold(line, |line, before| line.replace(&format!("{before}-"), &format!("{before}−")));
    line.replace(" W", "\u{a0}W")
}

/// Where the numbers of a figure stand as a table.
fn table_of(figure: &str) -> [&'static str; 2] {
    match figure {
        "differences" => ["differences", "Its numbers"],
        "set-ups" | "joint-region" => ["set-ups-table", "Its numbers"],
        "factor-curve" | "factor-effects" => ["factor-table", "Its numbers"],
        "venues" => ["venues", "Its numbers"],
        "budget" => ["budget", "Its numbers"],
        "misclosure" | "timeline" | "elevation" | "residuals" | "run-residual" | "model-residual" => {
            ["laps", "Numbers of every lap"]
        }
        "map" | "wind-along" | "warm-up" => ["runs", "Numbers of every run"],
        _ => ["", ""],
    }
}

fn overview_line(solution: &Solution) -> String {
    let laps: usize = solution.runs.iter().map(|run| run.laps.len()).sum();
    let used: usize = solution.runs.iter().map(laps_left_out::used).sum();
    let mut parts = vec![counted(solution.setups.len(), "set-up"), counted(solution.runs.len(), "run")];
    if laps > 0 {
        parts.push(if laps == used { counted(laps, "lap") } else { format!("{} ({used} used)", counted(laps, "lap")) });
    }
    format!("{}.", parts.join(", "))
}

/// At what the watts hold, and a CdA that is not told by itself.
fn conditions(solution: &Solution, units: Units) -> String {
    let known = |e: &Estimate| e.value.is_some();
    let values = solution.setups.iter().any(|s| known(&s.power_w) || known(&s.rolling_power_w));
    let watts = (values || solution.contrasts.iter().any(|c| known(&c.power_w))).then(|| {
        format!(
            "Power: at {}, {} and {} kg/m³, level road, still air, where the power meter measures; it is the sum of rolling, air \
             and bearings.",
            reference_speed(solution, units),
            units.mass(solution.reference.mass_kg),
            significant(solution.reference.air_density_kg_m3, 4)
        )
    });
    watts.into_iter().chain(crr_held::sentence(solution)).collect::<Vec<_>>().join(" ")
}

/// "Track and rollers".
fn both_venues(solution: &Solution) -> String {
    capitalised(&both(solution))
}

fn parts(solution: &Solution, figures: bool, laps: bool) -> Vec<Part> {
    let both = both_venues(solution);
    let all = [
        (solution.venues.is_some(), "venues", both.as_str()),
        (differences_table(solution).is_some(), "differences", "Differences"),
        (solution.factors.is_some(), "factors", "Factors"),
        (true, "set-ups-table", "Set-ups"),
        (!solution.findings.is_empty(), "findings", "Findings"),
        (figures, "figures", "Figures"),
        (true, "methods", "Methods"),
        (true, "budget", "Budget"),
        (true, "fixed", "Held fixed"),
        (true, "runs", "Runs"),
        (laps, "laps", "Laps"),
        (true, "cautions", "Cautions"),
        (!solution.runs.is_empty(), "inputs", "Inputs"),
        (true, "sources", "Sources"),
    ];
    all.into_iter().filter(|(there, ..)| *there).map(|(_, id, heading)| Part { id, heading: heading.into() }).collect()
}
