//! `loopwright solve`.

use super::failure::Failure;
use super::figure_style::FigureStyle;
use super::output::progress_bar;
use super::results::Kind;
use super::ride_flags::RideFlags;
use super::what_is::{self, Wanted};
use super::{Format, Units, load, output, results};
use clap::Args;
use loopwright::analysis::{
    Analysis, DEFAULT_LAP_DRAWS, Depth, Draws, FEWEST_DRAWS, MOST_DRAWS, RiddenSession, analyse, analyse_with_draws,
};
use loopwright::error::Error;
use loopwright::printable::odd_character;
use loopwright::report::budget::budgets;
use loopwright::report::files::{FilesInput, files};
use loopwright::report::findings::counts;
use loopwright::report::monte_carlo::check;
use loopwright::report::text::{Extent, Print, summary};
use loopwright::session::Venue;
use std::path::{Path, PathBuf};

/// Fewer draws of laps say nothing of a standard error.
const FEWEST_LAP_DRAWS: u64 = 50;
/// More draws of laps than anyone needs; they take memory.
const MOST_LAP_DRAWS: u64 = 100_000;

/// Arguments of `solve`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  loopwright solve session.toml --out results
  loopwright solve run-1.fit --mass-kg 86.4 \\
    --temperature-c 18 --pressure-hpa 978 --humidity-pct 60
  loopwright solve run-1.fit --mass-kg 86.4 --kind track --length-m 250
  loopwright solve session.toml --budget --monte-carlo 20000")]
pub struct SolveArguments {
    /// A session file (.toml), or a ride (FIT or CSV) with --mass-kg
    pub input: PathBuf,
    /// Folder for the results; by default <input>-results beside the input
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Print the verdict and one table only, as into a pipe
    #[arg(long, conflicts_with = "full")]
    pub brief: bool,
    /// Print everything into a pipe too
    #[arg(long)]
    pub full: bool,
    /// Print the uncertainty budget of every set-up and difference; solution.json always holds it
    #[arg(long)]
    pub budget: bool,
    /// Check the budget by N random draws of all instrument inputs, 1000 to 200000
    #[arg(long, value_name = "N", value_parser = draws)]
    pub monte_carlo: Option<usize>,
    /// How often whole laps are drawn again for the second opinion on the standard errors; 0 for none
    #[arg(long, value_name = "N", default_value_t = DEFAULT_LAP_DRAWS as u64, value_parser = lap_draws)]
    pub draws: u64,
    #[command(flatten)]
    pub ride: RideFlags,
    #[command(flatten)]
    pub figures: FigureStyle,
}

pub fn run(arguments: SolveArguments, format: Format, units: Units) -> Result<(), Failure> {
    let out = arguments.out.clone().unwrap_or_else(|| default_out(&arguments.input));
    results::check(&out, Kind::Solve)?;
    let inputs = read(&arguments)?;
    let depth = Depth { draws: arguments.draws as usize, ..Depth::default() };
    let analysis = solved(&inputs, depth, arguments.monte_carlo)
        .map_err(|e| Failure::from(e).with_hint(|| look_closer(&inputs, &arguments.input)))?;
    let files = files(&FilesInput {
        session: &inputs.session,
        solution: &analysis.solution,
        evidence: &analysis.evidence,
        samples: &analysis.samples,
        style: &(&arguments.figures).into(),
        units: units.into(),
    })?;
    let written = results::write(&out, Kind::Solve, &files)?;
    match format {
        Format::Text => {
            let (solution, width) = (&analysis.solution, output::width());
            let short = arguments.brief || !(arguments.full || output::is_terminal());
            let extent = match (short, arguments.full) {
                (true, _) => Extent::Brief,
                (false, true) => Extent::Whole,
                (false, false) => Extent::Full,
            };
            let mut text =
                summary(solution, Print { width, units: units.into(), extent, emphasis: output::emphasis() });
            if arguments.budget {
                text.push_str(&budgets(solution, width, units.into()));
            }
            text.push_str(&check(solution, width));
            output::text(&text)?;
            let told = if short { counts(&solution.findings) } else { String::new() };
            let told = if told.is_empty() { told } else { format!("{told}. ") };
            output::remark(&format!(
                "{told}Results are in {}; {} in it plans the next day",
                out.display(),
                loopwright::report::next_plan::NAME
            ));
            written.remarks().iter().for_each(|line| output::remark(line));
        }
        Format::Json => output::json(&analysis.solution)?,
    }
    Ok(())
}

fn lap_draws(text: &str) -> Result<u64, String> {
    match text.trim().parse::<u64>() {
        Ok(number) if number == 0 || (FEWEST_LAP_DRAWS..=MOST_LAP_DRAWS).contains(&number) => Ok(number),
        _ => Err(format!("give 0 or a whole number from {FEWEST_LAP_DRAWS} to {MOST_LAP_DRAWS}")),
    }
}

fn draws(text: &str) -> Result<usize, String> {
    let why = format!("give a whole number of draws from {FEWEST_DRAWS} to {MOST_DRAWS}; 20000 is usual");
    match text.trim().parse::<usize>() {
        Ok(number) if (FEWEST_DRAWS..=MOST_DRAWS).contains(&number) => Ok(number),
        _ => Err(why),
    }
}

/// Solves, with a bar for the draws on a terminal only.
fn solved(inputs: &RiddenSession, depth: Depth, number: Option<usize>) -> Result<Analysis, Error> {
    let Some(number) = number else { return analyse(inputs, depth) };
    // Loop and rollers are drawn for one after the other.
    let rollers = |run| inputs.session.venue_of(run) == Venue::Rollers;
    let (some, all) = (inputs.session.runs.iter().any(rollers), inputs.session.runs.iter().all(rollers));
    let bar =
        progress_bar(number as u64 * if some && !all { 2 } else { 1 }, "{pos} of {len} draws {wide_bar} {eta} left");
    let at_each = || bar.inc(1);
    let analysis = analyse_with_draws(inputs, depth, Some(Draws { number, at_each: &at_each }));
    bar.finish_and_clear();
    analysis
}

fn read(arguments: &SolveArguments) -> Result<RiddenSession, Error> {
    let path = &arguments.input;
    what_is::refuse_other(path, Wanted::SessionOrRide)?;
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
    let file = plain_name(path)?;
    let session = arguments.ride.session(&file, &stem(path))?;
    load::inputs(session, path.parent().unwrap_or(Path::new("")))
}

/// The name of a ride, which stands in the results and in the session made for it.
fn plain_name(path: &Path) -> Result<String, Error> {
    let refused = |reason: String| Error::Unreadable { path: path.to_path_buf(), reason };
    let name = path.file_name().unwrap_or_default();
    let name = name.to_str().ok_or_else(|| refused("its name is not text in UTF-8; rename it".into()))?;
    match odd_character(name) {
        None => Ok(name.to_string()),
        Some(character) => {
            Err(refused(format!("its name holds {character}, a character that is not shown; rename it")))
        }
    }
}

/// Where the person finds out more about rides that cannot be solved.
fn look_closer(inputs: &RiddenSession, input: &Path) -> String {
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
