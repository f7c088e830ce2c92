//! What went wrong, printed for a person or a script.

use super::Format;
use super::output::remark;
use loopwright::error::Error;
use loopwright::printable::json;
use loopwright::wording::counted;

/// An error on its way out.
#[derive(Debug)]
pub struct Failure {
    code: &'static str,
    message: String,
    exit_status: u8,
    /// What to try next, when the message alone cannot know.
    hint: Option<String>,
}

impl From<Error> for Failure {
    fn from(error: Error) -> Self {
        Failure { code: error.code(), message: error.to_string(), exit_status: error.exit_status(), hint: None }
    }
}

impl Failure {
    /// A mistake in the arguments that clap found; the message is its own.
    pub fn usage(message: String) -> Self {
        Failure { code: "usage", message, exit_status: 2, hint: None }
    }

    /// Standard output or a folder took no more.
    pub fn unwritable(place: &str, reason: &std::io::Error) -> Self {
        let message = format!("{place}: cannot be written ({reason}); free some space or choose another place");
        Failure { code: "unwritable", message, exit_status: 1, hint: None }
    }

    /// Some of the inputs could not be used and were told one by one.
    pub fn some_unreadable(count: usize, of: usize) -> Self {
        let message = format!("{count} of {} cannot be read; what the others hold is shown", counted(of, "file"));
        Failure { code: "unreadable", message, exit_status: 1, hint: None }
    }

    /// Adds what to try next to an error that the data are to blame for.
    pub fn with_hint(mut self, hint: impl FnOnce() -> String) -> Self {
        if self.exit_status == 1 {
            self.hint = Some(hint());
        }
        self
    }

    pub fn exit_status(&self) -> u8 {
        self.exit_status
    }

    pub fn print(&self, format: Format) {
        match format {
            Format::Text => {
                remark(&format!("loopwright: {}", self.message));
                if let Some(hint) = &self.hint {
                    remark(hint);
                }
            }
            Format::Json => {
                let error = serde_json::json!({ "code": self.code, "message": self.message, "hint": self.hint });
                remark(&json(&serde_json::json!({ "error": error }).to_string()));
            }
        }
    }
}
