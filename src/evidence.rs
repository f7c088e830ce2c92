//! What the figures and tables show beside the solution: series by lap, by step and by second.
//!
//! Given nothing; `analysis` fills it and `plot` and `report` read it. Plain data, no computing.

use crate::sample::Ride;

/// Everything that is drawn.
#[derive(Debug, Clone, Default)]
pub struct Evidence {
    pub runs: Vec<RunEvidence>,
    /// Common elevation profile at step edges, with standard error; empty without a loop.
    pub profile: Vec<ProfileBand>,
    /// Reference line in a local plane, m east and north of the gate, closed; empty without positions.
    pub reference_line: Vec<LinePoint>,
    /// Whether that line lies by the compass: a track whose bearing nobody stated does not.
    pub line_by_compass: bool,
    /// Joint covariance of (Crr, CdA) for each set-up, when separable.
    pub regions: Vec<JointRegion>,
    /// What the model leaves along the loop, where it was checked.
    pub model_residual: Option<ModelResidual>,
    /// Roller runs only.
    pub warm_ups: Vec<WarmUpEvidence>,
}

#[derive(Debug, Clone, Default)]
pub struct RunEvidence {
    /// Index of the set-up in the solution.
    pub setup: usize,
    pub laps: Vec<LapEvidence>,
    /// Whole ride, one entry a record.
    pub time_s: Vec<f64>,
    pub speed_m_s: Vec<f64>,
    pub power_w: Vec<f64>,
    /// Number of the unbroken stretch of the record; empty where there is one only.
    pub stretch: Vec<usize>,
    /// Whether the record is part of a used lap.
    pub used: Vec<bool>,
    /// Reconstructed elevation at the solved values less the common profile, m, carried on from lap to lap; NaN outside laps.
    pub residual_m: Vec<f64>,
}

impl RunEvidence {
    /// The series of a ride of which nothing is used.
    pub fn unused(setup: usize, ride: &Ride) -> RunEvidence {
        RunEvidence {
            setup,
            laps: Vec::new(),
            time_s: ride.time_s.clone(),
            speed_m_s: ride.speed_m_s.clone(),
            power_w: ride.power_w.clone(),
            stretch: ride.stretch.clone(),
            used: vec![false; ride.len()],
            residual_m: vec![f64::NAN; ride.len()],
        }
    }
}

/// One lap at its step edges (J + 1 of them); unused laps have them too where they can be computed.
#[derive(Debug, Clone, Default)]
pub struct LapEvidence {
    pub lap: usize,
    pub used: bool,
    pub mean_speed_m_s: f64,
    pub chainage_m: Vec<f64>,
    pub elevation_m: Vec<f64>,
    /// Elevation minus the common profile.
    pub residual_m: Vec<f64>,
    pub misclosure_m: f64,
}

#[derive(Debug, Clone, Copy, Default)]
pub struct ProfileBand {
    pub chainage_m: f64,
    pub elevation_m: f64,
    pub se_m: f64,
}

#[derive(Debug, Clone, Copy, Default)]
pub struct LinePoint {
    pub east_m: f64,
    pub north_m: f64,
    /// Root-mean-square residual elevation gradient at the place, m per step.
    pub residual_m: f64,
}

/// Centre and covariance of (Crr, CdA), with the degrees of freedom of the region.
#[derive(Debug, Clone, Copy, Default)]
pub struct JointRegion {
    pub setup: usize,
    pub crr: f64,
    pub cda_m2: f64,
    pub var_crr: f64,
    pub var_cda: f64,
    pub covariance: f64,
    pub dof: f64,
}

/// What the model leaves along the loop, step by step.
#[derive(Debug, Clone, Default)]
pub struct ModelResidual {
    /// Middle of each step, from the gate.
    pub distance_m: Vec<f64>,
    /// Whether the test looks at the step.
    pub is_judged: Vec<bool>,
    pub runs: Vec<LeftAlong>,
    /// By planned speed, from the slowest.
    pub classes: Vec<LeftAlong>,
}

/// Mean of the laps of a run or of a planned speed, one entry a step.
#[derive(Debug, Clone, Default)]
pub struct LeftAlong {
    /// Index of the run or planned speed.
    pub of: usize,
    pub speed_m_s: f64,
    /// Power that the model does not explain.
    pub power_w: Vec<f64>,
    /// Standard deviation of that under chance.
    pub chance_w: Vec<f64>,
}

/// One roller run: Crr on the drums second by second, the fitted decay and the window.
#[derive(Debug, Clone, Default)]
pub struct WarmUpEvidence {
    pub run: usize,
    pub setup: usize,
    pub time_s: Vec<f64>,
    pub crr: Vec<f64>,
    /// Fitted decay at the same times; empty when none was found.
    pub decay: Vec<f64>,
    pub window_from_s: f64,
    pub window_to_s: f64,
    pub mean_crr: f64,
}
