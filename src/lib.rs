//! Rides on closed loops, tracks and rollers turned into CdA and Crr with honest intervals.
//!
//! ```text
//! session.toml ─┐
//! FIT, CSV ─────┴─► record ─► sample ─► circuit ─► model + air ─► solve ─► uncertainty ─► compare ─► solution.json
//!                   decode    one       laps at    energy         CdA,     intervals,     verdicts    report.html
//!                             clock     equal      account        Crr,     budget                     figures
//!                                       steps      by step        wind, lag
//! ```
//!
//! Modules stand in reading order: each uses only those above it. [`analysis::analyse`] does the whole job on data already
//! read; nothing but [`record`] opens a file, and nothing prints.
//!
//! ```
//! use loopwright::analysis::{Depth, Inputs, analyse};
//! use loopwright::{record, session::Session};
//! use std::path::Path;
//!
//! let folder = Path::new("sample-loops/three-tyres");
//! let session = Session::from_toml(&std::fs::read_to_string(folder.join("session.toml"))?, "session.toml")?;
//! let rides = session.runs.iter().map(|run| record::read(&folder.join(&run.file)));
//! let recordings = rides.collect::<Result<Vec<_>, _>>()?;
//! let analysis = analyse(&Inputs { session, recordings, weather: None, survey: None }, Depth::default())?;
//!
//! let basalt = &analysis.solution.contrasts[0];
//! assert_eq!((basalt.setup.as_str(), basalt.verdict.as_str()), ("basalt", "separated"));
//! assert!(basalt.power_w.high.is_some_and(|watts| watts < 0.0), "it needs less than the baseline");
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

pub mod quantity;
pub mod printable;
pub mod wording;
pub mod units;
pub mod constant;
pub mod error;
pub mod finding;
pub mod session;
pub mod record;
pub mod sample;
pub mod circuit;
pub mod air;
pub mod model;
pub mod uncertainty;
pub mod solve;
pub mod compare;
pub mod factor;
pub mod evidence;
pub mod rollers;
pub mod demand;
pub mod solution;
pub mod standing;
pub mod outlook;
pub mod analysis;
pub mod pool;
pub mod plan;
pub mod simulate;
pub mod forecast;
pub mod plot;
pub mod report;
