//! Conversions between SI and the units people use: the only file with conversion factors.
//!
//! Given a number in the unit of the function's name; gives the number in the unit it ends on. Nothing else.

/// km/h to m/s.
pub fn m_s_from_km_h(speed_km_h: f64) -> f64 {
    speed_km_h / 3.6
}

/// m/s to km/h.
pub fn km_h_from_m_s(speed_m_s: f64) -> f64 {
    speed_m_s * 3.6
}

/// m/s to miles per hour (international mile, 1609.344 m).
pub fn mph_from_m_s(speed_m_s: f64) -> f64 {
    speed_m_s * 3600.0 / 1609.344
}

/// kg to pounds (international pound, 0.45359237 kg).
pub fn lb_from_kg(mass_kg: f64) -> f64 {
    mass_kg / 0.453_592_37
}

/// Pounds to kg (international pound, 0.45359237 kg).
pub fn kg_from_lb(mass_lb: f64) -> f64 {
    mass_lb * 0.453_592_37
}

/// kPa to bar.
pub fn bar_from_kpa(pressure_kpa: f64) -> f64 {
    pressure_kpa / 100.0
}

/// kPa to pounds per square inch (6.894757293168 kPa).
pub fn psi_from_kpa(pressure_kpa: f64) -> f64 {
    pressure_kpa / 6.894_757_293_168
}

/// kPa in one unit of pressure: "kpa", "bar" or "psi".
pub fn kpa_in_one(unit: &str) -> Option<f64> {
    match unit {
        "kpa" => Some(1.0),
        "bar" => Some(1.0 / bar_from_kpa(1.0)),
        "psi" => Some(1.0 / psi_from_kpa(1.0)),
        _ => None,
    }
}

/// hPa to Pa.
pub fn pa_from_hpa(pressure_hpa: f64) -> f64 {
    pressure_hpa * 100.0
}

/// °C to K.
pub fn k_from_c(temperature_c: f64) -> f64 {
    temperature_c + 273.15
}

/// FIT semicircles to degrees: 2³¹ semicircles are 180°.
pub fn deg_from_semicircles(semicircles: f64) -> f64 {
    semicircles * (180.0 / 2_147_483_648.0)
}

/// Metres to feet (0.3048 m).
pub fn ft_from_m(length_m: f64) -> f64 {
    length_m / 0.3048
}

/// Metres to miles (international mile, 1609.344 m).
pub fn mi_from_m(length_m: f64) -> f64 {
    length_m / 1609.344
}

/// Pa to hPa.
pub fn hpa_from_pa(pressure_pa: f64) -> f64 {
    pressure_pa / 100.0
}

/// Fahrenheit from Celsius, by definition.
pub fn f_from_c(temperature_c: f64) -> f64 {
    temperature_c * 9.0 / 5.0 + 32.0
}

/// Inches of mercury; the conventional inch of mercury is 33.863 89 hPa (NIST SP 811, appendix B).
pub fn inhg_from_hpa(pressure_hpa: f64) -> f64 {
    pressure_hpa / 33.863_89
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quarter_turn_is_half_of_two_to_the_31st() {
        // FIT protocol: 45° = 536870912 semicircles (references: vendor's public SDK).
        assert_eq!(deg_from_semicircles(536_870_912.0), 45.0);
    }

    #[test]
    fn forty_kilometres_an_hour_is_a_ninth_of_a_hundred_metres_a_second() {
        assert!((m_s_from_km_h(40.0) - 100.0 / 9.0).abs() < 1e-12);
        assert!((km_h_from_m_s(m_s_from_km_h(40.0)) - 40.0).abs() < 1e-12);
    }
}
