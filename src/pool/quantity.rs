//! One quantity of one difference over several days.
//!
//! Given each day's value with its error and what of that comes from the instruments; gives the mean, the agreement
//! of the days, and the shared error put back. See [`super`] for the equations.

use super::choose::{Agreed, Instruments};
use super::family::Seen;
use super::result::{DayWeight, PooledQuantity};
use super::told::{Loading, Measure, Told};
use crate::analysis::known::Uncertain;
use crate::compare::pooling::{Mean, Measurement, Pooled};
use crate::error::Error;
use crate::solution::Estimate;
use crate::solution::Quantity;
use crate::uncertainty::budget::Combined;
use std::collections::BTreeMap;

/// A pooled quantity, for the report and for the test.
pub struct Together {
    pub uncertain: Uncertain,
    pub quantity: PooledQuantity,
}

/// A day's part.
struct Part<'a> {
    day: usize,
    measure: &'a Measure,
    /// Loadings by source, in the order of the sources; 0 where the day has none.
    loadings: Vec<f64>,
    /// Variance that is the day's own, shared errors off and what they differ by put back.
    own: f64,
}

impl Together {
    /// `None` when fewer than two days have measured it.
    ///
    /// Errors: [`Error::Numerical`] when the numbers of the days give no finite mean.
    pub fn of(seen: &[&Seen], quantity: Quantity, agreed: &Agreed) -> Result<Option<Together>, Error> {
        let measured: Vec<(usize, &Measure)> = seen
            .iter()
            .filter_map(|s| match quantity.of(&s.told) {
                Told::Measured(m) => Some((s.day, m)),
                Told::Unknown | Told::Shared => None,
            })
            .collect();
        if measured.len() < 2 {
            return Ok(None);
        }
        measured_together(&measured, agreed).map(Some)
    }
}

/// Values of at least two days by their places in the list of days.
///
/// Errors: [`Error::Numerical`] when the numbers of the days give no finite mean.
pub fn measured_together(measured: &[(usize, &Measure)], agreed: &Agreed) -> Result<Together, Error> {
    together(&parts(measured, agreed.instruments), agreed.confidence)
}

/// Loadings of all days on the same sources, and own variances.
fn parts<'a>(measured: &[(usize, &'a Measure)], instruments: Instruments) -> Vec<Part<'a>> {
    // Where one day has no breakdown the whole instrument error of every day stands for one shared source.
    let whole = measured.iter().any(|(_, m)| m.loadings.is_none());
    let loadings: Vec<Vec<Loading>> = match instruments {
        Instruments::Shared => measured.iter().map(|(_, m)| m.loadings_or_whole(whole)).collect(),
        Instruments::Separate => vec![Vec::new(); measured.len()],
    };
    let mut sources: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
    for (i, of_day) in loadings.iter().enumerate() {
        for loading in of_day {
            let row = sources.entry(&loading.source).or_insert_with(|| vec![0.0; measured.len()]);
            row[i] += loading.moves;
        }
    }
    let least: Vec<f64> = sources.values().map(|row| row.iter().copied().fold(f64::INFINITY, f64::min)).collect();
    measured
        .iter()
        .enumerate()
        .map(|(i, &(day, measure))| {
            let loadings: Vec<f64> = sources.values().map(|row| row[i]).collect();
            let shared: f64 = loadings.iter().map(|a| a * a).sum();
            let apart: f64 = loadings.iter().zip(&least).map(|(a, m)| (a - m).powi(2)).sum();
            Part { day, measure, loadings, own: measure.se.powi(2) - shared + apart }
        })
        .collect()
}

