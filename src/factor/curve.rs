//! A curve of the output over a quantity: straight or with one bend, and where it is least.
//!
//! Given the fitted main effects; gives the curve with its band, the best level with its interval, what other levels cost and
//! which levels to ride next. It never speaks of a level outside those ridden.
//!
//! The best level is always judged by the bent curve, whether or not its bend is told: a bend that a weak test did not find is
//! not shown to be absent. Over u, the quantity from −1 to 1, the curve falls or rises by D(u) = b + 2cu. A level inside is kept
//! as the best while D there may be 0 (Fieller's set for −b/2c); the lowest level ridden while D there may be 0 or more, the
//! highest while it may be 0 or less.

use super::columns::{Main, Range, Term, entry};
use super::fieller::{Ratio, Set};
use super::model::{Estimated, Fit, Joint};
use super::next_level::Question;
use super::{Curve, CurvePoint, OffBest, Optimum};
use crate::session::factors::{Factors, Levels};
use crate::uncertainty::student::{coverage_factor, t_two_sided_p};
use nalgebra::DVector;

/// Points of a drawn curve.
const DRAWN: usize = 41;

/// One curve for each quantity with levels enough.
pub fn curves(factors: &Factors, main: &Main, joint: &Joint, confidence: f64) -> Vec<Curve> {
    let with_curve = (0..factors.list.len()).filter(|i| factors.list[*i].has_curve());
    with_curve.filter_map(|i| Over::new(factors, main, joint, i, confidence)?.curve()).collect()
}

/// A factor of the model, over which the output is looked at.
struct Over<'a> {
    factors: &'a Factors,
    main: &'a Main,
    joint: &'a Joint,
    factor: usize,
    levels: Vec<f64>,
    range: Range,
    slope: usize,
    bend: usize,
    t: f64,
    confidence: f64,
}

