//! What loop and rollers say together: differences brought together, and what the road surface costs.
//!
//! Given the solutions of both venues and their budgets; gives combined differences and the gap of each set-up. Errors
//! that both venues share (power, speed, efficiency…) are carried through as shared. It averages nothing silently.

use super::instrument::InstrumentBudget;
use super::known::{Known, Uncertain};
use crate::compare::contrast::judge;
use crate::compare::pooling::{Measurement, Pooled};
use crate::error::Error;
use crate::session::Session;
use crate::solution::{Agreement, CombinedContrast, Contrast, Estimate, Quantity, Solution, SurfaceLoss};
use crate::uncertainty::budget::{Budget, Combined, Source, welch_satterthwaite};

/// One venue.
#[derive(Clone, Copy)]
pub struct Side<'a> {
    pub solution: &'a Solution,
    pub budget: Option<&'a InstrumentBudget>,
}

impl Side<'_> {
    fn index(&self, id: &str) -> Option<usize> {
        self.solution.setups.iter().position(|s| s.id == id)
    }
}

/// Both venues and the budget over the outputs of both, the loop's first.
pub struct Both<'a> {
    pub circuit: Side<'a>,
    pub rollers: Side<'a>,
    joint: Option<Budget>,
}

impl<'a> Both<'a> {
    /// Errors: those of [`Budget::new`].
    pub fn new(circuit: Side<'a>, rollers: Side<'a>) -> Result<Both<'a>, Error> {
        let joint = match (circuit.budget, rollers.budget) {
            (Some(a), Some(b)) => Some(joint(a, b)?),
            _ => None,
        };
        Ok(Both { circuit, rollers, joint })
    }

    /// Variance that errors of both venues cause together in a combination of the Crr of set-ups on each.
    fn variance(&self, loop_part: &[f64], roller_part: &[f64]) -> Option<f64> {
        let coefficients: Vec<f64> = loop_part.iter().chain(roller_part).copied().collect();
        Some(self.joint.as_ref()?.combined(&coefficients).standard_uncertainty.powi(2))
    }

    /// Crr on the loop less Crr on the rollers for every set-up that has both.
    pub fn surface_losses(&self, session: &Session, per_crr_w: f64) -> Vec<SurfaceLoss> {
        let confidence = session.solve.confidence;
        let loss = |id: &str| {
            let (i, j) = (self.circuit.index(id)?, self.rollers.index(id)?);
            let (on_loop, on_drums) = (&self.circuit.solution.setups[i].crr, &self.rollers.solution.setups[j].crr);
            let part = |b: &InstrumentBudget, s: usize, sign: f64| -> Vec<f64> {
                b.of_setup(s, Quantity::Crr).iter().map(|c| sign * c).collect()
            };
            let variance = match (self.circuit.budget, self.rollers.budget) {
                (Some(a), Some(b)) => self.variance(&part(a, i, 1.0), &part(b, j, -1.0)),
                _ => None,
            };
            let crr = Uncertain {
                instrument_se: variance.map(f64::sqrt),
                ..Uncertain::of_laps(
                    on_loop.value? - on_drums.value?,
                    welch_satterthwaite(&[scatter(on_loop)?, scatter(on_drums)?]),
                )
            };
            Some(SurfaceLoss {
                setup: id.to_string(),
                crr: crr.estimate(confidence),
                rolling_power_w: crr.times(per_crr_w).estimate(confidence),
            })
        };
        session.setups.iter().filter_map(|setup| loss(&setup.id)).collect()
    }

    /// Differences with the baseline that both venues have measured.
    pub fn combined(&self, session: &Session, per_crr_w: f64) -> Vec<CombinedContrast> {
        self.family(session, per_crr_w, &|solution| &solution.contrasts)
    }

    /// Every pair that both venues have measured.
    pub fn combined_pairs(&self, session: &Session, per_crr_w: f64) -> Vec<CombinedContrast> {
        self.family(session, per_crr_w, &|solution| &solution.all_pairs)
    }

    /// Differences that are judged together.
    fn family(
        &self,
        session: &Session,
        per_crr_w: f64,
        of: &dyn Fn(&Solution) -> &Vec<Contrast>,
    ) -> Vec<CombinedContrast> {
        let confidence = session.solve.confidence;
        let found: Vec<PooledPair> = of(self.circuit.solution)
            .iter()
            .filter_map(|a| {
                let same = |b: &&Contrast| b.setup == a.setup && b.baseline == a.baseline;
                self.pooled(a, of(self.rollers.solution).iter().find(same)?, confidence)
            })
            .collect();
        let margin = session.solve.negligible_power_w;
        let tests: Vec<_> =
            found.iter().map(|m| Known::Within(m.crr.times(per_crr_w)).assess(confidence, margin)).collect();
        let judged = judge(&tests, confidence);
        let known = |x: f64| x.is_finite().then_some(x);
        let rows = found.into_iter().zip(&tests).zip(judged);
        rows.map(|((m, t), j)| CombinedContrast {
            setup: m.setup,
            baseline: m.baseline,
            crr: whole(m.crr.estimate(confidence)),
            rolling_power_w: whole(m.crr.times(per_crr_w).estimate(confidence)),
            p_value: known(t.p_value),
            p_holm: known(j.p_holm),
            detectable_power_w: known(t.detectable),
            p_equivalence: t.p_equivalence.and_then(known),
            verdict: j.verdict.to_string(),
            agreement: m.agreement,
        })
        .collect()
    }

    /// What both sides share cannot make them disagree and does not average out: it is taken off each, and put back on
    /// the mean.
    fn pooled(&self, a: &Contrast, b: &Contrast, confidence: f64) -> Option<PooledPair> {
        let shared = self.shared_variance(a, b).unwrap_or(0.0);
        let pooled = Pooled::of(&[own(&a.crr, shared)?, own(&b.crr, shared)?]).ok()?;
        let alpha = 1.0 - confidence;
        let mean = pooled.reported(alpha);
        Some(PooledPair {
            setup: a.setup.clone(),
            baseline: a.baseline.clone(),
            crr: Uncertain {
                instrument_se: Some(shared.sqrt()),
                ..Uncertain::of_laps(mean.value, Combined { standard_uncertainty: mean.standard_error, dof: mean.dof })
            },
            agreement: Agreement {
                agree: pooled.p_value >= alpha,
                q: Some(pooled.q),
                dof: Some(pooled.q_dof),
                p_value: Some(pooled.p_value),
                birge_ratio: Some(pooled.birge_ratio),
                between_sd_crr: Some(pooled.between_variance.sqrt()),
            },
        })
    }

    /// Covariance of the two differences through shared errors, from the variances of their sum and difference; never
    /// negative nor more than either instrument variance, which errs on the safe side.
    fn shared_variance(&self, a: &Contrast, b: &Contrast) -> Option<f64> {
        let of = |side: &Side, c: &Contrast| -> Option<Vec<f64>> {
            Some(side.budget?.of_difference(side.index(&c.setup)?, side.index(&c.baseline)?, Quantity::Crr))
        };
        let (first, second) = (of(&self.circuit, a)?, of(&self.rollers, b)?);
        let opposite: Vec<f64> = second.iter().map(|c| -c).collect();
        let covariance = 0.25 * (self.variance(&first, &second)? - self.variance(&first, &opposite)?);
        let most = a.crr.instrument_se?.min(b.crr.instrument_se?).powi(2);
        Some(covariance.clamp(0.0, most))
    }
}

