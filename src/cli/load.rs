//! Reading a session and the files it names.

use loopwright::air::WeatherLog;
use loopwright::analysis::Inputs;
use loopwright::circuit::Survey;
use loopwright::error::Error;
use loopwright::record::{self, Recording};
use loopwright::session::Session;
use rayon::prelude::*;
use std::path::{Path, PathBuf};

/// Standard deviation of a surveyed height when none is stated, m (common practice, no source).
const SURVEY_SD_M: f64 = 0.02;
/// Largest session file, bytes.
const LARGEST_SESSION: u64 = 4 << 20;

/// Text of a small file.
pub fn text(path: &Path) -> Result<String, Error> {
    text_up_to(path, LARGEST_SESSION)
}

/// Text of a file of at most `limit` bytes.
pub fn text_up_to(path: &Path, limit: u64) -> Result<String, Error> {
    let unreadable = |reason: String| Error::Unreadable { path: path.to_path_buf(), reason };
    let metadata = std::fs::metadata(path).map_err(|e| unreadable(e.to_string()))?;
    if !metadata.is_file() {
        return Err(unreadable("not a regular file".into()));
    }
    if metadata.len() > limit {
        return Err(Error::TooLarge {
            file: path.display().to_string(),
            what: "the number of bytes",
            value: metadata.len(),
            limit,
        });
    }
    let bytes = std::fs::read(path).map_err(|e| unreadable(e.to_string()))?;
    String::from_utf8(bytes).map_err(|_| unreadable("it is not text in UTF-8; save it as UTF-8".into()))
}

/// Whether a file is a session: by its extension, or else because it is TOML and not a ride.
pub fn is_session(path: &Path) -> Result<bool, Error> {
    if path.is_dir() {
        let reason = "it is a folder; name the session or the ride in it".to_string();
        return Err(Error::Unreadable { path: path.to_path_buf(), reason });
    }
    let extension = path.extension().map(|e| e.to_string_lossy().to_lowercase()).unwrap_or_default();
    match extension.as_str() {
        "toml" => return Ok(true),
        "fit" | "csv" => return Ok(false),
        _ => {}
    }
    let unreadable = |e: std::io::Error| Error::Unreadable { path: path.to_path_buf(), reason: e.to_string() };
    let metadata = std::fs::metadata(path).map_err(unreadable)?;
    // What cannot be read as a ride either is refused when it is tried.
    if !metadata.is_file() || metadata.len() > LARGEST_SESSION {
        return Ok(false);
    }
    let bytes = std::fs::read(path).map_err(unreadable)?;
    // A table of numbers with a heading is never valid TOML, and an empty file is no session.
    Ok(std::str::from_utf8(&bytes).is_ok_and(|text| toml::from_str::<toml::Table>(text).is_ok_and(|t| !t.is_empty())))
}

/// What to call when a plan was given where a session is wanted.
pub fn if_plan(path: &Path) -> Option<String> {
    let keys = keys(path)?;
    let path = path.display();
    (keys.contains_key("laps_per_run") || keys.contains_key("order"))
        .then(|| format!("This looks like a plan: loopwright plan {path}, or loopwright rehearse {path}"))
}

/// What to call when a session was given where a plan is wanted.
pub fn if_session(path: &Path) -> Option<String> {
    keys(path)?.contains_key("run").then(|| format!("This looks like a session: loopwright solve {}", path.display()))
}

fn keys(path: &Path) -> Option<toml::Table> {
    toml::from_str(&text(path).ok()?).ok()
}

pub fn shown(path: &Path) -> String {
    path.file_name().map_or_else(|| path.display().to_string(), |n| n.to_string_lossy().into_owned())
}

/// Reads a session file and everything it names.
pub fn session(path: &Path) -> Result<Inputs, Error> {
    let session = Session::from_toml(&text(path)?, &shown(path))?;
    let folder = path.parent().map_or_else(PathBuf::new, Path::to_path_buf);
    inputs(session, &folder)
}

/// Reads the files of a session that lies in a folder.
pub fn inputs(session: Session, folder: &Path) -> Result<Inputs, Error> {
    let recordings: Vec<Recording> = session
        .runs
        .par_iter()
        .map(|run| {
            let first = record::read(&Session::resolve(folder, &run.file)?)?;
            match &run.second_file {
                Some(second) => record::join(first, record::read(&Session::resolve(folder, second)?)?),
                None => Ok(first),
            }
        })
        // All first, so that of several bad files the same one is told of every time: the first in the session.
        .collect::<Vec<Result<_, Error>>>()
        .into_iter()
        .collect::<Result<_, Error>>()?;
    let weather = match &session.air.log {
        Some(name) => Some(WeatherLog::parse(&text(&Session::resolve(folder, name)?)?, name)?),
        None => None,
    };
    let survey = match &session.circuit.survey {
        Some(name) => Some(Survey::parse(
            &text(&Session::resolve(folder, name)?)?,
            name,
            session.circuit.survey_sd_m.unwrap_or(SURVEY_SD_M),
        )?),
        None => None,
    };
    Ok(Inputs { session, recordings, weather, survey })
}
