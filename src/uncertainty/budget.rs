//! The uncertainty budget: how standard uncertainties of the inputs carry over to the outputs, to first order.
//!
//! Given for each source its standard uncertainty and by how much every output moved when the source was set one
//! standard uncertainty up and down; gives contributions and the combined uncertainty of any
//! contrast of outputs, where common errors cancel. It never runs the model itself.
//!
//! Source: JCGM 100:2008 (GUM), clauses 5.1.2, 5.1.3 note 2, G.4.1.

use nalgebra::{DMatrix, DVector};

use crate::error::Error;

/// One input quantity and its effect.
#[derive(Debug, Clone, PartialEq)]
pub struct Source {
    pub name: String,
    /// In `unit`.
    pub standard_uncertainty: f64,
    pub unit: String,
    /// Of the standard uncertainty; infinite when it is taken as known.
    pub dof: f64,
    /// Change of each output with the input at +u.
    pub plus: Vec<f64>,
    /// Change of each output with the input at −u.
    pub minus: Vec<f64>,
}

impl Source {
    /// A source whose effect on each output is known to be linear: change per one standard uncertainty.
    pub fn linear(name: &str, standard_uncertainty: f64, unit: &str, dof: f64, change: &[f64]) -> Source {
        Source {
            name: name.to_owned(),
            standard_uncertainty,
            unit: unit.to_owned(),
            dof,
            plus: change.to_vec(),
            minus: change.iter().map(|value| -value).collect(),
        }
    }
}

/// A standard uncertainty with its degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Combined {
    pub standard_uncertainty: f64,
    /// Welch–Satterthwaite; NaN where nothing tells them.
    pub dof: f64,
}

/// Combine independent uncertainties: u² = Σuᵢ², ν = u⁴ / Σ(uᵢ⁴/νᵢ) (GUM eq. G.2b).
///
/// ```
/// use loopwright::uncertainty::budget::{Combined, welch_satterthwaite};
/// let both = welch_satterthwaite(&[
///     Combined { standard_uncertainty: 3.0, dof: 9.0 },
///     Combined { standard_uncertainty: 4.0, dof: f64::INFINITY },
/// ]);
/// assert_eq!(both.standard_uncertainty, 5.0);
/// assert!((both.dof - 625.0 / 9.0).abs() < 1e-9);
/// ```
pub fn welch_satterthwaite(parts: &[Combined]) -> Combined {
    let variance: f64 = parts.iter().map(|part| part.standard_uncertainty.powi(2)).sum();
    // A part without uncertainty says nothing about the degrees of freedom, even when its own are unknown.
    let loss: f64 = parts
        .iter()
        .filter(|part| part.standard_uncertainty != 0.0)
        .map(|part| part.standard_uncertainty.powi(4) / part.dof)
        .sum();
    let dof = if loss == 0.0 { f64::INFINITY } else { variance * variance / loss };
    Combined { standard_uncertainty: variance.sqrt(), dof }
}

/// All sources of one result, independent of each other.
#[derive(Debug, Clone)]
pub struct Budget {
    sources: Vec<Source>,
    /// Sources × outputs, signed.
    contributions: DMatrix<f64>,
}

impl Budget {
    /// Independent sources.
    pub fn new(sources: Vec<Source>) -> Result<Self, Error> {
        let outputs = sources.first().map_or(0, |source| source.plus.len());
        for source in &sources {
            let whole = source.plus.len() == outputs && source.minus.len() == outputs;
            let finite = source.plus.iter().chain(&source.minus).all(|change| change.is_finite());
            if !whole || !finite || source.dof.is_nan() || source.dof <= 0.0 {
                return Err(refusal(format!(
                    "source {}: {} and {} changes for {outputs} outputs, {} degrees of freedom; finite changes and \
                     positive degrees of freedom are needed",
                    source.name,
                    source.plus.len(),
                    source.minus.len(),
                    source.dof
                )));
            }
        }
        let contributions = DMatrix::from_fn(sources.len(), outputs, |row, column| {
            0.5 * (sources[row].plus[column] - sources[row].minus[column])
        });
        Ok(Budget { sources, contributions })
    }

    pub fn sources(&self) -> &[Source] {
        &self.sources
    }

    /// Signed contribution cᵢuᵢ of each source to a contrast of outputs, by central difference: ½(Δ₊ − Δ₋).
    pub fn contributions(&self, contrast: &[f64]) -> Vec<f64> {
        if contrast.len() != self.contributions.ncols() {
            return vec![f64::NAN; self.sources.len()];
        }
        (&self.contributions * DVector::from_column_slice(contrast)).iter().copied().collect()
    }

    /// Combined standard uncertainty of a contrast of outputs and its effective degrees of freedom.
    pub fn combined(&self, contrast: &[f64]) -> Combined {
        let parts = self.contributions(contrast);
        let each = parts.iter().zip(&self.sources);
        let each = each.map(|(part, source)| Combined { standard_uncertainty: part.abs(), dof: source.dof });
        welch_satterthwaite(&each.collect::<Vec<_>>())
    }
}

fn refusal(message: String) -> Error {
    Error::Numerical { stage: "uncertainty budget", message }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_error_common_to_both_sides_cancels_in_their_difference() {
        // Algebra: the scale moves both outputs by 2, each weighing only its own.
        let budget = Budget::new(vec![
            Source::linear("power scale", 0.01, "1", f64::INFINITY, &[2.0, 2.0]),
            Source::linear("weighing of A", 0.1, "kg", f64::INFINITY, &[0.3, 0.0]),
            Source::linear("weighing of B", 0.1, "kg", f64::INFINITY, &[0.0, 0.4]),
        ])
        .unwrap();
        assert!((budget.combined(&[-1.0, 1.0]).standard_uncertainty - 0.5).abs() < 1e-12);
        assert!((budget.combined(&[0.0, 1.0]).standard_uncertainty - 4.16_f64.sqrt()).abs() < 1e-12);
        assert_eq!(budget.contributions(&[-1.0, 1.0])[0], 0.0);
    }

    #[test]
    fn a_bent_effect_is_no_contribution() {
        // Algebra: y = x² at 0 gives +u² both ways.
        let bent = Source { plus: vec![0.04], minus: vec![0.04], ..Source::linear("x", 0.2, "1", 5.0, &[0.0]) };
        let budget = Budget::new(vec![bent]).unwrap();
        assert_eq!(budget.contributions(&[1.0]), [0.0]);
    }

    #[test]
    fn a_source_with_missing_changes_is_refused_by_name() {
        let short = Source::linear("humidity", 5.0, "%", f64::INFINITY, &[1.0]);
        let full = Source::linear("mass", 0.1, "kg", f64::INFINITY, &[1.0, 2.0]);
        let refused = Budget::new(vec![full, short]).unwrap_err().to_string();
        assert!(refused.contains("humidity"), "{refused}");
    }
}
