//! The plausible range of every number of a session, one line a key.
//!
//! Given nothing; tables by which [`super::check`] judges. A limit that hangs on another value is not here.

use super::rule::{Limit, limit, rules};
use super::{
    Air, BearingFriction, Circuit, Expected, Position, Reference, RiderAndBike, Rollers, Run, Solve, TyrePressure,
    Uncertainty, Wind,
};

pub(crate) const MASS: Limit =
    limit(25.0, 250.0, "rider, bicycle and kit together in kg; not g, and not the bicycle alone");
pub(crate) const TYRE_TEMPERATURE: Limit = limit(-30.0, 90.0, "of the tyre in °C, not °F or K");
const PRESSURE: Limit =
    limit(500.0, 1100.0, "station pressure in hPa, not reduced to sea level; 1 bar is 1000 hPa, 1 mmHg is 1.333 hPa");
const COEFFICIENT: Limit = limit(0.0, 0.05, "relative change per °C: 0.008 is 0.8 % per °C");
const REFERENCE_TEMPERATURE: Limit = limit(-10.0, 50.0, "in °C");
pub(super) const TYRE: Limit = limit(50.0, 1600.0, "tyre pressure in kPa: 1 bar is 100 kPa, 1 psi is 6.9 kPa");
const INERTIA: Limit = limit(0.0, 1.0, "both wheels together in kg m²; 0.14 is usual");
const WHEEL_RADIUS: Limit = limit(0.15, 0.45, "rolling radius in m; 0.335 is usual");
const HEIGHT: Limit = limit(0.3, 1.6, "in m above the road; 1.05 is usual");
const EFFICIENCY: Limit = limit(0.8, 1.0, "a fraction: 0.976 at the crank, 1.0 at the hub");
const DIRECTION: Limit = limit(0.0, 360.0, "where it blows from, degrees clockwise from north");
const LAP: Limit = limit(1.0, 100_000.0, "laps count from 1");
const WINDOW: Limit =
    limit(0.0, 86_400.0, "seconds from the first record of the run, not minutes and not a time of day");

/// Of a relative standard uncertainty up to a share.
const fn fraction(most: f64) -> Limit {
    limit(0.0, most, "a fraction, not per cent: 1 % is 0.01")
}

