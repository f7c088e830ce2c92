//! One factor read from what the set-ups state: all kinds, or all quantities with a unit.
//!
//! Given its key and what each set-up states; gives the factor or what is wrong with it.

use super::factor::{Factor, Levels, Stated, Wrong, distinct};
use super::unit::{UNITS, Unit};
use crate::wording::counted;
use std::collections::BTreeMap;

pub(super) fn factor(key: &str, ids: &[&str], stated: &[&BTreeMap<String, Stated>]) -> Result<Factor, Wrong> {
    let wrong = |setup: usize, message: String| Wrong { setup, key: Some(key.to_string()), message };
    let mut levels = Vec::with_capacity(stated.len());
    for (s, of) in stated.iter().enumerate() {
        match of.get(key) {
            Some(level) => levels.push(level),
            None => {
                let has = stated.iter().position(|o| o.contains_key(key)).unwrap_or(0);
                let message = format!(
                    "set-up «{}» does not state the factor «{key}», which «{}» does; state it on every set-up",
                    ids[s], ids[has]
                );
                return Err(Wrong { setup: s, key: None, message });
            }
        }
    }
    let numbers: Vec<Option<f64>> = levels
        .iter()
        .map(|l| match l {
            Stated::Quantity(x) => Some(*x),
            Stated::Kind(_) => None,
        })
        .collect();
    let first_text = numbers.iter().position(Option::is_none);
    let (count, levels) = match (first_text, numbers.iter().copied().collect::<Option<Vec<f64>>>()) {
        (None, Some(values)) => {
            if let Some(bad) = values.iter().position(|x| !x.is_finite()) {
                return Err(wrong(bad, format!("factor «{key}» of set-up «{}» is not a finite number", ids[bad])));
            }
            let Some(unit) = Unit::of_key(key) else {
                let known: Vec<&str> = UNITS.iter().map(|(unit, _)| *unit).collect();
                let message = format!(
                    "factor «{key}» is a number without a unit; end its key in one, such as «{key}_{}» (known: {}), or put its \
                     values in quotes if they are names",
                    if key.contains("press") { "kpa" } else { "mm" },
                    known.join(", ")
                );
                return Err(wrong(0, message));
            };
            (distinct(&values).len(), Levels::Quantities { unit, of_setup: values })
        }
        (Some(s), _) if numbers.iter().any(Option::is_some) => {
            let message = format!(
                "factor «{key}» of set-up «{}» is text, of others a number; write it without quotes, in the unit of its key",
                ids[s]
            );
            return Err(wrong(s, message));
        }
        _ => kinds(key, ids, &levels)?,
    };
    if count < 2 {
        let message = format!(
            "factor «{key}» has one level on all {}, so it explains nothing; leave it out, or ride another level",
            counted(stated.len(), "set-up")
        );
        return Err(wrong(0, message));
    }
    Ok(Factor { key: key.to_string(), levels })
}

fn kinds(key: &str, ids: &[&str], levels: &[&Stated]) -> Result<(usize, Levels), Wrong> {
    let mut names: Vec<String> = Vec::new();
    let mut of_setup = Vec::with_capacity(levels.len());
    for (s, level) in levels.iter().enumerate() {
        let Stated::Kind(text) = level else { continue };
        let text = text.trim();
        let wrong = |message: String| Wrong { setup: s, key: Some(key.to_string()), message };
        if text.is_empty() {
            return Err(wrong(format!("factor «{key}» of set-up «{}» is empty text; name its level", ids[s])));
        }
        // «620 kPa» under a key that has a unit; a tyre may well be called «28 mm slick».
        let measured =
            Unit::of_key(key).is_some_and(|u| u.key.len() > 1) && text.starts_with(|c: char| c.is_ascii_digit());
        if measured || text.replace(',', ".").parse::<f64>().is_ok() {
            return Err(wrong(format!(
                "factor «{key}» of set-up «{}» is «{text}» in quotes, which makes it a name; write a number without quotes for \
                 a quantity (with its unit at the end of the key), or a name for a kind",
                ids[s]
            )));
        }
        let place = names.iter().position(|n| n == text).unwrap_or_else(|| {
            names.push(text.to_string());
            names.len() - 1
        });
        of_setup.push(place);
    }
    Ok((names.len(), Levels::Kinds { names, of_setup }))
}