fn together(parts: &[Part], confidence: f64) -> Result<Together, Error> {
    // The instruments have infinitely many degrees of freedom, so those of the rest are ν (o/u)⁴ (JCGM 100, G.2b).
    let measurements: Vec<Measurement> = parts
        .iter()
        .map(|p| Measurement {
            value: p.measure.value,
            standard_error: p.own.sqrt(),
            dof: p.measure.dof * (p.own / p.measure.se.powi(2)).powi(2),
        })
        .collect();
    let pooled = Pooled::of(&measurements)?;
    let alpha = 1.0 - confidence;
    let agree = pooled.p_value >= alpha;
    let weights = |between: f64| -> Vec<f64> {
        let raw: Vec<f64> = parts.iter().map(|p| 1.0 / (p.own + between)).collect();
        let total: f64 = raw.iter().sum();
        raw.iter().map(|w| w / total).collect()
    };
    let (fixed, random) = (weights(0.0), weights(pooled.between_variance));
    let whole = |mean: Mean, weights: &[f64]| Uncertain {
        instrument_se: Some(put_back(parts, weights).sqrt()),
        ..Uncertain::of_laps(mean.value, Combined { standard_uncertainty: mean.standard_error, dof: mean.dof })
    };
    let used = if agree { &fixed } else { &random };
    let uncertain = whole(pooled.reported(alpha), used);
    let estimate = |u: &Uncertain| -> Estimate { u.estimate(confidence) };
    let known = |x: f64| x.is_finite().then_some(x);
    let quantity = PooledQuantity {
        together: estimate(&uncertain),
        agree,
        q: known(pooled.q),
        q_dof: known(pooled.q_dof),
        p_value: known(pooled.p_value),
        birge_ratio: known(pooled.birge_ratio),
        birge_se: known(pooled.birge_se()),
        i_squared: known(pooled.i_squared),
        between_sd: known(pooled.between_variance.sqrt()),
        common: estimate(&whole(pooled.common, &fixed)),
        random: estimate(&whole(pooled.random, &random)),
        days: parts
            .iter()
            .zip(used)
            .map(|(p, weight)| DayWeight {
                day: p.day + 1,
                weight: *weight,
                own_se: p.own.sqrt(),
                shared_se: (p.measure.se.powi(2) - p.own).max(0.0).sqrt(),
            })
            .collect(),
    };
    if quantity.together.value.is_none() || quantity.together.se.is_none() {
        let message = "the differences of the results give no finite mean; look at their standard errors".to_string();
        return Err(Error::Numerical { stage: "pooling", message });
    }
    Ok(Together { uncertain, quantity })
}

