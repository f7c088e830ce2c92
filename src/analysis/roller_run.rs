//! A run on rollers that has a window, with what stands behind it.
//!
//! Given by the venue; holds values. It computes nothing.

use crate::rollers::RollerRun;
use crate::session::Uncertainty;

/// A run that has a window.
pub struct SolvedRun {
    /// Place among the runs of the inputs.
    pub run: usize,
    pub setup: usize,
    pub result: RollerRun,
    /// Standard uncertainties of the session, larger where a value had to be assumed.
    pub uncertainty: Uncertainty,
}
