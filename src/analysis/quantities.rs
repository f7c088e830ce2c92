//! The quantities that are reported, as linear functions of the parameters, and their estimates.
//!
//! Given a fit; gives for each set-up and pair the coefficients of Crr, CdA and watts.

use super::known::{Known, Uncertain};
use crate::constant::STANDARD_GRAVITY_M_S2;
use crate::quantity::m_s_from_km_h;
use crate::session::Session;
use crate::solve::layout::Layout;
use crate::uncertainty::cluster::ClusterRobust;
use nalgebra::DVector;

/// Watts at the reference conditions for a unit of Crr and of CdA, and what does not depend on either.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PowerAt {
    pub per_crr_w: f64,
    pub per_cda_w_m2: f64,
    pub bearing_w: f64,
}

impl PowerAt {
    /// P = [ Crr m g v + ½ρ CdA v³ + (b₀ + b₁v) v ] / η on a flat road in still air.
    pub fn reference(session: &Session) -> PowerAt {
        let v = m_s_from_km_h(session.reference.speed_km_h);
        let rider = &session.rider_and_bike;
        let efficiency = rider.drivetrain_efficiency;
        PowerAt {
            per_crr_w: session.reference_mass_kg() * STANDARD_GRAVITY_M_S2 * v / efficiency,
            per_cda_w_m2: 0.5 * session.reference.air_density_kg_m3 * v.powi(3) / efficiency,
            bearing_w: crate::model::bearing::bearing_force_n(rider.bearing_friction, v) * v / efficiency,
        }
    }
}

/// A linear function of the parameters plus a constant.
#[derive(Debug, Clone, PartialEq)]
pub struct Linear {
    pub coefficients: DVector<f64>,
    pub constant: f64,
}

impl Linear {
    pub fn value(&self, parameters: &[f64]) -> f64 {
        self.constant + self.coefficients.iter().zip(parameters).map(|(c, p)| c * p).sum::<f64>()
    }

    pub fn minus(&self, other: &Linear) -> Linear {
        Linear { coefficients: &self.coefficients - &other.coefficients, constant: self.constant - other.constant }
    }
}

/// The reported quantities of one set-up.
#[derive(Debug, Clone, PartialEq)]
pub struct SetupQuantities {
    pub crr: Linear,
    pub cda: Linear,
    pub power: Linear,
    pub rolling_power: Linear,
    pub aero_power: Linear,
}

impl SetupQuantities {
    pub fn new(layout: &Layout, setup: usize, power: &PowerAt) -> SetupQuantities {
        let of = |crr: f64, cda: f64, constant: f64| {
            let mut coefficients = DVector::zeros(layout.len);
            coefficients[layout.setup_crr()[setup]] = crr;
            coefficients[layout.setup_cda()[setup]] = cda;
            Linear { coefficients, constant }
        };
        SetupQuantities {
            crr: of(1.0, 0.0, 0.0),
            cda: of(0.0, 1.0, 0.0),
            power: of(power.per_crr_w, power.per_cda_w_m2, power.bearing_w),
            rolling_power: of(power.per_crr_w, 0.0, 0.0),
            aero_power: of(0.0, power.per_cda_w_m2, 0.0),
        }
    }

    pub fn minus(&self, other: &SetupQuantities) -> SetupQuantities {
        SetupQuantities {
            crr: self.crr.minus(&other.crr),
            cda: self.cda.minus(&other.cda),
            power: self.power.minus(&other.power),
            rolling_power: self.rolling_power.minus(&other.rolling_power),
            aero_power: self.aero_power.minus(&other.aero_power),
        }
    }
}

/// A linear function of the parameters with its uncertainty; one that is identically its constant is exactly known.
pub fn linear_known(
    linear: &Linear,
    parameters: &[f64],
    covariance: &ClusterRobust,
    instrument_se: Option<f64>,
) -> Known {
    if linear.coefficients.iter().all(|c| *c == 0.0) {
        return Known::Exactly(linear.constant);
    }
    let contrast = covariance.contrast(&linear.coefficients);
    Known::Within(Uncertain {
        prior_se: Some(contrast.prior.max(0.0).sqrt()),
        instrument_se,
        ..Uncertain::of_laps(linear.value(parameters), contrast.moderated())
    })
}
