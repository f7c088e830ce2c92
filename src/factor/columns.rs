//! Factors as columns of the model: levels of kinds, slopes and bends of quantities, and the fit of all main effects.
//!
//! Given factors and the joint estimates of all set-ups; gives columns, what each stands for, and the main effects.

use super::model::{Fit, Joint, rank};
use crate::session::factors::{Factor, Factors, Levels};
use nalgebra::DMatrix;

/// What a column stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Term {
    Mean,
    /// A level of a kind against the reference.
    Level {
        factor: usize,
        level: usize,
    },
    /// Over half of the range of a quantity, from its middle.
    Slope {
        factor: usize,
    },
    /// Of the square of that.
    Bend {
        factor: usize,
    },
}

/// A quantity over its range ridden, from −1 to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Range {
    pub low: f64,
    pub high: f64,
}

impl Range {
    pub fn of(values: &[f64]) -> Range {
        let low = values.iter().copied().fold(f64::INFINITY, f64::min);
        let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        Range { low, high }
    }

    pub fn half(&self) -> f64 {
        0.5 * (self.high - self.low)
    }

    pub fn scaled(&self, level: f64) -> f64 {
        (level - 0.5 * (self.low + self.high)) / self.half()
    }

    pub fn level(&self, scaled: f64) -> f64 {
        0.5 * (self.low + self.high) + scaled * self.half()
    }
}

/// The main effects of all factors, quantities with a bend where they have levels for one.
#[derive(Debug, Clone, PartialEq)]
pub struct Main {
    pub terms: Vec<Term>,
    pub design: DMatrix<f64>,
    pub fit: Fit,
    /// Level of each kind that the others are compared with.
    pub reference: Vec<usize>,
}

impl Main {
    /// Errors: what keeps effects from being told apart, in words.
    pub fn new(factors: &Factors, joint: &Joint, baseline: usize) -> Result<Main, String> {
        if joint.values.len() != factors.setups || joint.values.iter().any(|v| !v.is_finite()) {
            return Err("not every set-up has a value".into());
        }
        let reference: Vec<usize> = factors.list.iter().map(|f| reference(f, baseline)).collect();
        let terms = terms(factors, &reference, true);
        let design = design(factors, &terms);
        let without_bends = self::terms(factors, &reference, false);
        let plain = self::design(factors, &without_bends);
        if rank(&plain) < plain.ncols() {
            return Err(together(factors));
        }
        // With too few set-ups for bends beside everything else they are left out, the last factor's first.
        let mut terms = terms;
        let mut columns = design;
        while rank(&columns) < columns.ncols() {
            let Some(last) = terms.iter().rposition(|t| matches!(t, Term::Bend { .. })) else { break };
            terms.remove(last);
            columns = self::design(factors, &terms);
        }
        let fit = Fit::of(&columns, joint).ok_or("the set-ups' errors are not known well enough to weigh them")?;
        Ok(Main { terms, design: columns, fit, reference })
    }

    pub fn place(&self, term: Term) -> Option<usize> {
        self.terms.iter().position(|t| *t == term)
    }

    /// Without the bends of some factors.
    pub fn straightened(&self, factors: &Factors, joint: &Joint, straight: &[usize]) -> Option<(Vec<Term>, Fit)> {
        let bent = |t: &Term| matches!(t, Term::Bend { factor } if straight.contains(factor));
        let terms: Vec<Term> = self.terms.iter().filter(|t| !bent(t)).copied().collect();
        let fit = Fit::of(&design(factors, &terms), joint)?;
        Some((terms, fit))
    }
}

fn reference(factor: &Factor, baseline: usize) -> usize {
    match &factor.levels {
        Levels::Kinds { of_setup, .. } => of_setup.get(baseline).copied().unwrap_or(0),
        Levels::Quantities { .. } => 0,
    }
}

fn terms(factors: &Factors, reference: &[usize], bends: bool) -> Vec<Term> {
    let mut terms = vec![Term::Mean];
    for (i, factor) in factors.list.iter().enumerate() {
        match &factor.levels {
            Levels::Kinds { names, .. } => {
                let others = (0..names.len()).filter(|level| *level != reference[i]);
                terms.extend(others.map(|level| Term::Level { factor: i, level }));
            }
            Levels::Quantities { .. } => {
                terms.push(Term::Slope { factor: i });
                if bends && factor.has_curve() {
                    terms.push(Term::Bend { factor: i });
                }
            }
        }
    }
    terms
}

/// What a term is for a set-up.
pub fn entry(factors: &Factors, term: Term, setup: usize) -> f64 {
    let scaled = |factor: usize| match &factors.list[factor].levels {
        Levels::Quantities { of_setup, .. } => Range::of(of_setup).scaled(of_setup[setup]),
        Levels::Kinds { .. } => f64::NAN,
    };
    match term {
        Term::Mean => 1.0,
        Term::Level { factor, level } => match &factors.list[factor].levels {
            Levels::Kinds { of_setup, .. } if of_setup[setup] == level => 1.0,
            _ => 0.0,
        },
        Term::Slope { factor } => scaled(factor),
        Term::Bend { factor } => scaled(factor).powi(2),
    }
}

pub fn design(factors: &Factors, terms: &[Term]) -> DMatrix<f64> {
    DMatrix::from_fn(factors.setups, terms.len(), |s, t| entry(factors, terms[t], s))
}

/// Factors that change together, by name.
fn together(factors: &Factors) -> String {
    let names: Vec<String> = factors.list.iter().map(|f| format!("«{}»", f.key)).collect();
    let needed = 1 + factors
        .list
        .iter()
        .map(|f| match &f.levels {
            Levels::Kinds { names, .. } => names.len() - 1,
            Levels::Quantities { .. } => 1,
        })
        .sum::<usize>();
    if factors.setups < needed {
        return format!(
            "{} set-ups cannot tell the effects of {} apart, which takes {needed} or more; ride further combinations of their \
             levels",
            factors.setups,
            names.join(", ")
        );
    }
    format!(
        "the levels of {} change together from set-up to set-up, so that their effects cannot be told apart; ride a combination \
         that parts them",
        names.join(", ")
    )
}
