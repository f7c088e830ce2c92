//! The command-line program: parse, run, print what went wrong, set the exit status.

mod cli;

use clap::Parser;
use std::process::ExitCode;

fn main() -> ExitCode {
    let arguments = cli::Arguments::parse();
    let format = arguments.format;
    match cli::run(arguments) {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            failure.print(format);
            ExitCode::from(failure.exit_status())
        }
    }
}
