//! Reading a plan and the track it takes its loop from.

use super::load::{text, text_up_to};
use super::what_is::{Wanted, refuse_other};
use loopwright::error::Error;
use loopwright::plan::{Plan, RiddenShape, gpx_positions};
use loopwright::record::{self, shown_name};
use loopwright::session::{Position, Session, locate};
use std::path::Path;

/// Largest GPX file, bytes.
const LARGEST_GPX: u64 = 64 << 20;

/// Reads a plan file and its `shape_file`.
pub fn plan(path: &Path) -> Result<Plan, Error> {
    refuse_other(path, Wanted::Plan)?;
    let written = text(path)?;
    let file = shown_name(path);
    let plan = Plan::from_toml(&written, &file)?;
    let Some(name) = plan.circuit.shape_file.clone() else { return Ok(plan) };
    let track = path.parent().unwrap_or(Path::new(""));
    let positions = positions(&Session::resolve(track, &name)?)?;
    let told = |message: String| Error::Inconsistent {
        file: file.clone(),
        line: locate(&written, &["loop", "shape_file"]),
        message,
    };
    let shape = RiddenShape::of(&positions).map_err(|reason| told(format!("shape_file «{name}»: {reason}")))?;
    plan.with_ridden_shape(shape).map_err(|e| match e {
        Error::Inconsistent { message, .. } => told(message),
        other => other,
    })
}

fn positions(path: &Path) -> Result<Vec<Position>, Error> {
    let is_gpx = path.extension().is_some_and(|e| e.eq_ignore_ascii_case("gpx"));
    if is_gpx {
        return gpx_positions(&text_up_to(path, LARGEST_GPX)?, &shown_name(path));
    }
    let ride = record::read(path)?;
    Ok(ride.latitude_deg.iter().zip(&ride.longitude_deg).map(|(a, b)| Position { lat_deg: *a, lon_deg: *b }).collect())
}
