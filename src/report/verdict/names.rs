//! How set-ups and the reference speed are called.
//!
//! Given the solution; gives words.

use super::super::number::significant;
use super::super::units::Units;
use crate::quantity::m_s_from_km_h;
use crate::solution::{SetupResult, Solution};

/// More than so many set-ups are counted instead of named.
pub(super) const NAMED: usize = 3;

/// Label of a set-up, or its id.
pub fn name_of(solution: &Solution, id: &str) -> String {
    match solution.setups.iter().find(|setup| setup.id == id) {
        Some(setup) => setup_name(setup),
        None => id.to_string(),
    }
}

/// Label, or id where there is none.
pub fn setup_name(setup: &SetupResult) -> String {
    if setup.label.trim().is_empty() { setup.id.clone() } else { setup.label.trim().to_string() }
}

/// Speed of the reference conditions, "40 km/h".
pub fn reference_speed(solution: &Solution, units: Units) -> String {
    let speed = units.speed_value(m_s_from_km_h(solution.reference.speed_km_h));
    format!("{} {}", significant(speed, 3), units.speed_unit())
}
