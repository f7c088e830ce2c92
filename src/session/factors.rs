//! The factors of a session: which there are, of what sort, and the level of each set-up.
//!
//! Given what each set-up states; gives checked factors or what is wrong with them and what to do. It knows no file: the caller
//! adds the place.

use crate::wording::counted;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// A level as it is stated: text is a kind, a number a quantity.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Stated {
    Quantity(f64),
    Kind(String),
}

/// Units that the key of a quantity may end in, and how they are printed.
pub const UNITS: [(&str, &str); 21] = [
    ("km_h", "km/h"),
    ("kpa", "kPa"),
    ("hpa", "hPa"),
    ("bar", "bar"),
    ("psi", "psi"),
    ("mm", "mm"),
    ("cm", "cm"),
    ("nm", "N m"),
    ("ml", "ml"),
    ("kg", "kg"),
    ("deg", "°"),
    ("pct", "%"),
    ("rpm", "1/min"),
    ("min", "min"),
    ("count", ""),
    ("km", "km"),
    ("m", "m"),
    ("g", "g"),
    ("c", "°C"),
    ("s", "s"),
    ("w", "W"),
];

/// Levels from which a curve can bend.
pub const CURVE_FROM: usize = 3;
/// Most factors of a session (a choice; a day has runs for no more).
pub const MOST_FACTORS: usize = 6;

/// Unit of a quantity.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Unit {
    /// As in the key.
    pub key: &'static str,
    /// As printed.
    pub shown: &'static str,
}

impl Unit {
    /// A key ends in `_` and its unit.
    pub fn of_key(key: &str) -> Option<Unit> {
        let ends = |unit: &str| key.strip_suffix(unit).is_some_and(|rest| rest.len() > 1 && rest.ends_with('_'));
        UNITS.iter().find(|(unit, _)| ends(unit)).map(|(key, shown)| Unit { key, shown })
    }

    /// Whether it is one that tyres are inflated to.
    pub fn is_of_pressure(&self) -> bool {
        ["kpa", "bar", "psi"].contains(&self.key)
    }
}

/// A key in words, "tyre pressure".
pub fn shown_name(key: &str) -> String {
    let bare = Unit::of_key(key).and_then(|unit| key.strip_suffix(unit.key)).unwrap_or(key);
    bare.trim_end_matches('_').replace('_', " ")
}

/// The same with its unit, "tyre pressure, kPa".
pub fn shown_with_unit(key: &str) -> String {
    match Unit::of_key(key) {
        Some(unit) if !unit.shown.is_empty() => format!("{}, {}", shown_name(key), unit.shown),
        _ => shown_name(key),
    }
}

#[derive(Debug, Clone, PartialEq)]
pub enum Levels {
    /// Names in the order in which set-ups state them, and the place of each set-up among them.
    Kinds { names: Vec<String>, of_setup: Vec<usize> },
    /// Of each set-up.
    Quantities { unit: Unit, of_setup: Vec<f64> },
}

/// One factor.
#[derive(Debug, Clone, PartialEq)]
pub struct Factor {
    pub key: String,
    pub levels: Levels,
}

impl Factor {
    /// Distinct values of a quantity in ascending order.
    pub fn quantities(&self) -> Vec<f64> {
        match &self.levels {
            Levels::Quantities { of_setup, .. } => distinct(of_setup),
            Levels::Kinds { .. } => Vec::new(),
        }
    }

    pub fn count(&self) -> usize {
        match &self.levels {
            Levels::Kinds { names, .. } => names.len(),
            Levels::Quantities { .. } => self.quantities().len(),
        }
    }

    /// A quantity of which a curve is drawn.
    pub fn has_curve(&self) -> bool {
        matches!(self.levels, Levels::Quantities { .. }) && self.count() >= CURVE_FROM
    }

    /// Level of a set-up, as written.
    pub fn of_setup(&self, setup: usize) -> String {
        match &self.levels {
            Levels::Kinds { names, of_setup } => names[of_setup[setup]].clone(),
            Levels::Quantities { of_setup, .. } => of_setup[setup].to_string(),
        }
    }
}

fn distinct(values: &[f64]) -> Vec<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.dedup();
    sorted
}

/// What is wrong with the factors: which set-up (by place) to look at, and the message.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wrong {
    pub setup: usize,
    pub key: Option<String>,
    pub message: String,
}

/// All factors of a session.
#[derive(Debug, Clone, PartialEq)]
pub struct Factors {
    pub list: Vec<Factor>,
    pub setups: usize,
}

