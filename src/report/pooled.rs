//! Pooled results in words and tables: the means, what each day says, whether the days agree.
//!
//! Given a pooled result and a width; gives plain text that fits it, without colour. It pools nothing.

pub mod figures;
pub mod files;

use super::differences::signed;
use super::number::{SHARED, UNKNOWN, counted, fixed, is_shared, listed, p_value, percent, shown, significant};
use super::table::{Grid, paragraph};
use super::text::{LEAST_WIDTH, MOST_WIDTH, section, without_controls};
use super::units::Units;
use crate::pool::{PooledContrast, PooledQuantity, PooledResult};
use crate::quantity::m_s_from_km_h;
use crate::solution::Estimate;

/// See the module.
pub fn summary(result: &PooledResult, width: usize, units: Units) -> String {
    let width = width.clamp(LEAST_WIDTH, MOST_WIDTH);
    let mut text = paragraph(&sentence(result), width, "");
    let share = percent(result.confidence);
    section(&mut text, width, "Results", &days(result).text(width));
    let heading = format!("Differences over the results, ± at {share}");
    section(&mut text, width, &heading, &means(result, units).text(width));
    text.push_str(&paragraph(&parts_in_words(result), width, ""));
    for contrast in &result.contrasts {
        section(&mut text, width, &pair(result, contrast), &by_day(result, contrast, units).text(width));
        text.push_str(&paragraph(&agreement(contrast), width, ""));
    }
    let single: String = result.single.iter().map(|s| paragraph(&single_sentence(result, s), width, "")).collect();
    section(&mut text, width, "In one result only, not pooled", &single);
    let told: String = result
        .findings
        .iter()
        .filter(|f| f.code != "one-result-only")
        .map(|f| paragraph(&format!("{} [{}]", f.message, f.code), width, "  ").replacen("  ", "- ", 1))
        .collect();
    section(&mut text, width, "Findings", &told);
    without_controls(&text)
}

/// "Latex less butyl".
pub(super) fn pair(result: &PooledResult, contrast: &PooledContrast) -> String {
    format!("{} less {}", result.name_of(&contrast.setup), result.name_of(&contrast.baseline))
}

pub(super) fn reference_speed(result: &PooledResult, units: Units) -> String {
    let speed = units.speed_value(m_s_from_km_h(result.reference.speed_km_h));
    format!("{} {}", significant(speed, 3), units.speed_unit())
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
        "No difference is in two of them.".to_string()
    } else if disagreeing.is_empty() {
        "They agree within their own errors.".to_string()
    } else {
        format!("THEY DISAGREE on {}: look at the days before quoting a mean.", listed(&disagreeing))
    };
    format!(
        "{} and {} brought together. {verdict}",
        counted(result.days.len(), "result"),
        counted(result.contrasts.len(), "difference")
    )
}

fn parts_in_words(result: &PooledResult) -> String {
    match result.instruments.as_str() {
        "separate" => "All errors count as independent from day to day (--instruments separate), which holds only for \
                       days with another meter, wheel, scale and thermometer."
            .into(),
        _ => "'own' is what each day errs by itself and what shrinks with more days; 'shared' is the measuring chain, one \
              and the same error on all days, which does not. Days with other instruments: --instruments separate."
            .into(),
    }
}

fn days(result: &PooledResult) -> Grid {
    let mut grid = Grid::new(&["Result", "File", "Date", "Venue"]);
    for day in &result.days {
        grid.rows.push(vec![
            day.name.clone(),
            day.file.clone(),
            day.date.clone().unwrap_or_else(|| UNKNOWN.into()),
            day.venue.clone(),
        ]);
    }
    // A name that is the file's is not told twice.
    for row in grid.rows.iter_mut().filter(|row| row[0] == row[1]) {
        row[1] = UNKNOWN.into();
    }
    grid.without_empty(UNKNOWN)
}

/// Value and half-width, with its two parts under it.
fn mean(quantity: Option<&PooledQuantity>) -> String {
    let Some(quantity) = quantity else { return UNKNOWN.into() };
    let parts = shown(&quantity.together);
    let mut text = signed(&quantity.together);
    if !parts.scatter.is_empty() && !parts.instrument.is_empty() {
        text.push_str(&format!("\nown {}\nshared {}", parts.scatter, parts.instrument));
    }
    text
}

fn means(result: &PooledResult, units: Units) -> Grid {
    let watts = format!("W at\n{}", reference_speed(result, units));
    let mut grid = Grid::new(&["Set-up", &watts, "Crr", "CdA, m²", "Days", "p", "Would\nfind", "Verdict"]);
    for contrast in &result.contrasts {
        let name =
            if contrast.baseline == result.baseline { result.name_of(&contrast.setup) } else { pair(result, contrast) };
        grid.rows.push(vec![
            name,
            mean(contrast.power_w.as_ref()),
            mean(contrast.crr.as_ref()),
            mean(contrast.cda_m2.as_ref()),
            contrast.days.len().to_string(),
            p_value(contrast.p_holm),
            contrast.detectable.map_or(UNKNOWN.into(), |d| significant(d, 2)),
            if contrast.tested.is_some() { contrast.verdict.clone() } else { "not known".into() },
        ]);
    }
    grid.without_empty(UNKNOWN)
}

/// What each day says; the weight is that in the quantity that is tested.
fn by_day(result: &PooledResult, contrast: &PooledContrast, units: Units) -> Grid {
    let watts = format!("W at\n{}", reference_speed(result, units));
    let mut grid = Grid::new(&["Result", &watts, "Crr", "CdA, m²", "Weight", "Remark"]);
    let tested = tested(contrast);
    for day in &contrast.days {
        let weight = tested.and_then(|q| q.days.iter().find(|w| w.day == day.day)).map(|w| 100.0 * w.weight);
        let mut remark = Vec::new();
        if day.turned {
            remark.push("sign turned".to_string());
        }
        remark.extend(day.power_left_out.clone().map(|why| format!("W: {why}")));
        grid.rows.push(vec![
            result.days.get(day.day.saturating_sub(1)).map_or(UNKNOWN.into(), |d| d.name.clone()),
            signed(&day.power_w),
            signed(&day.crr),
            signed(&day.cda_m2),
            weight.map_or(UNKNOWN.into(), |w| format!("{} %", fixed(Some(w), 0))),
            remark.join(",\n"),
        ]);
    }
    let together = |q: &Option<PooledQuantity>| signed(&q.as_ref().map_or(Estimate::default(), |q| q.together));
    let shared = contrast.days.iter().all(|d| is_shared(&d.cda_m2));
    grid.rows.push(vec![
        "Together".into(),
        together(&contrast.power_w),
        together(&contrast.crr),
        if shared { SHARED.into() } else { together(&contrast.cda_m2) },
        String::new(),
        String::new(),
    ]);
    grid.without_empty(UNKNOWN)
}

/// The quantity a difference is judged by.
pub(super) fn tested(contrast: &PooledContrast) -> Option<&PooledQuantity> {
    match contrast.tested.as_deref()? {
        "power_w" => contrast.power_w.as_ref(),
        "crr" => contrast.crr.as_ref(),
        _ => contrast.cda_m2.as_ref(),
    }
}

/// The pooled quantities by name.
pub(super) fn quantities(contrast: &PooledContrast) -> Vec<(&'static str, &PooledQuantity)> {
    [("Watts", &contrast.power_w), ("Crr", &contrast.crr), ("CdA", &contrast.cda_m2)]
        .into_iter()
        .filter_map(|(name, q)| Some((name, q.as_ref()?)))
        .collect()
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
        let together = signed(&q.common).replace('\n', " ");
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