rules! {
    pub(super) const RIDER of RiderAndBike {
        mass_kg: MASS;
        wheel_inertia_kg_m2: INERTIA;
        wheel_radius_m: WHEEL_RADIUS;
        centre_of_mass_height_m: HEIGHT;
        drivetrain_efficiency: EFFICIENCY;
    }
    pub(super) const BEARINGS of BearingFriction {
        constant_n: limit(0.0, 2.0, "in N; 0.091 is usual");
        linear_n_s_per_m: limit(0.0, 0.2, "in N s/m; 0.0087 is usual");
    }
    pub(super) const UNCERTAINTY of Uncertainty {
        temperature_coefficient_per_c:
            limit(0.0, 0.05, "standard uncertainty of the relative change of Crr per °C: 0.003 is 0.3 % per °C");
        mass_kg: limit(0.0, 10.0, "standard uncertainty of one weighing in kg");
        power_fraction: fraction(0.5);
        power_zero_w: limit(0.0, 50.0, "standard uncertainty of the meter's zero in W");
        fixed_loss_w: limit(0.0, 20.0, "standard uncertainty of what the chain loses at any power, in W");
        cda_between_speeds_fraction: fraction(0.2);
        speed_fraction: fraction(0.5);
        temperature_c: limit(0.0, 15.0, "in °C");
        pressure_hpa: limit(0.0, 50.0, "in hPa");
        humidity_pct: limit(0.0, 50.0, "in per cent relative humidity");
        drivetrain_efficiency: limit(0.0, 0.1, "a fraction: half a per cent is 0.005");
        wheel_inertia_kg_m2: limit(0.0, 0.5, "in kg m²");
        centre_of_mass_height_m: limit(0.0, 0.5, "in m");
        bearing_fraction: fraction(1.0);
        wind_fraction: fraction(1.0);
        drum_diameter_m: limit(0.0, 0.1, "in m");
        drum_spacing_m: limit(0.0, 0.1, "in m");
        rear_weight_fraction: fraction(0.3);
        no_load_fraction: fraction(1.0);
        run_to_run_fraction: limit(
            0.0,
            0.2,
            "what changes between runs of one set-up, a fraction of the resistance: 0.7 % is 0.007; 0 supposes exact repeats"
        );
        drum_conversion_fraction: limit(
            0.0,
            0.5,
            "relative, of the factor from drum to flat road: 10 % is 0.1; leave it out for the usual value"
        );
    }
    pub(super) const GATE of Position {
        lat_deg: limit(-90.0, 90.0, "latitude in degrees");
        lon_deg: limit(-180.0, 180.0, "longitude in degrees");
    }
    pub(super) const LOOP of Circuit {
        length_m: limit(80.0, 200_000.0, "length of one lap in m, not km");
        length_sd_m: limit(0.01, 100.0, "standard deviation of the ridden lap about length_m, in m");
        survey_sd_m: limit(0.0005, 5.0, "standard deviation of a surveyed height in m");
        bend_radius_m: limit(8.0, 120.0, "radius of the bends at the measuring line in m");
        transition_m: limit(0.0, 60.0, "length over which the bend tightens in m");
        home_straight_bearing_deg: limit(0.0, 360.0, "degrees clockwise from north");
        temperature_coefficient_per_c: COEFFICIENT;
        reference_temperature_c: REFERENCE_TEMPERATURE;
    }
    pub(super) const ROLLERS of Rollers {
        drum_diameter_m: limit(0.03, 3.0, "diameter in m, not mm and not the radius");
        drum_spacing_m: limit(0.0, 1.0, "between the axles of the two rear drums in m");
        rear_weight_fraction: limit(0.2, 1.0, "share of the weight on the rear wheel: 0.55 is usual");
        no_load_power_w_at_40_km_h: limit(0.0, 60.0, "drag of the empty drums at 40 km/h in W, without bicycle and rider: usually 2 to 15");
        temperature_coefficient_per_c: COEFFICIENT;
        reference_temperature_c: REFERENCE_TEMPERATURE;
    }
    pub(super) const AIR of Air {
        temperature_c: limit(-30.0, 55.0, "in °C, not °F or K");
        pressure_hpa: PRESSURE;
        humidity_pct: limit(0.0, 100.0, "per cent: 60, not 0.6");
    }
    pub(super) const WIND of Wind {
        speed_m_s: limit(0.0, 20.0, "in m/s, not km/h; nobody should test above 6");
        from_deg: DIRECTION;
        mast_height_m: limit(0.5, 200.0, "height of the wind gauge above ground in m");
        gusts: limit(0.0, 5.0, "standard deviation along travel in m/s, or \"estimate\" or \"none\"");
        expected_m_s: limit(0.05, 15.0, "standard deviation of each component in m/s: light wind has 1.5");
        along_loop: limit(0.0, 5.0, "share of the wind met at a place: 1 is that of the whole loop");
    }
    pub(super) const EXPECTED of Expected {
        cda_m2: limit(0.05, 1.5, "in m²; 0.2 to 0.4 is usual");
        cda_sd_m2: limit(0.001, 1.0, "standard deviation in m²; 0.06 is usual");
        crr: limit(0.0005, 0.05, "a pure number; 0.002 to 0.008 is usual");
        crr_fraction: limit(0.01, 2.0, "standard deviation of the logarithm of Crr: 40 % is 0.4");
    }
    pub(super) const SOLVE of Solve {
        yaw: limit(-10.0, 30.0, "k of CdA (1 + k sin² of the yaw angle), or \"common\", \"per-setup\" or \"none\"");
        lag: limit(-3.0, 3.0, "seconds that speed runs behind power, or \"estimate\"");
        confidence: limit(0.5, 0.999, "a fraction: 0.95, not 95");
        negligible_power_w: limit(0.01, 50.0, "watts at the reference speed");
    }
    pub(super) const REFERENCE of Reference {
        speed_km_h: limit(5.0, 120.0, "in km/h");
        mass_kg: MASS;
        air_density_kg_m3: limit(0.6, 1.6, "in kg/m³; 1.2 at sea level");
    }
    pub(super) const RUN of Run {
        mass_kg: MASS;
        wheel_inertia_kg_m2: INERTIA;
        wheel_radius_m: WHEEL_RADIUS;
        centre_of_mass_height_m: HEIGHT;
        drivetrain_efficiency: EFFICIENCY;
        tyre_temperature_c: TYRE_TEMPERATURE;
        planned_speed_km_h: limit(5.0, 120.0, "in km/h, one for each lap, repeated");
        leave_out: LAP;
        keep: LAP;
        window_s: WINDOW;
    }
    pub(super) const TYRES of TyrePressure {
        front: TYRE;
        rear: TYRE;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::Session;
    use serde_json::Value;
    use std::collections::BTreeSet;

    /// Keys of a table of the schema that hold a number, alone or in a list.
    fn numbers_of(schema: &Value, table: &str) -> BTreeSet<String> {
        let keys = schema["$defs"][table]["properties"].as_object().expect("a table of the schema");
        let is_number = |of: &Value| of.to_string().contains("\"number\"") || of.to_string().contains("\"array\"");
        let unions = ["/Lag", "/Gusts", "/Yaw", "/AlongLoop"];
        let union = |of: &Value| unions.iter().any(|name| of.to_string().contains(name));
        keys.iter().filter(|(_, of)| is_number(of) || union(of)).map(|(key, _)| key.clone()).collect()
    }

    #[test]
    fn no_number_of_a_session_is_without_a_range() {
        let schema = schemars::schema_for!(Session).to_value();
        fn keys<T>(rules: &[crate::session::rule::Rule<T>]) -> BTreeSet<String> {
            rules.iter().map(|rule| rule.key.to_string()).collect()
        }
        // Its limit hangs on the height of the gauge.
        let mut wind = keys(WIND);
        wind.insert("roughness_length_m".into());
        let tables = [
            ("RiderAndBike", keys(RIDER)),
            ("BearingFriction", keys(BEARINGS)),
            ("Uncertainty", keys(UNCERTAINTY)),
            ("Position", keys(GATE)),
            ("Circuit", keys(LOOP)),
            ("Rollers", keys(ROLLERS)),
            ("Air", keys(AIR)),
            ("Wind", wind),
            ("Expected", keys(EXPECTED)),
            ("Solve", keys(SOLVE)),
            ("Reference", keys(REFERENCE)),
            ("Run", keys(RUN)),
            ("TyrePressure", keys(TYRES)),
        ];
        for (table, ranged) in tables {
            assert_eq!(numbers_of(&schema, table), ranged, "{table}");
        }
    }
}