struct PooledPair {
    setup: String,
    baseline: String,
    crr: Uncertain,
    agreement: Agreement,
}

/// The parts of a combined error are no longer scatter and instruments.
fn whole(estimate: Estimate) -> Estimate {
    Estimate { scatter_se: None, instrument_se: None, ..estimate }
}

/// Scatter with its degrees of freedom, got back from those of the whole: the instrument part has infinitely many, so
/// ν = ν_scatter (u/s)⁴ (JCGM 100:2008, eq. G.2b).
fn scatter(e: &Estimate) -> Option<Combined> {
    let (s, u) = (e.scatter_se?, e.se?);
    let dof = e.dof.map_or(f64::INFINITY, |dof| dof * (s / u).powi(4));
    Some(Combined { standard_uncertainty: s, dof })
}

/// A difference without the variance it shares with another; degrees of freedom by the same formula.
fn own(e: &Estimate, shared: f64) -> Option<Measurement> {
    let whole = e.se?.powi(2);
    let left = whole - shared;
    let dof = e.dof.map_or(f64::INFINITY, |dof| dof * (left / whole).powi(2));
    Some(Measurement { value: e.value?, standard_error: left.sqrt(), dof })
}

/// One budget over the outputs of both venues. Sources of the whole session that have one name are one source; those of
/// a run carry its number and stay apart.
fn joint(a: &InstrumentBudget, b: &InstrumentBudget) -> Result<Budget, Error> {
    let lengths = [a.of_setup(0, Quantity::Crr).len(), b.of_setup(0, Quantity::Crr).len()];
    let pad = |source: &Source, before: usize, after: usize| {
        let wide = |change: &[f64]| [&vec![0.0; before], change, &vec![0.0; after]].concat();
        Source { plus: wide(&source.plus), minus: wide(&source.minus), ..source.clone() }
    };
    let mut sources: Vec<Source> = a.budget.sources().iter().map(|s| pad(s, 0, lengths[1])).collect();
    for (source, group) in b.budget.sources().iter().zip(&b.group) {
        let right = pad(source, lengths[0], 0);
        let common = |s: &&mut Source| s.name == source.name && s.name == *group;
        match sources.iter_mut().find(common) {
            Some(left) => {
                let add = |to: &mut Vec<f64>, from: &[f64]| to.iter_mut().zip(from).for_each(|(t, f)| *t += f);
                add(&mut left.plus, &right.plus);
                add(&mut left.minus, &right.minus);
            }
            None => sources.push(right),
        }
    }
    Budget::new(sources)
}
