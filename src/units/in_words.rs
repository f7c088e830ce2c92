//! Quantities inside sentences, in the units that people read.
//!
//! Given a sentence written with SI and metric units; gives it with the numbers turned. A unit without a number before it
//! (a column of a file is in m/s) stays, and so do densities, moments of inertia and names.

use super::Units;
use crate::quantity::m_s_from_km_h;
use crate::quantity::{f_from_c, ft_from_m, inhg_from_hpa, lb_from_kg, mi_from_m, mph_from_m_s, psi_from_kpa};

/// A unit as it is written, and as imperial readers have it.
struct Unit {
    metric: &'static str,
    imperial: &'static str,
    turned: fn(f64) -> f64,
    /// The same for a difference or a standard uncertainty.
    spread: fn(f64) -> f64,
}

const fn scaled(metric: &'static str, imperial: &'static str, turned: fn(f64) -> f64) -> Unit {
    Unit { metric, imperial, turned, spread: turned }
}

/// A part of a unit that another one holds stands behind it.
const UNITS: [Unit; 10] = [
    scaled("km/h", "mph", |v| mph_from_m_s(m_s_from_km_h(v))),
    scaled("m/s", "mph", mph_from_m_s),
    Unit { metric: "°C", imperial: "°F", turned: f_from_c, spread: spread_f_from_c },
    scaled("per °C", "per °F", |v| v / spread_f_from_c(1.0)),
    scaled("1/°C", "1/°F", |v| v / spread_f_from_c(1.0)),
    scaled("hPa", "inHg", inhg_from_hpa),
    scaled("kPa", "psi", psi_from_kpa),
    scaled("kg", "lb", lb_from_kg),
    scaled("km", "mi", |v| mi_from_m(1000.0 * v)),
    scaled("m", "ft", ft_from_m),
];

/// What joins numbers that share the unit behind the last of them.
const JOINTS: [&str; 4] = [" to ", " and ", " or ", " ± "];
/// A standard uncertainty is told with no more.
const DIGITS_OF_UNCERTAINTY: usize = 3;
/// What makes a temperature a difference.
const SPREADS: [&str; 3] = ["u = ", "± ", "by "];
const SPREADS_BEHIND: [&str; 4] = [" apart", " above", " below", " from"];

fn spread_f_from_c(difference_c: f64) -> f64 {
    f_from_c(difference_c) - f_from_c(0.0)
}

impl Units {
    /// See the module. What stands in `names` is left as it is.
    pub fn in_words(self, text: &str, names: &[&str]) -> String {
        if self == Units::Metric {
            return text.to_string();
        }
        // The longest name first: one may be part of another.
        let mut names: Vec<&str> = names.iter().copied().filter(|name| !name.is_empty()).collect();
        names.sort_by_key(|name| std::cmp::Reverse(name.len()));
        let mut out = String::new();
        let (mut from, mut at) = (0, 0);
        while at < text.len() {
            match names.iter().find(|name| text[at..].starts_with(**name)) {
                Some(name) => {
                    out.push_str(&turned(&text[from..at]));
                    out.push_str(name);
                    at += name.len();
                    from = at;
                }
                None => at += text[at..].chars().next().map_or(1, char::len_utf8),
            }
        }
        out + &turned(&text[from..])
    }

    /// A standard uncertainty with its unit, "0.5 °C".
    pub fn uncertainty(self, standard_uncertainty: f64, unit: &str) -> String {
        let known = UNITS.iter().find(|u| u.metric == unit).filter(|_| self == Units::Imperial);
        let written = rounded(standard_uncertainty, DIGITS_OF_UNCERTAINTY, true);
        match known {
            Some(u) => format!("{} {}", in_unit(&written, u, true), u.imperial),
            None => format!("{written} {unit}"),
        }
    }
}

/// A text without names.
fn turned(text: &str) -> String {
    let mut out = String::new();
    let mut done = 0;
    let mut at = 0;
    while let Some(space) = text[at..].find(' ').map(|found| at + found) {
        at = space + 1;
        let rest = &text[at..];
        let Some(unit) = UNITS.iter().find(|u| rest.starts_with(u.metric) && ends(&rest[u.metric.len()..])) else {
            continue;
        };
        let numbers = numbers_before(text, done, space);
        let Some(first) = numbers.first() else { continue };
        out.push_str(&text[done..first.start]);
        let behind = &rest[unit.metric.len()..];
        let all_spread = SPREADS_BEHIND.iter().any(|word| behind.starts_with(word));
        for (k, number) in numbers.iter().enumerate() {
            let spread = all_spread || SPREADS.iter().any(|word| text[..number.start].ends_with(word));
            out.push_str(&in_unit(&text[number.clone()], unit, spread));
            let end = numbers.get(k + 1).map_or(at, |next| next.start);
            out.push_str(&text[number.end..end]);
        }
        out.push_str(unit.imperial);
        done = at + unit.metric.len();
        at = done;
    }
    out + &text[done..]
}

/// Whether a unit ends here: what follows makes it no other one, as in "kg/m³" or "kg m²".
fn ends(rest: &str) -> bool {
    let next = rest.chars().next();
    !next.is_some_and(|c| c.is_alphanumeric() || "/²³·".contains(c)) && !rest.starts_with(" m²")
}

