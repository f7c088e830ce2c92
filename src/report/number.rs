//! Estimates as rounded text: value, half-width of the interval, and the two parts of it.
//!
//! Given an [`Estimate`]; gives text with one place for all its numbers. An unknown becomes "–", never 0.

use crate::solution::{Estimate, Measured};
use crate::uncertainty::rounding::Place;
pub use crate::wording::{counted, listed, percent};

/// What stands for an unknown.
pub const UNKNOWN: &str = "–";

/// What stands for a difference that is zero because both set-ups have one value.
pub const SHARED: &str = "shared";

/// Whether a difference is zero by the choice to share a value, not by measurement.
pub fn is_shared(difference: &Estimate) -> bool {
    difference.value == Some(0.0) && difference.se.is_none() && half_width(difference).is_none()
}

/// An estimate ready to print. Parts are half-widths at the same confidence, so their squares add up to that of the
/// whole.
#[derive(Debug, Clone, PartialEq, Default, serde::Serialize)]
pub struct Shown {
    pub value: String,
    /// "± 0.00023", empty when the value is known exactly or its error is unknown.
    pub half: String,
    pub scatter: String,
    pub instrument: String,
    pub low: String,
    pub high: String,
    pub known: bool,
}

impl Shown {
    fn unknown() -> Shown {
        Shown { value: UNKNOWN.into(), ..Shown::default() }
    }

    /// "0.00460 ± 0.00023", or the value alone.
    pub fn whole(&self) -> String {
        if self.half.is_empty() { self.value.clone() } else { format!("{} {}", self.value, self.half) }
    }
}

/// The parts of the half-width of an interval that say something, each at the place of the whole: scatter, what changes from run
/// to run, what rests on expectation, instruments.
pub fn parts(estimate: &Estimate) -> Vec<(&'static str, String)> {
    let shown = shown(estimate);
    if shown.scatter.is_empty() || shown.instrument.is_empty() {
        return Vec::new();
    }
    let half = half_width(estimate).unwrap_or(f64::NAN);
    let place = Place::of(half);
    // A part whose square adds less than a hundredth to that of the whole is not worth a line.
    let telling = |se: Option<f64>| {
        let share = se? / estimate.se?;
        (share.is_finite() && share > 0.1).then(|| place.map(|place| place.text(half * share)))?
    };
    let mut parts = vec![("scatter", shown.scatter)];
    parts.extend(telling(estimate.run_to_run_se).map(|text| ("run to run", text)));
    parts.extend(telling(estimate.prior_se).map(|text| ("expected", text)));
    parts.push(("instrument", shown.instrument));
    parts
}

/// Half-width of the interval of an estimate.
pub fn half_width(estimate: &Estimate) -> Option<f64> {
    let half = (estimate.high? - estimate.low?) / 2.0;
    half.is_finite().then_some(half)
}

/// See [`Shown`].
pub fn shown(estimate: &Estimate) -> Shown {
    let Some(value) = estimate.value.filter(|v| v.is_finite()) else { return Shown::unknown() };
    let half = half_width(estimate).filter(|h| *h > 0.0);
    let Some((half, place)) = half.and_then(|half| Some((half, Place::of(half)?))) else {
        return Shown { value: significant(value, 4), known: true, ..Shown::default() };
    };
    let part = |se: Option<f64>| match (se, estimate.se) {
        (Some(part), Some(se)) if se > 0.0 && part.is_finite() => place.text(half * (part / se)),
        _ => String::new(),
    };
    Shown {
        value: place.text(value),
        half: format!("± {}", place.text(half)),
        scatter: part(estimate.scatter_se),
        instrument: part(estimate.instrument_se),
        low: estimate.low.map(|v| place.text(v)).unwrap_or_default(),
        high: estimate.high.map(|v| place.text(v)).unwrap_or_default(),
        known: true,
    }
}

