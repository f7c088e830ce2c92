//! What a path given to a command is, and where it belongs when the command takes something else.
//!
//! Given a path; looks at its kind and its first bytes. It reads no ride and judges nothing that only reading can tell.

use super::load::LARGEST_SESSION;
use super::results::written_by;
use loopwright::error::Error;
use loopwright::record::read_regular;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

/// Bytes that tell the kind of a file.
const HEAD_BYTES: u64 = 4096;
/// Name of the main result in its folder.
pub const SOLUTION: &str = "solution.json";

/// What a command takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wanted {
    SessionOrRide,
    Ride,
    Plan,
    Result,
}

impl Wanted {
    fn words(self) -> &'static str {
        match self {
            Wanted::SessionOrRide => "a session or a ride",
            Wanted::Ride => "a ride",
            Wanted::Plan => "a plan",
            Wanted::Result => "a result",
        }
    }
}

/// What a file shows itself to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Fit,
    Session,
    Plan,
    Result,
    Forecast,
    Pooled,
    Weather,
    Survey,
    Samples,
}

/// Refuses a path that is plainly of another kind than wanted, with the command that takes it.
///
/// Errors: [`Error::Unreadable`] for a folder, [`Error::OtherKind`].
pub fn refuse_other(path: &Path, wanted: Wanted) -> Result<(), Error> {
    if path.is_dir() {
        if wanted == Wanted::Result && path.join(SOLUTION).exists() {
            return Ok(());
        }
        return Err(Error::Unreadable { path: path.to_path_buf(), reason: folder_reason(path, wanted) });
    }
    let Some(kind) = kind_of(path) else { return Ok(()) };
    let shown = path.display();
    let fits = matches!(
        (wanted, kind),
        (Wanted::SessionOrRide, Kind::Session | Kind::Fit) | (Wanted::Ride, Kind::Fit) | (Wanted::Plan, Kind::Plan)
    ) || (wanted, kind) == (Wanted::Result, Kind::Result);
    // What is pooled already is told in its own words.
    if fits || wanted == Wanted::Result && matches!(kind, Kind::Pooled | Kind::Forecast) {
        return Ok(());
    }
    let (what, next) = match kind {
        Kind::Fit if wanted == Wanted::Result => {
            ("a ride", format!("solve it first: loopwright solve {shown} --mass-kg KG; then name its results"))
        }
        Kind::Fit => ("a ride", format!("loopwright inspect {shown}, or loopwright solve {shown} --mass-kg KG")),
        Kind::Session if wanted == Wanted::Result => {
            ("a session", format!("solve it first: loopwright solve {shown}; then name its results"))
        }
        Kind::Session => ("a session", format!("loopwright solve {shown}")),
        Kind::Plan => ("a plan", format!("loopwright plan {shown}, or loopwright rehearse {shown}")),
        Kind::Result => (
            "a result of solve",
            format!("report.html beside it shows it, loopwright pool {shown} OTHER brings it together with others"),
        ),
        Kind::Forecast => ("what plan has written", "give the plan file that it was made from".to_string()),
        Kind::Pooled => ("a pooled result", "give the session or the ride that is to be solved".to_string()),
        Kind::Weather => {
            ("a weather log", format!("name it in a session, log = \"{shown}\" under [air], or with --log"))
        }
        Kind::Survey => {
            ("a survey", format!("name it in a session, survey = \"{shown}\" under [loop], or with --survey"))
        }
        Kind::Samples => ("the samples of a result", "give the ride that it was made from".to_string()),
    };
    let what = format!("this looks like {what} and not like {}", wanted.words());
    Err(Error::OtherKind { path: path.to_path_buf(), what, next })
}

