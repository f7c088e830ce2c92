//! Why something asked of the desk is not done, as a status and a sentence.
//!
//! Given an error of the program or words of our own; says where, what, the limit and the next step. It prints nothing.

use loopwright::error::Error;

/// See the module.
#[derive(Debug, Clone, PartialEq)]
pub struct Refusal {
    /// Of HTTP.
    pub status: u16,
    pub message: String,
}

impl Refusal {
    pub fn new(status: u16, message: impl Into<String>) -> Refusal {
        Refusal { status, message: message.into() }
    }

    /// A form or address that a page of ours would not have sent.
    pub fn odd(message: impl Into<String>) -> Refusal {
        Refusal::new(400, message)
    }
}

/// The words are those of the command line.
impl From<Error> for Refusal {
    fn from(error: Error) -> Self {
        Refusal::new(422, error.to_string())
    }
}
