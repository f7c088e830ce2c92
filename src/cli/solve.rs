//! `loopwright solve`.

use super::failure::Failure;
use super::{Format, Units, load, output, results};
use clap::Args;
use loopwright::analysis::{Depth, analyse};
use loopwright::plot::Style;
use loopwright::report::files::{FilesInput, files};
use loopwright::report::text::summary;
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

pub fn run(arguments: SolveArguments, format: Format, units: Units) -> Result<(), Failure> {
    let out = arguments.out.clone().unwrap_or_else(|| default_out(&arguments.input));
    results::check(&out)?;
    let inputs = load::session(&arguments.input)?;
    let analysis = analyse(&inputs, Depth::default())?;
    let files = files(&FilesInput {
        session: &inputs.session,
        solution: &analysis.solution,
        evidence: &analysis.evidence,
        samples: &analysis.samples,
        style: &Style::default(),
        units: units.into(),
    })?;
    results::write(&out, &files)?;
    match format {
        Format::Text => {
            let width = terminal_size::terminal_size().map_or(80, |(w, _)| usize::from(w.0));
            output::text(&summary(&analysis.solution, width, units.into()));
            output::text(&format!("Results are in {}\n", out.display()));
        }
        Format::Json => output::json(&analysis.solution),
    }
    Ok(())
}

fn default_out(session: &Path) -> PathBuf {
    let stem = session.file_stem().map_or_else(|| "session".into(), |s| s.to_string_lossy().into_owned());
    session.with_file_name(format!("{stem}-results"))
}
