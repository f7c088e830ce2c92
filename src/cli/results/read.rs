//! Results that were written before, read again to be pooled or carried over.
//!
//! Given a path; gives bytes or a solution. It writes nothing.

use loopwright::error::Error;
use loopwright::pool::day::solution as solution_of;
use loopwright::solution::Solution;
use std::path::Path;

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
