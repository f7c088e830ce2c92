//! Units for people: metric, or imperial where asked.
//!
//! In imperial text these stay as they are, because the trade and its sheets have them so: CdA in m², watts, newtons and N s/m,
//! moments of inertia in kg m², density of the air in kg/m³, squares of gusts in m²/s², drums and tyres in mm, and levels of a
//! factor, whose unit the tester chose with its key. No number gets more digits than its metric form tells.
//!
//! Given SI values; gives text with a unit. Conversion factors live in `quantity`.

mod in_words;

use crate::quantity::{
    bar_from_kpa, f_from_c, ft_from_m, inhg_from_hpa, km_h_from_m_s, lb_from_kg, mph_from_m_s, psi_from_kpa,
};

/// What people read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Units {
    /// km/h, bar, kg, m.
    #[default]
    Metric,
    /// mph, psi, lb, ft.
    Imperial,
}

impl Units {
    pub fn speed_unit(self) -> &'static str {
        match self {
            Units::Metric => "km/h",
            Units::Imperial => "mph",
        }
    }

    /// A speed in the unit of [`Units::speed_unit`].
    pub fn speed_value(self, speed_m_s: f64) -> f64 {
        match self {
            Units::Metric => km_h_from_m_s(speed_m_s),
            Units::Imperial => mph_from_m_s(speed_m_s),
        }
    }

    pub fn speed(self, speed_m_s: f64) -> String {
        format!("{} {}", fixed(Some(self.speed_value(speed_m_s)), 1), self.speed_unit())
    }

    pub fn mass(self, mass_kg: f64) -> String {
        match self {
            Units::Metric => format!("{} kg", fixed(Some(mass_kg), 1)),
            Units::Imperial => format!("{} lb", fixed(Some(lb_from_kg(mass_kg)), 1)),
        }
    }

    pub fn pressure(self, pressure_kpa: f64) -> String {
        match self {
            Units::Metric => format!("{} bar", fixed(Some(bar_from_kpa(pressure_kpa)), 2)),
            Units::Imperial => format!("{} psi", fixed(Some(psi_from_kpa(pressure_kpa)), 0)),
        }
    }

    /// Wind is m/s in the field, mph where people asked for miles.
    pub fn wind_unit(self) -> &'static str {
        match self {
            Units::Metric => "m/s",
            Units::Imperial => "mph",
        }
    }

    pub fn wind_value(self, speed_m_s: f64) -> f64 {
        match self {
            Units::Metric => speed_m_s,
            Units::Imperial => mph_from_m_s(speed_m_s),
        }
    }

    pub fn temperature_unit(self) -> &'static str {
        match self {
            Units::Metric => "°C",
            Units::Imperial => "°F",
        }
    }

    pub fn temperature_value(self, temperature_c: f64) -> f64 {
        match self {
            Units::Metric => temperature_c,
            Units::Imperial => f_from_c(temperature_c),
        }
    }

    pub fn air_pressure_unit(self) -> &'static str {
        match self {
            Units::Metric => "hPa",
            Units::Imperial => "inHg",
        }
    }

    /// Pressure of the air, with its unit.
    pub fn air_pressure(self, pressure_hpa: f64) -> String {
        match self {
            Units::Metric => format!("{} hPa", fixed(Some(pressure_hpa), 1)),
            Units::Imperial => format!("{} inHg", fixed(Some(inhg_from_hpa(pressure_hpa)), 2)),
        }
    }

    pub fn length_unit(self) -> &'static str {
        match self {
            Units::Metric => "m",
            Units::Imperial => "ft",
        }
    }

    pub fn length_value(self, length_m: f64) -> f64 {
        match self {
            Units::Metric => length_m,
            Units::Imperial => ft_from_m(length_m),
        }
    }

    pub fn length(self, length_m: f64) -> String {
        format!("{} {}", fixed(Some(self.length_value(length_m)), 1), self.length_unit())
    }
}

fn fixed(value: Option<f64>, decimals: usize) -> String {
    value.filter(|v| v.is_finite()).map_or("–".into(), |v| format!("{v:.decimals$}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn people_get_the_units_they_asked_for() {
        // 1 mile = 1609.344 m and 1 lb = 0.45359237 kg by definition.
        assert_eq!(Units::Metric.speed(10.0), "36.0 km/h");
        assert_eq!(Units::Imperial.speed(10.0), "22.4 mph");
        assert_eq!(Units::Imperial.mass(80.0), "176.4 lb");
        assert_eq!(Units::Metric.pressure(480.0), "4.80 bar");
        // 20 °C are 68 °F and the standard atmosphere is 29.92 inHg.
        assert!((Units::Imperial.temperature_value(20.0) - 68.0).abs() < 1e-9);
        assert_eq!(Units::Imperial.air_pressure(1013.25), "29.92 inHg");
    }
}
