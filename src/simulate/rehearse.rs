//! A rehearsed day as the files of one folder.
//!
//! Given a simulated day; gives names and bytes: the rides, the session, the truth and, where one was planned, the
//! survey. Whoever asks for them writes them; nothing is written here.

use super::day::Rehearsal;
use super::fit_writer::encode;
use crate::error::Error;
use crate::plan::session_toml;

/// One file of a rehearsed day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RehearsedFile {
    /// Name within the folder.
    pub name: String,
    pub bytes: Vec<u8>,
}

impl Rehearsal {
    /// The files of the rehearsal: `run-1.fit` and so on, `session.toml`, `expected.toml`, perhaps `survey.csv`.
    ///
    /// The same plan and seed give the same bytes. Errors: [`Error::NotEncoded`].
    pub fn files(&self) -> Result<Vec<RehearsedFile>, Error> {
        let mut files = Vec::with_capacity(self.rides.len() + 3);
        for ride in &self.rides {
            files.push(RehearsedFile { name: ride.file.clone(), bytes: encode(ride)? });
        }
        let text = |name: &str, text: String| RehearsedFile { name: name.into(), bytes: text.into_bytes() };
        files.push(text("session.toml", session_toml(&self.session)));
        files.push(text("expected.toml", self.truth.to_toml()));
        if let Some(survey) = &self.survey {
            files.push(text("survey.csv", survey.clone()));
        }
        Ok(files)
    }
}
