//! What stops a run: one enum, each variant carrying the place, the value, the limit and the next step.
//!
//! Given nothing; used by every module that can refuse. It never prints and never exits.

use crate::wording::counted;
use std::path::PathBuf;

/// Why an input cannot give the answer.
///
/// The text of every variant reads *where: what, limit; next step* and has no full stop at its end.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Error {
    // -- files ---------------------------------------------------------------------------------
    /// A file named by the user is not there or cannot be opened.
    #[error("{}: cannot be read ({reason}){}", path.display(), if reason.contains("; ") { "" } else { "; check the name" })]
    Unreadable { path: PathBuf, reason: String },
    /// A file of another kind than the command takes.
    #[error("{}: {what}; {next}", path.display())]
    OtherKind { path: PathBuf, what: String, next: String },
    /// A result or report could not be written.
    #[error("{}: cannot be written ({reason}); nothing was changed there, choose another folder with --out", path.display())]
    Unwritable { path: PathBuf, reason: String },
    /// The output folder exists and is not one that this program, with this command, wrote.
    #[error("{}: {reason}; nothing there was touched, choose another folder with {flag}", path.display())]
    ForeignFolder { path: PathBuf, reason: String, flag: &'static str },
    /// A file that this program wrote was changed since and would be overwritten.
    #[error("{}: was changed since loopwright wrote it; nothing was touched. Rename it to keep it beside the new results, delete it, or choose another folder with {flag}", path.display())]
    ChangedFile { path: PathBuf, flag: &'static str },

    // -- session file --------------------------------------------------------------------------
    /// The session (or plan) file is not valid: syntax, unknown key, wrong type.
    #[error("{file}:{line}: {message}\n  {line:>4} | {text}\n       | {marker}")]
    Syntax { file: String, line: usize, text: String, marker: String, message: String },
    /// A value lies outside what is physically plausible.
    #[error("{file}{}: {key} = {}", line.map(|l| format!(":{l}")).unwrap_or_default(), outside(*value, *low, *high, hint))]
    OutOfRange { file: String, line: Option<usize>, key: String, value: f64, low: f64, high: f64, hint: String },
    /// The parts of the session do not fit together.
    #[error("{file}{}: {message}", line.map(|l| format!(":{l}")).unwrap_or_default())]
    Inconsistent { file: String, line: Option<usize>, message: String },
    /// A command-line flag has a value that makes no sense.
    #[error("{flag}: {message}")]
    Usage { flag: String, message: String },

    // -- record --------------------------------------------------------------------------------
    /// The file is not of a kind that can be read.
    #[error("{file}: not a ride file ({reason}); give a FIT activity or a CSV with named columns")]
    NotARide { file: String, reason: String },
    /// The file holds no record with a time.
    #[error("{file}: {records} records and none carries a time; export the ride again with timestamps")]
    NoTimes { file: String, records: usize },
    /// A channel that cannot be done without is absent.
    #[error("{file}: no {channel} in {records} records; {next}")]
    NoChannel { file: String, channel: &'static str, records: usize, next: &'static str },
    /// A limit on size was passed.
    #[error("{file}: {what} is {value}, more than the limit of {limit}; split the file or remove what is not needed")]
    TooLarge { file: String, what: &'static str, value: u64, limit: u64 },
    /// A line of a CSV file cannot be understood.
    #[error("{file}:{line}: {message}")]
    BadLine { file: String, line: usize, message: String },
    /// Two files of one ride do not cover the same time.
    #[error(
        "{second}: no moment in common with {file} ({apart_s:.0} s apart); check that both are of one ride and that both clocks were set"
    )]
    NoOverlap { file: String, second: String, apart_s: f64 },

    /// What a file holds and what is said of it cannot both be true.
    #[error("{file}: {what}; {next}")]
    Contradicted { file: String, what: String, next: String },

    // -- laps ----------------------------------------------------------------------------------
    /// No lap could be found.
    #[error("{file}: no whole lap found ({reason}); {next}")]
    NoLaps { file: String, reason: String, next: &'static str },
    /// Too few laps are left to close a loop.
    #[error("{} over {}, at least {needed} are needed; {next}", counted(*laps, "usable lap"), counted(*runs, "run"))]
    TooFewLaps { laps: usize, runs: usize, needed: usize, next: String },

    /// Some runs cannot be used; `cause` is what stops the day where the others cannot be solved either.
    #[error("{cause}")]
    RunsUnusable { runs: Vec<UnusableRun>, cause: Box<Error> },

    // -- solve ---------------------------------------------------------------------------------
    /// The equations have no finite solution.
    #[error("{stage}: {message}")]
    Numerical { stage: &'static str, message: String },
    /// A drift of Crr that the order of riding does not show.
    #[error(
        "solve.crr_drift: in the order {order} a drift of Crr cannot be told from the set-ups ({reason}); ride {better}, or leave crr_drift out"
    )]
    DriftUndetermined { order: String, better: String, reason: String },

    // -- rollers -------------------------------------------------------------------------------
    /// No window of steady running after the warm-up.
    #[error("{file}: no steady window of at least {needed_s:.0} s after the warm-up ({reason}); {next}")]
    NoSteadyWindow { file: String, needed_s: f64, reason: String, next: String },

    // -- plan ----------------------------------------------------------------------------------
    /// A planned run cannot be ridden as planned.
    #[error(
        "run {run}: {reason}; lower speeds_km_h (or raise powers_w), lower the wind or the elevation, or check crr and cda_m2"
    )]
    NotRidden { run: usize, reason: String },
    /// A session file is already there.
    #[error("{}: is already there and is left alone; give another name with --out, or remove it first", path.display())]
    AlreadyThere { path: PathBuf },
    /// A simulated ride could not be put into a file.
    #[error("{file}: cannot be encoded as FIT ({reason}); make the run shorter")]
    NotEncoded { file: String, reason: String },

    // -- report --------------------------------------------------------------------------------
    /// The page could not be filled from its built-in template.
    #[error(
        "report: the page could not be filled ({reason}); this is a fault of the program, please report it with the session"
    )]
    Page { reason: String },

    // -- pooling -------------------------------------------------------------------------------
    /// Results that cannot be pooled together.
    #[error("{file}: {message}")]
    NotPoolable { file: String, message: String },
}

