//! What a person typed as a value of the file.
//!
//! Given the text of a field and its kind; gives the TOML value, or what the program's parser says of it.

use super::field::Kind;
use loopwright::error::Error;
use loopwright::session::parse_checked;
use toml_edit::{Array, Value};

/// What was typed as a value of the file, `None` where it is to be left out; else what the parser says of it.
pub fn value(name: &str, kind: &Kind, typed: &str) -> Result<Option<Value>, String> {
    if typed.is_empty() {
        return Ok(None);
    }
    let key = name.rsplit('.').next().unwrap_or_default();
    let number = |typed: &str| match typed.parse::<Value>() {
        Ok(value) if value.is_float() || value.is_integer() => Ok(value),
        _ => Err(not_a_number(key, typed)),
    };
    let list = |of: &dyn Fn(&str) -> Result<Value, String>| {
        let parts = typed.split([',', ';', ' ']).map(str::trim).filter(|p| !p.is_empty());
        parts.map(of).collect::<Result<Vec<_>, _>>().map(|all| Some(Value::Array(Array::from_iter(all))))
    };
    match kind {
        Kind::Number => number(typed).map(Some),
        Kind::Text => Ok(Some(Value::from(typed))),
        Kind::Choice if typed == "true" || typed == "false" => Ok(Some(Value::from(typed == "true"))),
        Kind::Choice => Ok(Some(Value::from(typed))),
        // Digits with a comma are a number that was meant, not a name.
        Kind::NumberOrText if typed.replace(',', ".").parse::<f64>().is_ok() => number(typed).map(Some),
        Kind::NumberOrText | Kind::NumberOrWord => Ok(Some(number(typed).unwrap_or_else(|_| Value::from(typed)))),
        Kind::Numbers => list(&number),
        Kind::Words => list(&|word| Ok(Value::from(word))),
    }
}

/// The parser's own words for something that is no number.
fn not_a_number(key: &str, typed: &str) -> String {
    let line = format!("{key} = {typed}");
    match parse_checked::<toml::Table>(&line, key) {
        Err(Error::Syntax { message, .. }) => format!("{line}: {message}"),
        _ => format!("{line}: expected a number without quotes"),
    }
}
