//! How far one step of the energy account strays: scatter of the power meter and gusts.
//!
//! Given the noise of a plan; gives variances and correlations of the rows of a lap, m². Only what a rider cannot help
//! counts: a gust's push on the rider is noise, the change of speed that follows is in the account.

use crate::plan::{Noise, SpeedSource};

/// Noise of the rows of all laps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct RowNoise {
    /// Relative scatter of one-second power.
    power_cv: f64,
    gust_sd_m_s: f64,
    gust_time_s: f64,
    /// Scatter of the speed read at a step edge, m/s.
    edge_speed_sd_m_s: f64,
}

/// Variance of a value rounded to whole watts, W² (uniform within ±½ W).
const ROUNDING_W2: f64 = 1.0 / 12.0;
/// Scatter of a satellite receiver's speed, m/s, as the simulation has it.
const SATELLITE_SD_M_S: f64 = 0.05;
/// Correlation that is as good as none.
const FAINT: f64 = 1e-4;

impl RowNoise {
    pub(super) fn of(noise: &Noise) -> RowNoise {
        RowNoise {
            power_cv: noise.power_cv,
            gust_sd_m_s: noise.gust_sd_m_s,
            gust_time_s: noise.gust_time_s,
            edge_speed_sd_m_s: match noise.speed_source {
                SpeedSource::Satellite => SATELLITE_SD_M_S,
                SpeedSource::Wheel | SpeedSource::Exact => 0.0,
            },
        }
    }

    /// The same day with another standard deviation of the gusts.
    pub(super) fn with_gusts(self, gust_sd_m_s: f64) -> RowNoise {
        RowNoise { gust_sd_m_s, ..self }
    }

    pub(super) fn gust_sd_m_s(&self) -> f64 {
        self.gust_sd_m_s
    }

    /// Variance of work over a step from ∫P²dt (W² s) and its duration, J².
    pub(super) fn work_j2(&self, power_square: f64, duration_s: f64) -> f64 {
        self.power_cv * self.power_cv * power_square + ROUNDING_W2 * duration_s
    }

    /// Variance of kinetic energy at an edge for a mass and a speed, J².
    pub(super) fn edge_j2(&self, mass_kg: f64, speed_m_s: f64) -> f64 {
        (mass_kg * speed_m_s * self.edge_speed_sd_m_s).powi(2)
    }

    /// Covariance of the mean gusts of two steps, m²/s². `apart_s` lies between the end of one and the begin of the
    /// other; a step with itself has `None`.
    ///
    /// For a first-order autoregressive process with standard deviation σ and time τ, means over S and T:
    /// σ² τ²/(S T) (1 − e^(−S/τ)) (1 − e^(−T/τ)) e^(−apart/τ), and for one span
    /// 2σ² (τ/T) [1 − (τ/T)(1 − e^(−T/τ))] (integrals of σ² e^(−|t|/τ)).
    pub(super) fn gust_m2_s2(&self, first_s: f64, second_s: f64, apart_s: Option<f64>) -> f64 {
        let variance = self.gust_sd_m_s * self.gust_sd_m_s;
        let (x, y) = (self.gust_time_s / first_s, self.gust_time_s / second_s);
        let kept = |share: f64| 1.0 - (-1.0 / share).exp();
        match apart_s {
            None => 2.0 * variance * x * (1.0 - x * kept(x)),
            Some(apart) => variance * x * y * kept(x) * kept(y) * (-apart / self.gust_time_s).exp(),
        }
    }

    /// Time after which one gust says nothing about the next.
    pub(super) fn memory_s(&self) -> f64 {
        -self.gust_time_s * FAINT.ln()
    }
}
