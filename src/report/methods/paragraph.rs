//! One paragraph of the methods with its sources.
//!
//! Given sentences; gives a paragraph, or none where there is nothing to say.

use crate::report::sources::Source;

/// Heading of the paragraph that lists what was not estimated.
pub(in crate::report) const HELD_FIXED: &str = "Held fixed";

/// One subject.
#[derive(Debug, Clone, PartialEq)]
pub struct Paragraph {
    pub heading: &'static str,
    pub text: String,
    pub sources: Vec<Source>,
}

impl Paragraph {
    pub(super) fn new(heading: &'static str, sentences: &[String], sources: &[Source]) -> Option<Paragraph> {
        let text = sentences.iter().filter(|s| !s.is_empty()).cloned().collect::<Vec<_>>().join(" ");
        (!text.is_empty()).then(|| Paragraph { heading, text, sources: sources.to_vec() })
    }
}

/// "(Holm 1979)".
pub(super) fn cite(source: Source) -> String {
    format!("({})", source.cited())
}