impl Factors {
    /// Checks what the set-ups state; `None` where none of them states a factor. `curve` names the factor of which a curve is
    /// asked for.
    ///
    /// Errors: a factor missing on a set-up, one level only, text and numbers mixed, a number given as text or without a unit in
    /// its key, set-ups that are the same in every factor, a curve over a kind or over two levels.
    pub fn of(
        ids: &[&str],
        stated: &[&BTreeMap<String, Stated>],
        curve: Option<&str>,
    ) -> Result<Option<Factors>, Wrong> {
        let keys: BTreeSet<&String> = stated.iter().flat_map(|s| s.keys()).collect();
        if keys.is_empty() {
            return match curve {
                Some(key) => Err(Wrong {
                    setup: 0,
                    key: None,
                    message: format!(
                        "a curve over «{key}» is asked for, but no set-up states factors; write factors = {{ {key} = … }} in every \
                         [[setup]]"
                    ),
                }),
                None => Ok(None),
            };
        }
        if keys.len() > MOST_FACTORS {
            let message = format!(
                "{} factors ({}), more than the limit of {MOST_FACTORS}; keep what the test is about",
                keys.len(),
                keys.iter().map(|k| k.as_str()).collect::<Vec<_>>().join(", ")
            );
            return Err(Wrong { setup: 0, key: None, message });
        }
        let list = keys.iter().map(|key| factor(key, ids, stated)).collect::<Result<Vec<Factor>, Wrong>>()?;
        let factors = Factors { list, setups: stated.len() };
        factors.differ(ids)?;
        if let Some(key) = curve {
            factors.curve_over(key)?;
        }
        Ok(Some(factors))
    }

    /// The same factors over some of the set-ups, as of one venue; `None` where nothing is left to compare.
    pub fn of_some(&self, setups: &[usize]) -> Option<Factors> {
        let pick = |f: &Factor| {
            let levels = match &f.levels {
                Levels::Kinds { names, of_setup } => {
                    let of_setup: Vec<usize> = setups.iter().map(|s| of_setup[*s]).collect();
                    let kept: Vec<usize> = (0..names.len()).filter(|n| of_setup.contains(n)).collect();
                    let place = |n: &usize| kept.iter().position(|k| k == n).unwrap_or(0);
                    Levels::Kinds {
                        names: kept.iter().map(|n| names[*n].clone()).collect(),
                        of_setup: of_setup.iter().map(place).collect(),
                    }
                }
                Levels::Quantities { unit, of_setup } => {
                    Levels::Quantities { unit: *unit, of_setup: setups.iter().map(|s| of_setup[*s]).collect() }
                }
            };
            Factor { key: f.key.clone(), levels }
        };
        let list: Vec<Factor> = self.list.iter().map(pick).filter(|f| f.count() > 1).collect();
        (!list.is_empty()).then_some(Factors { list, setups: setups.len() })
    }

    fn differ(&self, ids: &[&str]) -> Result<(), Wrong> {
        let levels = |s: usize| self.list.iter().map(|f| f.of_setup(s)).collect::<Vec<String>>();
        for s in 1..self.setups {
            if let Some(other) = (0..s).find(|o| levels(*o) == levels(s)) {
                let message = format!(
                    "set-ups «{}» and «{}» have the same factors; give both runs to one set-up, or say in what they differ",
                    ids[other], ids[s]
                );
                return Err(Wrong { setup: s, key: None, message });
            }
        }
        Ok(())
    }

    fn curve_over(&self, key: &str) -> Result<(), Wrong> {
        let wrong = |message: String| Err(Wrong { setup: 0, key: Some(key.to_string()), message });
        let known = || self.list.iter().map(|f| f.key.as_str()).collect::<Vec<_>>().join(", ");
        let Some(factor) = self.list.iter().find(|f| f.key == key) else {
            return wrong(format!("a curve over «{key}» is asked for, which is no factor; there are: {}", known()));
        };
        if matches!(factor.levels, Levels::Kinds { .. }) {
            return wrong(format!("a curve over «{key}» is asked for, but its levels are text; a curve needs numbers"));
        }
        if factor.has_curve() {
            return Ok(());
        }
        let levels: Vec<String> = factor.quantities().iter().map(f64::to_string).collect();
        wrong(format!(
            "a curve over «{key}» is asked for, but it has {} levels ({}); a curve takes {CURVE_FROM} or more. Ride a third \
             level, or leave curve out: two levels are compared as they are",
            levels.len(),
            levels.join(", ")
        ))
    }
}

fn factor(key: &str, ids: &[&str], stated: &[&BTreeMap<String, Stated>]) -> Result<Factor, Wrong> {
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
