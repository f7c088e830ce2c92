//! The standard atmosphere of ISO 2533, for when no barometer was read.
//!
//! Given an elevation; gives the temperature and pressure the standard assigns to it. It never claims that the
//! day's weather was standard: real station pressure differs by up to about 3 %, which callers must flag.
//!
//! Two heights are in use. *Geopotential* altitude H is what the standard's formulas take; *geometric* altitude z is
//! what maps, surveys and satellites give. They differ by 0.6 m at 2000 m, 7·10⁻⁵ of the density there.

use crate::constant::STANDARD_GRAVITY_M_S2;

/// Temperature at sea level, K (ISO 2533).
const SEA_LEVEL_TEMPERATURE_K: f64 = 288.15;
/// Pressure at sea level, Pa (ISO 2533).
pub const SEA_LEVEL_PRESSURE_PA: f64 = 101_325.0;
/// Fall of temperature with geopotential altitude in the troposphere, K/m (ISO 2533).
const LAPSE_RATE_K_M: f64 = 0.0065;
/// Specific gas constant of dry air, J/(kg K) (ISO 2533).
const DRY_AIR_J_KG_K: f64 = 287.052_87;
/// Nominal radius of the Earth, m (ISO 2533).
const NOMINAL_EARTH_RADIUS_M: f64 = 6_356_766.0;

/// Geopotential altitude, m, of a geometric one: H = r z / (r + z) (ISO 2533).
pub fn geopotential_m(geometric_m: f64) -> f64 {
    NOMINAL_EARTH_RADIUS_M * geometric_m / (NOMINAL_EARTH_RADIUS_M + geometric_m)
}

/// Standard temperature, K, at a *geopotential* altitude from −2000 to 11000 m: T = 288.15 − 0.0065 H.
pub fn standard_temperature_k(geopotential_m: f64) -> f64 {
    SEA_LEVEL_TEMPERATURE_K - LAPSE_RATE_K_M * geopotential_m
}

/// Standard pressure, Pa, at a *geopotential* altitude from −2000 to 11000 m.
///
/// p = 101325 (T/288.15)^(g/(R β)) (ISO 2533).
///
/// ```
/// let p = loopwright::air::standard::standard_pressure_pa(1000.0);
/// assert!((p - 89_874.57).abs() < 0.05);
/// ```
pub fn standard_pressure_pa(geopotential_m: f64) -> f64 {
    let exponent = STANDARD_GRAVITY_M_S2 / (DRY_AIR_J_KG_K * LAPSE_RATE_K_M);
    SEA_LEVEL_PRESSURE_PA * (standard_temperature_k(geopotential_m) / SEA_LEVEL_TEMPERATURE_K).powf(exponent)
}

/// Standard pressure, Pa, at an elevation above sea level as a map gives it (*geometric*).
///
/// ```
/// let p = loopwright::air::standard_pressure_at_elevation_pa(2000.0);
/// assert!((p - 79_501.43).abs() < 0.05);
/// ```
pub fn standard_pressure_at_elevation_pa(elevation_m: f64) -> f64 {
    standard_pressure_pa(geopotential_m(elevation_m))
}

/// Station pressure brought to sea level in proportion to the standard atmosphere, Pa: what a weather map would show, within
/// some hPa (the real reduction knows the temperature).
///
/// ```
/// // At 250 m the standard atmosphere has 983.6 hPa (ISO 2533), so 1013 hPa there would be 1043.6 hPa at the sea.
/// let p = loopwright::air::standard::sea_level_pressure_pa(101_300.0, 250.0);
/// assert!((p - 104_360.0).abs() < 30.0);
/// ```
pub fn sea_level_pressure_pa(station_pa: f64, elevation_m: f64) -> f64 {
    station_pa * SEA_LEVEL_PRESSURE_PA / standard_pressure_at_elevation_pa(elevation_m)
}
