//! The command line: one subcommand a file, nothing computed here.
//!
//! Given arguments; reads files, calls the library, prints results to stdout and everything else to stderr.

mod failure;
mod load;
mod output;
mod results;
mod solve;

use clap::{Parser, Subcommand, ValueEnum};
use failure::Failure;

/// Turns rides on closed loops, tracks and rollers into CdA and Crr with honest intervals.
#[derive(Debug, Parser)]
#[command(name = "loopwright", version, max_term_width = 100)]
pub struct Arguments {
    /// How results are printed
    #[arg(long, global = true, value_enum, default_value_t = Format::Text)]
    pub format: Format,
    /// Units for people; files are always SI
    #[arg(long, global = true, value_enum, default_value_t = Units::Metric)]
    pub units: Units,
    #[command(subcommand)]
    pub command: Command,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Format {
    Text,
    Json,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Units {
    Metric,
    Imperial,
}

impl From<Units> for loopwright::report::Units {
    fn from(units: Units) -> Self {
        match units {
            Units::Metric => loopwright::report::Units::Metric,
            Units::Imperial => loopwright::report::Units::Imperial,
        }
    }
}

#[derive(Debug, Subcommand)]
pub enum Command {
    /// Solve a session for CdA and Crr, compare its set-ups, write results and figures
    Solve(solve::SolveArguments),
}

/// Runs a command.
pub fn run(arguments: Arguments) -> Result<(), Failure> {
    match arguments.command {
        Command::Solve(a) => solve::run(a, arguments.format, arguments.units),
    }
}
