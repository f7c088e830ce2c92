//! Reading a session and the files it names.

use loopwright::air::WeatherLog;
use loopwright::analysis::RiddenSession;
use loopwright::circuit::Survey;
use loopwright::error::Error;
use loopwright::record::{self, Recording};
use loopwright::session::{Session, locate};
use rayon::prelude::*;
use std::path::{Path, PathBuf};

/// Standard deviation of a surveyed height when none is stated, m (common practice, no source).
const SURVEY_SD_M: f64 = 0.02;
/// Largest session file, bytes.
pub const LARGEST_SESSION: u64 = 4 << 20;
/// How like a name must be to be offered for one that is not there (Jaro and Winkler's measure).
const LIKE: f64 = 0.85;

/// Text of a small file.
pub fn text(path: &Path) -> Result<String, Error> {
    text_up_to(path, LARGEST_SESSION)
}

/// Text of a file of at most `limit` bytes.
pub fn text_up_to(path: &Path, limit: u64) -> Result<String, Error> {
    String::from_utf8(record::read_regular(path, limit)?)
        .map_err(|_| unreadable(path, "it is not text in UTF-8; save it as UTF-8"))
}

/// Text of a small table. Nothing is quoted from a file that no person wrote as one.
fn table(path: &Path) -> Result<String, Error> {
    let text = text(path)?;
    if text.contains('\0') {
        Err(unreadable(path, "it is not text, since it holds NUL; name a table"))
    } else {
        Ok(text)
    }
}

fn unreadable(path: &Path, reason: &str) -> Error {
    Error::Unreadable { path: path.to_path_buf(), reason: reason.into() }
}

/// Whether a file is a session: by its extension, or else because it is TOML and not a ride.
pub fn is_session(path: &Path) -> Result<bool, Error> {
    let extension = path.extension().map(|e| e.to_string_lossy().to_lowercase()).unwrap_or_default();
    match extension.as_str() {
        "toml" => return Ok(true),
        "fit" | "csv" => return Ok(false),
        _ => {}
    }
    let metadata =
        std::fs::metadata(path).map_err(|e| Error::Unreadable { path: path.to_path_buf(), reason: e.to_string() })?;
    // What cannot be read as a ride either is refused when it is tried.
    if !metadata.is_file() || metadata.len() > LARGEST_SESSION {
        return Ok(false);
    }
    let bytes = record::read_regular(path, LARGEST_SESSION)?;
    // A table of numbers with a heading is never valid TOML, and an empty file is no session.
    Ok(std::str::from_utf8(&bytes).is_ok_and(|text| toml::from_str::<toml::Table>(text).is_ok_and(|t| !t.is_empty())))
}

/// A session file as it was written, to say where it names a file.
struct Written<'a> {
    text: &'a str,
    file: &'a str,
}

impl Written<'_> {
    /// Adds to an error that a file cannot be read which line names it, and a name in the folder that is like it and that the
    /// session does not name elsewhere.
    fn naming(&self, error: Error, keys: &[&str], folder: &Path, session: &Session) -> Error {
        let Error::Unreadable { path, reason } = error else { return error };
        let line = locate(self.text, keys).map(|line| format!(":{line}")).unwrap_or_default();
        let mut reason = format!("{}; {}{line} names it", reason.trim_end_matches(['.', ' ']), self.file);
        if path.starts_with(folder) && !path.exists() {
            reason.push_str(", and files of a session are looked for in its folder");
            let free = |name: &str| !session.files().any(|used| Path::new(used) == Path::new(name));
            reason.push_str(&like(&path, free).map(|name| format!("; did you mean «{name}»?")).unwrap_or_default());
        }
        Error::Unreadable { path, reason }
    }
}

/// The name in a folder that is most like that of a file which is not there, among those that nothing else names.
fn like(path: &Path, is_free: impl Fn(&str) -> bool) -> Option<String> {
    let wanted = path.file_name()?.to_string_lossy().to_lowercase();
    let near = |name: &String| strsim::jaro_winkler(&wanted, &name.to_lowercase());
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let names = std::fs::read_dir(folder).ok()?.flatten().filter(|e| e.path().is_file());
    let mut names: Vec<String> = names.map(|e| record::shown_name(&e.path())).filter(|name| is_free(name)).collect();
    // In order of their names first, so that of two alike the same one is offered every time.
    names.sort();
    let best = names.into_iter().rev().max_by(|a, b| near(a).total_cmp(&near(b)))?;
    (near(&best) >= LIKE).then_some(best)
}

/// Reads a session file and everything it names.
pub fn session(path: &Path) -> Result<RiddenSession, Error> {
    let (text, file) = (text(path)?, record::shown_name(path));
    let session = Session::from_toml(&text, &file)?;
    let folder = path.parent().map_or_else(PathBuf::new, Path::to_path_buf);
    read_all(session, &folder, Some(Written { text: &text, file: &file }))
}

/// Reads the files of a session that was not read from a file, for a ride in a folder.
pub fn inputs(session: Session, folder: &Path) -> Result<RiddenSession, Error> {
    read_all(session, folder, None)
}

fn read_all(session: Session, folder: &Path, written: Option<Written>) -> Result<RiddenSession, Error> {
    let naming = |error: Error, keys: &[&str]| match &written {
        Some(written) => written.naming(error, keys, folder, &session),
        None => error,
    };
    let recordings: Vec<Recording> = session
        .runs
        .par_iter()
        .enumerate()
        .map(|(k, run)| {
            let at = k.to_string();
            let read = |name: &str, key: &str| {
                let ride = Session::resolve(folder, name).and_then(|path| record::read(&path));
                ride.map_err(|e| naming(e, &["run", &at, key]))
            };
            let first = read(&run.file, "file")?;
            match &run.second_file {
                Some(second) => record::join(first, read(second, "second_file")?),
                None => Ok(first),
            }
        })
        // All first, so that of several bad files the same one is told of every time: the first in the session.
        .collect::<Vec<Result<_, Error>>>()
        .into_iter()
        .collect::<Result<_, Error>>()?;
    let table = |name: &str, keys: &[&str]| {
        let read = Session::resolve(folder, name).and_then(|path| table(&path));
        read.map_err(|e| naming(e, keys))
    };
    let weather = match &session.air.log {
        Some(name) => Some(WeatherLog::parse(&table(name, &["air", "log"])?, name)?),
        None => None,
    };
    let survey = match &session.circuit.survey {
        Some(name) => {
            let sd_m = session.circuit.survey_sd_m.unwrap_or(SURVEY_SD_M);
            Some(Survey::parse(&table(name, &["loop", "survey"])?, name, sd_m)?)
        }
        None => None,
    };
    Ok(RiddenSession { session, recordings, weather, survey })
}
