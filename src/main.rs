//! The command-line program: parse, run, print what went wrong, set the exit status.

mod cli;
mod desk;

use std::process::ExitCode;

fn main() -> ExitCode {
    match cli::Arguments::read() {
        Ok(arguments) => {
            let format = arguments.format;
            ended(cli::run(arguments, desk::host), format)
        }
        Err(mistake) => mistake.tell(),
    }
}

fn ended(result: Result<(), cli::Failure>, format: cli::Format) -> ExitCode {
    match result {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            failure.print(format);
            ExitCode::from(failure.exit_status())
        }
    }
}
