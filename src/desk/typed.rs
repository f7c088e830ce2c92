//! What a person typed as a value of the file.
//!
//! Given the text of a field and its kind; gives the TOML value, or what the program's parser says of it.

use super::field::Kind;
use loopwright::error::Error;
use loopwright::quantity::kpa_in_one;
use loopwright::report::Units;
use loopwright::session::parse_checked;
use toml_edit::{Array, Value};

/// What was typed as a value of the file, `None` where it is to be left out; else what the parser says of it.
pub fn value(name: &str, kind: &Kind, typed: &str) -> Result<Option<Value>, String> {
    if typed.is_empty() {
        return Ok(None);
    }
    let key = key_of(name);
    let typed = &in_kpa(name, typed);
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

fn key_of(name: &str) -> &str {
    name.rsplit('.').next().unwrap_or_default()
}

/// A pressure as the gauge shows it, "5.5 bar" or "80 psi", in the kilopascals of the file; anything else as it was typed.
fn in_kpa(name: &str, typed: &str) -> String {
    if !name.split('.').any(|part| part.ends_with("_kpa")) {
        return typed.to_string();
    }
    let of = |unit: &str| {
        let number = typed.trim().strip_suffix(unit)?.trim().parse::<f64>().ok()?;
        Some(format!("{:.1}", number * kpa_in_one(unit)?))
    };
    of("bar").or_else(|| of("psi")).unwrap_or_else(|| typed.to_string())
}

/// What a value in kilopascals reads on the gauge; empty for other units and where nothing or no number stands.
pub fn on_gauge(unit: &str, value: &str) -> String {
    match value.trim().parse::<f64>() {
        Ok(kpa) if unit == "kPa" && kpa.is_finite() => Units::Metric.pressure(kpa),
        _ => String::new(),
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pressure_is_typed_as_the_gauge_shows_it_and_kept_in_kilopascals() {
        let kept = |name: &str, typed: &str| value(name, &Kind::Number, typed).map(|v| v.map(|v| v.to_string()));
        let name = "run.0.tyre_pressure_kpa.front";
        assert_eq!(kept(name, "5.5 bar"), Ok(Some("550.0".into())));
        assert_eq!(kept(name, "80psi"), Ok(Some("551.6".into())));
        assert_eq!(kept(name, "550"), Ok(Some("550".into())));
        assert!(kept(name, "5.5 bra").is_err() && kept("run.0.mass_kg", "5.5 bar").is_err());
        assert_eq!((on_gauge("kPa", "550.0"), on_gauge("kg", "85")), ("5.50 bar".into(), String::new()));
    }
}
