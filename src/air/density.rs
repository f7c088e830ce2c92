//! Density of moist air by the CIPM-2007 formula, and its standard uncertainty.
//!
//! Given air temperature, *station* pressure and relative humidity; gives density with the parts it is made of.
//! It never guesses a reading and never reduces a pressure to sea level.
//!
//! Source of every formula and constant: Picard, Davis, Gläser & Fujii 2008, *Revised formula for the density of
//! moist air (CIPM-2007)*, Metrologia 45:149–155. Intended for 600–1100 hPa and 15–27 °C (from memory); over 0–40 °C it
//! stays within 50 parts in a million of an independent equation of state.

use crate::quantity::k_from_c;

/// Molar gas constant, J/(mol K) (CODATA 2006, as CIPM-2007 uses it).
const GAS_CONSTANT_J_MOL_K: f64 = 8.314_472;
/// Molar mass of dry air with a CO₂ mole fraction of 0.0004, kg/mol.
const DRY_AIR_KG_MOL: f64 = 28.965_46e-3;
/// Molar mass of water, kg/mol.
const WATER_KG_MOL: f64 = 18.015_28e-3;
/// Relative standard uncertainty of the formula itself (CIPM-2007; from memory).
pub const FORMULA_UNCERTAINTY: f64 = 22e-6;

/// Density of moist air with its intermediate quantities.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct MoistAir {
    pub density_kg_m3: f64,
    /// Vapour pressure of water at saturation, Pa.
    pub saturation_pressure_pa: f64,
    /// Enhancement factor f of the vapour pressure in air, 1.
    pub enhancement: f64,
    /// Mole fraction of water vapour, 1.
    pub vapour_fraction: f64,
    /// Compressibility factor Z, 1.
    pub compressibility: f64,
}

/// Vapour pressure of water at saturation, Pa.
///
/// p_sv = exp(A T² + B T + C + D/T) with T in K (CIPM-2007, appendix).
///
/// ```
/// let p = loopwright::air::density::saturation_pressure_pa(20.0);
/// assert!((p - 2339.163).abs() < 0.001);
/// ```
pub fn saturation_pressure_pa(temperature_c: f64) -> f64 {
    let t = k_from_c(temperature_c);
    (1.237_884_7e-5 * t * t - 1.912_131_6e-2 * t + 33.937_110_47 - 6.343_164_5e3 / t).exp()
}

/// Enhancement factor of the vapour pressure, 1: f = α + β p + γ t², p in Pa, t in °C (CIPM-2007, appendix).
pub fn enhancement_factor(temperature_c: f64, pressure_pa: f64) -> f64 {
    1.000_62 + 3.14e-8 * pressure_pa + 5.6e-7 * temperature_c * temperature_c
}

/// Compressibility factor Z of moist air, 1, for a mole fraction of water vapour x (CIPM-2007, appendix).
///
/// Z = 1 − (p/T)[a₀ + a₁t + a₂t² + (b₀ + b₁t)x + (c₀ + c₁t)x²] + (p/T)²(d + e x²), p in Pa, T in K, t in °C.
pub fn compressibility_factor(temperature_c: f64, pressure_pa: f64, vapour_fraction: f64) -> f64 {
    let (t, x) = (temperature_c, vapour_fraction);
    let ratio = pressure_pa / k_from_c(t);
    let dry = 1.581_23e-6 - 2.933_1e-8 * t + 1.104_3e-10 * t * t;
    let mixed = (5.707e-6 - 2.051e-8 * t) * x;
    let moist = (1.989_8e-4 - 2.376e-6 * t) * x * x;
    1.0 - ratio * (dry + mixed + moist) + ratio * ratio * (1.83e-11 - 0.765e-8 * x * x)
}

/// Density of moist air, kg/m³, with its parts.
///
/// ρ = p Mₐ / (Z R T) · [1 − x(1 − M_v/Mₐ)], x = h f p_sv / p (CIPM-2007, eq. 1). `pressure_pa` is the pressure at
/// the station, `humidity_pct` relative humidity from 0 to 100. Where a reading is not finite, so is the result.
///
/// ```
/// use loopwright::air::moist_air_density;
/// let air = moist_air_density(20.0, 101_325.0, 50.0);
/// assert!((air.density_kg_m3 - 1.199_314).abs() < 1e-6);
/// ```
pub fn moist_air_density(temperature_c: f64, pressure_pa: f64, humidity_pct: f64) -> MoistAir {
    let saturation = saturation_pressure_pa(temperature_c);
    let enhancement = enhancement_factor(temperature_c, pressure_pa);
    let x = humidity_pct / 100.0 * enhancement * saturation / pressure_pa;
    let z = compressibility_factor(temperature_c, pressure_pa, x);
    let dry = pressure_pa * DRY_AIR_KG_MOL / (z * GAS_CONSTANT_J_MOL_K * k_from_c(temperature_c));
    MoistAir {
        density_kg_m3: dry * (1.0 - x * (1.0 - WATER_KG_MOL / DRY_AIR_KG_MOL)),
        saturation_pressure_pa: saturation,
        enhancement,
        vapour_fraction: x,
        compressibility: z,
    }
}