/// What to name instead of a folder.
fn folder_reason(folder: &Path, wanted: Wanted) -> String {
    let shown = |name: &str| folder.join(name).display().to_string();
    let has = |name: &str| folder.join(name).is_file();
    let session = "session.toml";
    let next = match wanted {
        Wanted::Result if has("session-results/solution.json") => format!("name {}", shown("session-results")),
        Wanted::Result if has("pool.json") => {
            "a pooled result is in it, which has differences and no values of set-ups; name the results of one day"
                .to_string()
        }
        Wanted::Result => format!("{SOLUTION} is not in it; name a folder that loopwright solve has written"),
        Wanted::Plan if has("plan.toml") => format!("name the plan: {}", shown("plan.toml")),
        Wanted::Plan => "name a plan file in it".to_string(),
        _ if written_by(folder) == Some("solve") => {
            format!("results are in it: open {}, or pool them with loopwright pool", shown("report.html"))
        }
        Wanted::SessionOrRide if has(session) => format!("name the session: {}", shown(session)),
        Wanted::Ride => match one_ride(folder) {
            Some(ride) => format!("name the rides in it, such as {}", ride.display()),
            None => "no ride is in it; name a FIT or CSV file".to_string(),
        },
        Wanted::SessionOrRide => match one_ride(folder) {
            Some(ride) => format!(
                "name the session or the ride in it, such as {}; loopwright scaffold {} writes a session for all rides",
                ride.display(),
                folder.display()
            ),
            None => "no ride is in it; name the session or the ride".to_string(),
        },
    };
    format!("it is a folder; {next}")
}

/// The first FIT file of a folder, or else the first table.
fn one_ride(folder: &Path) -> Option<PathBuf> {
    let mut rides: Vec<PathBuf> = std::fs::read_dir(folder).ok()?.flatten().map(|e| e.path()).collect();
    let kind = |path: &Path| match path.extension().map(|e| e.to_string_lossy().to_lowercase()).as_deref() {
        Some("fit") => Some(0),
        Some("csv") => Some(1),
        _ => None,
    };
    rides.retain(|path| kind(path).is_some() && path.is_file());
    rides.sort_by_key(|path| (kind(path), path.clone()));
    rides.into_iter().next()
}

/// The kind of a file, where its content leaves no doubt.
fn kind_of(path: &Path) -> Option<Kind> {
    let metadata = std::fs::metadata(path).ok().filter(|m| m.is_file())?;
    let mut head = Vec::new();
    File::open(path).ok()?.take(HEAD_BYTES).read_to_end(&mut head).ok()?;
    if head.get(8..12) == Some(b".FIT") {
        return Some(Kind::Fit);
    }
    let is_small = metadata.len() <= LARGEST_SESSION;
    if head.trim_ascii_start().starts_with(b"{") {
        return if is_small { kind_of_json(&read_regular(path, LARGEST_SESSION).ok()?) } else { None };
    }
    let text = String::from_utf8_lossy(&head);
    if let Some(kind) = kind_of_table(&text) {
        return Some(kind);
    }
    if !is_small {
        return None;
    }
    let whole = String::from_utf8(read_regular(path, LARGEST_SESSION).ok()?).ok()?;
    let keys: toml::Table = toml::from_str(&whole).ok()?;
    let planned = keys.contains_key("laps_per_run") || keys.contains_key("order");
    match (keys.contains_key("run"), planned) {
        (true, false) => Some(Kind::Session),
        (false, true) => Some(Kind::Plan),
        _ => None,
    }
}

fn kind_of_json(bytes: &[u8]) -> Option<Kind> {
    let value: serde_json::Value = serde_json::from_slice(bytes).ok()?;
    value.get("loopwright")?;
    let has = |key: &str| value.get(key).is_some();
    match () {
        () if value.get("kind").is_some_and(|k| k == "pool") => Some(Kind::Pooled),
        () if has("setups") && has("runs") => Some(Kind::Result),
        () if has("alternatives") || has("laps_needed") => Some(Kind::Forecast),
        () => None,
    }
}

/// Tables that are named in a session and are no rides, by their headings.
fn kind_of_table(text: &str) -> Option<Kind> {
    let first = text.trim_start_matches('\u{feff}').lines().find(|l| !l.starts_with('#') && !l.trim().is_empty())?;
    let headings: Vec<&str> = first.split(',').map(str::trim).collect();
    let has = |name: &str| headings.contains(&name);
    match () {
        () if has("chainage_m") && has("time_s") && has("run") => Some(Kind::Samples),
        () if has("time") && has("pressure_hpa") && has("humidity_pct") && !has("power_w") => Some(Kind::Weather),
        () if has("distance_m") && has("elevation_m") && headings.len() == 2 => Some(Kind::Survey),
        () => None,
    }
}
