//! Arguments that cannot be understood, and requests for help.

use super::failure::Failure;
use super::output::remark;
use super::{Arguments, Format};
use clap::Parser;
use clap::error::ErrorKind;
use loopwright::printable::is_odd;
use std::ffi::OsString;
use std::process::ExitCode;

/// What clap has to say instead of arguments.
pub struct Mistake {
    error: clap::Error,
    format: Format,
}

impl Arguments {
    /// Reads the arguments of the process.
    pub fn read() -> Result<Arguments, Mistake> {
        let given: Vec<OsString> = std::env::args_os().collect();
        Arguments::try_parse_from(&given).map_err(|error| Mistake { error, format: wanted_format(&given) })
    }
}

impl Mistake {
    /// Prints help to standard output and a mistake to standard error; gives the exit status.
    pub fn tell(self) -> ExitCode {
        let is_mistake = !matches!(self.error.kind(), ErrorKind::DisplayHelp | ErrorKind::DisplayVersion);
        if is_mistake && self.format == Format::Json {
            let message = self.error.to_string();
            Failure::usage(message.trim().trim_start_matches("error: ").to_string()).print(self.format);
        } else if self.error.to_string().chars().any(|c| is_odd(c) && c != '\n') {
            // An argument that would steer the terminal is shown without its colours and without doing so.
            remark(self.error.to_string().trim_end());
        } else {
            // Where nobody listens there is nobody to tell.
            let _ = self.error.print();
        }
        ExitCode::from(if is_mistake { 2 } else { 0 })
    }
}

/// The format asked for by arguments that do not hold together.
fn wanted_format(given: &[OsString]) -> Format {
    let split = given.windows(2).any(|w| w[0] == "--format" && w[1] == "json");
    if split || given.iter().any(|a| a == "--format=json") { Format::Json } else { Format::Text }
}
