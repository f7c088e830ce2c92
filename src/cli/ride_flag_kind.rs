//! What can be typed behind a flag that stands for a key of the session.

use super::schema_value::{is_type, resolved};
use serde_json::Value;

/// What can be typed behind a flag.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Kind {
    Number,
    Whole,
    Switch,
    Text,
    Word(Vec<String>),
    /// A number, or one of the words.
    NumberOr(Vec<String>),
    Numbers,
    Wholes,
}

pub(super) fn kind_of(schema: &Value, stated: &Value) -> Kind {
    let of = resolved(schema, stated);
    if let Some(words) = words_of(of) {
        return Kind::Word(words);
    }
    if let Some(any) = of["anyOf"].as_array() {
        return Kind::NumberOr(any.iter().filter_map(|one| words_of(resolved(schema, one))).flatten().collect());
    }
    match () {
        () if is_type(of, "array") && is_type(&of["items"], "integer") => Kind::Wholes,
        () if is_type(of, "array") => Kind::Numbers,
        () if is_type(of, "number") => Kind::Number,
        () if is_type(of, "integer") => Kind::Whole,
        () if is_type(of, "boolean") => Kind::Switch,
        () => Kind::Text,
    }
}

/// The words that a value may be.
fn words_of(of: &Value) -> Option<Vec<String>> {
    let text = |value: &Value| value.as_str().map(String::from);
    match (of["enum"].as_array(), of["oneOf"].as_array()) {
        (Some(words), _) => words.iter().map(text).collect(),
        (_, Some(variants)) => variants.iter().map(|one| text(&one["const"])).collect(),
        _ => None,
    }
}
