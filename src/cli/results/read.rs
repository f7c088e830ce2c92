//! Results that were written before, read again to be pooled or carried over.
//!
//! Given a path; gives bytes or a solution. It writes nothing, and lets no text through that could steer a terminal.

use crate::cli::what_is::{SOLUTION, Wanted, refuse_other};
use loopwright::error::Error;
use loopwright::pool::result_file::solution as solution_of;
use loopwright::printable::{odd_character, one_line};
use loopwright::record::read_regular;
use loopwright::solution::Solution;
use serde_json::Value;
use std::path::Path;

/// Largest result file, bytes; a day of a hundred laps has a quarter of a megabyte.
const LARGEST_RESULT: u64 = 16 << 20;

/// Name and bytes of a result; a folder stands for the solution in it.
pub fn solution_bytes(path: &Path) -> Result<(String, Vec<u8>), Error> {
    refuse_other(path, Wanted::Result)?;
    let file = if path.is_dir() { path.join(SOLUTION) } else { path.to_path_buf() };
    let shown = one_line(&file.display().to_string()).into_owned();
    let bytes = read_regular(&file, LARGEST_RESULT).map_err(|e| match e {
        Error::TooLarge { value, .. } => Error::NotPoolable {
            file: shown.clone(),
            message: format!(
                "it has {value} bytes, more than the limit of {LARGEST_RESULT} for a result; give a solution.json that \
                 `loopwright solve` wrote"
            ),
        },
        other => other,
    })?;
    match odd_text(&bytes) {
        None => Ok((shown, bytes)),
        Some(character) => Err(Error::NotPoolable {
            file: shown,
            message: format!("a text in it holds {character}, which loopwright never writes; solve the session again"),
        }),
    }
}

/// The first character of a result's texts that is not shown: what others wrote into a result reaches nobody's screen.
fn odd_text(bytes: &[u8]) -> Option<String> {
    let text = std::str::from_utf8(bytes).ok()?;
    let outside = text.split(['\n', '\r', '\t']).find_map(odd_character);
    // Only where something is escaped can a text hold what the file does not show.
    outside.or_else(|| if text.contains("\\u") { odd_value(&serde_json::from_str(text).ok()?) } else { None })
}

fn odd_value(value: &Value) -> Option<String> {
    match value {
        Value::String(text) => odd_character(text),
        Value::Array(items) => items.iter().find_map(odd_value),
        Value::Object(keys) => keys.iter().find_map(|(key, value)| odd_character(key).or_else(|| odd_value(value))),
        _ => None,
    }
}

/// A result as `solve` wrote it.
pub fn read_solution(path: &Path) -> Result<Solution, Error> {
    let (file, bytes) = solution_bytes(path)?;
    solution_of(&bytes).map_err(|message| Error::NotPoolable { file, message })
}
