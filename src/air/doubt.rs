//! Readings that do not fit the place or the device: when a stated value is likelier a slip than weather.
//!
//! Given a reading and what it is held against; gives whether it is doubted. It changes no reading.

use super::standard::sea_level_pressure_pa;
use crate::quantity::hpa_from_pa;

/// Pressure at sea level on days for riding, hPa (common practice, no source: beyond lie the deepest storms and the strongest
/// winter highs).
const RIDING_WEATHER_HPA: std::ops::RangeInclusive<f64> = 980.0..=1035.0;
/// What is typed when no barometer was read, hPa: the standard atmosphere at sea level, rounded as people round it; and the
/// elevation from which that costs 0.7 % of density, m.
const FROM_MEMORY_HPA: [f64; 4] = [1013.0, 1013.2, 1013.25, 1013.3];
const ABOVE_THE_SEA_M: f64 = 60.0;
/// A device on a bicycle reads this much too high in the sun, or this much too low when it comes from a cold room, °C (common
/// practice, no source).
const DEVICE_HIGH_C: f64 = 8.0;
const DEVICE_LOW_C: f64 = 5.0;

/// Whether a station pressure is further from that of the elevation than weather takes it, or is that of the sea, written down
/// without a barometer.
pub fn pressure_is_odd(station_pa: f64, elevation_m: f64) -> bool {
    let at_sea_hpa = hpa_from_pa(sea_level_pressure_pa(station_pa, elevation_m));
    let from_memory = FROM_MEMORY_HPA.iter().any(|p| (hpa_from_pa(station_pa) - p).abs() < 1e-6);
    !RIDING_WEATHER_HPA.contains(&at_sea_hpa) || (from_memory && elevation_m > ABOVE_THE_SEA_M)
}

/// Whether a stated temperature cannot be that of the air around a device that shows another.
pub fn temperature_is_odd(stated_c: f64, device_c: f64) -> bool {
    stated_c > device_c + DEVICE_LOW_C || stated_c < device_c - DEVICE_HIGH_C
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pressure_of_the_sea_is_odd_on_land_and_weather_is_not() {
        // 250 m: the standard atmosphere has 983.6 hPa, 312 m 976.3 hPa, 100 m 1001.3 hPa (ISO 2533).
        for (hpa, elevation_m) in [(1013.0, 250.0), (1013.0, 312.0), (1013.25, 100.0), (1016.0, 260.0), (983.6, 900.0)]
        {
            assert!(pressure_is_odd(100.0 * hpa, elevation_m), "{hpa} hPa at {elevation_m} m");
        }
        for (hpa, elevation_m) in [(983.6, 250.0), (1003.0, 250.0), (955.0, 250.0), (1013.0, 20.0), (1020.0, 100.0)] {
            assert!(!pressure_is_odd(100.0 * hpa, elevation_m), "{hpa} hPa at {elevation_m} m");
        }
    }

    #[test]
    fn a_device_may_read_high_in_the_sun_but_air_is_not_hotter_than_it_by_much() {
        assert!(temperature_is_odd(50.0, 19.0) && temperature_is_odd(25.0, 19.0) && temperature_is_odd(10.0, 19.0));
        assert!(!temperature_is_odd(12.0, 19.0) && !temperature_is_odd(22.0, 19.0));
    }
}
