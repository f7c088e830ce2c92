//! The fields of a form, made from the JSON Schema of the file that it fills.
//!
//! Given a schema; gives for every key its place, its name in words, unit, help, default and kind. It knows no file
//! and no value.

use super::key_in_words::named;
use crate::cli::schema_value::{is_type, resolved};
use serde::Serialize;
use serde_json::Value as Json;

/// Tables within tables are followed no deeper than this.
const DEEPEST: usize = 4;

/// What may be typed.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    Number,
    Text,
    /// One of some words.
    Choice,
    /// One of some words, or a number.
    NumberOrWord,
    /// A number, or any text.
    NumberOrText,
    /// Several numbers.
    Numbers,
    /// Several words.
    Words,
}

/// One key.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Field {
    /// Within its table, such as `bearing_friction.constant_n`.
    pub key: String,
    pub label: String,
    pub unit: &'static str,
    pub help: String,
    /// As typed; empty where there is none.
    pub default: String,
    pub kind: Kind,
    pub words: Vec<String>,
    pub required: bool,
}

/// The schema of a table or list of tables at the top of the file; its own keys for an empty name.
pub fn fields(schema: &Json, name: &str) -> Vec<Field> {
    let mut out = Vec::new();
    if name.is_empty() {
        let top = schema["properties"].as_object().into_iter().flatten();
        for (key, value) in top {
            if kind(schema, value).is_some() {
                one(schema, value, key, required(schema, key), &mut out);
            }
        }
        return out;
    }
    let whole = &schema["properties"][name];
    let item = if whole["items"].is_object() { &whole["items"] } else { whole };
    inside(schema, item, "", &whole["default"], 0, &mut out);
    out
}

/// Names at the top of the file that are tables or lists of tables, with what is said of them.
pub fn tables(schema: &Json) -> Vec<(String, bool)> {
    let top = schema["properties"].as_object().into_iter().flatten();
    top.filter_map(|(name, value)| {
        let is_list = value["items"].is_object();
        let item = resolved(schema, if is_list { &value["items"] } else { value });
        item["properties"].is_object().then(|| (name.clone(), is_list))
    })
    .collect()
}

/// What is said of a table of a list whose keys are named by the tester and hold numbers or texts; `None` where the key is no such
/// table.
pub fn holds_numbers_or_texts(schema: &Json, list: &str, key: &str) -> Option<String> {
    let item = resolved(schema, &schema["properties"][list]["items"]);
    let table = &item["properties"][key];
    let held = resolved(schema, &resolved(schema, table)["additionalProperties"]);
    let all = held["anyOf"].as_array()?;
    let is = |name| all.iter().any(|one| is_type(resolved(schema, one), name));
    let help = table["description"].as_str().unwrap_or_default().replace('\n', " ").replace('`', "");
    (is("number") && is("string")).then_some(help)
}

fn inside(schema: &Json, table: &Json, before: &str, defaults: &Json, depth: usize, out: &mut Vec<Field>) {
    let table = resolved(schema, table);
    for (key, value) in table["properties"].as_object().into_iter().flatten() {
        let place = if before.is_empty() { key.clone() } else { format!("{before}.{key}") };
        let default = if value["default"].is_null() { &defaults[key] } else { &value["default"] };
        let below = resolved(schema, value);
        if below["properties"].is_object() {
            if depth < DEEPEST {
                inside(schema, below, &place, default, depth + 1, out);
            }
        } else {
            let must = required(table, key) && before.is_empty();
            let from = out.len();
            one(schema, value, &place, must, out);
            if let Some(field) = out.get_mut(from) {
                field.default = typed(default);
            }
        }
    }
}

fn required(table: &Json, key: &str) -> bool {
    table["required"].as_array().is_some_and(|all| all.iter().any(|k| k == key))
}

fn one(schema: &Json, value: &Json, place: &str, required: bool, out: &mut Vec<Field>) {
    let Some((kind, words)) = kind(schema, value) else { return };
    let (label, unit) = named(place);
    let own = value["description"].as_str();
    let help = own.or_else(|| resolved(schema, value)["description"].as_str()).unwrap_or_default();
    let mut help = help.replace('\n', " ").replace('`', "");
    for (word, said) in choices(schema, value) {
        if !said.is_empty() {
            help = format!("{help} {word}: {said}").trim().to_string();
        }
    }
    out.push(Field { key: place.into(), label, unit, help, default: typed(&value["default"]), kind, words, required });
}

