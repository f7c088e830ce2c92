//! Rides on closed loops, tracks and rollers turned into CdA and Crr with honest intervals.
//!
//! ```text
//! session.toml ─┐
//! FIT, CSV ─────┴─► record ─► sample ─► circuit ─► model + air ─► solve ─► uncertainty ─► compare ─► solution.json
//!                   decode    one       laps at    energy         CdA,     intervals,     verdicts    report.html
//!                             clock     equal      account        Crr,     budget                     figures
//!                                       steps      by step        wind, delay
//! ```
//!
//! [`analysis::analyse`] does the whole job on data already read; nothing but [`record`] opens a file, and nothing prints.
//! What goes in is in [`session`], [`record`] and [`air`]; what comes out in [`solution`], [`evidence`] and, over several days,
//! [`pool`]. [`plan`] and [`simulate`] ride a day with everything known, [`demand`] turns CdA and Crr into watts and speed, and
//! [`model`], [`uncertainty`] and [`compare`] hold the formulas, each with its source and a published check.
//!
//! ```
//! use loopwright::analysis::{Depth, RiddenSession, analyse};
//! use loopwright::{record, session::Session};
//! use std::path::Path;
//!
//! let folder = Path::new("sample-loops/three-tyres");
//! let session = Session::from_toml(&std::fs::read_to_string(folder.join("session.toml"))?, "session.toml")?;
//! let rides = session.runs.iter().map(|run| record::read(&folder.join(&run.file)));
//! let recordings = rides.collect::<Result<Vec<_>, _>>()?;
//! let analysis = analyse(&RiddenSession { session, recordings, weather: None, survey: None }, Depth::default())?;
//!
//! let basalt = &analysis.solution.contrasts[0];
//! assert_eq!((basalt.setup.as_str(), basalt.verdict.as_str()), ("basalt", "separated"));
//! assert!(basalt.power_w.high.is_some_and(|watts| watts < 0.0), "it needs less than the baseline");
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

// In reading order: each module uses only those above it. Those hidden from the documentation are no face of the library; they
// are public because the program and the tests use them.
#[doc(hidden)]
pub mod quantity;
#[doc(hidden)]
pub mod printable;
#[doc(hidden)]
pub mod wording;
pub(crate) mod units;
#[doc(hidden)]
pub mod constant;
pub mod error;
pub mod finding;
pub mod session;
pub mod record;
#[doc(hidden)]
pub mod sample;
#[doc(hidden)]
pub mod circuit;
pub mod air;
pub mod model;
pub mod uncertainty;
#[doc(hidden)]
pub mod solve;
pub mod compare;
#[doc(hidden)]
pub mod factor;
pub mod evidence;
#[doc(hidden)]
pub mod rollers;
pub mod demand;
pub mod solution;
#[doc(hidden)]
pub mod standing;
#[doc(hidden)]
pub mod outlook;
pub mod analysis;
pub mod pool;
pub mod plan;
pub mod simulate;
#[doc(hidden)]
pub mod forecast;
#[doc(hidden)]
pub mod plot;
#[doc(hidden)]
pub mod report;
