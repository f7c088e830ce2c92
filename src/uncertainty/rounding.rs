//! One rule for printing a value and its uncertainty together.
//!
//! Given a value and a standard uncertainty (or half-width); gives text. The rule: the uncertainty keeps two
//! significant digits, everything beside it is rounded to the same place (JCGM 100:2008, 7.2.6), to the nearest. An
//! unknown is never printed as a number.

/// The decimal place that an uncertainty allows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Place {
    /// Digits after the point; negative when tens or hundreds are rounded away.
    decimals: i32,
}

/// More digits than a double holds are noise.
const MOST_DECIMALS: i32 = 17;

impl Place {
    /// Place of the second significant digit; `None` unless the uncertainty is positive and finite.
    pub fn of(uncertainty: f64) -> Option<Place> {
        if !(uncertainty.is_finite() && uncertainty > 0.0) {
            return None;
        }
        // Scientific notation rounds first, so that 0.0996 counts as 0.10 and keeps two digits, not three.
        let rounded = format!("{uncertainty:.1e}");
        let exponent: i32 = rounded.split_once('e').and_then(|(_, power)| power.parse().ok())?;
        Some(Place { decimals: (1 - exponent).min(MOST_DECIMALS) })
    }

    /// Digits after the point to print, at least 0.
    pub fn decimals(&self) -> usize {
        self.decimals.max(0) as usize
    }

    /// A number at this place, without a sign when it rounds to zero; an empty string for NaN and infinities.
    pub fn text(&self, value: f64) -> String {
        if !value.is_finite() {
            return String::new();
        }
        let coarse = 10f64.powi((-self.decimals).max(0));
        // Adding zero turns the −0 of a rounded small negative number into 0.
        let value = if coarse > 1.0 { (value / coarse).round() * coarse + 0.0 } else { value };
        let text = format!("{value:.*}", self.decimals());
        let is_zero = text.chars().all(|c| matches!(c, '-' | '0' | '.'));
        if is_zero { text.trim_start_matches('-').to_owned() } else { text }
    }
}

/// "value ± uncertainty", both at the place of the uncertainty's second digit; `None` when either is unknown.
///
/// ```
/// use loopwright::uncertainty::rounding::value_with_uncertainty;
/// assert_eq!(value_with_uncertainty(0.004_603_2, 0.000_107).as_deref(), Some("0.00460 ± 0.00011"));
/// assert_eq!(value_with_uncertainty(0.3, f64::NAN), None);
/// ```
pub fn value_with_uncertainty(value: f64, uncertainty: f64) -> Option<String> {
    let place = Place::of(uncertainty)?;
    value.is_finite().then(|| format!("{} ± {}", place.text(value), place.text(uncertainty)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_numbers_end_at_the_same_place() {
        // JCGM 100, 7.2.6, whose own example rounds 10.47 mΩ to 10 mΩ: two digits.
        for (value, uncertainty, expected) in [
            (100.021_47, 0.000_35, "100.02147 ± 0.00035"),
            (0.2314, 0.0996, "0.23 ± 0.10"),
            (-0.000_04, 0.001_2, "0.0000 ± 0.0012"),
            (12_345.6, 1_234.0, "12300 ± 1200"),
            (55.4, 10.47, "55 ± 10"),
            (-3.21, 0.5, "-3.21 ± 0.50"),
            (31.0, 99.6, "30 ± 100"),
        ] {
            assert_eq!(value_with_uncertainty(value, uncertainty).as_deref(), Some(expected));
        }
    }

    #[test]
    fn an_uncertainty_of_zero_or_none_gives_no_place() {
        assert_eq!(Place::of(0.0), None);
        assert_eq!(Place::of(f64::INFINITY), None);
        assert_eq!(value_with_uncertainty(f64::NAN, 1.0), None);
        assert_eq!(Place::of(1e-300).map(|place| place.decimals()), Some(17));
    }
}
