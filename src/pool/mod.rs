//! Differences between set-ups from several results brought together: days, loops, rollers.
//!
//! Given solutions as they were written (bytes of `solution.json`); gives one [`PooledResult`]: for every difference that
//! at least two results have seen the weighted mean, how well the results agree, and the mean under disagreement; so too for
//! the effects of factors, and curves over quantities with their best level. It solves nothing, leaves no result out silently, and reads no file.
//!
//! # What days have in common
//!
//! Two days with one power meter share its scale error: it moves both alike, so it neither shows in their disagreement
//! nor shrinks in their mean. The budget of each result tells source by source how far one standard uncertainty moves
//! a difference, aᵢₛ for day i and source s. Sources of the instruments are taken as one and the same error on all
//! days, fully correlated with one sign (the safe side: what is shared never averages out); those of a day alone, such
//! as each weighing and the day's gusts, as independent (`told::OF_A_DAY`). With uᵢ the whole standard error,
//!
//! ```text
//! own variance        oᵢ² = uᵢ² − Σₛ aᵢₛ² + Σₛ (aᵢₛ − minⱼ aⱼₛ)²      weighs the days and judges their agreement
//! mean                ȳ   = Σ wᵢ yᵢ,  wᵢ ∝ 1/(oᵢ² + τ²),  τ² = 0 while the days agree
//! put back on the mean Σₛ [ (Σᵢ wᵢ aᵢₛ)² − Σᵢ wᵢ² (aᵢₛ − minⱼ aⱼₛ)² ]
//! ```
//!
//! which is wᵀVw of the full covariance V = diag(uᵢ² − Σₛ aᵢₛ²) + Σₛ aₛaₛᵀ, and exact for the difference of two days.
//! [`Instruments::Separate`] takes everything as independent, for days with other meters, scales and thermometers.

mod choose;
mod curves;
pub mod day;
mod day_setups;
mod factors;
mod family;
#[cfg(test)]
mod made_up_day;
mod quantity;
mod result;
pub mod result_file;
mod mixed_up;
mod told;

pub use choose::{Choice, FEWEST, Instruments, MOST};
pub use day::Day;
pub use result::{
    DayContrast, DayEffect, DayWeight, PooledContrast, PooledCurve, PooledDay, PooledEffect, PooledQuantity,
    PooledResult, SingleContrast,
};

use crate::analysis::known::Uncertain;
use crate::compare::contrast::{Assessed, Difference, judge};
use crate::error::Error;
use crate::finding::What;
use crate::solution::FindingResult;
use crate::solution::Quantity;
use crate::standing::fastest_first;
use crate::uncertainty::budget::Combined;
use choose::{Agreed, PowerLeftOut};
use family::{Found, Seen};
use quantity::Together;

