//! What the factors of set-ups do, over several days.
//!
//! Given days whose results hold effects of factors; gives the weighted mean of each effect that two days or more have, level less
//! reference. Set-ups need not have equal names on both days, only factors and levels. A day that counts from another level is
//! turned where it tells the same two levels. Quantities of three levels or more have curves (`pool/curves.rs`).
//!
//! Results do not part the error of an effect by source. What the measuring chain has of it is taken as its largest share in
//! the differences of that day, all of one source, which is the safe side: what is shared does not average out.

use super::choose::{Agreed, same_reference};
use super::day::Day;
use super::quantity::measured_together;
use super::result::{DayEffect, PooledEffect};
use super::told::{Measure, Told};
use crate::compare::multiplicity::holm;
use crate::error::Error;
use crate::factor::{Answer, FactorOutput, Interval};
use crate::finding::What;
use crate::session::factors::shown_name;
use crate::solution::Quantity;
use crate::uncertainty::student::t_two_sided_p;

/// Most of a variance that is taken for that of the measuring chain.
const MOST_SHARED: f64 = 0.99;

/// An effect by name: level less reference.
#[derive(Debug, Clone, PartialEq)]
struct Name {
    output: String,
    factor: String,
    level: String,
    against: String,
}

/// See the module. Empty where no two days have an effect in common.
///
/// Errors: [`Error::Numerical`] when the numbers of the days give no finite mean.
pub fn effects(days: &[Day], agreed: &Agreed) -> Result<Vec<PooledEffect>, Error> {
    let all: Vec<Vec<(Name, Measure)>> = days.iter().map(|day| of_day(day, agreed)).collect();
    let mut names: Vec<Name> = Vec::new();
    for (name, _) in all.iter().flatten() {
        if !names.iter().any(|n| n == name || *n == turned(name)) {
            names.push(name.clone());
        }
    }
    let mut pooled = Vec::new();
    for name in &names {
        let seen: Vec<(usize, Measure)> =
            all.iter().enumerate().filter_map(|(day, own)| Some((day, in_day(own, name)?))).collect();
        let measured: Vec<(usize, &Measure)> = seen.iter().map(|(day, m)| (*day, m)).collect();
        if measured.len() < 2 {
            continue;
        }
        let together = measured_together(&measured, agreed)?;
        let (value, se, dof) =
            (together.quantity.together.value, together.quantity.together.se, together.quantity.together.dof);
        let p_value = value.zip(se).map(|(v, se)| t_two_sided_p(v / se, dof.unwrap_or(f64::INFINITY)));
        pooled.push(PooledEffect {
            output: name.output.clone(),
            factor: name.factor.clone(),
            level: name.level.clone(),
            against: name.against.clone(),
            p_value: p_value.filter(|p| p.is_finite()),
            p_holm: None,
            days: measured.iter().map(|(day, m)| DayEffect { day: day + 1, value: m.value, se: m.se }).collect(),
            adds: adds(days, &name.output, &measured.iter().map(|(day, _)| *day).collect::<Vec<_>>()),
            effect: together.quantity,
        });
    }
    adjust(&mut pooled);
    Ok(pooled)
}

/// Whether effects add on all of these days that can tell; `None` where none can.
pub fn adds(days: &[Day], output: &str, used: &[usize]) -> Option<bool> {
    let of = |day: &usize| {
        let mut told = days[*day].factors.iter().flat_map(|r| &r.outputs).filter_map(Answer::told);
        told.find(|o| o.output == output)?.adds
    };
    used.iter().filter_map(of).reduce(|a, b| a && b)
}

/// What must be told of days that differ.
pub fn disagreement(effect: &PooledEffect) -> What {
    let named = |level: &str| format!("{} {level}", shown_name(&effect.factor)).trim_end().to_string();
    let known = |x: Option<f64>| x.unwrap_or(f64::NAN);
    What::ResultsDisagree {
        setup: named(&effect.level),
        baseline: named(&effect.against),
        quantity: in_words(&effect.output),
        q: known(effect.effect.q),
        dof: known(effect.effect.q_dof),
        p_value: known(effect.effect.p_value),
    }
}

/// An output within a sentence.
pub fn in_words(output: &str) -> String {
    match output {
        "crr" => "Crr",
        "cda_m2" => "CdA",
        "rolling_power_w" => "watts of rolling",
        _ => "watts",
    }
    .to_string()
}

/// Holm over the effects of one output, as on a single day.
fn adjust(all: &mut [PooledEffect]) {
    let mut outputs: Vec<String> = all.iter().map(|e| e.output.clone()).collect();
    outputs.dedup();
    for output in outputs {
        let p: Vec<f64> = all.iter().filter(|e| e.output == output).map(|e| e.p_value.unwrap_or(f64::NAN)).collect();
        for (effect, p) in all.iter_mut().filter(|e| e.output == output).zip(holm(&p)) {
            effect.p_holm = Some(p).filter(|p| p.is_finite());
        }
    }
}

fn turned(name: &Name) -> Name {
    Name { level: name.against.clone(), against: name.level.clone(), ..name.clone() }
}

/// The effect on a day, with its sign turned where the day counts it the other way.
fn in_day(own: &[(Name, Measure)], name: &Name) -> Option<Measure> {
    let find = |wanted: &Name| own.iter().find(|(n, _)| n == wanted).map(|(_, m)| m.clone());
    let opposite = || find(&turned(name)).map(|m| Measure { value: -m.value, ..m });
    find(name).or_else(opposite)
}

/// Effects of one day by name; watts at another reference than that of the pool are not the same quantity.
fn of_day(day: &Day, agreed: &Agreed) -> Vec<(Name, Measure)> {
    let same = same_reference(&day.reference, &agreed.reference);
    let told = day.factors.iter().flat_map(|r| &r.outputs).filter_map(Answer::told);
    told.filter(|output| same || !output.output.ends_with("power_w"))
        .flat_map(|output| of_output(day, output))
        .collect()
}

fn of_output(day: &Day, output: &FactorOutput) -> Vec<(Name, Measure)> {
    let share = shared_share(day, &output.output);
    let measure = |i: &Interval| {
        let known = i.se > 0.0 && i.se.is_finite() && i.value.is_finite();
        known.then(|| Measure {
            value: i.value,
            se: i.se,
            dof: i.dof.unwrap_or(f64::INFINITY),
            scatter_se: None,
            prior_se: None,
            run_to_run_se: None,
            instrument_se: Some(i.se * share.sqrt()),
            loadings: None,
        })
    };
    let name = |factor: &str, level: &str, against: &str| Name {
        output: output.output.clone(),
        factor: factor.into(),
        level: level.into(),
        against: against.into(),
    };
    let mut out = Vec::new();
    for effects in &output.effects {
        for level in &effects.levels {
            let named = name(&effects.factor, &level.level, &effects.reference);
            out.extend(measure(&level.effect).map(|m| (named, m)));
        }
    }
    out
}

/// Largest share of the instruments in the variance of the day's differences.
fn shared_share(day: &Day, output: &str) -> f64 {
    let kind = [Quantity::Crr, Quantity::Cda].into_iter().find(|kind| kind.key() == output).unwrap_or(Quantity::Power);
    let share = |told: &Told| match told {
        Told::Measured(m) => m.instrument_se.map(|u| (u / m.se).powi(2)),
        Told::Unknown | Told::Shared => None,
    };
    day.pairs.iter().filter_map(|pair| share(kind.of(&pair.told))).fold(0.0, f64::max).min(MOST_SHARED)
}

#[cfg(test)]
#[path = "factors_tests.rs"]
mod tests;