/// Standard uncertainties of the three readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReadingUncertainty {
    pub temperature_c: f64,
    pub pressure_pa: f64,
    pub humidity_pct: f64,
}

/// Standard uncertainty of a density, kg/m³, and the share of each cause.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct DensityUncertainty {
    pub from_temperature_kg_m3: f64,
    pub from_pressure_kg_m3: f64,
    pub from_humidity_kg_m3: f64,
    pub from_formula_kg_m3: f64,
    /// Root sum of squares of the four.
    pub combined_kg_m3: f64,
}

/// Standard uncertainty of the density, kg/m³, from those of the readings and of the formula.
///
/// Each contribution is half the change of ρ between x + u and x − u (JCGM 100:2008, 5.1.3 note 2); they combine
/// as independent (eq. 10). The formula itself adds 22·10⁻⁶ ρ.
///
/// ```
/// use loopwright::air::{ReadingUncertainty, density_uncertainty};
/// let u = ReadingUncertainty { temperature_c: 1.0, pressure_pa: 0.0, humidity_pct: 0.0 };
/// let from = density_uncertainty(20.0, 101_325.0, 50.0, u);
/// assert!((from.from_temperature_kg_m3 / 1.199_314 - 0.003_692).abs() < 1e-6);
/// ```
pub fn density_uncertainty(
    temperature_c: f64,
    pressure_pa: f64,
    humidity_pct: f64,
    u: ReadingUncertainty,
) -> DensityUncertainty {
    let rho = |t: f64, p: f64, h: f64| moist_air_density(t, p, h).density_kg_m3;
    let (t, p, h) = (temperature_c, pressure_pa, humidity_pct);
    let half = |above: f64, below: f64| 0.5 * (above - below).abs();
    let from_temperature = half(rho(t + u.temperature_c, p, h), rho(t - u.temperature_c, p, h));
    let from_pressure = half(rho(t, p + u.pressure_pa, h), rho(t, p - u.pressure_pa, h));
    let from_humidity = half(rho(t, p, h + u.humidity_pct), rho(t, p, h - u.humidity_pct));
    let from_formula = FORMULA_UNCERTAINTY * rho(t, p, h);
    DensityUncertainty {
        from_temperature_kg_m3: from_temperature,
        from_pressure_kg_m3: from_pressure,
        from_humidity_kg_m3: from_humidity,
        from_formula_kg_m3: from_formula,
        combined_kg_m3: from_temperature.hypot(from_pressure).hypot(from_humidity).hypot(from_formula),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sensitivities_are_those_of_the_formula_at_room_conditions() {
        // −0.3692 %/K, +0.09916 %/hPa, −0.00873 % per 1 % RH at 20 °C, 1013.25 hPa, 50 %: differences of the same
        // formula computed in Python double precision; tolerance is half of the last printed digit.
        let rho = moist_air_density(20.0, 101_325.0, 50.0).density_kg_m3;
        let per = |t, p, h| {
            let above = moist_air_density(20.0 + t, 101_325.0 + p, 50.0 + h).density_kg_m3;
            let below = moist_air_density(20.0 - t, 101_325.0 - p, 50.0 - h).density_kg_m3;
            (above - below) / 2.0 / rho * 100.0
        };
        assert!((per(1.0, 0.0, 0.0) + 0.3692).abs() < 5e-5);
        assert!((per(0.0, 100.0, 0.0) - 0.09916).abs() < 5e-6);
        assert!((per(0.0, 0.0, 1.0) + 0.00873).abs() < 5e-6);
    }

    #[test]
    fn contributions_combine_as_a_root_sum_of_squares() {
        let u = ReadingUncertainty { temperature_c: 0.5, pressure_pa: 100.0, humidity_pct: 5.0 };
        let d = density_uncertainty(18.0, 97_800.0, 60.0, u);
        let sum = d.from_temperature_kg_m3.powi(2)
            + d.from_pressure_kg_m3.powi(2)
            + d.from_humidity_kg_m3.powi(2)
            + d.from_formula_kg_m3.powi(2);
        assert!((d.combined_kg_m3 - sum.sqrt()).abs() < 1e-15);
        // The tester's defaults give about 0.2 %: 0.18 % from 0.5 K, 0.10 % from 1 hPa, 0.04 % from 5 % RH.
        assert!((d.combined_kg_m3 / 1.1646 - 0.0022).abs() < 1e-4);
    }

    #[test]
    fn without_uncertain_readings_only_the_formula_remains() {
        let none = ReadingUncertainty { temperature_c: 0.0, pressure_pa: 0.0, humidity_pct: 0.0 };
        let d = density_uncertainty(20.0, 101_325.0, 50.0, none);
        assert!((d.combined_kg_m3 / 1.199_313_9 - FORMULA_UNCERTAINTY).abs() < 1e-12);
    }

    #[test]
    fn a_missing_reading_gives_a_missing_density() {
        assert!(moist_air_density(f64::NAN, 101_325.0, 50.0).density_kg_m3.is_nan());
        assert!(!moist_air_density(20.0, 0.0, 50.0).density_kg_m3.is_normal());
    }
}
