//! What an analysis is given: everything a session names, read, and how deep to go.
//!
//! Given by whoever reads files; holds values. It reads nothing.

use crate::air::WeatherLog;
use crate::circuit::Survey;
use crate::record::Recording;
use crate::session::Session;

/// Everything a session names, read.
#[derive(Debug, Clone)]
pub struct RiddenSession {
    pub session: Session,
    /// One for each run, a second device already joined.
    pub recordings: Vec<Recording>,
    pub weather: Option<WeatherLog>,
    pub survey: Option<Survey>,
}

/// Draws of the bootstrap over laps unless told otherwise: a standard error is then known to 1/√800, 3.5 %, far below the factor
/// from which the two ways are said to differ (more than 200 are seldom needed for a standard error: Efron & Tibshirani 1993, An
/// Introduction to the Bootstrap, section 6.4; from memory).
pub const DEFAULT_LAP_DRAWS: usize = 400;

/// What a caller may leave out to save time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Depth {
    /// Propagate the uncertainties of the instruments.
    pub budget: bool,
    /// Draws of the bootstrap over laps; 0 for none.
    pub draws: usize,
}

impl Default for Depth {
    fn default() -> Self {
        Depth { budget: true, draws: DEFAULT_LAP_DRAWS }
    }
}
