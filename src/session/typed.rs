//! Values that were typed as flags instead of written into a session file, held against the same ranges.
//!
//! Given parts of a session; gives an error that names the key. There is no line to point at.

use super::check::{Checker, check, readings, rider, uncertainty};
use super::{Air, RiderAndBike, Session, Uncertainty};
use crate::error::Error;

const COMMAND_LINE: Checker = Checker { text: "", file: "command line" };

impl Session {
    /// Checks a session that was put together from flags.
    ///
    /// Errors: [`Error::OutOfRange`], [`Error::Inconsistent`].
    pub fn check(&self) -> Result<(), Error> {
        check(self, COMMAND_LINE.text, COMMAND_LINE.file)
    }
}

impl RiderAndBike {
    /// Checks mass and mechanics by themselves.
    ///
    /// Errors: [`Error::OutOfRange`].
    pub fn check(&self) -> Result<(), Error> {
        rider(self, &COMMAND_LINE)
    }
}

impl Uncertainty {
    /// Checks standard uncertainties by themselves.
    ///
    /// Errors: [`Error::OutOfRange`].
    pub fn check(&self) -> Result<(), Error> {
        uncertainty(self, &COMMAND_LINE)
    }
}

impl Air {
    /// Checks readings of the air by themselves.
    ///
    /// Errors: [`Error::OutOfRange`], [`Error::Inconsistent`].
    pub fn check(&self) -> Result<(), Error> {
        readings(self, &COMMAND_LINE)
    }
}