impl<'a> Over<'a> {
    fn new(factors: &'a Factors, main: &'a Main, joint: &'a Joint, i: usize, confidence: f64) -> Option<Over<'a>> {
        let levels = factors.list[i].quantities();
        Some(Over {
            factors,
            main,
            joint,
            factor: i,
            range: Range::of(&levels),
            levels,
            slope: main.place(Term::Slope { factor: i })?,
            bend: main.place(Term::Bend { factor: i })?,
            t: coverage_factor(confidence, joint.dof),
            confidence,
        })
    }

    fn fit(&self) -> &Fit {
        &self.main.fit
    }

    /// Weights of the bent curve at `u` less those at another place.
    fn between(&self, u: f64, other: f64) -> DVector<f64> {
        let mut weights = DVector::zeros(self.main.terms.len());
        weights[self.slope] = u - other;
        weights[self.bend] = u * u - other * other;
        weights
    }

    /// Weights of D(u).
    fn steepness(&self, u: f64) -> DVector<f64> {
        let mut weights = DVector::zeros(self.main.terms.len());
        weights[self.slope] = 1.0;
        weights[self.bend] = 2.0 * u;
        weights
    }

    fn bend_weights(&self) -> DVector<f64> {
        let mut weights = DVector::zeros(self.main.terms.len());
        weights[self.bend] = 1.0;
        weights
    }

    /// A row of the design at this level, the other factors as in the mean of the set-ups.
    fn row(&self, u: f64) -> DVector<f64> {
        let mean = |t: Term| {
            (0..self.factors.setups).map(|s| entry(self.factors, t, s)).sum::<f64>() / self.factors.setups as f64
        };
        let terms = &self.main.terms;
        let of = |place: usize| match terms[place] {
            Term::Slope { factor } if factor == self.factor => u,
            Term::Bend { factor } if factor == self.factor => u * u,
            other => mean(other),
        };
        DVector::from_fn(terms.len(), |place, _| of(place))
    }

    fn estimated(&self, weights: &DVector<f64>) -> Estimated {
        self.fit().estimated(weights, self.joint.dof)
    }

    fn curve(&self) -> Option<Curve> {
        let Levels::Quantities { unit, of_setup } = &self.factors.list[self.factor].levels else { return None };
        let bend = self.estimated(&self.bend_weights());
        let bend_p_value = t_two_sided_p(bend.value / bend.se, bend.dof);
        let bent = bend_p_value < 1.0 - self.confidence;
        let (terms, straight) = self.main.straightened(self.factors, self.joint, &[self.factor])?;
        let place = terms.iter().position(|t| *t == Term::Slope { factor: self.factor })?;
        let mut per_unit = DVector::zeros(terms.len());
        per_unit[place] = 1.0 / self.range.half();
        let optimum = self.optimum(bent, bend.value);
        let drawn = if bent { (&self.main.terms, self.fit()) } else { (&terms, &straight) };
        let weights = if bent && !optimum.at_either_end {
            self.steepness(self.range.scaled(optimum.value))
        } else {
            self.bend_weights()
        };
        let row = |level: f64| self.row(self.range.scaled(level));
        let covariance = &self.fit().covariance;
        // One more run belongs to one day; of several days none can be ridden on.
        let next = match self.joint.day.windows(2).all(|d| d[0] == d[1]) {
            true => Question { joint: self.joint, covariance, weights, levels: &self.levels, row: &row }.answer(),
            false => Vec::new(),
        };
        Some(Curve {
            factor: self.factors.list[self.factor].key.clone(),
            unit: unit.key.to_string(),
            shape: if bent { "one bend" } else { "straight" }.into(),
            bend_p_value,
            slope: straight.estimated(&per_unit, self.joint.dof).interval(self.confidence),
            off_best: self.off_best(optimum.value),
            points: self.points(of_setup),
            line: self.line(drawn.0, drawn.1),
            next,
            optimum,
        })
    }

    fn optimum(&self, bent: bool, bend: f64) -> Optimum {
        let v = |a: usize, b: usize| self.fit().covariance[(a, b)];
        let turning = Ratio {
            numerator: -self.fit().coefficients[self.slope],
            denominator: 2.0 * bend,
            var_numerator: v(self.slope, self.slope),
            var_denominator: 4.0 * v(self.bend, self.bend),
            covariance: -2.0 * v(self.slope, self.bend),
        };
        let set = turning.fieller(self.t);
        let steep = |u: f64| {
            let d = self.estimated(&self.steepness(u));
            d.value / d.se
        };
        let (at_low, at_high) = (steep(-1.0), steep(1.0));
        let (open_below, open_above) = (at_low > -self.t, at_high < self.t);
        let inside = inside(set);
        let low = if open_below { -1.0 } else { inside.map_or(1.0, |i| i.0) };
        let high = if open_above { 1.0 } else { inside.map_or(-1.0, |i| i.1) };
        let vertex = turning.numerator / turning.denominator;
        let falls = self.estimated(&self.between(1.0, -1.0)).value < 0.0;
        let value = match bend > 0.0 {
            true => vertex.clamp(-1.0, 1.0),
            false if falls => 1.0,
            false => -1.0,
        };
        let level = |u: f64| self.range.level(u);
        let (fieller, ends) = match set {
            Set::Between(a, b) => ("between", Some((a, b))),
            Set::Outside(a, b) => ("outside", Some((a, b))),
            Set::Anywhere => ("anywhere", None),
        };
        Optimum {
            value: level(value),
            low: level(low.min(value)),
            high: level(high.max(value)),
            open_below,
            open_above,
            at_either_end: bent && bend < 0.0,
            turning_point: Some(level(vertex)).filter(|x| x.is_finite()),
            fieller: fieller.into(),
            fieller_low: ends.map(|e| level(e.0)).filter(|x| x.is_finite()),
            fieller_high: ends.map(|e| level(e.1)).filter(|x| x.is_finite()),
        }
    }

    fn off_best(&self, best: f64) -> Vec<OffBest> {
        let lost = |level: &f64| {
            let weights = self.between(self.range.scaled(*level), self.range.scaled(best));
            // To first order the error of the best level itself costs nothing: the curve is level there.
            OffBest { level: *level, lost: self.estimated(&weights).interval(self.confidence) }
        };
        self.levels.iter().map(lost).collect()
    }

    /// Mean over the set-ups, about which points and line are drawn.
    fn mean(&self) -> f64 {
        self.joint.values.mean()
    }

    fn points(&self, of_setup: &[f64]) -> Vec<CurvePoint> {
        let k = self.factors.setups;
        let others = |s: usize| -> f64 {
            let part = |(place, term): (usize, &Term)| match term {
                Term::Mean => 0.0,
                Term::Slope { factor } | Term::Bend { factor } | Term::Level { factor, .. }
                    if *factor == self.factor =>
                {
                    0.0
                }
                other => self.fit().coefficients[place] * entry(self.factors, *other, s),
            };
            self.main.terms.iter().enumerate().map(part).sum()
        };
        let of_others: Vec<f64> = (0..k).map(others).collect();
        let mean_others = of_others.iter().sum::<f64>() / k as f64;
        let day = &self.joint.day;
        (0..k)
            .map(|s| {
                let of_day = day.iter().filter(|d| **d == day[s]).count() as f64;
                let about = |i: usize| if day[i] == day[s] { 1.0 / of_day } else { 0.0 };
                let weights = DVector::from_fn(k, |i, _| if i == s { 1.0 } else { 0.0 } - about(i));
                let half = self.t * (&self.joint.covariance * &weights).dot(&weights).max(0.0).sqrt();
                let value = self.joint.values[s] - of_others[s] + mean_others;
                CurvePoint { level: of_setup[s], value, low: value - half, high: value + half }
            })
            .collect()
    }

    fn line(&self, terms: &[Term], fit: &Fit) -> Vec<CurvePoint> {
        let Levels::Quantities { of_setup, .. } = &self.factors.list[self.factor].levels else { return Vec::new() };
        let of = |term: &Term, u: f64| match term {
            Term::Slope { factor } if *factor == self.factor => u,
            Term::Bend { factor } if *factor == self.factor => u * u,
            _ => 0.0,
        };
        let mean_of =
            |term: &Term| of_setup.iter().map(|x| of(term, self.range.scaled(*x))).sum::<f64>() / of_setup.len() as f64;
        let at = |i: usize| {
            let u = 2.0 * i as f64 / (DRAWN - 1) as f64 - 1.0;
            let weights = DVector::from_fn(terms.len(), |t, _| of(&terms[t], u) - mean_of(&terms[t]));
            let d = fit.estimated(&weights, self.joint.dof);
            let (value, half) = (self.mean() + d.value, self.t * d.se);
            CurvePoint { level: self.range.level(u), value, low: value - half, high: value + half }
        };
        (0..DRAWN).map(at).collect()
    }
}

/// Lowest and highest point of the set within −1 and 1.
fn inside(set: Set) -> Option<(f64, f64)> {
    let cut = |low: f64, high: f64| (low <= 1.0 && high >= -1.0).then(|| (low.max(-1.0), high.min(1.0)));
    let parts = match set {
        Set::Between(low, high) => [cut(low, high), None],
        Set::Outside(low, high) => [cut(f64::NEG_INFINITY, low), cut(high, f64::INFINITY)],
        Set::Anywhere => [Some((-1.0, 1.0)), None],
    };
    parts.into_iter().flatten().reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)))
}
