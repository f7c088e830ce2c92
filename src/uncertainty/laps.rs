//! The projected rows of all laps, what was taken out of them, and what is expected of the parameters.
//!
//! Given matrices and residuals; holds them. It judges nothing.

use nalgebra::{DMatrix, DVector};

use super::rows::Rows;

/// The rows of one cluster (one lap), scaled by the square root of the lap's weight and projected.
#[derive(Debug, Clone)]
pub struct Cluster {
    /// PJ, rows × parameters.
    pub jacobian: DMatrix<f64>,
    /// PZ, rows × parameters.
    pub instruments: DMatrix<f64>,
    /// Pr.
    pub residual: DVector<f64>,
}

/// Rows of all laps, scaled by the square root of each lap's weight and projected.
#[derive(Debug, Clone)]
pub struct Laps {
    /// PJ.
    pub jacobian: Rows,
    /// PZ.
    pub instruments: Rows,
    /// Pr.
    pub residual: Vec<DVector<f64>>,
    pub prior: PriorRows,
}

/// What is expected of the parameters, as rows of the equations.
#[derive(Debug, Clone, Default)]
pub struct PriorRows {
    /// Λ of each parameter; empty where nothing is expected of any.
    pub precision: DVector<f64>,
    /// σ², in the unit of the rows.
    pub row_variance: f64,
}

impl From<&[Cluster]> for Laps {
    fn from(clusters: &[Cluster]) -> Laps {
        let parameters = clusters.first().map_or(0, |c| c.jacobian.ncols());
        Laps {
            jacobian: Rows::separate(clusters.iter().map(|c| c.jacobian.clone()), parameters),
            instruments: Rows::separate(clusters.iter().map(|c| c.instruments.clone()), parameters),
            residual: clusters.iter().map(|c| c.residual.clone()).collect(),
            prior: PriorRows::default(),
        }
    }
}

/// What the projection took out of the errors.
#[derive(Debug, Clone, PartialEq)]
pub enum Absorbed {
    /// Nothing: the errors of different laps, rows as given, are independent. What a survey leaves of a profile is
    /// taken out before, so that this holds for its rows too.
    Nothing,
    /// Step means summing to zero over the lap, I − P = √(w_g w_h)/Σw · (I − 11ᵀ/J) for laps of J rows each.
    StepMeans { lap_weights: Vec<f64> },
}

impl Absorbed {
    /// w_g / Σw, or zeros.
    pub(super) fn shares(&self, clusters: usize) -> Vec<f64> {
        match self {
            Absorbed::Nothing => vec![0.0; clusters],
            Absorbed::StepMeans { lap_weights } => {
                let total: f64 = lap_weights.iter().sum();
                lap_weights.iter().map(|weight| weight / total).collect()
            }
        }
    }
}
