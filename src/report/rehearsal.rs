//! Truth beside estimate, and what many rehearsals show, for the terminal and as a page.
//!
//! Given comparisons; gives plain text of a width, or a page. It computes nothing but roundings.

use super::number::{UNKNOWN, half_width, percent, shown, significant, with_sign};
use super::piece::{self, Page, Piece};
use super::table::Grid;
use super::units::Units;
use super::verdict::name_of;
use crate::error::Error;
use crate::forecast::{BesideTruth, Measure, Study, StudyLine};
use crate::solution::Solution;
use crate::uncertainty::rounding::Place;
use crate::wording::{capitalised, venue_name};

fn decimals(measure: Measure) -> usize {
    match measure {
        Measure::PowerW => 2,
        Measure::Crr => 6,
        Measure::CdaM2 => 5,
    }
}

/// "Basalt less Amber, together" of "basalt − amber, together": labels in place of ids.
fn labelled(solution: &Solution, subject: &str) -> String {
    let (pair, together) = match subject.strip_suffix(", together") {
        Some(pair) => (pair, ", together"),
        None => (subject, ""),
    };
    let known = |id: &str| solution.setups.iter().any(|setup| setup.id == id);
    match pair.split_once(" − ").filter(|(a, b)| known(a) && known(b)) {
        Some((a, b)) => format!("{} less {}{together}", name_of(solution, a), name_of(solution, b)),
        None => format!("{}{together}", name_of(solution, pair)),
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

/// One day, and many where there were many, as text.
pub fn rehearsal_text(solution: &Solution, beside: &[BesideTruth], study: Option<&Study>, width: usize) -> String {
    piece::text(&pieces(solution, beside, study), width)
}

/// The same as a page.
///
/// Errors: [`Error::Page`], a fault of the program.
pub fn rehearsal_page(solution: &Solution, beside: &[BesideTruth], study: Option<&Study>) -> Result<String, Error> {
    let title = solution.title.trim();
    Page {
        title: if title.is_empty() { "A rehearsed day" } else { title },
        about: "A simulated day beside what was put into it: how well such a day would be told.".into(),
        version: &solution.loopwright,
        pieces: &piece::in_units(&pieces(solution, beside, study), Units::Metric, &[]),
        figures: Vec::new(),
        cautions: &[],
    }
    .html()
}

fn pieces(solution: &Solution, beside: &[BesideTruth], study: Option<&Study>) -> Vec<Piece> {
    let mut out = one_day(solution, beside);
    out.extend(study.into_iter().flat_map(|study| many_days(solution, study)));
    out
}

/// The truth at the place of the estimate beside it, which is all that the estimate can be held to.
fn truth_as_estimated(b: &BesideTruth) -> String {
    let place = half_width(&b.estimate).filter(|half| *half > 0.0).and_then(Place::of);
    place.map_or_else(|| significant(b.truth, 4), |place| place.text(b.truth))
}

/// Truth, estimate with its interval, and whether the one lies in the other.
fn one_day(solution: &Solution, beside: &[BesideTruth]) -> Vec<Piece> {
    if beside.is_empty() {
        return vec![Piece::Words("Nothing could be told from this day; the findings of solve say why.".into())];
    }
    let estimate = format!("Estimate, ± at {}", percent(solution.confidence));
    let mut grid = Grid::new(&["Quantity", "Truth", &estimate, "Off by", "Truth is"]);
    for b in beside {
        let off = b.estimate.value.map_or(f64::NAN, |v| v - b.truth);
        let errors = b.estimate.se.filter(|se| *se > 0.0).map(|se| off / se);
        grid.rows.push(vec![
            name(&labelled(solution, &b.subject), b.measure),
            truth_as_estimated(b),
            shown(&b.estimate).whole(),
            errors.map_or(UNKNOWN.into(), |e| format!("{} se", with_sign(e, 1))),
            match b.inside {
                Some(true) => "inside".into(),
                Some(false) => "outside".into(),
                None => UNKNOWN.into(),
            },
        ]);
    }
    let mut out = Vec::new();
    out.extend(together(solution, beside).map(Piece::Words));
    let held = beside.iter().filter(|b| b.inside == Some(true)).count();
    let words = format!(
        "{held} of {} intervals hold the truth; of many days {} should, one may well be less.",
        beside.len(),
        percent(solution.confidence)
    );
    out.push(Piece::Words(words));
    out.push(Piece::Table { heading: "This day".into(), note: String::new(), grid });
    out
}

/// What the verdict of a day of loop and rollers rests on: the watts that both tell together, each with its truth.
fn together(solution: &Solution, beside: &[BesideTruth]) -> Option<String> {
    let watts = beside.iter().filter(|b| b.measure == Measure::PowerW);
    let said: Vec<String> = watts
        .filter_map(|b| {
            let pair = labelled(solution, b.subject.strip_suffix(", together")?);
            let place = match b.inside {
                Some(true) => "inside",
                Some(false) => "outside the interval",
                None => "without an interval",
            };
            Some(format!("{pair}: {} W, truth {} W ({place})", shown(&b.estimate).whole(), truth_as_estimated(b)))
        })
        .collect();
    let venue = capitalised(venue_name(&solution.circuit.kind));
    (!said.is_empty()).then(|| format!("{venue} and rollers together, rolling alone. {}.", said.join("; ")))
}

fn many_days(solution: &Solution, study: &Study) -> Vec<Piece> {
    let mut grid = Grid::new(&["Quantity", "Days", "Bias", "Spread", "Reported se", "Held"]);
    grid.rows.extend(study.lines.iter().map(|line| row(solution, line)));
    let heading = format!("{} rehearsals", study.days);
    let mut out = vec![Piece::Table { heading, note: String::new(), grid }];
    out.push(Piece::Words(format!(
        "Bias is estimate less truth, with its own standard error; 'held' is the share of days whose interval at {} holds the \
         truth.",
        percent(study.confidence)
    )));
    if study.not_separable > 0 {
        out.push(Piece::Words(format!("On {} of them CdA and Crr could not be told apart.", study.not_separable)));
    }
    if let Some(reason) = &study.first_reason {
        out.push(Piece::Words(format!("{} could not be solved; the first: {reason}.", study.unsolved)));
    }
    out
}

fn row(solution: &Solution, l: &StudyLine) -> Vec<String> {
    let d = decimals(l.measure);
    let known = |x: f64| if x.is_finite() { format!("{x:.d$}") } else { UNKNOWN.to_string() };
    vec![
        name(&labelled(solution, &l.subject), l.measure),
        l.days.to_string(),
        if l.bias_se.is_finite() {
            format!("{} ± {:.d$}", with_sign(l.bias, d), l.bias_se)
        } else {
            with_sign(l.bias, d)
        },
        known(l.spread),
        known(l.reported_se),
        format!("{:.0} %", 100.0 * l.coverage),
    ]
}
