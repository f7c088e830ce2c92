//! Power at a steady speed, split by what it is spent on.
//!
//! Given parameters, conditions and a speed; gives watts. It solves for nothing.

use crate::air::{Direction, WindVector};
use crate::constant;
use crate::error::Error;
use crate::model::{AirSpeed, aerodynamic, bearing, elevation, rolling};
use crate::session::BearingFriction;
use serde::{Deserialize, Serialize};

/// What belongs to rider and bicycle.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Parameters {
    pub cda_m2: f64,
    pub crr: f64,
    /// Rider, bicycle and kit.
    pub mass_kg: f64,
    /// From where power is measured to the road.
    pub drivetrain_efficiency: f64,
    pub bearing_friction: BearingFriction,
}

impl Parameters {
    /// The three that matter most, with efficiency and bearings at their stated defaults.
    pub fn new(cda_m2: f64, crr: f64, mass_kg: f64) -> Self {
        Parameters {
            cda_m2,
            crr,
            mass_kg,
            drivetrain_efficiency: constant::DRIVETRAIN_EFFICIENCY,
            bearing_friction: BearingFriction::default(),
        }
    }
}

/// What belongs to the place and the day.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Conditions {
    pub air_density_kg_m3: f64,
    /// Rise over run; 0.03 is 3 %.
    pub gradient: f64,
    /// At rider height, against the direction of travel; a tail wind is negative.
    pub headwind_m_s: f64,
    /// At rider height, across the direction of travel; the sign does not matter.
    pub crosswind_m_s: f64,
    pub gravity_m_s2: f64,
}

impl Conditions {
    /// Level road, still air and standard gravity.
    pub fn calm(air_density_kg_m3: f64) -> Self {
        Conditions {
            air_density_kg_m3,
            gradient: 0.0,
            headwind_m_s: 0.0,
            crosswind_m_s: 0.0,
            gravity_m_s2: constant::STANDARD_GRAVITY_M_S2,
        }
    }
}

/// Power at a steady speed, W at the place where it is measured, and what it is spent on.
///
/// The causes add up to the total. One that pushes (descent, tail wind) is negative.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Demand {
    pub speed_m_s: f64,
    pub total_w: f64,
    pub aero_w: f64,
    pub rolling_w: f64,
    pub bearing_w: f64,
    pub climbing_w: f64,
    /// Lost between the place where power is measured and the road.
    pub drivetrain_w: f64,
}

/// Power to hold a speed.
///
/// P = [ ½ρ CdA w w∥ + Crr m g cos γ + (b₀ + b₁v) + m g sin γ ] v / η, tan γ the gradient (Martin et al. 1998,
/// J. Appl. Biomech. 14:276–291, eq. 15 without acceleration). Where the sum is negative the rider must brake that
/// much and the drivetrain is idle. Valid for any speed from 0 up.
///
/// ```
/// use loopwright::demand::{Conditions, Parameters, demand_at_speed};
/// let rider = Parameters { drivetrain_efficiency: 1.0, ..Parameters::new(0.30, 0.004, 85.0) };
/// let d = demand_at_speed(&rider, &Conditions::calm(1.2), 10.0);
/// assert!((d.aero_w - 180.0).abs() < 1e-9);       // ½ · 1.2 · 0.30 · 10³
/// assert!((d.rolling_w - 33.342_61).abs() < 1e-5); // 0.004 · 85 · 9.80665 · 10
/// ```
pub fn demand_at_speed(rider: &Parameters, conditions: &Conditions, speed_m_s: f64) -> Demand {
    let c = conditions;
    // Riding north, a head wind is one that blows to the south.
    let wind = WindVector { east_m_s: c.crosswind_m_s, north_m_s: -c.headwind_m_s };
    let air = AirSpeed::new(speed_m_s, Direction { east: 0.0, north: 1.0 }, wind);
    let aero_w = rider.cda_m2 * aerodynamic::drag_per_area_n_m2(c.air_density_kg_m3, air) * speed_m_s;
    let load_n = rolling::normal_load_n(rider.mass_kg, c.gravity_m_s2, c.gradient);
    let rolling_w = rolling::rolling_force_n(rider.crr, load_n) * speed_m_s;
    let bearing_w = bearing::bearing_force_n(rider.bearing_friction, speed_m_s) * speed_m_s;
    let climbing_w = elevation::climbing_force_n(rider.mass_kg, c.gravity_m_s2, c.gradient) * speed_m_s;
    let road_w = aero_w + rolling_w + bearing_w + climbing_w;
    let total_w = if road_w > 0.0 { road_w / rider.drivetrain_efficiency } else { road_w };
    Demand { speed_m_s, total_w, aero_w, rolling_w, bearing_w, climbing_w, drivetrain_w: total_w - road_w }
}

/// Refuses values that are not numbers or have the wrong sign, before anything is solved with them.
pub(super) fn check(rider: &Parameters, conditions: &Conditions) -> Result<(), Error> {
    let finite = [
        ("gradient", conditions.gradient),
        ("head wind", conditions.headwind_m_s),
        ("cross wind", conditions.crosswind_m_s),
    ];
    let positive = [
        ("mass", rider.mass_kg),
        ("drivetrain efficiency", rider.drivetrain_efficiency),
        ("gravity", conditions.gravity_m_s2),
    ];
    let not_negative = [
        ("CdA", rider.cda_m2),
        ("Crr", rider.crr),
        ("air density", conditions.air_density_kg_m3),
        ("bearing drag", rider.bearing_friction.constant_n),
        ("bearing drag per speed", rider.bearing_friction.linear_n_s_per_m),
    ];
    let bad = |name: &str, value: f64, limit: &str| Error::Numerical {
        stage: "demand",
        message: format!("{name} = {value} is not {limit}; check the value and its unit"),
    };
    for (name, value) in finite {
        if !value.is_finite() {
            return Err(bad(name, value, "a finite number"));
        }
    }
    for (name, value) in positive {
        if !(value.is_finite() && value > 0.0) {
            return Err(bad(name, value, "a number above zero"));
        }
    }
    for (name, value) in not_negative {
        if !(value.is_finite() && value >= 0.0) {
            return Err(bad(name, value, "a number from zero up"));
        }
    }
    Ok(())
}
