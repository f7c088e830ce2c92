//! `loopwright solve`.

use super::failure::Failure;
use super::figure_style::FigureStyle;
use super::ride_flags::RideFlags;
use super::{Format, Units, load, output, results};
use clap::Args;
use loopwright::analysis::{Depth, Inputs, analyse};
use loopwright::error::Error;
use loopwright::report::files::{FilesInput, files};
use loopwright::report::text::summary;
use std::path::{Path, PathBuf};

/// Arguments of `solve`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  loopwright solve session.toml --out results
  loopwright solve run-1.fit --mass-kg 86.4 \\
    --temperature-c 18 --pressure-hpa 978 --humidity-pct 60
  loopwright solve run-1.fit --mass-kg 86.4 --kind track --length-m 250")]
pub struct SolveArguments {
    /// A session file (.toml), or a ride (FIT or CSV) with --mass-kg
    pub input: PathBuf,
    /// Folder for the results; by default <input>-results beside the input
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    #[command(flatten)]
    pub ride: RideFlags,
    #[command(flatten)]
    pub figures: FigureStyle,
}

pub fn run(arguments: SolveArguments, format: Format, units: Units) -> Result<(), Failure> {
    let out = arguments.out.clone().unwrap_or_else(|| default_out(&arguments.input));
    results::check(&out)?;
    arguments.figures.figure_format.check()?;
    let inputs = read(&arguments).map_err(|e| Failure::from(e).advised(load::if_plan(&arguments.input)))?;
    let analysis = analyse(&inputs, Depth::default())
        .map_err(|e| Failure::from(e).with_hint(|| look_closer(&inputs, &arguments.input)))?;
    let files = files(&FilesInput {
        session: &inputs.session,
        solution: &analysis.solution,
        evidence: &analysis.evidence,
        samples: &analysis.samples,
        style: &(&arguments.figures).into(),
        units: units.into(),
    })?;
    results::write(&out, &arguments.figures.figure_format.applied(files)?)?;
    match format {
        Format::Text => {
            output::text(&summary(&analysis.solution, output::width(), units.into()))?;
            output::remark(&format!("Results are in {}", out.display()));
        }
        Format::Json => output::json(&analysis.solution)?,
    }
    Ok(())
}

fn read(arguments: &SolveArguments) -> Result<Inputs, Error> {
    let path = &arguments.input;
    if load::is_session(path)? {
        if let Some(flag) = arguments.ride.given().into_iter().next() {
            return Err(Error::Usage {
                flag,
                message: format!(
                    "a session file states this itself; put the value into {} and leave the flag out",
                    path.display()
                ),
            });
        }
        return load::session(path);
    }
    let file = path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    let session = arguments.ride.session(&file, &stem(path))?;
    load::inputs(session, path.parent().unwrap_or(Path::new("")))
}

/// Where the person finds out more about rides that cannot be solved.
fn look_closer(inputs: &Inputs, input: &Path) -> String {
    let folder = input.parent().unwrap_or(Path::new(""));
    let files: Vec<String> =
        inputs.session.runs.iter().take(3).map(|run| folder.join(&run.file).display().to_string()).collect();
    format!("To see what the rides hold: loopwright inspect {}", files.join(" "))
}

fn stem(path: &Path) -> String {
    path.file_stem().map_or_else(|| "ride".into(), |s| s.to_string_lossy().into_owned())
}

fn default_out(input: &Path) -> PathBuf {
    input.with_file_name(format!("{}-results", stem(input)))
}
