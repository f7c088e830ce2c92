//! The quantities that are reported, as linear functions of the parameters, and their estimates.
//!
//! Given a fit; gives for each set-up and pair the coefficients of Crr, CdA and watts.

use crate::constant::STANDARD_GRAVITY_M_S2;
use crate::quantity::m_s_from_km_h;
use crate::session::Session;
use crate::solution::Estimate;
use crate::solve::layout::Layout;
use crate::uncertainty::budget::{Combined, welch_satterthwaite};
use crate::uncertainty::cluster::ClusterRobust;
use crate::uncertainty::student::coverage_factor;
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
            coefficients[layout.crr[setup]] = crr;
            coefficients[layout.cda[setup]] = cda;
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

/// Scatter and instrument parts put together.
///
/// The instrument part is taken as known (infinite degrees of freedom), the scatter part has its Satterthwaite
/// degrees of freedom; together by Welch–Satterthwaite (JCGM 100:2008, G.4.1).
pub fn estimate(
    value: f64,
    scatter_se: f64,
    scatter_dof: f64,
    instrument_se: Option<f64>,
    confidence: f64,
) -> Estimate {
    let parts = [
        Combined { standard_uncertainty: scatter_se, dof: scatter_dof },
        Combined { standard_uncertainty: instrument_se.unwrap_or(0.0), dof: f64::INFINITY },
    ];
    let together = welch_satterthwaite(&parts);
    let half = coverage_factor(confidence, together.dof) * together.standard_uncertainty;
    let known = |x: f64| x.is_finite().then_some(x);
    Estimate {
        value: known(value),
        se: known(together.standard_uncertainty),
        low: known(value - half),
        high: known(value + half),
        dof: known(together.dof),
        scatter_se: known(scatter_se),
        instrument_se,
    }
}

/// Estimate of a linear function of the parameters; a function that is identically its constant is exactly known.
pub fn linear_estimate(
    linear: &Linear,
    parameters: &[f64],
    covariance: &ClusterRobust,
    instrument_se: Option<f64>,
    confidence: f64,
) -> Estimate {
    if linear.coefficients.iter().all(|c| *c == 0.0) {
        return Estimate { value: Some(linear.constant), ..Estimate::default() };
    }
    let v = covariance.contrast(&linear.coefficients);
    estimate(linear.value(parameters), v.standard_error(), v.dof, instrument_se, confidence)
}