/// Brings results together.
///
/// Errors: [`Error::NotPoolable`] when they have no difference in common, are one day twice, or hold numbers that
/// cannot be; [`Error::Usage`] when the choice does not fit them.
pub fn pool(days: &[Day], choice: &Choice) -> Result<PooledResult, Error> {
    let agreed = Agreed::of(days, choice)?;
    let names = day::names(days);
    let mut findings = agreed.findings.clone();
    let (mut contrasts, mut single) = (Vec::new(), Vec::new());
    let mut tests: Vec<Assessed> = Vec::new();
    for pair in &agreed.pairs {
        let found = Found::of(days, pair);
        match found.seen.as_slice() {
            [] => {}
            [only] => {
                single.push(SingleContrast {
                    setup: pair.setup.clone(),
                    baseline: pair.baseline.clone(),
                    day: only.day + 1,
                });
                findings.push(What::OneResultOnly {
                    setup: agreed.name(&pair.setup),
                    baseline: agreed.name(&pair.baseline),
                    result: names[only.day].clone(),
                });
            }
            _ => {
                let judged = contrast(days, &agreed, &names, &found)?;
                contrasts.push(judged.contrast);
                tests.push(judged.test);
                findings.extend(judged.said);
            }
        }
    }
    judge_all(&mut contrasts, &tests, agreed.confidence);
    let best_two = best_two(days, &agreed, &names, &contrasts)?;
    let effects = factors::effects(days, &agreed)?;
    findings.extend(effects.iter().filter(|e| !e.effect.agree).map(factors::disagreement));
    let curves = curves::curves(days, &agreed);
    if contrasts.is_empty() && effects.is_empty() && curves.curves.is_empty() {
        return Err(choose::nothing_in_common(days, &agreed));
    }
    findings.extend(curves.findings);
    let pooled = |day: usize| {
        let in_contrasts = contrasts.iter().any(|c: &PooledContrast| c.days.iter().any(|d| d.day == day + 1));
        in_contrasts || effects.iter().any(|e| e.days.iter().any(|d| d.day == day + 1))
    };
    let idle = (0..days.len()).filter(|day| !pooled(*day));
    findings.splice(0..0, idle.map(|day| What::ResultNotPooled { result: names[day].clone() }));
    Ok(PooledResult {
        schema: result::SCHEMA,
        kind: result::KIND.into(),
        loopwright: env!("CARGO_PKG_VERSION").into(),
        confidence: agreed.confidence,
        baseline: agreed.baseline.clone(),
        instruments: choice.instruments.word().into(),
        reference: agreed.reference.clone(),
        setups: agreed.setups.clone(),
        days: days.iter().zip(names).map(|(day, name)| PooledDay::of(day, name)).collect(),
        contrasts,
        best_two,
        effects,
        curves: curves.curves,
        single,
        findings: findings
            .iter()
            .map(|w| FindingResult { code: w.code().into(), run: None, message: w.message() })
            .collect(),
    })
}

/// Judges differences together, p-values adjusted over them (Holm).
fn judge_all(contrasts: &mut [PooledContrast], tests: &[Assessed], confidence: f64) {
    let known = |x: f64| x.is_finite().then_some(x);
    for ((contrast, test), judged) in contrasts.iter_mut().zip(tests).zip(judge(tests, confidence)) {
        contrast.p_value = known(test.p_value);
        contrast.p_holm = known(judged.p_holm);
        contrast.detectable = known(test.detectable);
        contrast.p_equivalence = test.p_equivalence.and_then(known);
        contrast.verdict = judged.verdict.to_string();
    }
}

/// The fastest set-up less the next best, judged among all pairs; `None` where one of them is the baseline, with which every set-up
/// is compared already.
///
/// Errors: those of [`contrast`].
fn best_two(
    days: &[Day],
    agreed: &Agreed,
    names: &[String],
    contrasts: &[PooledContrast],
) -> Result<Option<PooledContrast>, Error> {
    let with_baseline = contrasts.iter().filter(|c| c.baseline == agreed.baseline);
    let watts = with_baseline.map(|c| (c.setup.as_str(), c.power_w.as_ref().and_then(|q| q.together.value)));
    let [first, second, ..] = fastest_first(&agreed.baseline, watts)[..] else { return Ok(None) };
    if [first, second].contains(&agreed.baseline.as_str()) {
        return Ok(None);
    }
    let (mut all, mut tests) = (Vec::new(), Vec::new());
    for pair in &agreed.every_pair {
        let found = Found::of(days, pair);
        if found.seen.len() >= FEWEST {
            let one = contrast(days, agreed, names, &found)?;
            all.push(one.contrast);
            tests.push(one.test);
        }
    }
    judge_all(&mut all, &tests, agreed.confidence);
    let joins =
        |c: &PooledContrast| [[first, second], [second, first]].contains(&[c.setup.as_str(), c.baseline.as_str()]);
    Ok(all.into_iter().find(joins))
}

struct OneContrast {
    contrast: PooledContrast,
    test: Assessed,
    said: Vec<What>,
}

