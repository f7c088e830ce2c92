//! How the result was measured and computed, in words that follow from the choices of the session.
//!
//! Given session and solution; gives paragraphs with their sources, for the page and as plain text for a write-up. It
//! says nothing that was not chosen, found or held fixed.

mod account;
mod estimation;
mod factors;
mod inference;
mod paragraph;
mod ridden;
mod rides;
mod rollers;
mod surroundings;

pub(super) use paragraph::HELD_FIXED;
pub use paragraph::Paragraph;

use super::sources::Source;
use super::units::Units;
use crate::session::Session;
use crate::solution::Solution;

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
