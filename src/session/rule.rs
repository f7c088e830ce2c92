//! Checks as tables: which value, between what, and the mistake that usually lies behind one outside.
//!
//! Given a part of a session or plan and the rules of its keys; gives the first value that is out of range, with its line.
//! How parts must fit together is no matter of a table and stands where they are known.

use super::{AlongLoop, Gusts, Lag, Yaw, locate};
use crate::error::Error;

/// Plausible range of a value and the mistake that usually lies behind one outside it.
#[derive(Clone, Copy)]
pub(crate) struct Limit {
    pub low: f64,
    pub high: f64,
    hint: &'static str,
}

pub(crate) const fn limit(low: f64, high: f64, hint: &'static str) -> Limit {
    Limit { low, high, hint }
}

/// The range of one key of a table.
pub(crate) struct Rule<T> {
    pub key: &'static str,
    pub limit: Limit,
    /// The numbers stated under the key: none, one or a list.
    pub values: fn(&T) -> Vec<f64>,
}

/// The rules of a table, one line a key: `key: limit;`. Field and key have one name.
macro_rules! rules {
    ($($visible:vis const $name:ident of $table:ty { $($key:ident: $limit:expr;)* })*) => {
        $(
            $visible const $name: &[$crate::session::rule::Rule<$table>] = &[$(
                $crate::session::rule::Rule {
                    key: stringify!($key),
                    limit: $limit,
                    values: |stated: &$table| $crate::session::rule::Stated::numbers(&stated.$key),
                },
            )*];
        )*
    };
}
pub(crate) use rules;

/// What can stand under a key, as the numbers in it.
pub(crate) trait Stated {
    fn numbers(&self) -> Vec<f64>;
}

impl Stated for f64 {
    fn numbers(&self) -> Vec<f64> {
        vec![*self]
    }
}

impl Stated for usize {
    fn numbers(&self) -> Vec<f64> {
        vec![*self as f64]
    }
}

impl<T: Stated> Stated for Option<T> {
    fn numbers(&self) -> Vec<f64> {
        self.as_ref().map(Stated::numbers).unwrap_or_default()
    }
}

impl<T: Stated> Stated for Vec<T> {
    fn numbers(&self) -> Vec<f64> {
        self.iter().flat_map(Stated::numbers).collect()
    }
}

impl<const N: usize> Stated for [f64; N] {
    fn numbers(&self) -> Vec<f64> {
        self.to_vec()
    }
}

impl Stated for Lag {
    fn numbers(&self) -> Vec<f64> {
        match self {
            Lag::Seconds(seconds) => vec![*seconds],
            Lag::Word(_) => Vec::new(),
        }
    }
}

impl Stated for Gusts {
    fn numbers(&self) -> Vec<f64> {
        match self {
            Gusts::StandardDeviation(sd) => vec![*sd],
            Gusts::Word(_) => Vec::new(),
        }
    }
}

impl Stated for Yaw {
    fn numbers(&self) -> Vec<f64> {
        match self {
            Yaw::Coefficient(coefficient) => vec![*coefficient],
            Yaw::Word(_) => Vec::new(),
        }
    }
}

impl Stated for AlongLoop {
    fn numbers(&self) -> Vec<f64> {
        match self {
            AlongLoop::Shares(shares) => shares.clone(),
            AlongLoop::Word(_) => Vec::new(),
        }
    }
}

/// Where a check looks and what it says.
pub(crate) struct Checker<'a> {
    pub(crate) text: &'a str,
    pub(crate) file: &'a str,
}

impl Checker<'_> {
    pub(crate) fn line(&self, path: &[&str]) -> Option<usize> {
        if self.text.is_empty() { None } else { locate(self.text, path) }
    }

    /// Holds every value of a table against its rules.
    pub(crate) fn all<T>(&self, table: &[&str], stated: &T, rules: &[Rule<T>]) -> Result<(), Error> {
        for rule in rules {
            for value in (rule.values)(stated) {
                self.within(&[table, &[rule.key]].concat(), value, &rule.limit)?;
            }
        }
        Ok(())
    }

    pub(crate) fn within(&self, path: &[&str], value: f64, limit: &Limit) -> Result<(), Error> {
        if value >= limit.low && value <= limit.high {
            return Ok(());
        }
        Err(Error::OutOfRange {
            file: self.file.to_string(),
            line: self.line(path),
            key: path.iter().filter(|p| p.parse::<usize>().is_err()).copied().collect::<Vec<_>>().join("."),
            value,
            low: limit.low,
            high: limit.high,
            hint: limit.hint.to_string(),
        })
    }

    pub(crate) fn within_if(&self, path: &[&str], value: Option<f64>, limit: &Limit) -> Result<(), Error> {
        value.map_or(Ok(()), |v| self.within(path, v, limit))
    }

    pub(crate) fn inconsistent(&self, path: &[&str], message: String) -> Error {
        Error::Inconsistent { file: self.file.to_string(), line: self.line(path), message }
    }
}
