//! `loopwright schema`.

use super::failure::Failure;
use super::output;
use clap::{Args, ValueEnum};
use loopwright::plan::Plan;
use loopwright::session::Session;
use loopwright::solution::Solution;

/// Arguments of `schema`.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  loopwright schema session > session.schema.json

An editor that knows JSON Schema then completes and checks the keys of a session file while it is written.")]
pub struct SchemaArguments {
    /// The kind of file
    #[arg(value_enum, default_value_t = Kind::Session)]
    kind: Kind,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Kind {
    Session,
    Plan,
    /// What solve writes to solution.json
    Result,
}

pub fn run(arguments: &SchemaArguments) -> Result<(), Failure> {
    match arguments.kind {
        Kind::Session => output::json(&schemars::schema_for!(Session)),
        Kind::Plan => output::json(&schemars::schema_for!(Plan)),
        Kind::Result => output::json(&schemars::schema_for!(Solution)),
    }
}
