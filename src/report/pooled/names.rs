//! How differences and quantities of pooled results are called, and which quantity a difference is judged by.
//!
//! Given a pooled result; gives words and picks. It pools nothing.

use super::super::number::significant;
use super::super::units::Units;
use crate::pool::{PooledContrast, PooledQuantity, PooledResult};
use crate::quantity::m_s_from_km_h;

/// "Latex less butyl".
pub(in crate::report) fn pair(result: &PooledResult, contrast: &PooledContrast) -> String {
    format!("{} less {}", result.name_of(&contrast.setup), result.name_of(&contrast.baseline))
}

pub(in crate::report) fn reference_speed(result: &PooledResult, units: Units) -> String {
    let speed = units.speed_value(m_s_from_km_h(result.reference.speed_km_h));
    format!("{} {}", significant(speed, 3), units.speed_unit())
}

/// The quantity a difference is judged by.
pub(in crate::report) fn tested(contrast: &PooledContrast) -> Option<&PooledQuantity> {
    match contrast.tested.as_deref()? {
        "power_w" => contrast.power_w.as_ref(),
        "crr" => contrast.crr.as_ref(),
        _ => contrast.cda_m2.as_ref(),
    }
}

/// The pooled quantities by name.
pub(in crate::report) fn quantities(contrast: &PooledContrast) -> Vec<(&'static str, &PooledQuantity)> {
    [("Watts", &contrast.power_w), ("Crr", &contrast.crr), ("CdA", &contrast.cda_m2)]
        .into_iter()
        .filter_map(|(name, q)| Some((name, q.as_ref()?)))
        .collect()
}
