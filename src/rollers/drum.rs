//! A wheel on drums: its load in the valley, and what curvature and temperature do to Crr.
//!
//! Given geometry in metres; gives ratios. It never measures anything.

use crate::error::Error;
use crate::session::Rollers;

/// Angle α between the vertical and the line from a drum's axle to that of the wheel in the valley, rad.
///
/// sin α = (s/2) / (R_wheel + R_drum), s the spacing of the drum axles (plane geometry).
///
/// Errors: [`Error::Inconsistent`] where the wheel would fall between the drums or nearly so (α above 60°).
pub fn valley_half_angle_rad(spacing_m: f64, wheel_radius_m: f64, drum_radius_m: f64) -> Result<f64, Error> {
    let sine = 0.5 * spacing_m / (wheel_radius_m + drum_radius_m);
    if !(0.0..=0.87).contains(&sine) {
        return Err(Error::Inconsistent {
            file: "rollers".into(),
            line: None,
            message: format!(
                "drum axles {spacing_m} m apart cannot carry a wheel of {wheel_radius_m} m radius on drums of \
                 {drum_radius_m} m radius; check drum_spacing_m, drum_diameter_m and wheel_radius_m"
            ),
        });
    }
    Ok(sine.asin())
}

/// Sum of all loads on turning tyres over the weight, ΣN/(m g) = f/cos α + (1 − f) [if a belt turns the front drum].
///
/// f is the share of the weight on the rear wheel, whose two contacts carry f m g/(2 cos α) each (statics). A front
/// wheel that does not turn loses nothing.
///
/// Errors: those of [`valley_half_angle_rad`].
///
/// ```
/// use loopwright::{rollers::drum::load_sum_ratio, session::Rollers};
/// let rear_only = Rollers { drum_diameter_m: 0.1112, drum_spacing_m: 0.28, rear_weight_fraction: 1.0, ..Rollers::default() };
/// assert!((load_sum_ratio(&rear_only, 0.335).unwrap() - 1.07117).abs() < 5e-6); // statics, computed in Python
/// ```
pub fn load_sum_ratio(rollers: &Rollers, wheel_radius_m: f64) -> Result<f64, Error> {
    let angle = valley_half_angle_rad(rollers.drum_spacing_m, wheel_radius_m, 0.5 * rollers.drum_diameter_m)?;
    let rear = rollers.rear_weight_fraction;
    let front = if rollers.front_driven { 1.0 - rear } else { 0.0 };
    Ok(rear / angle.cos() + front)
}

/// Crr on the flat over Crr on a drum, √(R/(R + r)), R the radius of the drum and r that of the tyre.
///
/// Clark's factor: the flat limit of the drum conversion in UN R117, annex 6, and ISO 28580 (from memory). Derived for
/// car tyres on drums larger than the tyre; on rollers far smaller it is common practice, no source.
///
/// ```
/// let per_drum = loopwright::rollers::drum::flat_over_drum(0.0556, 0.335);
/// assert!((1.0 / per_drum - 2.6505).abs() < 5e-5); // √(1 + r/R), computed in Python
/// ```
pub fn flat_over_drum(drum_radius_m: f64, tyre_radius_m: f64) -> f64 {
    (drum_radius_m / (drum_radius_m + tyre_radius_m)).sqrt()
}

/// How far the exponent ½ of the conversion may be off (common practice, no source: no measurement on bicycle tyres and small
/// drums is published).
const EXPONENT_U: f64 = 0.05;

/// Relative standard uncertainty of [`flat_over_drum`], 0.05 ln(1 + r/R): the larger the drum, the less there is to convert.
///
/// ```
/// let u = loopwright::rollers::drum::conversion_uncertainty(0.0555, 0.335);
/// assert!((u - 0.0976).abs() < 5e-5); // 0.05 · ln(1 + 0.335/0.0555), by hand
/// ```
pub fn conversion_uncertainty(drum_radius_m: f64, tyre_radius_m: f64) -> f64 {
    EXPONENT_U * (tyre_radius_m / drum_radius_m).ln_1p()
}

/// Crr at a reference temperature over Crr as measured, 1 + K (t − t_ref).
///
/// UN R117, annex 6, 6.2, and ISO 28580 (K 0.008 per °C for car tyres, 20–30 °C); K is stated by the user.
///
/// ```
/// let factor = loopwright::rollers::drum::at_reference_temperature(0.008, 20.0, 25.0);
/// assert!((factor - 0.96).abs() < 1e-12);
/// ```
pub fn at_reference_temperature(coefficient_per_c: f64, temperature_c: f64, reference_c: f64) -> f64 {
    1.0 + coefficient_per_c * (temperature_c - reference_c)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_valley_has_its_tabulated_angle_and_load() {
        // Statics computed in Python: degrees to 1e-3, load to 1e-5.
        for (drum_radius_m, spacing_m, degrees, load) in
            [(0.0556, 0.28, 21.003, 1.071_17), (0.05, 0.25, 18.946, 1.057_28), (0.0575, 0.27, 20.118, 1.064_98)]
        {
            let angle = valley_half_angle_rad(spacing_m, 0.335, drum_radius_m).unwrap();
            assert!((angle.to_degrees() - degrees).abs() < 5.1e-4, "{}", angle.to_degrees());
            assert!((1.0 / angle.cos() - load).abs() < 5.1e-6, "{}", 1.0 / angle.cos());
        }
    }

    #[test]
    fn the_front_wheel_counts_only_when_it_turns() {
        let belt = Rollers { rear_weight_fraction: 0.55, drum_spacing_m: 0.0, ..Rollers::default() };
        let free = Rollers { front_driven: false, ..belt.clone() };
        // With no valley the loads are the weights themselves.
        assert!((load_sum_ratio(&belt, 0.335).unwrap() - 1.0).abs() < 1e-12);
        assert!((load_sum_ratio(&free, 0.335).unwrap() - 0.55).abs() < 1e-12);
    }

    #[test]
    fn clark_factors_match_the_computed_table() {
        // √(1 + r/R) for r 0.335 m, computed in Python to 1e-4.
        for (radius, expected) in [(0.6, 1.2483), (0.85, 1.1807), (1.0, 1.1554), (0.10, 2.0857), (0.05, 2.7749)] {
            assert!((1.0 / flat_over_drum(radius, 0.335) - expected).abs() < 5.1e-5);
        }
    }

    #[test]
    fn temperature_factors_are_those_of_the_regulation() {
        // UN R117: at 20 °C ×0.96/0.95/0.97 and at 30 °C ×1.04/1.05/1.03 for K 0.008, 0.010 and 0.006.
        for (k, at_20, at_30) in [(0.008, 0.96, 1.04), (0.010, 0.95, 1.05), (0.006, 0.97, 1.03)] {
            assert!((at_reference_temperature(k, 20.0, 25.0) - at_20).abs() < 1e-12);
            assert!((at_reference_temperature(k, 30.0, 25.0) - at_30).abs() < 1e-12);
        }
    }

    #[test]
    fn a_wheel_that_falls_between_the_drums_is_refused() {
        assert!(valley_half_angle_rad(0.8, 0.335, 0.055).is_err());
        assert!(valley_half_angle_rad(f64::NAN, 0.335, 0.055).is_err());
    }
}
