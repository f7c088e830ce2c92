//! `loopwright solve`.

use super::failure::Failure;
use super::results::{self, ResultFile};
use super::{Format, load};
use clap::Args;
use loopwright::analysis::{Depth, analyse};
use std::path::{Path, PathBuf};

/// Arguments of `solve`.
#[derive(Debug, Args)]
pub struct SolveArguments {
    /// A session file (.toml)
    pub input: PathBuf,
    /// Folder for the results; by default <session>-results beside the session file
    #[arg(long)]
    pub out: Option<PathBuf>,
}

pub fn run(arguments: SolveArguments, _format: Format) -> Result<(), Failure> {
    let out = arguments.out.clone().unwrap_or_else(|| default_out(&arguments.input));
    results::check(&out)?;
    let inputs = load::session(&arguments.input)?;
    let analysis = analyse(&inputs, Depth::default())?;
    let json = serde_json::to_vec_pretty(&analysis.solution).unwrap_or_default();
    results::write(&out, &[ResultFile { name: "solution.json".into(), bytes: json }])?;
    Ok(())
}

fn default_out(session: &Path) -> PathBuf {
    let stem = session.file_stem().map_or_else(|| "session".into(), |s| s.to_string_lossy().into_owned());
    session.with_file_name(format!("{stem}-results"))
}
