//! Curves over quantities, such as a pressure, from several days together.
//!
//! Given days whose set-ups state factors; gives for each quantity the curve that all days have in common, straight or with one
//! bend, and its best level, by what a single day is judged by (`factor`). Days need neither the same set-ups nor the same levels:
//! each has a level of its own, and what it tells is how the output changes over the quantity. Where the days have other curves
//! the errors are those that their disagreement shows.

use super::choose::{Agreed, same_reference};
use super::day::Day;
use super::day_setups::{DaySetups, joint};
use super::factors::{adds, in_words};
use super::result::PooledCurve;
use super::told::Told;
use crate::factor::columns::Main;
use crate::factor::curve::curves as fitted;
use crate::factor::effects::interaction;
use crate::factor::model::Joint;
use crate::factor::{Answer, Curve, FactorLevels, Test};
use crate::finding::What;
use crate::session::factors::{Factor, Factors, Levels, MOST_FACTORS, Unit, shown_name};
use crate::solution::Quantity;

/// Most set-ups over all days: the work grows with their cube.
const MOST_TOGETHER: usize = 300;

/// What the days say of one quantity in one output.
pub struct Said {
    pub curves: Vec<PooledCurve>,
    pub findings: Vec<What>,
}

/// See the module; quantities that two days or more have varied.
pub fn curves(days: &[Day], agreed: &Agreed) -> Said {
    let mut said = Said { curves: Vec::new(), findings: Vec::new() };
    let levels = || days.iter().flat_map(|d| &d.factors).flat_map(|f| &f.factors);
    let mut keys: Vec<&str> = levels().filter(|f| is_quantity(f)).map(|f| f.name.as_str()).collect();
    keys.sort_unstable();
    keys.dedup();
    for output in ["power_w", "rolling_power_w", "crr", "cda_m2"] {
        for key in &keys {
            match of_output(days, agreed, output, key) {
                None => {}
                Some(Ok((curve, finding))) => {
                    said.curves.push(curve);
                    said.findings.extend(finding);
                }
                Some(Err(why)) => said.findings.push(What::CurveNotPooled { factor: shown_name(key), why }),
            }
        }
    }
    // The reason is the same for every output.
    said.findings.dedup();
    said
}

fn is_quantity(levels: &FactorLevels) -> bool {
    levels.is == "quantity" && Unit::of_key(&levels.name).is_some()
}

/// A day's levels of a factor, where they are numbers.
fn quantities(levels: &FactorLevels) -> Option<Vec<f64>> {
    let read = |text: &String| text.parse::<f64>().ok().filter(|x| x.is_finite());
    levels.of_setups.iter().map(read).collect()
}

fn stated<'a>(day: &'a Day, key: &str) -> Option<&'a FactorLevels> {
    let levels = day.factors.as_ref()?.factors.iter().find(|f| f.name == key)?;
    (levels.of_setups.len() == day.setups.len()).then_some(levels)
}

/// Whether the day has varied this quantity and answers in this output.
fn varies(day: &Day, agreed: &Agreed, output: &str, key: &str) -> bool {
    let named = |answer: &Answer| match answer {
        Answer::Told(told) => told.output == output,
        Answer::NotTold { output: name, .. } => name == output,
    };
    let same = !output.ends_with("power_w") || same_reference(&day.reference, &agreed.reference);
    let levels = stated(day, key).filter(|f| is_quantity(f)).and_then(quantities);
    let several = levels.is_some_and(|l| l.iter().any(|x| *x != l[0]));
    same && several && day.factors.as_ref().is_some_and(|f| f.outputs.iter().any(named))
}

type OneCurve = (PooledCurve, Option<What>);

/// `None` where fewer than two days tell it. Errors: why two days or more do not.
fn of_output(days: &[Day], agreed: &Agreed, output: &str, key: &str) -> Option<Result<OneCurve, String>> {
    let kind = [Quantity::Crr, Quantity::Cda].into_iter().find(|kind| kind.key() == output).unwrap_or(Quantity::Power);
    let candidates: Vec<usize> = (0..days.len()).filter(|d| varies(&days[*d], agreed, output, key)).collect();
    let broken_down = |told: &Told| !matches!(told, Told::Measured(m) if m.loadings.is_none());
    let whole = !candidates.iter().flat_map(|d| &days[*d].pairs).all(|pair| broken_down(kind.of(&pair.told)));
    let (used, setups): (Vec<usize>, Vec<DaySetups>) = candidates
        .into_iter()
        .filter_map(|d| Some((d, DaySetups::of(&days[d], kind, agreed.instruments, whole)?)))
        .unzip();
    if used.len() < 2 {
        return None;
    }
    let count = setups.iter().map(DaySetups::count).sum::<usize>();
    if count > MOST_TOGETHER {
        return Some(Err(format!(
            "the results have {count} set-ups, more than the limit of {MOST_TOGETHER}; pool fewer"
        )));
    }
    let factors = match factors_of(days, &used, count) {
        Ok(factors) => factors,
        Err(why) => return Some(Err(why)),
    };
    let place = factors.list.iter().position(|f| f.key == key && f.has_curve())?;
    let joint = joint(&setups)?;
    Some(of_factor(&factors, place, &joint, agreed).map(|(curve, agreement)| {
        let disagreement = agreement.as_ref().filter(|t| t.p_value < 1.0 - agreed.confidence);
        let finding = disagreement.map(|t| What::CurvesDisagree {
            factor: shown_name(key),
            quantity: in_words(output),
            p_value: t.p_value,
        });
        let pooled = PooledCurve {
            output: output.to_string(),
            agree: finding.is_none(),
            agreement,
            adds: adds(days, output, &used),
            days: used.iter().map(|d| d + 1).collect(),
            curve,
        };
        (pooled, finding)
    }))
}