/// One difference over all days that have it, with the test it is judged by and what must be told.
fn contrast(days: &[Day], agreed: &Agreed, names: &[String], found: &Found) -> Result<OneContrast, Error> {
    let seen: &[Seen] = &found.seen;
    let left_out: Vec<_> = seen.iter().map(|one| agreed.power_left_out(days, seen, one)).collect();
    let together = |kind: Quantity| {
        let used = seen.iter().zip(&left_out).filter(|(_, out)| kind != Quantity::Power || out.is_none());
        Together::of(&used.map(|(s, _)| s).collect::<Vec<_>>(), kind, agreed)
    };
    let (crr, cda, power) = (together(Quantity::Crr)?, together(Quantity::Cda)?, together(Quantity::Power)?);
    let tested = [(Quantity::Power, &power), (Quantity::Crr, &crr), (Quantity::Cda, &cda)]
        .into_iter()
        .find(|(_, t)| t.is_some());
    let nothing = Combined { standard_uncertainty: f64::NAN, dof: f64::NAN };
    let unknown = Difference { value: f64::NAN, scatter: nothing, instrument: nothing };
    let (kind, difference) = match tested {
        Some((kind, Some(t))) => (Some(kind), difference(&t.uncertain)),
        _ => (None, unknown),
    };
    let margin = agreed.margin_w.filter(|_| kind == Some(Quantity::Power));
    let mut said = Vec::new();
    // Where CdA is shared the watts are those of Crr, and one word is enough.
    let days_of = |t: &Option<Together>| t.as_ref().map_or(0, |t| t.quantity.days.len());
    let crr_told = cda.is_none() && days_of(&power) >= days_of(&crr);
    for (kind, t) in [(Quantity::Power, &power), (Quantity::Crr, &crr), (Quantity::Cda, &cda)] {
        if kind == Quantity::Crr && crr_told {
            continue;
        }
        if let Some(t) = t.as_ref().filter(|t| !t.quantity.agree) {
            said.push(What::ResultsDisagree {
                setup: agreed.name(&found.pair.setup),
                baseline: agreed.name(&found.pair.baseline),
                quantity: kind.word().into(),
                q: t.quantity.q.unwrap_or(f64::NAN),
                dof: t.quantity.q_dof.unwrap_or(f64::NAN),
                p_value: t.quantity.p_value.unwrap_or(f64::NAN),
            });
        }
    }
    let rolling_only: Vec<String> = seen
        .iter()
        .zip(&left_out)
        .filter(|(_, out)| **out == Some(PowerLeftOut::RollingOnly))
        .map(|(s, _)| names[s.day].clone())
        .collect();
    if !rolling_only.is_empty() {
        said.push(What::RollingOnly {
            setup: agreed.name(&found.pair.setup),
            baseline: agreed.name(&found.pair.baseline),
            results: rolling_only,
        });
    }
    if kind.is_none() {
        said.push(What::NothingToPool {
            setup: agreed.name(&found.pair.setup),
            baseline: agreed.name(&found.pair.baseline),
        });
    }
    let contrast = PooledContrast {
        setup: found.pair.setup.clone(),
        baseline: found.pair.baseline.clone(),
        days: seen.iter().zip(&left_out).map(|(s, out)| DayContrast::of(s, *out, agreed)).collect(),
        crr: crr.map(|t| t.quantity),
        cda_m2: cda.map(|t| t.quantity),
        power_w: power.map(|t| t.quantity),
        tested: kind.map(|k| k.key().to_string()),
        ..PooledContrast::default()
    };
    Ok(OneContrast { contrast, test: difference.assess(agreed.confidence, margin), said })
}

fn difference(u: &Uncertain) -> Difference {
    let instrument = Combined { standard_uncertainty: u.instrument_se.unwrap_or(0.0), dof: f64::INFINITY };
    Difference { value: u.value, scatter: u.scatter, instrument }
}