/// Variance of the mean through shared errors: Σₛ [(Σ w a)² − Σ w² (a − min a)²], never negative.
fn put_back(parts: &[Part], weights: &[f64]) -> f64 {
    let sources = parts.first().map_or(0, |p| p.loadings.len());
    let of = |s: usize| {
        let least = parts.iter().map(|p| p.loadings[s]).fold(f64::INFINITY, f64::min);
        let mean: f64 = parts.iter().zip(weights).map(|(p, w)| w * p.loadings[s]).sum();
        let apart: f64 = parts.iter().zip(weights).map(|(p, w)| (w * (p.loadings[s] - least)).powi(2)).sum();
        (mean * mean - apart).max(0.0)
    };
    (0..sources).map(of).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};

    fn measure(value: f64, se: f64, chain: &[(&str, f64)]) -> Measure {
        let loading = |&(source, moves): &(&str, f64)| Loading { source: source.into(), moves };
        Measure {
            value,
            se,
            dof: f64::INFINITY,
            scatter_se: None,
            prior_se: None,
            run_to_run_se: None,
            instrument_se: Some(chain.iter().map(|c| c.1 * c.1).sum::<f64>().sqrt()),
            loadings: Some(chain.iter().map(loading).collect()),
        }
    }

    fn pooled(measures: &[Measure], instruments: Instruments) -> Together {
        let measured: Vec<(usize, &Measure)> = measures.iter().enumerate().collect();
        together(&parts(&measured, instruments), 0.95).unwrap()
    }

    #[test]
    fn the_vaccine_trials_pool_as_published_when_nothing_is_shared() {
        // The standard textbook set of 13 BCG trials, log risk ratios (counts from memory); published −0.7141 ± 0.1788;
        // digits recomputed with statsmodels.
        let counts = [
            [4.0, 119.0, 11.0, 128.0],
            [6.0, 300.0, 29.0, 274.0],
            [3.0, 228.0, 11.0, 209.0],
            [62.0, 13_536.0, 248.0, 12_619.0],
            [33.0, 5_036.0, 47.0, 5_761.0],
            [180.0, 1_361.0, 372.0, 1_079.0],
            [8.0, 2_537.0, 10.0, 619.0],
            [505.0, 87_886.0, 499.0, 87_892.0],
            [29.0, 7_470.0, 45.0, 7_232.0],
            [17.0, 1_699.0, 65.0, 1_600.0],
            [186.0, 50_448.0, 141.0, 27_197.0],
            [5.0, 2_493.0, 3.0, 2_338.0],
            [27.0, 16_886.0, 29.0, 17_825.0],
        ];
        let trials: Vec<Measure> = counts
            .iter()
            .map(|[a, b, c, d]: &[f64; 4]| {
                let value = (a / (a + b) / (c / (c + d))).ln();
                measure(value, (1.0 / a - 1.0 / (a + b) + 1.0 / c - 1.0 / (c + d)).sqrt(), &[])
            })
            .collect();
        for instruments in [Instruments::Shared, Instruments::Separate] {
            let q = pooled(&trials, instruments).quantity;
            assert!((q.random.value.unwrap() + 0.714_117_2).abs() < 1e-7);
            assert!((q.random.se.unwrap() - 0.178_742_1).abs() < 1e-7);
            assert!((q.q.unwrap() - 152.233_0).abs() < 1e-4);
            assert!(!q.agree);
        }
    }

    #[test]
    fn a_shared_scale_error_does_not_average_out_and_does_not_hide_a_disagreement() {
        // Algebra: own 0.3 each, shared 0.4 each: the mean has 0.3/√2 and 0.4; Q = (Δ/0.3)²/2.
        let days = [measure(1.0, 0.5, &[("power scale", 0.4)]), measure(2.0, 0.5, &[("power scale", 0.4)])];
        let shared = pooled(&days, Instruments::Shared);
        let se = shared.uncertain.scatter.standard_uncertainty.hypot(shared.uncertain.instrument_se.unwrap());
        assert!((shared.quantity.common.se.unwrap() - (0.045_f64 + 0.16).sqrt()).abs() < 1e-12, "{se}");
        assert!((shared.quantity.q.unwrap() - 0.5 / 0.09).abs() < 1e-9);
        let separate = pooled(&days, Instruments::Separate);
        assert!((separate.quantity.common.se.unwrap() - 0.125_f64.sqrt()).abs() < 1e-12);
        assert!((separate.quantity.q.unwrap() - 2.0).abs() < 1e-9);
    }

    #[test]
    fn unequal_loadings_give_the_variance_of_the_full_covariance() {
        // wᵀVw by hand with V = diag(u² − a²) + aaᵀ.
        let days = [measure(1.0, 0.5, &[("power scale", 0.3)]), measure(1.1, 0.7, &[("power scale", 0.1)])];
        let together = pooled(&days, Instruments::Shared);
        let w: Vec<f64> = together.quantity.days.iter().map(|d| d.weight).collect();
        let (a, b) = (0.25 - 0.09, 0.49 - 0.01);
        let expected = w[0] * w[0] * a + w[1] * w[1] * b + (w[0] * 0.3 + w[1] * 0.1_f64).powi(2);
        assert!((together.quantity.common.se.unwrap().powi(2) - expected).abs() < 1e-12);
    }

    #[test]
    fn intervals_hold_the_truth_as_often_as_they_say_when_one_meter_is_used_on_all_days() {
        // Four days of own error 1 and one error of 1 common to all, 4000 times. The binomial deviation of 95 % is
        // 0.34 %, and a test of agreement at 5 % that widens one interval in twenty lifts the share by up to a point.
        let mut generator = rand_xoshiro::Xoshiro256PlusPlus::seed_from_u64(5);
        let mut normal = || -> f64 { StandardNormal.sample(&mut generator) };
        let (mut shared, mut separate) = (0, 0);
        for _ in 0..4000 {
            let meter = normal();
            let days: Vec<Measure> =
                (0..4).map(|_| measure(meter + normal(), 2.0_f64.sqrt(), &[("power scale", 1.0)])).collect();
            let holds = |t: Together| {
                let e = t.quantity.together;
                usize::from(e.low.unwrap() <= 0.0 && e.high.unwrap() >= 0.0)
            };
            shared += holds(pooled(&days, Instruments::Shared));
            separate += holds(pooled(&days, Instruments::Separate));
        }
        assert!((0.94..0.97).contains(&(shared as f64 / 4000.0)), "{shared}");
        // Taken as independent the same days give an interval that is too short: 2 · 1.96/√8 for a deviation of √1.25.
        assert!(separate < 3400, "{separate}");
    }
}
