//! Density of the air in the simulation, by a route of its own.
//!
//! Given temperature, station pressure and humidity; gives kg/m³ as a mixture of two ideal gases. It is not the
//! formula of the analysis, on purpose: a slip there would show in a rehearsal.

/// Gas constants of dry air and of water vapour, J/(kg K) (ISO 2533; R/M of water).
const DRY_J_KG_K: f64 = 287.053;
const VAPOUR_J_KG_K: f64 = 461.495;
/// Compressibility of ordinary air; 0.99942 at 0 °C to 0.99965 at 25 °C (CIPM-2007, Metrologia 45:149).
const COMPRESSIBILITY: f64 = 0.9996;

/// ρ = [(p − e)/(R_d T) + e/(R_v T)]/Z, e by Buck's formula (1981, J. Appl. Meteorol. 20:1527), valid −20 to 50 °C.
pub(crate) fn density_kg_m3(temperature_c: f64, pressure_hpa: f64, humidity_pct: f64) -> f64 {
    let saturation_hpa = 6.1121 * ((18.678 - temperature_c / 234.5) * temperature_c / (257.14 + temperature_c)).exp();
    let vapour_hpa = saturation_hpa * humidity_pct / 100.0;
    let kelvin = temperature_c + 273.15;
    let dry = (pressure_hpa - vapour_hpa) * 100.0 / (DRY_J_KG_K * kelvin);
    (dry + vapour_hpa * 100.0 / (VAPOUR_J_KG_K * kelvin)) / COMPRESSIBILITY
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_density_agrees_with_the_metrologists_to_two_parts_in_ten_thousand() {
        // CIPM-2007 points, computed from the published formula in another language. An ideal mixture strays by
        // 200 to 600 ppm, of which the compressibility above takes the constant part.
        for (pressure, temperature, humidity, expected) in [
            (1013.25, 20.0, 50.0, 1.1993139),
            (1013.25, 0.0, 0.0, 1.2930487),
            (1013.25, 15.0, 0.0, 1.22552134),
            (1013.25, 25.0, 50.0, 1.17731537),
            (1013.25, 30.0, 70.0, 1.15184373),
            (950.0, 25.0, 60.0, 1.10197212),
            (845.56, 10.0, 30.0, 1.03902645),
        ] {
            let found = density_kg_m3(temperature, pressure, humidity);
            assert!((found / expected - 1.0).abs() < 2.5e-4, "{found} for {expected}");
        }
    }
}
