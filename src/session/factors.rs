//! The factors of a session: which there are, of what sort, and the level of each set-up.
//!
//! Given what each set-up states; gives checked factors or what is wrong with them and what to do. It knows no file: the caller
//! adds the place.

mod factor;
mod read;
mod unit;

pub use factor::{CURVE_FROM, Factor, Levels, Stated, Wrong};
use std::collections::{BTreeMap, BTreeSet};
pub use unit::{Unit, shown_name, shown_with_unit};

/// Most factors of a session (a choice; a day has runs for no more).
pub const MOST_FACTORS: usize = 6;

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
        let list = keys.iter().map(|key| read::factor(key, ids, stated)).collect::<Result<Vec<Factor>, Wrong>>()?;
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
