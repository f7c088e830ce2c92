//! `loopwright rehearse`.

use super::failure::Failure;
use super::load_plan::plan;
use super::results::Kind;
use super::{Format, output, results};
use clap::Args;
use loopwright::forecast::{BesideTruth, Study, beside_truth, solve_rehearsal, study};
use loopwright::plan::Plan;
use loopwright::report::files::ResultFile;
use loopwright::report::rehearsal::{rehearsal_page, rehearsal_text};
use loopwright::simulate::simulate;
use loopwright::solution::FindingResult;
use serde::Serialize;
use std::path::{Path, PathBuf};

/// Version of the JSON below.
const SCHEMA: u32 = 1;

/// Arguments of `rehearse`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  loopwright rehearse PLAN.toml --out day-1
  loopwright solve day-1/session.toml
  loopwright rehearse PLAN.toml --out day-1 --repeat 100

The folder gets one FIT file a run, session.toml, expected.toml, which holds the truth, and rehearsal.html, which sets what
is told beside it. The same plan and seed give the same files. One of them that was changed since is never overwritten; your own files in the folder stay.")]
pub struct RehearseArguments {
    /// A plan file (.toml)
    #[arg(value_name = "PLAN.toml")]
    input: PathBuf,
    /// Folder for the rehearsed day; by default <plan>-rehearsal beside the plan
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Seed of the day; that of the plan when left out
    #[arg(long, value_name = "N")]
    seed: Option<u64>,
    /// Rehearse so many days, with seeds counted on, and show bias, spread and coverage
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u64).range(1..=100_000))]
    repeat: u64,
}

/// What is printed as JSON.
#[derive(Serialize)]
struct Rehearsed<'a> {
    schema: u32,
    loopwright: &'static str,
    seed: u64,
    separable: bool,
    beside_truth: &'a [BesideTruth],
    findings: &'a [FindingResult],
    study: Option<&'a Study>,
}

pub fn run(arguments: &RehearseArguments, format: Format) -> Result<(), Failure> {
    let out = arguments.out.clone().unwrap_or_else(|| default_out(&arguments.input));
    results::check(&out, Kind::Rehearse)?;
    let plan = plan(&arguments.input)?;
    let seed = arguments.seed.unwrap_or(plan.seed);
    let day = simulate(&plan, seed)?;
    let solved = solve_rehearsal(&day);
    let study = (arguments.repeat > 1 && solved.is_ok()).then(|| many(&plan, seed, arguments.repeat));
    // The files of the day are written even when it has no answer: they show why.
    let mut files: Vec<ResultFile> =
        day.files()?.into_iter().map(|f| ResultFile { name: f.name, bytes: f.bytes }).collect();
    if let Ok(solution) = &solved {
        let page = rehearsal_page(solution, &beside_truth(&day, solution), study.as_ref())?;
        files.push(ResultFile { name: "rehearsal.html".into(), bytes: page.into_bytes() });
    }
    let written = results::write(&out, Kind::Rehearse, &files)?;
    output::note(format, &format!("The rehearsed day is in {}", out.display()));
    written.remarks().iter().for_each(|line| output::note(format, line));
    let solution = solved?;
    let beside = beside_truth(&day, &solution);
    match format {
        Format::Text => {
            output::text(&rehearsal_text(&solution, &beside, study.as_ref(), output::width()))?;
            output::remark(&format!("To solve it yourself: loopwright solve {}", out.join("session.toml").display()));
        }
        Format::Json => output::json(&Rehearsed {
            schema: SCHEMA,
            loopwright: env!("CARGO_PKG_VERSION"),
            seed,
            separable: solution.separable,
            beside_truth: &beside,
            findings: &solution.findings,
            study: study.as_ref(),
        })?,
    }
    Ok(())
}

/// All days, with a bar on a terminal only.
fn many(plan: &Plan, seed: u64, repeat: u64) -> Study {
    let bar = output::progress_bar(repeat, "{pos} of {len} days rehearsed {wide_bar} {eta} left");
    let seeds: Vec<u64> = (0..repeat).map(|i| seed.wrapping_add(i)).collect();
    let study = study(plan, &seeds, &|| bar.inc(1));
    bar.finish_and_clear();
    study
}

fn default_out(plan: &Path) -> PathBuf {
    let stem = plan.file_stem().map_or_else(|| "plan".into(), |s| s.to_string_lossy().into_owned());
    plan.with_file_name(format!("{stem}-rehearsal"))
}
