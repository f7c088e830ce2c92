//! `loopwright completions`.

use super::failure::Failure;
use super::{Arguments, output};
use clap::{Args, CommandFactory};
use clap_complete::Shell;

/// Arguments of `completions`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  loopwright completions bash > ~/.bash_completion.d/loopwright
  loopwright completions fish > ~/.config/fish/completions/loopwright.fish")]
pub struct CompletionsArguments {
    /// The shell to print completions for
    #[arg(value_enum)]
    shell: Shell,
}

pub fn run(arguments: &CompletionsArguments) -> Result<(), Failure> {
    let mut script = Vec::new();
    clap_complete::generate(arguments.shell, &mut Arguments::command(), "loopwright", &mut script);
    output::verbatim(&String::from_utf8_lossy(&script))
}
