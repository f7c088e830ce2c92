//! The parts of the two forms, in the order of the work, and which keys of each part come first.
//!
//! Given the schema of a session or plan; gives its groups with their fields. A key or table that is not named here comes
//! after those that are, so that nothing of a file is without its field.

use super::factors;
use super::field::{Field, fields, tables};
use loopwright::plan::Plan;
use loopwright::session::Session;
use serde_json::Value as Json;

/// A group of keys.
#[derive(Debug, Clone)]
pub struct Group {
    /// Of its table; empty for the keys at the top of the file.
    pub name: String,
    pub heading: String,
    pub is_list: bool,
    /// Whether most days leave it to its defaults.
    pub seldom: bool,
    /// Those that every day needs.
    pub first: Vec<Field>,
    pub more: Vec<Field>,
    /// What is said of the factors that its entries may state; `None` where there are none.
    pub factors: Option<String>,
}

type Named = (&'static str, &'static str, &'static [&'static str]);

const SESSION: [Named; 12] = [
    ("", "Title and baseline", &["title", "baseline"]),
    ("rider_and_bike", "Rider and bicycle", &["mass_kg", "drivetrain_efficiency"]),
    ("loop", "Loop", &["kind", "length_m"]),
    ("rollers", "Rollers", &["drum_diameter_m", "drum_spacing_m", "no_load_power_w_at_40_km_h"]),
    ("air", "Air", &["temperature_c", "pressure_hpa", "humidity_pct", "log"]),
    ("wind", "Wind", &["mode", "speed_m_s", "from_deg"]),
    ("setup", "Set-ups", &["id", "label"]),
    (
        "run",
        "Runs",
        &["file", "setup", "mass_kg", "tyre_pressure_kpa.front", "tyre_pressure_kpa.rear", "planned_speed_km_h"],
    ),
    ("solve", "What is solved for", &["cda", "crr", "negligible_power_w"]),
    ("reference", "Conditions at which watts are given", &["speed_km_h", "air_density_kg_m3", "mass_kg"]),
    ("expected", "What is expected before any ride", &[]),
    ("uncertainty", "Standard uncertainties", &["mass_kg", "power_fraction", "speed_fraction"]),
];

const PLAN: [Named; 16] = [
    ("", "The day", &["title", "order", "laps_per_run", "speeds_km_h", "powers_w"]),
    ("setup", "Set-ups, with guesses that are good enough", &["id", "label", "cda_m2", "crr"]),
    ("target", "The difference to find", &["power_w", "crr", "cda_m2"]),
    ("rider_and_bike", "Rider and bicycle", &["mass_kg"]),
    ("loop", "Loop", &["kind", "length_m", "elevation_amplitude_m"]),
    ("wind", "Wind", &["speed_m_s", "from_deg"]),
    ("noise", "Gusts and instruments", &["gust_sd_m_s", "power_cv", "speed_source"]),
    ("day", "How the day departs from the ideal", &["shelter_least", "crr_run_to_run", "cda_run_to_run"]),
    ("solve", "What is solved for", &["cda", "crr", "negligible_power_w"]),
    ("limits", "What the rider can do", &["slowest_km_h", "fastest_km_h", "power_w"]),
    ("air", "Air", &["temperature_c", "pressure_hpa", "humidity_pct"]),
    ("reference", "Conditions at which watts are given", &["speed_km_h", "air_density_kg_m3", "mass_kg"]),
    ("rollers", "Rollers", &["drum_diameter_m", "drum_spacing_m"]),
    ("expected", "What is expected before any ride", &[]),
    ("uncertainty", "Standard uncertainties", &["mass_kg", "power_fraction", "speed_fraction"]),
    ("mishap", "What goes wrong in a rehearsal", &["run", "kind", "at_s", "duration_s"]),
];

/// Groups that most days leave to their defaults; one of which nothing is stated is shown folded.
const SELDOM: [&str; 9] =
    ["rollers", "wind", "noise", "day", "limits", "reference", "expected", "uncertainty", "mishap"];

/// The groups of a session.
pub fn of_session() -> Vec<Group> {
    groups(&schema(&schemars::schema_for!(Session)), &SESSION)
}

/// The groups of a plan.
pub fn of_plan() -> Vec<Group> {
    groups(&schema(&schemars::schema_for!(Plan)), &PLAN)
}

fn schema(schema: &schemars::Schema) -> Json {
    serde_json::to_value(schema).unwrap_or_default()
}

fn groups(schema: &Json, named: &[Named]) -> Vec<Group> {
    let known = tables(schema);
    let is_list = |name: &str| known.iter().any(|(n, list)| n == name && *list);
    let mut out: Vec<Group> = named
        .iter()
        .filter(|(name, ..)| name.is_empty() || known.iter().any(|(n, _)| n == name))
        .map(|(name, heading, first)| group(schema, name, heading, first, is_list(name)))
        .collect();
    for (name, list) in &known {
        if !named.iter().any(|(n, ..)| n == name) {
            out.push(group(schema, name, &name.replace('_', " "), &[], *list));
        }
    }
    out
}

fn group(schema: &Json, name: &str, heading: &str, first: &[&str], is_list: bool) -> Group {
    let mut all = fields(schema, name);
    let place = |f: &Field| first.iter().position(|k| *k == f.key).unwrap_or(usize::MAX);
    all.sort_by_key(place);
    let split = all.iter().filter(|f| place(f) < usize::MAX).count();
    let more = all.split_off(split);
    let mut group = Group {
        name: name.into(),
        heading: heading.into(),
        is_list,
        seldom: SELDOM.contains(&name),
        first: all,
        more,
        factors: factors::help(schema, name),
    };
    // A part that has no leading keys, or hardly any others, shows them all.
    if group.first.is_empty() || group.more.len() < 2 {
        group.first.append(&mut group.more);
    }
    group
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_that_comes_first_is_a_key_of_the_schema() {
        for (groups, named) in [(of_session(), &SESSION[..]), (of_plan(), &PLAN[..])] {
            for (name, _, first) in named {
                let group = groups.iter().find(|g| g.name == *name).unwrap_or_else(|| panic!("no table {name}"));
                for key in *first {
                    assert!(group.first.iter().any(|f| f.key == *key), "{name}.{key}");
                }
            }
        }
    }
}
