//! Truth beside estimate, and what many rehearsals show, for the terminal.
//!
//! Given comparisons; gives plain text of a width. It computes nothing but roundings.

use super::number::{UNKNOWN, percent, shown, significant};
use super::table::{Grid, paragraph};
use crate::forecast::{BesideTruth, Measure, Study, StudyLine};

/// No narrower and no wider than this.
const WIDTHS: [usize; 2] = [40, 100];

fn decimals(measure: Measure) -> usize {
    match measure {
        Measure::PowerW => 2,
        Measure::Crr => 6,
        Measure::CdaM2 => 5,
    }
}

fn name(subject: &str, measure: Measure) -> String {
    let what = match measure {
        Measure::PowerW => "W",
        Measure::Crr => "Crr",
        Measure::CdaM2 => "CdA, m²",
    };
    format!("{subject}: {what}")
}

fn plain(text: String) -> String {
    text.chars().filter(|c| *c == '\n' || !c.is_control()).collect()
}

/// One day: truth, estimate with its interval, and whether the one lies in the other.
pub fn beside_truth_text(beside: &[BesideTruth], confidence: f64, width: usize) -> String {
    let width = width.clamp(WIDTHS[0], WIDTHS[1]);
    if beside.is_empty() {
        return paragraph("Nothing could be told from this day; the findings of solve say why.", width, "");
    }
    let estimate = format!("Estimate, ± at {}", percent(confidence));
    let mut grid = Grid::new(&["Quantity", "Truth", &estimate, "Off by", "Truth is"]);
    for b in beside {
        let off = b.estimate.value.map_or(f64::NAN, |v| v - b.truth);
        let errors = b.estimate.se.filter(|se| *se > 0.0).map(|se| off / se);
        grid.rows.push(vec![
            name(&b.subject, b.measure),
            significant(b.truth, if b.measure == Measure::PowerW { 5 } else { 4 }),
            shown(&b.estimate).whole(),
            errors.map_or(UNKNOWN.into(), |e| format!("{e:+.1} se")),
            match b.inside {
                Some(true) => "inside".into(),
                Some(false) => "outside".into(),
                None => UNKNOWN.into(),
            },
        ]);
    }
    let held = beside.iter().filter(|b| b.inside == Some(true)).count();
    let words = format!(
        "{held} of {} intervals hold the truth; of many days {} should, one may well be less.",
        beside.len(),
        percent(confidence)
    );
    plain(format!("{}\n{}", grid.text(width), paragraph(&words, width, "")))
}

/// Many days.
pub fn study_text(study: &Study, width: usize) -> String {
    let width = width.clamp(WIDTHS[0], WIDTHS[1]);
    let mut grid = Grid::new(&["Quantity", "Days", "Bias", "Spread", "Reported se", "Held"]);
    for l in &study.lines {
        grid.rows.push(row(l));
    }
    let mut text = format!("\n{} rehearsals\n{}\n", study.days, grid.text(width));
    text.push_str(&paragraph(
        &format!(
            "Bias is estimate less truth, with its own standard error; 'held' is the share of days whose interval at {} \
             holds the truth.",
            percent(study.confidence)
        ),
        width,
        "",
    ));
    if study.not_separable > 0 {
        let words = format!("On {} of them CdA and Crr could not be told apart.", study.not_separable);
        text.push_str(&paragraph(&words, width, ""));
    }
    if let Some(reason) = &study.first_reason {
        let words = format!("{} could not be solved; the first: {reason}.", study.unsolved);
        text.push_str(&paragraph(&words, width, ""));
    }
    plain(text)
}

fn row(l: &StudyLine) -> Vec<String> {
    let d = decimals(l.measure);
    let known = |x: f64| if x.is_finite() { format!("{x:.d$}") } else { UNKNOWN.to_string() };
    vec![
        name(&l.subject, l.measure),
        l.days.to_string(),
        if l.bias_se.is_finite() {
            format!("{:+.d$} ± {:.d$}", l.bias, l.bias_se)
        } else {
            format!("{:+.d$}", l.bias)
        },
        known(l.spread),
        known(l.reported_se),
        format!("{:.0} %", 100.0 * l.coverage),
    ]
}
