//! Pooled results as one self-contained page like that of a single day.
//!
//! Given a pooled result and its figures; fills the built-in template. It pools nothing.

use super::super::findings::{Group, grouped};
use super::super::number::percent;
use super::super::page::{STYLE, Template, drawn};
use super::super::table::PageTable;
use super::super::units::Units;
use super::names::pair;
use super::{
    agreement, caveats, curve_sentences, effects_note, in_units, open, parts_in_words, sentence, single_sentence,
    tables, verdict,
};
use crate::error::Error;
use crate::plot::Figure;
use crate::pool::PooledResult;
use serde::Serialize;

#[derive(Serialize)]
struct Context<'a> {
    title: &'static str,
    css: &'static str,
    version: &'a str,
    schema: u32,
    verdict: Vec<String>,
    sentence: String,
    share: String,
    open: Vec<String>,
    parts: String,
    means: String,
    factors: Vec<String>,
    curves: String,
    effects: String,
    days: String,
    differences: Vec<Difference>,
    single: Vec<String>,
    findings: Vec<Group>,
    figures: String,
}

#[derive(Serialize)]
struct Difference {
    table: String,
    agreement: String,
}

/// Errors: [`Error::Page`] when the template does not fit its context, a fault of the program.
pub fn page(result: &PooledResult, figures: &[Figure], narrow: &[Figure], units: Units) -> Result<String, Error> {
    let template = Template::new(include_str!("page.html"))?;
    let second = |table: Option<PageTable>| template.tables(table.map(|t| PageTable { level: 2, ..t }));
    let differences = result.contrasts.iter().enumerate().map(|(place, contrast)| {
        let table = tables::by_day(result, contrast, units);
        let table = table.page(&format!("difference-{}", place + 1), &pair(result, contrast), "");
        Ok(Difference { table: template.tables(table)?, agreement: agreement(contrast) })
    });
    let mut findings = result.findings.clone();
    findings.extend(caveats(result));
    template.page(&Context {
        title: "Results brought together",
        css: STYLE,
        version: &result.loopwright,
        schema: result.schema,
        verdict: verdict(result, units),
        sentence: sentence(result),
        share: percent(result.confidence),
        open: open(result, units),
        parts: parts_in_words(result),
        means: second(tables::means(result, units).page("means", "Differences over the results", ""))?,
        factors: curve_sentences(result),
        curves: template.tables(tables::curves(result).page("curves", "What levels cost, over the results", ""))?,
        effects: second(tables::effects(result).page("effects", "Effects over the results", &effects_note(result)))?,
        days: second(tables::days(result).page("results", "Results", ""))?,
        differences: differences.collect::<Result<_, Error>>()?,
        single: result.single.iter().map(|s| single_sentence(result, s)).collect(),
        findings: grouped(&in_units(result, &findings, units)),
        figures: template.figures(&drawn(figures, narrow, table_of))?,
    })
}

/// Where the numbers of a figure stand as a table.
fn table_of(figure: &str) -> [&'static str; 2] {
    [if figure == "factor-curve" { "curves" } else { "means" }, "Its numbers"]
}
