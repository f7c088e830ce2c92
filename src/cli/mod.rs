//! The command line: one subcommand a file, nothing computed here.
//!
//! Given arguments; reads files, calls the library, prints results to stdout and everything else to stderr.

mod air;
mod completions;
mod demand;
mod demand_printed;
mod desk;
mod failure;
mod figure_style;
mod flag_name;
mod inspect;
pub(crate) mod load;
pub(crate) mod load_plan;
mod man;
mod mistake;
mod number;
mod output;
mod plan;
mod pool;
mod rehearse;
pub(crate) mod results;
mod ride_flag_kind;
mod ride_flag_table;
mod ride_flags;
pub(crate) mod scaffold;
mod ride_session;
mod schema;
pub(crate) mod schema_value;
mod solve;
mod what_is;

use clap::{Parser, Subcommand, ValueEnum};
pub use desk::Host;
pub use failure::Failure;

/// Turns rides on closed loops, tracks and rollers into CdA and Crr with honest intervals.
#[derive(Debug, Parser)]
#[command(name = "loopwright", version, max_term_width = 100, after_help = EXAMPLES)]
pub struct Arguments {
    /// How results are printed
    #[arg(long, global = true, value_enum, default_value_t = Format::Text, help_heading = OUTPUT)]
    pub format: Format,
    /// Units for people; files are always SI
    #[arg(long, global = true, value_enum, default_value_t = Units::Metric, help_heading = OUTPUT)]
    pub units: Units,
    #[command(subcommand)]
    pub command: Command,
}

const OUTPUT: &str = "Output";

const EXAMPLES: &str = "\
Examples:
  loopwright inspect run-1.fit
  loopwright solve session.toml
  loopwright solve run-1.fit --mass-kg 86.4 --temperature-c 18

Exit status: 0 done, 1 the input cannot give the answer, 2 a mistake in the arguments or the session.";

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
    /// Solve a session or one ride for CdA and Crr, compare set-ups, write results and figures
    Solve(Box<solve::SolveArguments>),
    /// Show what ride files hold, the laps in them, and what would spoil a test
    Inspect(inspect::InspectArguments),
    /// Bring the results of several days or venues together and say whether they agree
    Pool(pool::PoolArguments),
    /// Predict what a planned day can show, what would help, and print its run sheet
    Plan(plan::PlanArguments),
    /// Simulate a planned day as ride files, solve it and show the truth beside the estimate
    Rehearse(rehearse::RehearseArguments),
    /// Write a commented session file for the rides in a folder
    Scaffold(scaffold::ScaffoldArguments),
    /// Serve a page on this machine to do it all in the browser, without writing files by hand
    Desk(desk::DeskArguments),
    /// Watts at a speed, speed at a power, time over a distance, split by cause
    Demand(demand::DemandArguments),
    /// Density of moist air with its uncertainty
    Air(air::AirArguments),
    /// Print the completions of a shell
    Completions(completions::CompletionsArguments),
    /// Print the manual page, or write one for every command
    Man(man::ManArguments),
    /// Print the JSON Schema of a session or plan file
    Schema(schema::SchemaArguments),
}

/// Runs a command; `host` serves the desk.
pub fn run(arguments: Arguments, host: Host) -> Result<(), Failure> {
    let Arguments { format, units, command } = arguments;
    match command {
        Command::Solve(a) => solve::run(*a, format, units),
        Command::Inspect(a) => inspect::run(a, format, units),
        Command::Pool(a) => pool::run(&a, format, units),
        Command::Plan(a) => plan::run(&a, format, units),
        Command::Rehearse(a) => rehearse::run(&a, format),
        Command::Scaffold(a) => scaffold::run(&a, format),
        Command::Desk(a) => desk::run(&a, format, units, host),
        Command::Demand(a) => demand::run(a, format, units),
        Command::Air(a) => air::run(&a, format, units),
        Command::Completions(a) => completions::run(&a),
        Command::Man(a) => man::run(&a),
        Command::Schema(a) => schema::run(&a),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn every_command_has_an_example_that_fits_a_terminal_and_every_flag_has_words() {
        let mut whole = Arguments::command();
        whole.build();
        for command in std::iter::once(&whole).chain(whole.get_subcommands().filter(|c| c.get_name() != "help")) {
            let name = command.get_name();
            let after = command.get_after_help().map(|h| h.to_string()).unwrap_or_default();
            assert!(after.contains("Example"), "{name} has no example");
            for line in after.lines().filter(|l| l.starts_with("  ")) {
                assert!(line.chars().count() <= 80, "{name}: {line}");
            }
            for argument in command.get_arguments() {
                let help = argument.get_help().map(|h| h.to_string()).unwrap_or_default();
                assert!(!help.trim().is_empty(), "{name} {} has no help", argument.get_id());
            }
        }
    }

    #[test]
    fn flags_do_not_contradict_each_other() {
        Arguments::command().debug_assert();
    }
}
