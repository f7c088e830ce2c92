//! What the template of the page is filled with: every number already rounded, every unit chosen.
//!
//! Given the page's input; gives text. It holds no markup except the
//! figures and what the tables are turned into.

mod grids;
mod rows;

pub(super) use grids::Titled;

use serde::Serialize;

use super::cautions::CAUTIONS;
use super::held_fixed::{Fixed, held_fixed};
use super::laps_left_out;
use super::methods;
use super::number::{counted, percent, significant};
use super::page::PageInput;
use super::units::Units;
use super::verdict::{self, reference_speed};
use crate::solution::{FindingResult, Solution};

#[derive(Serialize)]
pub(super) struct Context<'a> {
    css: &'static str,
    js: &'static str,
    title: &'a str,
    version: &'a str,
    schema: u32,
    overview: String,
    verdict: String,
    confidence: String,
    conditions: String,
    parts: Vec<Part>,
    setups: rows::SetupTable,
    contrasts: rows::ContrastTable,
    pairs: String,
    venues: String,
    findings: &'a [FindingResult],
    figures: Vec<Drawn<'a>>,
    methods: Vec<Words>,
    sources: Vec<&'static str>,
    budgets: String,
    no_budget: &'static str,
    fixed: Vec<Fixed>,
    runs: String,
    files: Vec<rows::FileRow>,
    laps: Vec<rows::LapRow>,
    laps_sentence: String,
    speed_unit: &'static str,
    length_unit: &'static str,
    cautions: &'static [&'static str],
}

#[derive(Serialize)]
struct Part {
    id: &'static str,
    heading: &'static str,
}

#[derive(Serialize)]
struct Drawn<'a> {
    name: &'a str,
    title: &'a str,
    caption: &'a str,
    wide: &'a str,
    narrow: &'a str,
}

#[derive(Serialize)]
struct Words {
    heading: &'static str,
    text: String,
}

impl<'a> Context<'a> {
    /// `tables` turns tables of plain rows into markup. Errors: those of it.
    pub(super) fn of(
        input: &PageInput<'a>,
        tables: impl Fn(&[Titled]) -> Result<String, minijinja::Error>,
    ) -> Result<Context<'a>, minijinja::Error> {
        let (session, solution, units) = (input.session, input.solution, input.units);
        let title = solution.title.trim();
        let paragraphs = methods::paragraphs(session, solution, units);
        let budgets = grids::budgets(solution, units);
        let laps = rows::laps(solution, units);
        Ok(Context {
            css: include_str!("page.css"),
            js: include_str!("page.js"),
            title: if title.is_empty() { "Rolling and air resistance" } else { title },
            version: &solution.loopwright,
            schema: solution.schema,
            overview: format!(
                "{}, {}, {}. Intervals at {}.",
                counted(solution.setups.len(), "set-up"),
                counted(solution.runs.len(), "run"),
                counted(laps.len(), "lap"),
                percent(solution.confidence)
            ),
            verdict: verdict::sentence(solution, units),
            confidence: percent(solution.confidence),
            conditions: conditions(solution, units),
            parts: parts(input, !laps.is_empty()),
            setups: rows::setups(solution, units),
            contrasts: rows::contrasts(solution),
            pairs: tables(&grids::pairs(solution).into_iter().collect::<Vec<_>>())?,
            venues: tables(&grids::venues(solution, units))?,
            findings: &solution.findings,
            figures: drawn(input),
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
            budgets: tables(&budgets)?,
            fixed: held_fixed(session, solution, units),
            runs: tables(&grids::runs(solution, units))?,
            files: rows::files(solution),
            laps,
            laps_sentence: laps_left_out::sentence(solution),
            speed_unit: units.speed_unit(),
            length_unit: units.length_unit(),
            cautions: &CAUTIONS,
        })
    }
}

/// At what the watts hold; empty where there are none.
fn conditions(solution: &Solution, units: Units) -> String {
    let known = |e: &crate::solution::Estimate| e.value.is_some();
    let values = solution.setups.iter().any(|s| known(&s.power_w) || known(&s.rolling_power_w));
    if !values && !solution.contrasts.iter().any(|c| known(&c.power_w)) {
        return match solution.setups.iter().find_map(|s| s.crr_held) {
            Some(crr) => format!(
                "CdA goes with a Crr of {}, which was taken as usual and not measured; with another Crr it would be another \
                 CdA, and its ± is that of scatter alone.",
                significant(crr, 2)
            ),
            None => String::new(),
        };
    }
    let on_the_loop = if solution.venues.is_some() { " These are the results on the loop." } else { "" };
    format!(
        "Power: at {}, {} and {} kg/m³, level road, still air, where the power meter measures.{on_the_loop}",
        reference_speed(solution, units),
        units.mass(solution.reference.mass_kg),
        significant(solution.reference.air_density_kg_m3, 4)
    )
}

fn parts(input: &PageInput, laps: bool) -> Vec<Part> {
    let all = [
        (true, "set-ups-table", "Set-ups"),
        (input.solution.venues.is_some(), "venues", "Loop and rollers"),
        (!input.solution.findings.is_empty(), "findings", "Findings"),
        (!input.figures.is_empty(), "figures", "Figures"),
        (true, "methods", "Methods"),
        (true, "budget", "Budget"),
        (true, "fixed", "Held fixed"),
        (true, "runs", "Runs"),
        (laps, "laps", "Laps"),
        (true, "cautions", "Cautions"),
        (true, "inputs", "Inputs"),
        (true, "sources", "Sources"),
    ];
    all.into_iter().filter(|(there, ..)| *there).map(|(_, id, heading)| Part { id, heading }).collect()
}

fn drawn<'a>(input: &PageInput<'a>) -> Vec<Drawn<'a>> {
    input
        .figures
        .iter()
        .map(|figure| {
            let narrow = input.narrow_figures.iter().find(|narrow| narrow.name == figure.name);
            // Without a narrow version the wide one serves both.
            let narrow = narrow.map_or("", |figure| figure.svg.as_str());
            Drawn { name: figure.name, title: &figure.title, caption: &figure.caption, wide: &figure.svg, narrow }
        })
        .collect()
}
