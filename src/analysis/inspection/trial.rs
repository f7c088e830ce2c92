//! The ride solved as if by itself, so that what is called solvable here is what `solve` solves.
//!
//! Given a recording and where it was ridden; gives the reasons of laps that only the energy account shows, and why it cannot
//! be solved. It reports no coefficient: the mass is not known.

use super::super::{Depth, RiddenSession, analyse};
use crate::error::Error;
use crate::record::Recording;
use crate::session::{Session, Venue};

/// A mass to try with, kg.
const NOMINAL_MASS_KG: f64 = 85.0;

/// What came of it.
pub(super) struct Trial {
    /// Number and reason of each lap that the solution leaves out.
    pub left_out: Vec<(usize, String)>,
    /// Why CdA and Crr cannot be told apart.
    pub not_separable: Option<String>,
    /// Values that no rider has, whatever the mass within reason.
    pub implausible: Option<String>,
}

/// Errors: those of [`analyse`].
pub(super) fn trial(recording: &Recording, venue: Venue, length_m: Option<f64>) -> Result<Trial, Error> {
    let file = recording.provenance.file.clone();
    let text = format!(
        "[rider_and_bike]\nmass_kg = {NOMINAL_MASS_KG:?}\n[[setup]]\nid = \"ride\"\n[[run]]\nfile = \"ride\"\nsetup = \"ride\"\n"
    );
    let mut session = Session::from_toml(&text, &file)?;
    session.circuit.kind = venue;
    session.circuit.length_m = length_m;
    session.runs[0].file = file;
    let inputs = RiddenSession { session, recordings: vec![recording.clone()], weather: None, survey: None };
    let solution = analyse(&inputs, Depth { budget: true, draws: 0 })?.solution;
    let said = |code: &str| solution.findings.iter().find(|f| f.code == code).map(|f| f.message.clone());
    let laps = solution.runs.first().map_or(&[][..], |run| &run.laps);
    Ok(Trial {
        left_out: laps.iter().filter_map(|l| Some((l.lap, l.reason.clone()?))).collect(),
        not_separable: said("not-separable"),
        implausible: said("implausible").or_else(|| said("run-unlike")),
    })
}
