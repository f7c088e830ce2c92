//! Sessions read from text or put together from flags, held against the same ranges.
//!
//! Given text, or parts of a session; gives a session that is checked, or an error that names the key and, where there is a
//! text, its line. It opens no file.

use super::blanks::of_blank;
use super::check::{Checker, check, readings, rider, uncertainty};
use super::read::parse_checked;
use super::{Air, RiderAndBike, Session, Uncertainty};
use crate::error::Error;

const COMMAND_LINE: Checker = Checker { text: "", file: "command line" };

impl Session {
    /// Reads and checks a session.
    ///
    /// `file` is only used in messages. Errors: [`Error::Syntax`], [`Error::OutOfRange`],
    /// [`Error::Inconsistent`].
    pub fn from_toml(text: &str, file: &str) -> Result<Session, Error> {
        let read = || {
            let session: Session = parse_checked(text, file)?;
            check(&session, text, file)?;
            Ok(session)
        };
        read().map_err(|error| of_blank(text, error))
    }

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
