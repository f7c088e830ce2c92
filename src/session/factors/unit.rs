//! Units of quantities as keys end in them, and keys in words.
//!
//! Given the key of a factor; gives its unit and its name as printed.

/// Units that the key of a quantity may end in, and how they are printed.
pub const UNITS: [(&str, &str); 21] = [
    ("km_h", "km/h"),
    ("kpa", "kPa"),
    ("hpa", "hPa"),
    ("bar", "bar"),
    ("psi", "psi"),
    ("mm", "mm"),
    ("cm", "cm"),
    ("nm", "N m"),
    ("ml", "ml"),
    ("kg", "kg"),
    ("deg", "°"),
    ("pct", "%"),
    ("rpm", "1/min"),
    ("min", "min"),
    ("count", ""),
    ("km", "km"),
    ("m", "m"),
    ("g", "g"),
    ("c", "°C"),
    ("s", "s"),
    ("w", "W"),
];

/// Unit of a quantity.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Unit {
    /// As in the key.
    pub key: &'static str,
    /// As printed.
    pub shown: &'static str,
}

impl Unit {
    /// A key ends in `_` and its unit.
    pub fn of_key(key: &str) -> Option<Unit> {
        let ends = |unit: &str| key.strip_suffix(unit).is_some_and(|rest| rest.len() > 1 && rest.ends_with('_'));
        UNITS.iter().find(|(unit, _)| ends(unit)).map(|(key, shown)| Unit { key, shown })
    }

    /// Whether it is one that tyres are inflated to.
    pub fn is_of_pressure(&self) -> bool {
        ["kpa", "bar", "psi"].contains(&self.key)
    }
}

/// A key in words, "tyre pressure".
pub fn shown_name(key: &str) -> String {
    let bare = Unit::of_key(key).and_then(|unit| key.strip_suffix(unit.key)).unwrap_or(key);
    bare.trim_end_matches('_').replace('_', " ")
}

/// The same with its unit, "tyre pressure, kPa".
pub fn shown_with_unit(key: &str) -> String {
    match Unit::of_key(key) {
        Some(unit) if !unit.shown.is_empty() => format!("{}, {}", shown_name(key), unit.shown),
        _ => shown_name(key),
    }
}
