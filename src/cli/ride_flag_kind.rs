//! What can be typed behind a flag that stands for a key of the session.

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

/// What a value of the schema is made of, behind references and «or nothing».
pub(super) fn resolved<'a>(schema: &'a Value, mut of: &'a Value) -> &'a Value {
    loop {
        let option = of["anyOf"].as_array().and_then(|any| match &any[..] {
            [one, nothing] if nothing["type"] == "null" => Some(one),
            _ => None,
        });
        let named = of["$ref"].as_str().and_then(|name| schema["$defs"].get(name.rsplit('/').next()?));
        match option.or(named) {
            Some(next) => of = next,
            None => return of,
        }
    }
}

pub(super) fn kind_of(schema: &Value, stated: &Value) -> Kind {
    let of = resolved(schema, stated);
    if let Some(words) = words_of(of) {
        return Kind::Word(words);
    }
    if let Some(any) = of["anyOf"].as_array() {
        return Kind::NumberOr(any.iter().filter_map(|one| words_of(resolved(schema, one))).flatten().collect());
    }
    let named = |of: &Value, name: &str| {
        of["type"] == name || of["type"].as_array().is_some_and(|types| types.iter().any(|t| t == name))
    };
    match () {
        () if named(of, "array") && named(&of["items"], "integer") => Kind::Wholes,
        () if named(of, "array") => Kind::Numbers,
        () if named(of, "number") => Kind::Number,
        () if named(of, "integer") => Kind::Whole,
        () if named(of, "boolean") => Kind::Switch,
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
