//! What a value of a JSON Schema is made of.

use serde_json::Value;

/// What a value of the schema is made of, behind references and «or nothing».
pub(crate) fn resolved<'a>(schema: &'a Value, mut of: &'a Value) -> &'a Value {
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

pub(crate) fn is_type(value: &Value, name: &str) -> bool {
    value["type"] == name || value["type"].as_array().is_some_and(|all| all.iter().any(|t| t == name))
}
