//! Factors of set-ups as fields. Their names are the tester's own, so the schema knows only the table that holds them.
//!
//! Given a schema, the text of a file, a posted form or what the program says; gives fields, names and the field that an error
//! belongs beside. It changes nothing.

use super::document::Document;
use super::field::{Field, Kind, holds_numbers_or_texts};
use super::form::Form;
use loopwright::error::Error;
use loopwright::session::factors::{Factors, MOST_FACTORS, Stated, Unit, shown_name};
use serde_json::Value as Json;
use std::collections::BTreeMap;

/// Most characters of a name that is given here; it heads a column of a table.
const LONGEST_NAME: usize = 40;
/// The list whose tables hold factors, and their key in it.
const LIST: &str = "setup";
const KEY: &str = "factors";

/// Place of a factor of a set-up, counted from 0.
pub fn path(setup: usize, factor: &str) -> String {
    format!("{LIST}.{setup}.{KEY}.{factor}")
}

/// The factor in a place such as `setup.0.factors.tyre`.
fn of_path(path: &str) -> Option<&str> {
    let mut parts = path.split('.');
    let is_one = parts.next() == Some(LIST) && parts.next()?.parse::<usize>().is_ok() && parts.next() == Some(KEY);
    let name = parts.next()?;
    (is_one && parts.next().is_none()).then_some(name)
}

/// Whether two places are those of one factor on two set-ups, or the same.
pub fn same_factor(one: &str, other: &str) -> bool {
    of_path(one).is_some() && of_path(one) == of_path(other)
}

/// What the schema says of the factors of a list's tables; `None` for a list that has none.
pub fn help(schema: &Json, list: &str) -> Option<String> {
    (list == LIST).then(|| holds_numbers_or_texts(schema, list, KEY)).flatten()
}

/// Names of all factors that the text states or a form brings, in the order in which they come. A name that needs quotes is
/// left to the file.
pub fn named(document: &Document, brought: &[String]) -> Vec<String> {
    let stated = (0..document.count(LIST)).flat_map(|i| document.keys(&format!("{LIST}.{i}.{KEY}")));
    each_once(stated.chain(brought.iter().cloned()))
}

/// Names of the factors for which a form has fields.
pub fn brought(form: &Form) -> Vec<String> {
    let mut out = each_once(form.names().filter_map(of_path).map(String::from));
    out.truncate(MOST_FACTORS);
    out
}

/// Names that need no quotes, each where it comes first.
fn each_once(names: impl Iterator<Item = String>) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for name in names {
        if is_bare(&name) && !out.contains(&name) {
            out.push(name);
        }
    }
    out
}

fn is_bare(name: &str) -> bool {
    !name.is_empty() && name.chars().all(|c| c.is_ascii_alphanumeric() || c == '_' || c == '-')
}

/// Words of a factor.
pub fn label(name: &str) -> String {
    format!("Factor: {}", shown_name(name))
}

/// The field of a factor within a set-up.
pub fn field(name: &str) -> Field {
    let unit = Unit::of_key(name).map_or("", |unit| unit.shown);
    let help = if Unit::of_key(name).is_some() { "A number." } else { "The name of a kind." };
    Field {
        key: format!("{KEY}.{name}"),
        label: label(name),
        unit,
        help: format!("{help} The same factor is stated on every set-up."),
        default: String::new(),
        kind: Kind::NumberOrText,
        words: Vec::new(),
        required: false,
    }
}

/// A name as the file has it, from what was typed: «Pressure (kPa)» is `pressure_kpa`. Errors: what to type instead.
pub fn new_name(typed: &str, there: &[String]) -> Result<String, String> {
    let words = typed.to_lowercase();
    let words = words.split(|c: char| !c.is_ascii_alphanumeric()).filter(|word| !word.is_empty());
    let name = words.collect::<Vec<_>>().join("_");
    if !name.starts_with(|c: char| c.is_ascii_lowercase()) {
        return Err(format!(
            "«{typed}»: name the factor by a word, such as tyre, or with its unit, such as pressure_kpa"
        ));
    }
    if name.len() > LONGEST_NAME {
        return Err(format!("«{typed}»: longer than the limit of {LONGEST_NAME} characters"));
    }
    if there.contains(&name) {
        return Err(format!("The factor «{name}» is there already"));
    }
    if there.len() >= MOST_FACTORS {
        return Err(format!("There are {MOST_FACTORS} factors, which is the limit; take one out first"));
    }
    Ok(name)
}

/// The place that an error about factors names: a factor of a set-up, or the curve; `None` for every other error.
pub fn place(text: &str, error: &Error) -> Option<String> {
    let Error::Inconsistent { message, .. } = error else { return None };
    let file: toml::Table = toml::from_str(text).ok()?;
    let setups = file.get(LIST)?.as_array()?;
    let ids: Vec<&str> = setups.iter().map(|s| s.get("id").and_then(toml::Value::as_str).unwrap_or_default()).collect();
    let of = |setup: &toml::Value| match setup.get(KEY) {
        Some(factors) => factors.clone().try_into::<BTreeMap<String, Stated>>().ok(),
        None => Some(BTreeMap::new()),
    };
    let stated: Vec<BTreeMap<String, Stated>> = setups.iter().map(of).collect::<Option<_>>()?;
    let all: Vec<&BTreeMap<String, Stated>> = stated.iter().collect();
    let curve = file.get("solve").and_then(|solve| solve.get("curve")?.as_str());
    let Err(wrong) = Factors::of(&ids, &all, None) else {
        let of_curve = Factors::of(&ids, &all, curve).is_err_and(|wrong| wrong.message == *message);
        return of_curve.then(|| "solve.curve".to_string());
    };
    if wrong.message != *message {
        return None;
    }
    let here = stated.get(wrong.setup)?;
    let missing = || all.iter().flat_map(|of| of.keys()).filter(|key| !here.contains_key(*key)).min().cloned();
    let factor = wrong.key.or_else(missing).or_else(|| here.keys().next().cloned())?;
    Some(path(wrong.setup, &factor))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_made_of_what_was_typed() {
        let there = vec!["tyre".to_string()];
        assert_eq!(new_name("Pressure (kPa)", &there).unwrap(), "pressure_kpa");
        for (typed, said) in
            [("", "such as tyre"), ("28", "such as tyre"), ("Tyre", "there already"), (&"x".repeat(41), "limit")]
        {
            assert!(new_name(typed, &there).unwrap_err().contains(said), "{typed}");
        }
        let six: Vec<String> = (0..MOST_FACTORS).map(|i| format!("f{i}")).collect();
        assert!(new_name("more", &six).unwrap_err().contains("take one out"));
    }

    #[test]
    fn only_factors_of_set_ups_are_taken_from_a_form() {
        let form = Form::parse(b"setup.0.factors.tyre=a&setup.1.factors.tyre=b&setup.0.id=x&run.0.factors.no=1&setup.0.factors.a.b=1&setup.0.factors.%5Bx=1").unwrap();
        assert_eq!(brought(&form), ["tyre"]);
        assert!(same_factor("setup.0.factors.tyre", "setup.3.factors.tyre"));
        assert!(!same_factor("setup.0.id", "setup.0.id"));
    }
}
