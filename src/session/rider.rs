//! Mass and mechanics of rider and bicycle.
//!
//! Given by a session file; holds values and their defaults. It checks nothing.

use crate::constant;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Mass and mechanics; every value may be repeated in a run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RiderAndBike {
    /// Rider, bicycle, kit and bottles together, as weighed.
    pub mass_kg: f64,
    /// Both wheels together.
    #[serde(default = "default_wheel_inertia")]
    pub wheel_inertia_kg_m2: f64,
    /// Rolling radius.
    #[serde(default = "default_wheel_radius")]
    pub wheel_radius_m: f64,
    /// Above the contact line, along the leaning bicycle.
    #[serde(default = "default_com_height")]
    pub centre_of_mass_height_m: f64,
    /// From where power is measured to the road: 0.976 at pedal or crank, 1.0 at the hub.
    #[serde(default = "default_efficiency")]
    pub drivetrain_efficiency: f64,
    #[serde(default)]
    pub bearing_friction: BearingFriction,
}

fn default_wheel_inertia() -> f64 {
    constant::WHEEL_INERTIA_KG_M2
}
fn default_wheel_radius() -> f64 {
    constant::WHEEL_RADIUS_M
}
fn default_com_height() -> f64 {
    constant::CENTRE_OF_MASS_HEIGHT_M
}
fn default_efficiency() -> f64 {
    constant::DRIVETRAIN_EFFICIENCY
}

impl RiderAndBike {
    /// The stated mass with every other value at its default.
    pub fn of_mass(mass_kg: f64) -> Self {
        RiderAndBike {
            mass_kg,
            wheel_inertia_kg_m2: default_wheel_inertia(),
            wheel_radius_m: default_wheel_radius(),
            centre_of_mass_height_m: default_com_height(),
            drivetrain_efficiency: default_efficiency(),
            bearing_friction: BearingFriction::default(),
        }
    }
}

/// Bearing drag of both wheels, (constant + linear·v).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BearingFriction {
    /// Bearing drag of both wheels, constant part.
    pub constant_n: f64,
    /// Bearing drag of both wheels, part that grows with speed.
    pub linear_n_s_per_m: f64,
}

impl Default for BearingFriction {
    fn default() -> Self {
        BearingFriction {
            constant_n: constant::BEARING_CONSTANT_N,
            linear_n_s_per_m: constant::BEARING_LINEAR_N_S_PER_M,
        }
    }
}
