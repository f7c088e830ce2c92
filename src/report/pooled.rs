//! Pooled results in words: the verdict over all days, what each day says, whether the days agree.
//!
//! Given a pooled result and a width; gives plain text that fits it, without colour. It pools nothing.

pub mod figures;
pub mod files;
mod names;
mod page;
mod tables;

use super::factors;
use super::findings::{self, Meaning};
use super::number::{UNKNOWN, fixed, p_value, percent, significant};
use super::table::{paragraph, signed};
use super::text::{LEAST_WIDTH, MOST_WIDTH, item, section};
use super::units::Units;
use super::verdict::check_first;
use super::verdict::comparison::{Voice, headline, not_shown, others};
use crate::pool::{PooledContrast, PooledDay, PooledQuantity, PooledResult};
use crate::solution::{Contrast, FindingResult};
use crate::standing::{self, Ground, Standing, Watts};
use crate::wording::{counted, harmless, listed, venue_name};
use names::{pair, quantities, reference_speed};

/// See the module.
pub fn summary(result: &PooledResult, width: usize, units: Units) -> String {
    let width = width.clamp(LEAST_WIDTH, MOST_WIDTH);
    let mut text = paragraph(&verdict(result, units).join(" "), width, "");
    text.push_str(&paragraph(&sentence(result), width, ""));
    let lines = |all: &[String]| -> String { all.iter().map(|line| item(line, width)).collect() };
    section(&mut text, width, "Not shown", &lines(&open(result, units)));
    let note = format!(
        "± is half the width of the {} interval, SDD the smallest detectable difference. {}",
        percent(result.confidence),
        parts_in_words(result)
    );
    section(&mut text, width, "Differences over the results", &tables::means(result, units).text(width));
    text.push_str(&paragraph(&note, width, ""));
    section(&mut text, width, "What the factors do, over the results", &lines(&curve_sentences(result)));
    section(&mut text, width, "Effects over the results", &tables::effects(result).text(width));
    if !result.effects.is_empty() {
        text.push_str(&paragraph(&effects_note(result), width, ""));
    }
    section(&mut text, width, "What levels cost, over the results", &tables::curves(result).text(width));
    section(&mut text, width, "Results", &tables::days(result).text(width));
    for contrast in &result.contrasts {
        section(&mut text, width, &pair(result, contrast), &tables::by_day(result, contrast, units).text(width));
        text.push_str(&paragraph(&agreement(contrast), width, ""));
    }
    let single: String = result.single.iter().map(|s| paragraph(&single_sentence(result, s), width, "")).collect();
    section(&mut text, width, "In one result only, not pooled", &single);
    let own: Vec<String> = in_units(result, &result.findings, units)
        .iter()
        .filter(|f| f.code != "one-result-only")
        .map(|f| format!("{} [{}]", f.message, f.code))
        .collect();
    section(&mut text, width, "Findings", &lines(&own));
    let carried: Vec<String> =
        in_units(result, &caveats(result), units).iter().map(|f| format!("{} [{}]", f.message, f.code)).collect();
    section(&mut text, width, "Findings of the results themselves", &lines(&carried));
    harmless(&text)
}

/// The standing over all results; `None` where watts are not pooled.
fn standing(result: &PooledResult) -> Option<Standing> {
    let contrasts: Vec<Contrast> = result
        .contrasts
        .iter()
        .chain(&result.best_two)
        .filter(|c| c.tested.as_deref() == Some("power_w"))
        .map(|c| Contrast {
            setup: c.setup.clone(),
            baseline: c.baseline.clone(),
            power_w: c.power_w.as_ref().map(|q| q.together).unwrap_or_default(),
            p_value: c.p_value,
            p_holm: c.p_holm,
            detectable_power_w: c.detectable,
            verdict: c.verdict.clone(),
            ..Contrast::default()
        })
        .collect();
    let (own, pairs): (Vec<Contrast>, Vec<Contrast>) =
        contrasts.into_iter().partition(|c| c.baseline == result.baseline);
    let rolling = result.days.iter().all(|day| day.venue == "rollers");
    let watts = if rolling { Watts::Rolling } else { Watts::All };
    standing::of(watts, Ground::Only, &result.baseline, &own, &pairs)
}

fn spoken<T>(result: &PooledResult, units: Units, say: impl Fn(&Voice) -> T) -> T {
    let name = |id: &str| result.name_of(id);
    let at = format!("at {}", reference_speed(result, units));
    say(&Voice { name: &name, at, on: "loop", mixed: false, doubted: check_first(result).is_some() })
}

/// What must be looked at in one of the results first.
fn check_first(result: &PooledResult) -> Option<String> {
    check_first::sentence(result.days.iter().flat_map(|day| &day.findings))
}

/// The fastest set-up over all results, then the others.
pub fn verdict(result: &PooledResult, units: Units) -> Vec<String> {
    let Some(standing) = standing(result) else {
        return vec!["No difference in watts could be brought together.".into()];
    };
    spoken(result, units, |voice| {
        let mut said: Vec<String> = check_first(result).into_iter().collect();
        said.push(headline(voice, &standing));
        said.extend(others(voice, &standing));
        said
    })
}

/// Pairs that may be chance.
pub fn open(result: &PooledResult, units: Units) -> Vec<String> {
    let Some(standing) = standing(result) else { return Vec::new() };
    spoken(result, units, |voice| not_shown(voice, &standing))
}