fn kind(schema: &Json, value: &Json) -> Option<(Kind, Vec<String>)> {
    let here = resolved(schema, value);
    let words: Vec<String> = choices(schema, here).into_iter().map(|(word, _)| word).collect();
    if let Some(all) = here["anyOf"].as_array() {
        let number = all.iter().any(|one| is_type(resolved(schema, one), "number"));
        // Lists that may stand in the place of a word are left to the file.
        let kind = if number { Kind::NumberOrWord } else { Kind::Choice };
        return (!words.is_empty()).then_some((kind, words));
    }
    if !words.is_empty() {
        return Some((Kind::Choice, words));
    }
    if is_type(here, "number") || is_type(here, "integer") {
        return Some((Kind::Number, Vec::new()));
    }
    if is_type(here, "boolean") {
        return Some((Kind::Choice, vec!["true".into(), "false".into()]));
    }
    if is_type(here, "string") {
        return Some((Kind::Text, Vec::new()));
    }
    if is_type(here, "array") {
        let item = resolved(schema, &here["items"]);
        let numbers = is_type(item, "number") || is_type(item, "integer");
        return (numbers || is_type(item, "string"))
            .then_some((if numbers { Kind::Numbers } else { Kind::Words }, words));
    }
    None
}

/// The words that are allowed, with what is said of each.
fn choices(schema: &Json, value: &Json) -> Vec<(String, String)> {
    let here = resolved(schema, value);
    if let Some(all) = here["enum"].as_array() {
        return all.iter().filter_map(|w| Some((w.as_str()?.to_string(), String::new()))).collect();
    }
    let each = here["oneOf"].as_array().or_else(|| here["anyOf"].as_array());
    each.into_iter()
        .flatten()
        .flat_map(|one| match one["const"].as_str() {
            Some(word) => {
                vec![(word.to_string(), one["description"].as_str().unwrap_or_default().replace('\n', " "))]
            }
            None if one["$ref"].is_string() => choices(schema, one),
            None => one["enum"]
                .as_array()
                .into_iter()
                .flatten()
                .filter_map(|w| Some((w.as_str()?.to_string(), String::new())))
                .collect(),
        })
        .collect()
}

/// A default as a person would type it.
fn typed(value: &Json) -> String {
    match value {
        Json::String(text) => text.clone(),
        Json::Number(number) => number.to_string(),
        Json::Bool(truth) => truth.to_string(),
        Json::Array(all) => all.iter().map(typed).collect::<Vec<_>>().join(", "),
        _ => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use loopwright::plan::Plan;
    use loopwright::session::Session;

    fn session() -> Json {
        serde_json::to_value(schemars::schema_for!(Session)).unwrap()
    }

    fn find<'a>(all: &'a [Field], key: &str) -> &'a Field {
        all.iter().find(|f| f.key == key).unwrap_or_else(|| panic!("no {key}"))
    }

    #[test]
    fn a_field_has_its_unit_help_default_and_kind_from_the_schema() {
        let schema = session();
        let rider = fields(&schema, "rider_and_bike");
        let mass = find(&rider, "mass_kg");
        assert_eq!((mass.label.as_str(), mass.unit, mass.required), ("Mass", "kg", true));
        assert!(mass.help.contains("as weighed"));
        assert_eq!(find(&rider, "drivetrain_efficiency").default, "0.976");
        assert_eq!(find(&rider, "bearing_friction.constant_n").default, "0.091");
        let wind = fields(&schema, "wind");
        assert_eq!(find(&wind, "mode").words, ["estimate", "given", "none"]);
        assert_eq!(find(&wind, "gusts").kind, Kind::NumberOrWord);
        let run = fields(&schema, "run");
        assert_eq!(find(&run, "planned_speed_km_h").kind, Kind::Numbers);
        assert_eq!(find(&run, "tyre_pressure_kpa.front").unit, "kPa");
    }

    /// Every key of a schema that holds no further keys.
    fn leaves(schema: &Json, value: &Json, place: &str, out: &mut Vec<String>) {
        let here = resolved(schema, value);
        let table = if here["items"].is_object() { resolved(schema, &here["items"]) } else { here };
        match table["properties"].as_object() {
            Some(keys) => {
                for (key, value) in keys {
                    leaves(schema, value, &format!("{place}.{key}"), out);
                }
            }
            None => out.push(place.trim_start_matches('.').to_string()),
        }
    }

    #[test]
    fn every_key_of_both_files_has_a_field_but_those_with_names_of_the_tester() {
        for schema in [session(), serde_json::to_value(schemars::schema_for!(Plan)).unwrap()] {
            let mut wanted = Vec::new();
            leaves(&schema, &schema, "", &mut wanted);
            let mut there: Vec<String> = fields(&schema, "").into_iter().map(|f| f.key).collect();
            for (name, _) in tables(&schema) {
                there.extend(fields(&schema, &name).into_iter().map(|f| format!("{name}.{}", f.key)));
            }
            // Reasons are written with the choice of a lap, factors of set-ups have names of their own.
            wanted.retain(|key| key != "run.lap_reasons" && key != "setup.factors");
            wanted.sort();
            there.sort();
            assert!(wanted.len() > 60, "{wanted:?}");
            assert_eq!(wanted, there);
        }
    }
}