/// Value and standard error of a nuisance parameter; "(fixed)" when it was not estimated.
pub fn measured(measured: &Measured) -> String {
    match (measured.value.filter(|v| v.is_finite()), measured.se.filter(|s| s.is_finite())) {
        (None, _) => UNKNOWN.into(),
        (Some(value), Some(se)) => match Place::of(se) {
            Some(place) => format!("{} ± {}", place.text(value), place.text(se)),
            None => significant(value, 3),
        },
        (Some(value), None) => format!("{} (fixed)", significant(value, 3)),
    }
}

/// A verdict with its p under it, for tables that would not fit a terminal with both side by side.
pub fn verdict_with_p(verdict: &str, p: Option<f64>) -> String {
    let under = p.map_or(String::new(), |p| match p_value(Some(p)) {
        small if small.starts_with('<') => format!("\np {small}"),
        p => format!("\np = {p}"),
    });
    format!("{verdict}{under}")
}

/// A number with so many significant digits at most, without zeros that say nothing.
pub fn significant(value: f64, digits: i32) -> String {
    if !value.is_finite() {
        return UNKNOWN.into();
    }
    if value == 0.0 {
        return "0".into();
    }
    let exponent = value.abs().log10().floor();
    if !(-12.0..12.0).contains(&exponent) {
        return format!("{value:.2e}");
    }
    let decimals = (f64::from(digits) - 1.0 - exponent).max(0.0) as usize;
    let text = format!("{value:.decimals$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_string() } else { text }
}

/// A number with fixed decimals and its sign, which a zero has not.
pub fn with_sign(value: f64, decimals: usize) -> String {
    let text = format!("{value:+.decimals$}");
    if text.chars().any(|c| ('1'..='9').contains(&c)) { text } else { text.trim_start_matches(['+', '-']).to_string() }
}

/// A number with fixed decimals, "–" when it is missing.
pub fn fixed(value: Option<f64>, decimals: usize) -> String {
    match value.filter(|v| v.is_finite()) {
        Some(value) if value.abs() >= 1e12 => format!("{value:.2e}"),
        Some(value) => format!("{value:.decimals$}"),
        None => UNKNOWN.into(),
    }
}

/// A p-value: three decimals, "< 0.001" below.
pub fn p_value(p: Option<f64>) -> String {
    match p.filter(|p| p.is_finite()) {
        Some(p) if p < 0.001 => "< 0.001".into(),
        Some(p) => format!("{p:.3}"),
        None => UNKNOWN.into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_parts_of_an_interval_have_the_place_of_the_whole() {
        // Worked by hand: half-width 2 · 0.0005 = 0.001, of which 0.6 and 0.8.
        let estimate = Estimate {
            value: Some(0.31234),
            se: Some(0.0005),
            low: Some(0.31134),
            high: Some(0.31334),
            dof: Some(20.0),
            scatter_se: Some(0.0003),
            instrument_se: Some(0.0004),
            ..Estimate::default()
        };
        let shown = shown(&estimate);
        assert_eq!(shown.whole(), "0.3123 ± 0.0010");
        assert_eq!((shown.scatter.as_str(), shown.instrument.as_str()), ("0.0006", "0.0008"));
    }

    #[test]
    fn an_unknown_is_a_dash_and_never_a_nought() {
        assert_eq!(shown(&Estimate::default()).whole(), "–");
        assert_eq!(measured(&Measured::default()), "–");
        assert_eq!(measured(&Measured { value: Some(0.5), se: None }), "0.5 (fixed)");
    }

    #[test]
    fn a_zero_has_no_sign() {
        assert_eq!((with_sign(0.04, 1), with_sign(-0.04, 1)), ("0.0".into(), "0.0".into()));
        assert_eq!((with_sign(0.06, 1), with_sign(-1.25, 2)), ("+0.1".into(), "-1.25".into()));
    }

    #[test]
    fn significant_digits_lose_no_integer_zeros() {
        assert_eq!(significant(1200.0, 2), "1200");
        assert_eq!(significant(0.0300, 2), "0.03");
        assert_eq!(significant(40.0, 3), "40");
    }
}