/// A run that cannot be used.
#[derive(Debug, Clone, PartialEq)]
pub struct UnusableRun {
    /// Zero-based index into the runs of the inputs.
    pub run: usize,
    pub reason: String,
}

impl Error {
    /// Exit status: 2 when what the person typed or wrote is wrong, 1 when the data cannot give the answer.
    pub fn exit_status(&self) -> u8 {
        match self {
            Error::Syntax { .. }
            | Error::OutOfRange { .. }
            | Error::Inconsistent { .. }
            | Error::Usage { .. }
            | Error::OtherKind { .. }
            | Error::ForeignFolder { .. }
            | Error::ChangedFile { .. }
            | Error::AlreadyThere { .. } => 2,
            Error::RunsUnusable { cause, .. } => cause.exit_status(),
            _ => 1,
        }
    }

    /// A short word a script can test for.
    pub fn code(&self) -> &'static str {
        match self {
            Error::Unreadable { .. } => "unreadable",
            Error::OtherKind { .. } => "other-kind",
            Error::Unwritable { .. } => "unwritable",
            Error::ForeignFolder { .. } => "foreign-folder",
            Error::ChangedFile { .. } => "changed-file",
            Error::Syntax { .. } => "syntax",
            Error::OutOfRange { .. } => "out-of-range",
            Error::Inconsistent { .. } => "inconsistent",
            Error::Usage { .. } => "usage",
            Error::NotARide { .. } => "not-a-ride",
            Error::NoTimes { .. } => "no-times",
            Error::NoChannel { .. } => "no-channel",
            Error::TooLarge { .. } => "too-large",
            Error::BadLine { .. } => "bad-line",
            Error::NoOverlap { .. } => "no-overlap",
            Error::Contradicted { .. } => "contradicted",
            Error::NoLaps { .. } => "no-laps",
            Error::TooFewLaps { .. } => "too-few-laps",
            Error::RunsUnusable { cause, .. } => cause.code(),
            Error::Numerical { .. } => "numerical",
            Error::DriftUndetermined { .. } => "drift-undetermined",
            Error::NoSteadyWindow { .. } => "no-steady-window",
            Error::NotRidden { .. } => "not-ridden",
            Error::AlreadyThere { .. } => "already-there",
            Error::NotEncoded { .. } => "not-encoded",
            Error::Page { .. } => "page",
            Error::NotPoolable { .. } => "not-poolable",
        }
    }
}

/// A value that lies outside its range, with what to do about it.
pub fn outside(value: f64, low: f64, high: f64, hint: &str) -> String {
    let hint = if hint.is_empty() { String::new() } else { format!("; {hint}") };
    format!("{value} is outside {low} to {high}{hint}")
}
