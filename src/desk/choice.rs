//! Laps that the tester leaves out or keeps, with the reason, in the text of a session.
//!
//! Given the text; gives it with the choice put in or taken back, or without any. It solves nothing.

use super::document::Document;
use super::refusal::Refusal;
use loopwright::session::LONGEST_REASON;
use toml_edit::Value;

/// What is to become of a lap.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Choice {
    LeaveOut,
    Keep,
    /// As the program judges it.
    TakenBack,
}

impl Choice {
    pub fn of(word: &str) -> Result<Choice, Refusal> {
        match word {
            "leave-out" => Ok(Choice::LeaveOut),
            "keep" => Ok(Choice::Keep),
            "take-back" => Ok(Choice::TakenBack),
            _ => Err(Refusal::odd("Choose whether the lap is left out or kept")),
        }
    }
}

/// The text with a choice for a lap; runs and laps are counted from 1.
///
/// Errors: a choice without a reason, or with one that is too long.
pub fn chosen(text: &str, file: &str, run: usize, lap: usize, choice: Choice, reason: &str) -> Result<String, Refusal> {
    if choice != Choice::TakenBack && reason.is_empty() {
        return Err(Refusal::new(
            422,
            "Say why: a lap is left out or kept for a reason that others can read in the report",
        ));
    }
    if reason.chars().count() > LONGEST_REASON {
        return Err(Refusal::new(422, format!("The reason is longer than the limit of {LONGEST_REASON} characters")));
    }
    let mut document = Document::parse(text, file)?;
    let at = run.checked_sub(1).filter(|at| *at < document.count("run") && lap > 0);
    let at = at.ok_or_else(|| Refusal::odd(format!("There is no run {run} with a lap {lap} in {file}")))?;
    let (leave_out, keep) = (format!("run.{at}.leave_out"), format!("run.{at}.keep"));
    let said = format!("run.{at}.lap_reasons.{lap}");
    document.exclude(&leave_out, lap);
    document.exclude(&keep, lap);
    match choice {
        Choice::TakenBack => document.remove(&said),
        _ => {
            document.include(if choice == Choice::LeaveOut { &leave_out } else { &keep }, lap)?;
            document.set(&said, Value::from(reason))?;
        }
    }
    Ok(document.text())
}

/// The text without any such choice; `None` where there is none.
pub fn without_choices(text: &str, file: &str) -> Result<Option<String>, Refusal> {
    let mut document = Document::parse(text, file)?;
    let mut any = false;
    for run in 0..document.count("run") {
        for key in ["leave_out", "keep"] {
            let path = format!("run.{run}.{key}");
            any |= !document.shown(&path).is_empty();
            document.remove(&path);
        }
        document.remove(&format!("run.{run}.lap_reasons"));
    }
    Ok(any.then(|| document.text()))
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "[[run]]\nfile = \"1.fit\"\nleave_out = [\n    1, # first lap, still warming up\n    9,\n]\n\n[[run]]\nfile = \"2.fit\"\n";

    fn with(text: &str, run: usize, lap: usize, choice: Choice, reason: &str) -> String {
        chosen(text, "f", run, lap, choice, reason).unwrap()
    }

    #[test]
    fn a_choice_is_written_with_its_reason_and_taken_back_again() {
        let out = with(TEXT, 2, 3, Choice::LeaveOut, "a \"dog\"");
        let read: toml::Table = toml::from_str(&out).unwrap();
        assert_eq!(read["run"][1]["leave_out"][0].as_integer(), Some(3));
        assert_eq!(read["run"][1]["lap_reasons"]["3"].as_str(), Some("a \"dog\""));
        let other = with(&out, 2, 3, Choice::Keep, "it was a cat");
        assert!(other.contains("keep = [3]") && !other.contains("dog"), "{other}");
        assert_eq!(with(&other, 2, 3, Choice::TakenBack, ""), TEXT);
    }

    #[test]
    fn comments_in_a_list_of_laps_stay() {
        let out = with(TEXT, 1, 5, Choice::LeaveOut, "stop");
        assert!(out.contains("1, # first lap, still warming up"), "{out}");
        let back = with(&out, 1, 9, Choice::TakenBack, "");
        assert!(back.contains("# first lap") && !back.contains('9'), "{back}");
    }

    #[test]
    fn nothing_is_chosen_without_a_reason() {
        assert!(chosen(TEXT, "f", 1, 2, Choice::LeaveOut, "").is_err());
        assert!(chosen(TEXT, "f", 3, 2, Choice::LeaveOut, "x").is_err());
        assert!(chosen(TEXT, "f", 1, 2, Choice::Keep, &"x".repeat(LONGEST_REASON + 1)).is_err());
    }

    #[test]
    fn without_choices_only_the_choices_are_gone() {
        let plain = without_choices(TEXT, "f").unwrap().unwrap();
        assert!(!plain.contains("leave_out = ") && plain.contains("file = \"2.fit\""), "{plain}");
        assert_eq!(without_choices("[[run]]\nfile = \"1.fit\"\n", "f").unwrap(), None);
    }
}
