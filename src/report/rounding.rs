//! The decimal place that an uncertainty allows.
//!
//! Given an uncertainty; gives the place of its second significant digit, to which the value beside it is rounded too
//! (JCGM 100:2008, 7.2.6). Nothing else.

/// See the module.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Place {
    decimals: i32,
}

impl Place {
    /// `None` unless the uncertainty is positive and finite.
    pub fn of(uncertainty: f64) -> Option<Place> {
        if !(uncertainty.is_finite() && uncertainty > 0.0) {
            return None;
        }
        // Scientific notation rounds first: 0.0996 counts as 0.10.
        let rounded = format!("{uncertainty:.1e}");
        let exponent: i32 = rounded.split_once('e').and_then(|(_, power)| power.parse().ok())?;
        Some(Place { decimals: (1 - exponent).clamp(-300, 17) })
    }

    /// A number at this place; empty when it is not finite.
    pub fn text(&self, value: f64) -> String {
        if !value.is_finite() {
            return String::new();
        }
        let coarse = 10f64.powi((-self.decimals).max(0));
        let value = if coarse > 1.0 { (value / coarse).round() * coarse } else { value };
        let text = format!("{value:.*}", self.decimals.max(0) as usize);
        if text.chars().any(|c| c.is_ascii_digit() && c != '0') { text } else { text.replace('-', "") }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn value_and_uncertainty_end_at_the_same_place() {
        // The rule of JCGM 100:2008, 7.2.6, worked by hand.
        for (value, uncertainty, expected) in [
            (0.004_603_2, 0.000_107, "0.00460"),
            (55.4, 10.47, "55"),
            (12_345.6, 1_234.0, "12300"),
            (-1e-6, 0.01, "0.000"),
        ] {
            assert_eq!(Place::of(uncertainty).map(|p| p.text(value)).as_deref(), Some(expected));
        }
        assert_eq!(Place::of(0.0), None);
    }
}