/// The numbers that a unit behind `end` belongs to, in their order.
fn numbers_before(text: &str, from: usize, end: usize) -> Vec<std::ops::Range<usize>> {
    let mut all = Vec::new();
    let mut end = end;
    while let Some(number) = number_before(text, from, end) {
        let before = number.start;
        all.insert(0, number);
        match JOINTS.iter().find(|joint| text[from..before].ends_with(**joint)) {
            Some(joint) => end = before - joint.len(),
            None => break,
        }
    }
    all
}

/// A number that ends at `end` and is no part of a word.
fn number_before(text: &str, from: usize, end: usize) -> Option<std::ops::Range<usize>> {
    let before = &text[from..end];
    let digits = before.len() - before.trim_end_matches(|c: char| c.is_ascii_digit() || c == '.').len();
    let unsigned = end - digits;
    let whole = &text[unsigned..end];
    if !whole.starts_with(|c: char| c.is_ascii_digit()) || !whole.ends_with(|c: char| c.is_ascii_digit()) {
        return None;
    }
    let sign = ['+', '-', '−'].iter().find(|sign| text[from..unsigned].ends_with(**sign));
    let start = unsigned - sign.map_or(0, |s| s.len_utf8());
    let in_word = text[from..start].chars().next_back().is_some_and(|c| c.is_alphanumeric() || "._/^".contains(c));
    (!in_word).then_some(start..end)
}

/// Digits that a turned number may have. As many as were written, and one more where it begins with a 1, which is as good as
/// one digit; a whole number may be exact and has two or, from ten on, three.
fn digits(plain: &str, turned: f64) -> usize {
    let written = plain.chars().filter(char::is_ascii_digit).skip_while(|c| *c == '0').count();
    if !plain.contains('.') {
        return written.max(if written < 2 { 2 } else { 3 });
    }
    let leading = turned.abs() / 10f64.powf(turned.abs().log10().floor());
    written.max(1) + usize::from(leading < 2.0 && written < 2)
}

/// A written number in another unit; see [`digits`].
fn in_unit(written: &str, unit: &Unit, spread: bool) -> String {
    let plain = written.replace('−', "-");
    let Ok(value) = plain.parse::<f64>() else { return written.to_string() };
    let turned = if spread { (unit.spread)(value) } else { (unit.turned)(value) };
    let whole = !plain.contains('.');
    let text = rounded(turned, digits(&plain, turned), whole && plain.len() < 3);
    let text = if written.starts_with('−') { text.replace('-', "−") } else { text };
    if written.starts_with('+') && turned > 0.0 { format!("+{text}") } else { text }
}

/// A number with some significant digits; `short` without zeros at the end.
fn rounded(value: f64, digits: usize, short: bool) -> String {
    if value == 0.0 || !value.is_finite() {
        return if value == 0.0 { "0".into() } else { "–".into() };
    }
    let decimals = (digits as f64 - 1.0 - value.abs().log10().floor()).clamp(0.0, 12.0) as usize;
    let text = format!("{value:.decimals$}");
    if short && text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_string() } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> String {
        Units::Imperial.in_words(text, &["Amber 28 mm at 450 kPa", "run-1"])
    }

    #[test]
    fn numbers_before_a_unit_are_turned_and_those_that_share_it_too() {
        // 1 mile is 1609.344 m, 1 lb 0.45359237 kg, 1 ft 0.3048 m by definition.
        assert_eq!(read("lap speeds 28.9 to 40.3 km/h."), "lap speeds 18.0 to 25.0 mph.");
        assert_eq!(read("such as 28 and 40 km/h, at"), "such as 17.4 and 24.9 mph, at");
        assert_eq!(read("0 ± 2 m/s"), "0 ± 4.5 mph");
        assert_eq!(
            read("falls by −0.42 m a lap, 6 laps of 1240 m each"),
            "falls by −1.4 ft a lap, 6 laps of 4068 ft each"
        );
        assert_eq!(read("instead of 84.0 kg)"), "instead of 185 lb)");
        assert_eq!(read("1013.25 hPa"), "29.9213 inHg");
        // No digit that the metric form has not: 0.02 m are 0.0656 ft, 0.15 m/s 0.336 mph, 0.5 m/s 1.12 mph.
        assert_eq!(read("a survey (± 0.02 m), gusts 0.15 m/s"), "a survey (± 0.07 ft), gusts 0.34 mph");
        assert_eq!(read("gusts of 0.5 m/s"), "gusts of 1.1 mph");
        assert_eq!(Units::Imperial.uncertainty(0.05, "m"), "0.16 ft");
    }

    #[test]
    fn a_temperature_and_a_difference_of_temperatures_are_not_the_same() {
        assert_eq!(read("air at 18 °C (u = 0.5 °C)"), "air at 64.4 °F (u = 0.9 °F)");
        assert_eq!(
            read("tyres 10 °C from the reference, 0.009 per °C"),
            "tyres 18 °F from the reference, 0.005 per °F"
        );
        assert_eq!(Units::Imperial.uncertainty(0.5, "°C"), "0.9 °F");
        assert_eq!(Units::Metric.uncertainty(0.5, "°C"), "0.5 °C");
        assert_eq!(Units::Imperial.uncertainty(2.0, "W"), "2 W");
    }

    #[test]
    fn names_units_of_columns_and_densities_stay() {
        for text in [
            "Amber 28 mm at 450 kPa is faster",
            "state it in m/s, not km/h",
            "1.204 kg/m³ and 0.14 kg m²",
            "run-1 of 15 min, 3 more",
            "0.0087 N s/m",
        ] {
            assert_eq!(read(text), text);
        }
        assert_eq!(Units::Metric.in_words("40 km/h", &[]), "40 km/h");
    }
}