/// Findings in the units of the reader.
fn in_units(result: &PooledResult, told: &[FindingResult], units: Units) -> Vec<FindingResult> {
    let names: Vec<String> =
        result.contrasts.iter().flat_map(|c| [&c.setup, &c.baseline]).map(|id| result.name_of(id)).collect();
    findings::in_units(told, units, &names.iter().map(String::as_str).collect::<Vec<_>>())
}

/// Findings of the parts that touch the answer, with the name of the result; each once.
pub fn caveats(result: &PooledResult) -> Vec<FindingResult> {
    let mut all: Vec<FindingResult> = Vec::new();
    let mut seen = std::collections::BTreeSet::new();
    for group in [Meaning::Changes, Meaning::Limits] {
        for day in &result.days {
            for finding in day.findings.iter().filter(|f| findings::meaning(&f.code) == group) {
                if !seen.insert((&day.sha256, &finding.code, finding.run, &finding.message)) {
                    continue;
                }
                let run = finding.run.map(|run| format!(", run {run}")).unwrap_or_default();
                all.push(FindingResult {
                    message: format!("{}{run}: {}", name_of_file(day), finding.message),
                    run: None,
                    code: finding.code.clone(),
                });
            }
        }
    }
    all
}

/// The name of a result without its venue: what is found belongs to the whole file.
fn name_of_file(day: &PooledDay) -> &str {
    day.name.strip_suffix(&format!(", {}", venue_name(&day.venue))).unwrap_or(&day.name)
}

/// How to read pooled effects; empty where there are none.
pub fn effects_note(result: &PooledResult) -> String {
    if result.effects.is_empty() {
        return String::new();
    }
    let mut said = "Each effect is the mean over the days that have it. p is adjusted for the number of effects of the output (Holm)."
        .to_string();
    if result.effects.iter().any(|e| e.adds == Some(false)) {
        said.push_str(
            " On at least one day effects depend on each other, so there the differences of set-ups count and not these.",
        );
    }
    said
}

/// What the curves say that the days have in common: of watts, or of what there is.
pub fn curve_sentences(result: &PooledResult) -> Vec<String> {
    let (mut said, mut told): (Vec<String>, Vec<&str>) = (Vec::new(), Vec::new());
    for c in &result.curves {
        // Outputs stand in the order of their weight.
        if told.contains(&c.curve.factor.as_str()) {
            continue;
        }
        told.push(&c.curve.factor);
        let mut words = factors::of_curve(&c.curve, &c.output, result.confidence);
        if !c.agree {
            words.push_str(" The days have other curves, and the errors are those of their disagreement.");
        }
        if c.adds == Some(false) {
            words.push_str(" On at least one day this depends on another factor, so there the set-ups count.");
        }
        said.push(words);
    }
    said.extend(factors::caution(told.into_iter()));
    said
}

/// What is pooled, and whether it may be.
pub fn sentence(result: &PooledResult) -> String {
    let disagreeing: Vec<String> = result
        .contrasts
        .iter()
        .filter(|c| quantities(c).iter().any(|(_, q)| !q.agree))
        .map(|c| pair(result, c))
        .collect();
    let verdict = if result.contrasts.is_empty() {
        "No difference between set-ups is in two of them.".to_string()
    } else if disagreeing.is_empty() {
        "They agree within their own errors.".to_string()
    } else {
        format!("THEY DISAGREE on {}: look at the days before quoting a mean.", listed(&disagreeing))
    };
    let days = result.days_of_riding(1..=result.days.len());
    let of_days = if days == result.days.len() { String::new() } else { format!(" of {}", counted(days, "day")) };
    format!(
        "{} from {}{of_days}. {verdict}",
        match (result.contrasts.len(), result.curves.len() + result.effects.len()) {
            (0, answers) => format!("{} about factors", counted(answers, "answer")),
            (differences, _) => counted(differences, "difference"),
        },
        counted(result.days.len(), "result")
    )
}

fn parts_in_words(result: &PooledResult) -> String {
    match result.instruments.as_str() {
        "separate" => "All errors count as independent from day to day (--instruments separate), which holds only for \
                       days with another meter, wheel, scale and thermometer."
            .into(),
        _ => "'own' is what each day errs by itself and what shrinks with more days; 'shared' is what the instruments add, one \
              and the same error on all days, which does not. Days with other instruments: --instruments separate."
            .into(),
    }
}

fn agreement(contrast: &PooledContrast) -> String {
    let one = |(name, q): &(&str, &PooledQuantity)| {
        let numbers = format!(
            "Q {} on {}, p {}, Birge ratio {}",
            fixed(q.q, 1),
            fixed(q.q_dof, 0),
            p_value(q.p_value),
            fixed(q.birge_ratio, 2)
        );
        if q.agree {
            return format!("{name}: the results agree ({numbers}).");
        }
        let together = signed(&q.common);
        let between = q.between_sd.map_or(UNKNOWN.into(), |sd| significant(sd, 2));
        format!(
            "{name}: THE RESULTS DISAGREE ({numbers}); standard deviation between days {between}. Without that the \
             mean would be {together}."
        )
    };
    let said: Vec<String> = quantities(contrast).iter().map(one).collect();
    if said.is_empty() { "No quantity was measured by two results.".into() } else { said.join(" ") }
}

fn single_sentence(result: &PooledResult, single: &crate::pool::SingleContrast) -> String {
    let day = result.days.get(single.day.saturating_sub(1)).map_or(UNKNOWN, |d| d.name.as_str());
    format!("{} less {}: {day}", result.name_of(&single.setup), result.name_of(&single.baseline))
}
