//! A whole session, and what it states of one run.
//!
//! Given the parts of a session file; gives what holds for a run, its own values before those of the day. It checks nothing.

use super::circuit::{Circuit, Venue};
use super::expected::Expected;
use super::factors::{Factors, Wrong};
use super::rider::RiderAndBike;
use super::rollers::Rollers;
use super::run::{Run, Setup};
use super::solve::{Reference, Solve};
use super::uncertainty::Uncertainty;
use super::weather::{Air, AirHere, Wind};
use crate::error::Error;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::path::Path;

/// A whole test: one or more runs of one or more set-ups.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Session {
    #[serde(default)]
    pub title: String,
    /// Set-up that the others are compared with; the first when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub baseline: Option<String>,
    pub rider_and_bike: RiderAndBike,
    #[serde(default)]
    pub uncertainty: Uncertainty,
    #[serde(default, rename = "loop")]
    pub circuit: Circuit,
    #[serde(default)]
    pub air: Air,
    #[serde(default)]
    pub wind: Wind,
    #[serde(default)]
    pub expected: Expected,
    #[serde(default)]
    pub solve: Solve,
    #[serde(default)]
    pub reference: Reference,
    #[serde(default)]
    pub rollers: Rollers,
    #[serde(rename = "setup")]
    pub setups: Vec<Setup>,
    #[serde(rename = "run")]
    pub runs: Vec<Run>,
}

impl Session {
    /// Every file that it names: rides, second files, weather log, survey.
    pub fn files(&self) -> impl Iterator<Item = &str> {
        let of_runs = self.runs.iter().flat_map(|run| std::iter::once(&run.file).chain(&run.second_file));
        of_runs.chain(&self.air.log).chain(&self.circuit.survey).map(String::as_str)
    }

    pub fn baseline(&self) -> usize {
        self.baseline.as_deref().and_then(|id| self.setups.iter().position(|s| s.id == id)).unwrap_or(0)
    }

    pub fn setup_of(&self, run: &Run) -> usize {
        self.setups.iter().position(|s| s.id == run.setup).unwrap_or(0)
    }

    pub fn venue_of(&self, run: &Run) -> Venue {
        run.on.unwrap_or(self.circuit.kind)
    }

    /// Mass and mechanics of a run: the session's, with what the run repeats put in.
    pub fn rider_of(&self, run: &Run) -> RiderAndBike {
        let base = &self.rider_and_bike;
        RiderAndBike {
            mass_kg: run.mass_kg.unwrap_or(base.mass_kg),
            wheel_inertia_kg_m2: run.wheel_inertia_kg_m2.unwrap_or(base.wheel_inertia_kg_m2),
            wheel_radius_m: run.wheel_radius_m.unwrap_or(base.wheel_radius_m),
            centre_of_mass_height_m: run.centre_of_mass_height_m.unwrap_or(base.centre_of_mass_height_m),
            drivetrain_efficiency: run.drivetrain_efficiency.unwrap_or(base.drivetrain_efficiency),
            bearing_friction: run.bearing_friction.unwrap_or(base.bearing_friction),
        }
    }

    /// The factors of the set-ups; `None` where none are stated.
    pub fn factors(&self) -> Option<Factors> {
        self.stated_factors().ok().flatten()
    }

    pub(super) fn stated_factors(&self) -> Result<Option<Factors>, Wrong> {
        let ids: Vec<&str> = self.setups.iter().map(|s| s.id.as_str()).collect();
        let stated: Vec<_> = self.setups.iter().map(|s| &s.factors).collect();
        Factors::of(&ids, &stated, self.solve.curve.as_deref())
    }

    /// What was read of the air at a run itself or at its venue; the run's own reading comes first.
    pub fn air_here(&self, run: &Run) -> AirHere {
        let of_venue = if self.venue_of(run) == Venue::Rollers { self.rollers.air } else { None };
        run.air.unwrap_or_default().or(of_venue.unwrap_or_default())
    }

    /// Mass at which watts are given.
    pub fn reference_mass_kg(&self) -> f64 {
        self.reference.mass_kg.unwrap_or(self.rider_and_bike.mass_kg)
    }

    /// A path of the session file, resolved. Relative paths may not leave the session's folder.
    pub fn resolve(folder: &Path, name: &str) -> Result<std::path::PathBuf, Error> {
        let path = Path::new(name);
        if path.is_absolute() {
            return Ok(path.to_path_buf());
        }
        if path.components().any(|c| matches!(c, std::path::Component::ParentDir)) {
            return Err(Error::Inconsistent {
                file: name.to_string(),
                line: None,
                message: "a relative path may not leave the folder of the session; move the file there or give its absolute path".into(),
            });
        }
        Ok(folder.join(path))
    }
}
