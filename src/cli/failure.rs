//! What went wrong, printed for a person or a script.

use super::Format;
use loopwright::error::Error;

/// An error on its way out.
#[derive(Debug)]
pub struct Failure(pub Error);

impl From<Error> for Failure {
    fn from(error: Error) -> Self {
        Failure(error)
    }
}

impl Failure {
    pub fn exit_status(&self) -> u8 {
        self.0.exit_status()
    }

    pub fn print(&self, format: Format) {
        match format {
            Format::Text => eprintln!("loopwright: {}", self.0),
            Format::Json => {
                let value = serde_json::json!({ "error": { "code": self.0.code(), "message": self.0.to_string() } });
                eprintln!("{value}");
            }
        }
    }
}
