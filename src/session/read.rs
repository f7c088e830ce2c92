//! TOML text to types, with errors that show the line and the nearest known key.

use crate::error::Error;
use serde::de::DeserializeOwned;
use std::ops::Range;

/// Deserialises TOML; an error shows the line, marks the place and names the nearest known key.
pub fn parse_checked<T: DeserializeOwned>(text: &str, file: &str) -> Result<T, Error> {
    toml::from_str(text).map_err(|e| syntax_error(text, file, e.span().unwrap_or(0..0), e.message()))
}

/// An [`Error::Syntax`] for a byte range of the text.
pub fn syntax_error(text: &str, file: &str, span: Range<usize>, message: &str) -> Error {
    let start = floor_boundary(text, span.start);
    let line = text[..start].matches('\n').count() + 1;
    let line_start = text[..start].rfind('\n').map_or(0, |i| i + 1);
    let line_end = text[start..].find('\n').map_or(text.len(), |i| start + i);
    let shown = text[line_start..line_end].trim_end_matches('\r');
    let column = text[line_start..start].chars().count();
    let until = floor_boundary(text, span.end.min(line_end));
    let width = text.get(start..until).map_or(1, |s| s.chars().count()).max(1);
    Error::Syntax {
        file: file.to_string(),
        line,
        text: shown.chars().take(100).collect(),
        marker: format!("{}{}", " ".repeat(column.min(100)), "^".repeat(width.min(60))),
        message: with_nearest_key(message),
    }
}

/// Largest character boundary at or before a byte index.
fn floor_boundary(text: &str, index: usize) -> usize {
    let mut i = index.min(text.len());
    while !text.is_char_boundary(i) {
        i -= 1;
    }
    i
}

/// Adds "did you mean" to the parser's message on an unknown key.
fn with_nearest_key(message: &str) -> String {
    let message = message.trim().replace('\n', " ");
    let mut quoted = message.split('`').skip(1).step_by(2);
    if !message.starts_with("unknown field") && !message.starts_with("unknown variant") {
        return message;
    }
    let Some(unknown) = quoted.next() else {
        return message;
    };
    let noun = if message.starts_with("unknown field") { "key" } else { "word" };
    let known: Vec<&str> = quoted.collect();
    let nearest =
        known.iter().max_by(|a, b| strsim::jaro_winkler(unknown, a).total_cmp(&strsim::jaro_winkler(unknown, b)));
    match nearest {
        Some(near) if strsim::jaro_winkler(unknown, near) > 0.7 => {
            format!("unknown {noun} «{unknown}»; did you mean «{near}»? Known here: {}", known.join(", "))
        }
        _ => format!("unknown {noun} «{unknown}»; known here: {}", known.join(", ")),
    }
}

/// Line (from 1) of a value by its path, such as `["run", "2", "mass_kg"]`; array items by number from 0.
pub fn locate(text: &str, path: &[&str]) -> Option<usize> {
    let table = toml::de::DeTable::parse(text).ok()?;
    let mut span = table.span();
    let mut here: Option<&toml::de::DeValue> = None;
    for (depth, key) in path.iter().enumerate() {
        let next = if depth == 0 {
            table.get_ref().get(*key)
        } else {
            match here? {
                toml::de::DeValue::Table(t) => t.get(*key),
                toml::de::DeValue::Array(a) => a.get(key.parse::<usize>().ok()?),
                _ => None,
            }
        };
        let Some(value) = next else { break };
        span = value.span();
        here = Some(value.get_ref());
    }
    Some(text[..floor_boundary(text, span.start)].matches('\n').count() + 1)
}
