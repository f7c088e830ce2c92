//! How the result was measured and computed, in words that follow from the choices of the session.
//!
//! Given session and solution; gives paragraphs with their sources, for the page and as plain text for a write-up. It
//! says nothing that was not chosen, found or held fixed.

mod account;
mod estimation;
mod factors;
mod inference;
mod rides;
mod rollers;
mod surroundings;

use super::sources::Source;
use super::units::Units;
use crate::session::{Run, Session, Venue};
use crate::solution::Solution;

/// Heading of the paragraph that lists what was not estimated.
pub(super) const HELD_FIXED: &str = "Held fixed";

/// One subject.
#[derive(Debug, Clone, PartialEq)]
pub struct Paragraph {
    pub heading: &'static str,
    pub text: String,
    pub sources: Vec<Source>,
}

impl Paragraph {
    fn new(heading: &'static str, sentences: &[String], sources: &[Source]) -> Option<Paragraph> {
        let text = sentences.iter().filter(|s| !s.is_empty()).cloned().collect::<Vec<_>>().join(" ");
        (!text.is_empty()).then(|| Paragraph { heading, text, sources: sources.to_vec() })
    }
}

/// "(Holm 1979)".
fn cite(source: Source) -> String {
    format!("({})", source.cited())
}

fn has_venue(session: &Session, venue: Venue) -> bool {
    session.runs.iter().any(|run| session.venue_of(run) == venue)
}

fn has_loops(session: &Session) -> bool {
    loop_runs(session).next().is_some()
}

fn loop_runs(session: &Session) -> impl Iterator<Item = &Run> {
    session.runs.iter().filter(|run| session.venue_of(run) != Venue::Rollers)
}

/// A track whose line follows from its stated bends.
fn has_geometry(session: &Session) -> bool {
    has_venue(session, Venue::Track) && session.circuit.has_known_bends()
}

fn has_code(solution: &Solution, code: &str) -> bool {
    solution.findings.iter().any(|finding| finding.code == code)
}

fn largest(values: impl Iterator<Item = Option<f64>>) -> Option<f64> {
    values.flatten().filter(|v| v.is_finite()).reduce(f64::max)
}

/// See the module.
pub fn paragraphs(session: &Session, solution: &Solution, units: Units) -> Vec<Paragraph> {
    let names: Vec<&str> = session.setups.iter().map(|s| s.name()).collect();
    [
        rides::rides(session, solution, units),
        rides::laps(session, solution),
        account::energy(session, solution, units),
        surroundings::air(session, solution, units),
        surroundings::wind(session, solution, units),
        account::alignment(session, solution),
        estimation::estimation(session, solution, units),
        rollers::rollers(session),
        rollers::together(session, solution),
        inference::uncertainty(session, solution),
        inference::fixed_quantities(session, solution, units),
        inference::comparison(session, solution, units),
        factors::factors(solution),
        inference::repeating(session, solution),
    ]
    .into_iter()
    .flatten()
    .map(|paragraph| Paragraph { text: units.in_words(&paragraph.text, &names), ..paragraph })
    .collect()
}

/// Sources of the paragraphs, each once, in alphabetical order.
pub fn sources(paragraphs: &[Paragraph]) -> Vec<Source> {
    let mut all: Vec<Source> = paragraphs.iter().flat_map(|p| p.sources.iter().copied()).collect();
    all.sort_by_key(|source| source.full());
    all.dedup();
    all
}

/// The paragraphs and their sources as plain text.
pub fn plain_text(session: &Session, solution: &Solution, units: Units) -> String {
    let paragraphs = paragraphs(session, solution, units);
    let mut text = String::new();
    for paragraph in &paragraphs {
        text.push_str(&format!("{}\n{}\n\n", paragraph.heading, paragraph.text));
    }
    let sources = sources(&paragraphs);
    if !sources.is_empty() {
        text.push_str("Sources\n");
        for source in sources {
            text.push_str(&format!("{}\n", source.full()));
        }
    }
    text
}
