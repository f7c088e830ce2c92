//! Main effects of kinds, and whether effects add.
//!
//! Given the fitted main effects; gives differences between levels and tests. It decides nothing but the level of a test.

use super::columns::{Main, Term, entry};
use super::model::{Fit, Joint, basis, test};
use super::{Effects, LevelEffect, Test};
use crate::compare::multiplicity::holm;
use crate::session::factors::{Factors, Levels};
use nalgebra::{DMatrix, DVector};

/// Every kind, and every quantity of two levels, whose effect is that of its higher level.
pub fn effects(factors: &Factors, main: &Main, joint: &Joint, confidence: f64) -> Vec<Effects> {
    let mut all: Vec<Effects> = Vec::new();
    for (i, factor) in factors.list.iter().enumerate() {
        let places: Vec<usize> = (0..main.terms.len()).filter(|t| of_factor(main.terms[*t], i)).collect();
        let (reference, named): (String, Vec<(String, f64)>) = match &factor.levels {
            Levels::Kinds { names, .. } => {
                let level = |t: &usize| match main.terms[*t] {
                    Term::Level { level, .. } => (names[level].clone(), 1.0),
                    _ => (String::new(), 1.0),
                };
                (names[main.reference[i]].clone(), places.iter().map(level).collect())
            }
            Levels::Quantities { .. } if factor.has_curve() => continue,
            // From −1 to 1.
            Levels::Quantities { .. } => {
                let levels = factor.quantities();
                (levels[0].to_string(), vec![(levels[1].to_string(), 2.0)])
            }
        };
        let Some(whole) = main.fit.wald(&places, factor.key.clone(), joint.dof) else { continue };
        let levels = places.iter().zip(named).map(|(place, (level, steps))| {
            let mut weights = DVector::zeros(main.terms.len());
            weights[*place] = steps;
            LevelEffect { level, effect: main.fit.estimated(&weights, joint.dof).interval(confidence), p_holm: None }
        });
        all.push(Effects { factor: factor.key.clone(), reference, levels: levels.collect(), test: whole });
    }
    let p: Vec<f64> = levels_of(&mut all).map(|l| l.effect.p_value.unwrap_or(f64::NAN)).collect();
    for (level, p) in levels_of(&mut all).zip(holm(&p)) {
        level.p_holm = Some(p).filter(|p| p.is_finite());
    }
    all
}

fn levels_of(all: &mut [Effects]) -> impl Iterator<Item = &mut LevelEffect> {
    all.iter_mut().flat_map(|e| e.levels.iter_mut())
}

fn of_factor(term: Term, wanted: usize) -> bool {
    match term {
        Term::Mean => false,
        Term::Level { factor, .. } | Term::Slope { factor } | Term::Bend { factor } => factor == wanted,
    }
}

/// Products of the main columns of two factors.
fn products(factors: &Factors, main: &Main, pair: (usize, usize), bends: bool) -> DMatrix<f64> {
    let of = |wanted: usize| {
        main.terms.iter().copied().filter(move |t| of_factor(*t, wanted) && (bends || !matches!(t, Term::Bend { .. })))
    };
    let pairs: Vec<(Term, Term)> = of(pair.0).flat_map(|a| of(pair.1).map(move |b| (a, b))).collect();
    DMatrix::from_fn(factors.setups, pairs.len(), |s, c| entry(factors, pairs[c].0, s) * entry(factors, pairs[c].1, s))
}

/// What these columns span together with those that are there.
fn beside(first: &DMatrix<f64>, more: &DMatrix<f64>) -> DMatrix<f64> {
    let (old, new) = (first.ncols(), more.ncols());
    let all =
        DMatrix::from_fn(first.nrows(), old + new, |i, j| if j < old { first[(i, j)] } else { more[(i, j - old)] });
    basis(&all)
}

fn pairs(factors: &Factors) -> Vec<(usize, usize)> {
    let n = factors.list.len();
    (0..n).flat_map(|a| (a + 1..n).map(move |b| (a, b))).collect()
}

/// Whether what one factor does depends on another: Q without less Q with their products. Bends have no part in it unless asked
/// for, they would take more levels than a day has. `None` where no such combination was ridden.
pub fn interaction(factors: &Factors, main: &Main, joint: &Joint, pair: (usize, usize), bends: bool) -> Option<Test> {
    let wide = beside(&main.design, &products(factors, main, pair, bends));
    let added = wide.ncols() - main.design.ncols();
    let with = (added > 0).then(|| Fit::of(&wide, joint)).flatten()?;
    let name = format!("{} × {}", factors.list[pair.0].key, factors.list[pair.1].key);
    Some(test(name, main.fit.q - with.q, added as f64, joint.dof))
}

/// One test for each pair of factors whose combinations were ridden.
pub fn interactions(factors: &Factors, main: &Main, joint: &Joint) -> Vec<Test> {
    pairs(factors).into_iter().filter_map(|pair| interaction(factors, main, joint, pair, false)).collect()
}

/// Main columns and the products of all pairs of factors.
fn with_products(factors: &Factors, main: &Main) -> DMatrix<f64> {
    pairs(factors).into_iter().fold(main.design.clone(), |all, p| beside(&all, &products(factors, main, p, false)))
}

/// What neither main effects nor products of two factors explain; `None` where nothing is left to judge it by.
pub fn lack_of_fit(factors: &Factors, main: &Main, joint: &Joint) -> Option<Test> {
    let wide = with_products(factors, main);
    let left = factors.setups - wide.ncols();
    let fit = (left > 0).then(|| Fit::of(&wide, joint)).flatten()?;
    Some(test("set-ups about the effects".into(), fit.q, left as f64, joint.dof))
}

/// Whether all products together may be left out at level `alpha`; `None` where there are none.
pub fn adds(factors: &Factors, main: &Main, joint: &Joint, alpha: f64) -> Option<bool> {
    let wide = with_products(factors, main);
    let added = wide.ncols() - main.design.ncols();
    let with = (added > 0).then(|| Fit::of(&wide, joint)).flatten()?;
    // What no error explains cannot be judged.
    let p = test(String::new(), main.fit.q - with.q, added as f64, joint.dof).p_value;
    p.is_finite().then_some(p >= alpha)
}
