//! A key of a session or plan in words, with its unit.
//!
//! Given the place of a key within its table; gives what stands beside its field.

use loopwright::wording::capitalised;

/// Keys that say too little beside a field.
const SAID: [(&str, &str); 4] = [
    ("mode", "How the wind is known"),
    ("from_deg", "Wind blows from"),
    ("on", "Ridden on"),
    ("log", "File of a weather log"),
];

/// Endings of keys and their units, longest first.
const UNITS: [(&str, &str); 28] = [
    ("_w_at_40_km_h", "W"),
    ("_n_s_per_m", "N s/m"),
    ("_m_s_per_h", "m/s per h"),
    ("_kg_m2", "kg m²"),
    ("_kg_m3", "kg/m³"),
    ("_per_c", "per °C"),
    ("_per_h", "per h"),
    ("_km_h", "km/h"),
    ("_m_s", "m/s"),
    ("_kpa", "kPa"),
    ("_hpa", "hPa"),
    ("_pct", "%"),
    ("_deg", "°"),
    ("_rpm", "rpm"),
    ("_m2", "m²"),
    ("_kg", "kg"),
    ("_cv", "of its mean"),
    ("_fraction", "fraction"),
    ("_w", "W"),
    ("_n", "N"),
    ("_c", "°C"),
    ("_m", "m"),
    ("_s", "s"),
    ("_h", "h"),
    ("tyre_pressure_kpa.front", "kPa"),
    ("tyre_pressure_kpa.rear", "kPa"),
    ("tyre_pressure_kpa", "kPa"),
    ("confidence", "fraction"),
];

/// A key in words and its unit.
pub(super) fn named(place: &str) -> (String, &'static str) {
    let (ending, unit) = UNITS.into_iter().find(|(ending, _)| place.ends_with(ending)).unwrap_or(("", ""));
    if let Some((_, label)) = SAID.into_iter().find(|(key, _)| *key == place) {
        return (label.into(), unit);
    }
    let bare = if ending.starts_with('_') { place.strip_suffix(ending).unwrap_or(place) } else { place };
    let bare = if ending == "_w_at_40_km_h" { format!("{bare}_at_40_km/h") } else { bare.to_string() };
    let words: Vec<String> = bare
        .replace("_kpa.", ".")
        .split(['_', '.'])
        .map(|word| match word {
            "cda" => "CdA".into(),
            "crr" => "Crr".into(),
            "lat" => "latitude".into(),
            "lon" => "longitude".into(),
            "sd" => "standard deviation".into(),
            "setup" => "set-up".into(),
            "id" => "short name".into(),
            "com" => "centre of mass".into(),
            other => other.to_string(),
        })
        .collect();
    (capitalised(&words.join(" ")), unit)
}
