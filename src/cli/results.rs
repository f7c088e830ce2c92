//! The results folder: written whole to a temporary name, then put in place.
//!
//! A folder that this program did not write is never touched.

use super::building::{Building, FRESH, clear_dead};
use super::in_place::put_in_place;
use loopwright::error::Error;
use loopwright::pool::day::solution as solution_of;
use loopwright::record::sha256_hex;
use loopwright::report::files::ResultFile;
use loopwright::solution::Solution;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// List of the files of a sealed folder with their SHA-256, as `sha256sum --check` reads it.
const SEAL: &str = "SHA256SUMS";
/// What solving a rehearsal puts beside its session.
const NESTED_RESULTS: &str = "session-results";

/// Names this program writes at the top of the folder.
const OURS: [&str; 12] = [
    "solution.json",
    "verdict.txt",
    "setups.csv",
    "differences.csv",
    "runs.csv",
    "roller-runs.csv",
    "laps.csv",
    "samples.csv",
    "report.html",
    "methods.txt",
    "captions.txt",
    "figures",
];

/// Whether a folder may be replaced: it is not there, is empty, or holds a solution and nothing but our files.
fn may_replace(folder: &Path) -> bool {
    let Ok(entries) = std::fs::read_dir(folder) else { return !folder.exists() };
    let names: Vec<String> = entries.flatten().map(|e| e.file_name().to_string_lossy().into_owned()).collect();
    names.is_empty() || (names.iter().any(|n| n == "solution.json") && names.iter().all(|n| OURS.contains(&n.as_str())))
}

/// Checks early that results can go to a folder.
pub fn check(folder: &Path) -> Result<(), Error> {
    if may_replace(folder) { Ok(()) } else { Err(Error::ForeignFolder { path: folder.to_path_buf() }) }
}

/// Writes all files, or none.
pub fn write(folder: &Path, files: &[ResultFile]) -> Result<(), Error> {
    check(folder)?;
    replace(folder, files)
}

/// Checks early that figures of single files can go to a folder: one that holds anything else is left alone.
pub fn check_figures(folder: &Path) -> Result<(), Error> {
    let ours = |name: &str| {
        let figure = name.strip_suffix(".svg").or_else(|| name.strip_suffix(".png"));
        figure.is_some_and(|stem| stem.ends_with("-timeline") || stem.ends_with("-map"))
    };
    let may_replace = match std::fs::read_dir(folder) {
        Ok(entries) => entries.flatten().all(|e| ours(&e.file_name().to_string_lossy())),
        Err(_) => !folder.exists(),
    };
    if may_replace { Ok(()) } else { Err(Error::ForeignFolder { path: folder.to_path_buf() }) }
}

/// Writes figures of single files, or none.
pub fn write_figures(folder: &Path, files: &[ResultFile]) -> Result<(), Error> {
    check_figures(folder)?;
    replace(folder, files)
}

/// Checks early that a sealed folder can go to a place: one in which anything was changed or added is left alone,
/// because a person may have written into it.
pub fn check_sealed(folder: &Path) -> Result<(), Error> {
    let unreadable =
        |path: &Path, e: std::io::Error| Error::Unreadable { path: path.to_path_buf(), reason: e.to_string() };
    let entries = match std::fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(_) if !folder.exists() => return Ok(()),
        Err(_) => return Err(Error::ForeignFolder { path: folder.to_path_buf() }),
    };
    let paths: Vec<PathBuf> =
        entries.map(|e| e.map(|e| e.path())).collect::<Result<_, _>>().map_err(|e| unreadable(folder, e))?;
    if paths.is_empty() {
        return Ok(());
    }
    let Ok(list) = std::fs::read_to_string(folder.join(SEAL)) else {
        return Err(Error::ForeignFolder { path: folder.to_path_buf() });
    };
    let written: BTreeMap<&str, &str> =
        list.lines().filter_map(|l| l.split_once("  ")).map(|(sum, name)| (name, sum)).collect();
    for path in paths {
        let name = path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
        let ours = match written.get(name.as_str()) {
            _ if name == SEAL => true,
            Some(sum) => std::fs::read(&path).is_ok_and(|bytes| sha256_hex(&bytes) == **sum),
            None => name == NESTED_RESULTS && may_replace(&path),
        };
        if !ours {
            return Err(Error::ChangedFolder { path: folder.to_path_buf(), name });
        }
    }
    Ok(())
}

/// Writes files that lie side by side and a list of them by which a later change is seen, or nothing.
pub fn write_sealed(folder: &Path, mut files: Vec<ResultFile>) -> Result<(), Error> {
    check_sealed(folder)?;
    let list: String = files.iter().map(|f| format!("{}  {}\n", sha256_hex(&f.bytes), f.name)).collect();
    files.push(ResultFile { name: SEAL.into(), bytes: list.into_bytes() });
    replace(folder, &files)
}

fn replace(folder: &Path, files: &[ResultFile]) -> Result<(), Error> {
    let failed = |e: std::io::Error| Error::Unwritable { path: folder.to_path_buf(), reason: e.to_string() };
    // A link to a folder stays a link: what it leads to is replaced.
    let place = std::fs::canonicalize(folder).unwrap_or_else(|_| folder.to_path_buf());
    let parent: PathBuf = match place.parent() {
        Some(p) if !p.as_os_str().is_empty() => p.to_path_buf(),
        _ => PathBuf::from("."),
    };
    std::fs::create_dir_all(&parent).map_err(failed)?;
    clear_dead(&parent);
    let building = Building::in_folder(&parent).map_err(failed)?;
    let fresh = building.path().join(FRESH);
    for file in files {
        let path = fresh.join(&file.name);
        if let Some(folder) = path.parent() {
            std::fs::create_dir_all(folder).map_err(failed)?;
        }
        std::fs::write(path, &file.bytes).map_err(failed)?;
    }
    put_in_place(&fresh, &place).map_err(failed)
}

/// Largest result file, bytes; a day of a hundred laps has a quarter of a megabyte.
const LARGEST_RESULT: u64 = 16 << 20;

/// Name and bytes of a result; a folder stands for the solution in it.
pub fn solution_bytes(path: &Path) -> Result<(String, Vec<u8>), Error> {
    let file = if path.is_dir() { path.join("solution.json") } else { path.to_path_buf() };
    let unreadable = |reason: String| Error::Unreadable { path: file.clone(), reason };
    let metadata = std::fs::metadata(&file).map_err(|e| unreadable(e.to_string()))?;
    if !metadata.is_file() {
        return Err(unreadable("not a regular file".into()));
    }
    let shown = file.display().to_string();
    if metadata.len() > LARGEST_RESULT {
        return Err(Error::NotPoolable {
            file: shown,
            message: format!(
                "it has {} bytes, more than the limit of {LARGEST_RESULT} for a result; give a solution.json that \
                 `loopwright solve` wrote",
                metadata.len()
            ),
        });
    }
    let bytes = std::fs::read(&file).map_err(|e| unreadable(e.to_string()))?;
    Ok((shown, bytes))
}

/// A result as `solve` wrote it.
pub fn read_solution(path: &Path) -> Result<Solution, Error> {
    let (file, bytes) = solution_bytes(path)?;
    solution_of(&bytes).map_err(|message| Error::NotPoolable { file, message })
}
