//! Blanks that a proposed session left and that nobody has filled in.
//!
//! Given the text of a session; gives their lines, and an error about one of them in words that name them all.

use crate::error::Error;
use crate::wording::listed;

/// What stands behind a value that is to be filled in.
pub const BLANK_MARK: &str = "FILL IN";
/// Values that stand for none.
const EMPTY: [&str; 3] = ["\"\"", "0.0", "0"];

/// Lines, from 1.
fn blanks(text: &str) -> Vec<usize> {
    let is_blank = |line: &str| {
        let Some((stated, comment)) = line.split_once('#') else { return false };
        let value = stated.split_once('=').map_or("", |(_, value)| value.trim());
        comment.contains(BLANK_MARK) && EMPTY.contains(&value)
    };
    text.lines().zip(1..).filter(|(line, _)| is_blank(line)).map(|(_, number)| number).collect()
}

/// The error as it is, or, where it is about a blank, with what else is to be filled in.
pub(super) fn of_blank(text: &str, error: Error) -> Error {
    let blanks = blanks(text);
    let others = |line: usize| -> Option<String> {
        blanks.contains(&line).then_some(())?;
        let others: Vec<String> = blanks.iter().filter(|n| **n != line).map(usize::to_string).collect();
        Some(match others.len() {
            0 => String::new(),
            1 => format!("; line {} is blank too", others[0]),
            _ => format!("; lines {} are blank too", listed(&others)),
        })
    };
    match error {
        Error::Syntax { file, line, text, marker, message } => match others(line) {
            Some(others) => {
                let known = message.split_once("known here: ").map_or(String::new(), |(_, all)| format!(" ({all})"));
                let message = format!("nothing is filled in here{known}{others}");
                Error::Syntax { file, line, text, marker, message }
            }
            None => Error::Syntax { file, line, text, marker, message },
        },
        Error::OutOfRange { file, line: Some(line), key, hint, .. } if blanks.contains(&line) => {
            let (hint, others) =
                (if hint.is_empty() { hint } else { format!(": {hint}") }, others(line).unwrap_or_default());
            let message = format!("{key} is not filled in{hint}{others}");
            Error::Inconsistent { file, line: Some(line), message }
        }
        Error::Inconsistent { file, line: Some(line), message } => {
            let others = others(line).unwrap_or_default();
            Error::Inconsistent { file, line: Some(line), message: format!("{message}{others}") }
        }
        other => other,
    }
}

#[cfg(test)]
mod tests {
    use crate::session::Session;

    const PROPOSED: &str = "[rider_and_bike]\nmass_kg = 0.0   # FILL IN: as weighed\n[loop]\n[solve]\ncda = \"\"   # FILL IN: \"common\" or not\n\
                            [[setup]]\nid = \"a\"\n[[run]]\nfile = \"a.fit\"\nsetup = \"\" # FILL IN: its id\n";

    fn refused(text: &str) -> String {
        Session::from_toml(text, "s.toml").expect_err("a blank").to_string()
    }

    #[test]
    fn all_blanks_are_told_at_once_and_a_wrong_value_is_none() {
        let words = refused(PROPOSED);
        assert!(
            words.starts_with("s.toml:5: nothing is filled in here (common, per-setup); lines 2 and 10 are blank too"),
            "{words}"
        );
        let chosen = PROPOSED.replace("cda = \"\"", "cda = \"common\"");
        let words = refused(&chosen);
        assert!(words.starts_with("s.toml:2: rider_and_bike.mass_kg is not filled in: "), "{words}");
        assert!(words.ends_with("; line 10 is blank too"), "{words}");
        let weighed = refused(&chosen.replace("0.0", "8.6"));
        assert!(weighed.contains("8.6 is outside") && !weighed.contains("blank"), "{weighed}");
        let wrong = refused(&PROPOSED.replace("cda = \"\"", "cda = \"comon\""));
        assert!(wrong.contains("did you mean «common»") && !wrong.contains("blank"), "{wrong}");
    }
}
