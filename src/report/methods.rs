//! How the result was measured and computed, in words that follow from the choices of the session.
//!
//! Given session and solution; gives paragraphs with their sources, for the page and as plain text for a write-up. It
//! says nothing that was not chosen, found or held fixed.

mod account;
mod inference;

use super::sources::Source;
use super::units::Units;
use crate::session::{Session, Venue};
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
    session.runs.iter().any(|run| session.venue_of(run) != Venue::Rollers)
}

/// See the module.
pub fn paragraphs(session: &Session, solution: &Solution, units: Units) -> Vec<Paragraph> {
    [
        account::rides(session, solution, units),
        account::energy(session),
        account::rollers(session),
        account::air(session, solution),
        account::wind(session, solution),
        account::alignment(session, solution),
        inference::estimation(session, solution),
        inference::uncertainty(session, solution),
        inference::fixed_quantities(session, units),
        inference::comparison(session, solution, units),
        inference::repeating(session, solution),
    ]
    .into_iter()
    .flatten()
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
