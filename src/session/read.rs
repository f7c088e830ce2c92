//! TOML text to types, with errors that show the line and the nearest known key.
//!
//! Given text; gives a value or says where it cannot be one. It opens no file and judges no value.

use crate::error::Error;
use crate::printable::{lines, odd_character, one_line};
use serde::de::DeserializeOwned;
use std::ops::Range;

/// Deserialises TOML; an error shows the line, marks the place and names the nearest known key.
pub fn parse_checked<T: DeserializeOwned>(text: &str, file: &str) -> Result<T, Error> {
    let parsed = toml::from_str(text).map_err(|e| syntax_error(text, file, e.span().unwrap_or(0..0), e.message()))?;
    match toml::de::DeTable::parse(text).ok().and_then(|table| odd_text(table.get_ref())) {
        None => Ok(parsed),
        Some((span, character)) => Err(syntax_error(text, file, span, &odd_message(&character))),
    }
}

/// What is said of a text with a character that could steer a terminal or turn the order of letters round.
pub fn odd_message(character: &str) -> String {
    format!(
        "a text holds {character}, a character that is not shown (a control character or a mark of text direction); write \
         it without"
    )
}

/// The first text in a table that holds an odd character: where, and which.
fn odd_text(table: &toml::de::DeTable) -> Option<(Range<usize>, String)> {
    table.iter().find_map(|(key, value)| {
        let of_key = odd_character(key.get_ref()).map(|character| (key.span(), character));
        of_key.or_else(|| odd_value(value.get_ref(), value.span()))
    })
}

fn odd_value(value: &toml::de::DeValue, span: Range<usize>) -> Option<(Range<usize>, String)> {
    match value {
        toml::de::DeValue::String(text) => odd_character(text).map(|character| (span, character)),
        toml::de::DeValue::Array(items) => items.iter().find_map(|item| odd_value(item.get_ref(), item.span())),
        toml::de::DeValue::Table(table) => odd_text(table),
        _ => None,
    }
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
        text: one_line(&shown.chars().take(100).collect::<String>()).into_owned(),
        marker: format!("{}{}", " ".repeat(column.min(100)), "^".repeat(width.min(60))),
        message: lines(&plainer(&with_nearest_key(message), shown)).into_owned(),
    }
}

/// The parser's message in the words of somebody who writes a session, not a program.
fn plainer(message: &str, line: &str) -> String {
    if let Some(key) = message.strip_prefix("missing field `").and_then(|m| m.split('`').next()) {
        return format!("the key «{key}» is missing; it has no default, so add it");
    }
    let value = line.split_once('=').map(|(key, rest)| (key.trim(), rest.split('#').next().unwrap_or_default().trim()));
    if let Some((key, "")) = value {
        return format!(
            "nothing stands after «{key} =»; fill in a value, or take the line out where the key may be left out"
        );
    }
    if has_decimal_comma(line) && (message.contains("expected newline") || message.contains("unexpected")) {
        return format!("{message}; a decimal comma? Write a point, such as 86.5");
    }
    let mut plain = message.to_string();
    for (type_name, words) in TYPES {
        for word in ["expected ", "expected a ", "expected an "] {
            let ending = format!("{word}{type_name}");
            if let Some(start) = plain.strip_suffix(&ending) {
                plain = format!("{start}expected {words}");
            }
        }
    }
    plain
}

/// Types as the parser names them and as a person would.
const TYPES: [(&str, &str); 12] = [
    ("f64", "a number without quotes"),
    ("u64", "a whole number, not negative"),
    ("u32", "a whole number, not negative"),
    ("usize", "a whole number, not negative"),
    ("i64", "a whole number"),
    ("string", "text in quotes"),
    ("borrowed string", "text in quotes"),
    ("boolean", "true or false"),
    ("sequence", "a list in [ ]"),
    ("array of length 2", "a list of two, such as [600, 1500]"),
    ("map", "a table of keys"),
    ("option", "a value"),
];

/// Whether a value of the line is written like 86,5.
fn has_decimal_comma(line: &str) -> bool {
    let value = line.split_once('=').map_or("", |(_, value)| value);
    let is_list = value.contains(['[', '{', '"', '\'']);
    let around = |w: &[u8]| w[0].is_ascii_digit() && w[1] == b',' && w[2].is_ascii_digit();
    !is_list && value.as_bytes().windows(3).any(around)
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