/// The curve over one factor, with the test whether the days have it in common.
fn of_factor(factors: &Factors, place: usize, joint: &Joint, agreed: &Agreed) -> Result<(Curve, Option<Test>), String> {
    let main = Main::new(factors, joint, 0)?;
    let day = factors.list.len() - 1;
    let agreement = interaction(factors, &main, joint, (place, day), true);
    let apart = agreement.as_ref().filter(|t| t.p_value < 1.0 - agreed.confidence && t.f > 1.0);
    let key = &factors.list[place].key;
    let of = |main: &Main, joint: &Joint| {
        let all = fitted(factors, main, joint, agreed.confidence);
        all.into_iter().find(|c| c.factor == *key).map(above_its_least)
    };
    let curve = match apart {
        None => of(&main, joint),
        // As Birge (1932) has it: errors as large as the disagreement, known by as many degrees of freedom as it has.
        Some(test) => {
            let wider = Joint { covariance: &joint.covariance * test.f, dof: test.numerator_dof, ..joint.clone() };
            of(&Main::new(factors, &wider, 0)?, &wider)
        }
    };
    let curve = curve.ok_or("the levels ridden do not tell a curve beside the other factors; ride further levels")?;
    Ok((curve, agreement))
}

/// Days have no level in common, so the curve is drawn above its least.
fn above_its_least(mut curve: Curve) -> Curve {
    let least = curve.line.iter().map(|p| p.value).fold(f64::INFINITY, f64::min);
    for p in curve.line.iter_mut().chain(&mut curve.points) {
        p.value -= least;
        p.low -= least;
        p.high -= least;
    }
    curve
}

/// Factors of all set-ups, day by day, the day itself last. A factor that a day does not state was the same all day, so that any
/// level may stand for it.
fn factors_of(days: &[Day], used: &[usize], count: usize) -> Result<Factors, String> {
    let all = || used.iter().flat_map(|d| &days[*d].factors).flat_map(|f| &f.factors);
    let mut keys: Vec<&str> = all().map(|f| f.name.as_str()).collect();
    keys.sort_unstable();
    keys.dedup();
    if keys.len() > MOST_FACTORS {
        return Err(format!(
            "the results have {} factors, more than the limit of {MOST_FACTORS}; pool fewer",
            keys.len()
        ));
    }
    let mut list: Vec<Factor> = keys.iter().filter_map(|key| factor(days, used, key)).collect();
    let of_day = |(place, d): (usize, &usize)| vec![place; days[*d].setups.len()];
    list.push(Factor {
        key: "the day".into(),
        levels: Levels::Kinds {
            names: used.iter().map(|d| format!("result {}", d + 1)).collect(),
            of_setup: used.iter().enumerate().flat_map(of_day).collect(),
        },
    });
    Ok(Factors { list, setups: count })
}

fn factor(days: &[Day], used: &[usize], key: &str) -> Option<Factor> {
    let texts: Vec<Option<&String>> = used
        .iter()
        .flat_map(|d| match stated(&days[*d], key) {
            Some(levels) => levels.of_setups.iter().map(Some).collect::<Vec<_>>(),
            None => vec![None; days[*d].setups.len()],
        })
        .collect();
    let first = texts.iter().flatten().next()?;
    let texts: Vec<&str> = texts.iter().map(|t| t.unwrap_or(first).as_str()).collect();
    let is_number = used.iter().filter_map(|d| stated(&days[*d], key)).all(is_quantity);
    let numbers: Option<Vec<f64>> = texts.iter().map(|t| t.parse().ok().filter(|x: &f64| x.is_finite())).collect();
    let levels = match (Unit::of_key(key), numbers) {
        (Some(unit), Some(of_setup)) if is_number => Levels::Quantities { unit, of_setup },
        _ => {
            let mut names: Vec<String> = texts.iter().map(|t| t.to_string()).collect();
            names.sort();
            names.dedup();
            let of_setup = texts.iter().map(|t| names.iter().position(|n| n == t).unwrap_or(0)).collect();
            Levels::Kinds { names, of_setup }
        }
    };
    Some(Factor { key: key.to_string(), levels }).filter(|f| f.count() > 1)
}

#[cfg(test)]
#[path = "curves_tests.rs"]
mod tests;
