//! One factor: a key with a level for each set-up, and what can be wrong with it.
//!
//! Given nothing; holds levels and tells them apart.

use super::unit::Unit;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Levels from which a curve can bend.
pub const CURVE_FROM: usize = 3;

/// A level as it is stated: text is a kind, a number a quantity.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Stated {
    Quantity(f64),
    Kind(String),
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

pub(super) fn distinct(values: &[f64]) -> Vec<f64> {
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
