//! Standard output: a closed pipe ends the program's output quietly, not its work.

use serde::Serialize;
use std::io::Write;

/// Prints text.
pub fn text(text: &str) {
    // A reader that has seen enough, such as a pager that was left, is no fault of ours.
    let _ = std::io::stdout().lock().write_all(text.as_bytes());
}

/// Prints a value as JSON.
pub fn json(value: &impl Serialize) {
    if let Ok(json) = serde_json::to_string_pretty(value) {
        text(&json);
        text("\n");
    }
}
