//! Speed delay: by how much the speed reading is late against positions or lap marks.
//!
//! Given what the fixes of every sequence say of the delay; gives the delay that all of them share, with what is left open. One
//! sensor serves all runs, and positions and marks are taken to have no delay of their own.

/// By how much the speed reading is late, s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpeedDelay {
    pub mean_s: f64,
    pub sd_s: f64,
}

/// Degrees of freedom that the stated errors of fixes count for beside what the fixes show themselves.
const STATED_DOF: f64 = 4.0;

/// What the fixes of one sequence say of the delay, whatever its start and scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct DelayEvidence {
    /// Inverse variance of the delay by the stated errors of fixes, 1/s².
    pub information: f64,
    /// The same times the delay, 1/s.
    pub pull: f64,
    /// Sum of squares of lap means, each over its stated variance, and its degrees of freedom.
    pub misfit: f64,
    pub dof: f64,
}

impl SpeedDelay {
    /// What sensors show (common practice, no source).
    pub const USUAL: SpeedDelay = SpeedDelay { mean_s: 0.4, sd_s: 0.4 };

    /// The same with fixes that tell the delay with so much information, 1/s², and its product with the delay, 1/s.
    pub(super) fn with(self, information: f64, pull: f64) -> SpeedDelay {
        let own = self.sd_s.powi(-2);
        SpeedDelay { mean_s: (own * self.mean_s + pull) / (own + information), sd_s: (own + information).powf(-0.5) }
    }

    /// The delay that all sequences share: what sensors usually show, and the fixes with the errors that they prove to have.
    ///
    /// Errors that outlast a lap would show as lap means that scatter; their stated size enters as [`STATED_DOF`] degrees of
    /// freedom, so that the few laps of one run do not claim too much.
    pub(super) fn shared(evidence: &[DelayEvidence]) -> SpeedDelay {
        let sum = |of: fn(&DelayEvidence) -> f64| evidence.iter().map(of).sum::<f64>();
        let variance_ratio = (sum(|e| e.misfit) + STATED_DOF) / (sum(|e| e.dof) + STATED_DOF);
        SpeedDelay::USUAL.with(sum(|e| e.information) / variance_ratio, sum(|e| e.pull) / variance_ratio)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Delay 0.8 s told to 0.5 s.
    const STINT: DelayEvidence = DelayEvidence { information: 4.0, pull: 3.2, misfit: 10.0, dof: 10.0 };

    #[test]
    fn sequences_add_up_by_inverse_variance() {
        // By hand: 1/0.16 + 6 · 4 = 30.25, (2.5 + 6 · 3.2) / 30.25.
        let delay = SpeedDelay::shared(&[STINT; 6]);
        assert!((delay.mean_s - 21.7 / 30.25).abs() < 1e-12);
        assert!((delay.sd_s - 1.0 / 5.5).abs() < 1e-12);
    }

    #[test]
    fn fixes_that_scatter_more_than_stated_count_less() {
        // By hand: 60 where 15 are expected, with 4 as stated.
        let scattered = DelayEvidence { dof: 2.5, ..STINT };
        let ratio = (60.0 + 4.0) / (15.0 + 4.0);
        let delay = SpeedDelay::shared(&[scattered; 6]);
        assert!((delay.sd_s.powi(-2) - (24.0 / ratio + 6.25)).abs() < 1e-9);
    }
}
