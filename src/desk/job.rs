//! What the desk asks of the program, in one place: look into rides, draft and check sessions, solve, forecast, rehearse.
//!
//! Given files of the folder; gives values for the pages. All work is done by the functions that the commands use, so that page
//! and command line say the same. It decides nothing and writes nothing.

use super::folder::Folder;
use super::refusal::Refusal;
use crate::cli::scaffold::{Table, table};
use crate::cli::{load, load_plan};
use loopwright::analysis::inspection::{Inspection, inspect};
use loopwright::analysis::scaffold::{Beside, Differs, PassedOver, scaffold};
use loopwright::analysis::{Depth, Draws, RiddenSession, analyse, analyse_with_draws};
use loopwright::error::Error;
use loopwright::evidence::Evidence;
use loopwright::forecast::{
    Predicted, beside_truth, forecast_in_parts, forecast_parts, lap_targets, predict_plan, solve_rehearsal, study,
};
use loopwright::plan::Plan;
use loopwright::plot::Style;
use loopwright::record::{self, sha256_hex};
use loopwright::report::Units;
use loopwright::report::files::{FilesInput, ResultFile, files};
use loopwright::report::forecast::forecast_text;
use loopwright::report::monte_carlo::check;
use loopwright::report::rehearsal::rehearsal_text;
use loopwright::report::run_sheet::run_sheet;
use loopwright::session::{Session, Venue};
use loopwright::simulate::simulate;
use loopwright::solution::Solution;
use serde::Serialize;

/// Columns of text tables on a page, and on a phone.
const WIDTHS: [usize; 2] = [96, 44];

/// A solved session.
pub struct Solved {
    pub session: Session,
    pub solution: Solution,
    pub evidence: Evidence,
    /// As `solve` writes them.
    pub files: Vec<ResultFile>,
}

/// A text for a wide page and for a phone.
#[derive(Debug, Clone, Serialize)]
pub struct Told {
    pub wide: String,
    pub narrow: String,
}

fn told(text: impl Fn(usize) -> String) -> Told {
    Told { wide: text(WIDTHS[0]), narrow: text(WIDTHS[1]) }
}

/// What a ride file holds.
pub fn looked(folder: &Folder, name: &str) -> Result<Inspection, String> {
    let path = folder.inside(name).map_err(|refusal| refusal.message)?;
    record::read(&path).map(|ride| inspect(&ride, None)).map_err(|e| e.to_string())
}

/// The text of a first session of some rides; the others are named in it with the reason, unless they are the weather or
/// the survey of the day.
pub fn drafted(
    folder: &Folder,
    rides: &[String],
    left_out: Vec<PassedOver>,
    differs: Option<Differs>,
) -> Result<String, Refusal> {
    let mut recordings = Vec::new();
    for name in rides {
        recordings.push(record::read(&folder.inside(name)?)?);
    }
    let mut beside = Beside::default();
    for file in left_out {
        match table(&folder.inside(&file.file)?, &file.file) {
            Some(Table::Weather) if beside.weather.is_none() => beside.weather = Some(file.file),
            Some(Table::Survey) if beside.survey.is_none() => beside.survey = Some(file.file),
            _ => beside.passed_over.push(file),
        }
    }
    Ok(scaffold(&folder.name(), &recordings, &beside, differs).text)
}

/// What the program says of the text of a session.
pub fn wrong_session(text: &str, file: &str) -> Option<Error> {
    Session::from_toml(text, file).err()
}

/// What the program says of the text of a plan.
pub fn wrong_plan(text: &str, file: &str) -> Option<Error> {
    Plan::from_toml(text, file).err()
}

/// Reads a session and everything it names, all of it inside the folder.
fn inputs(folder: &Folder, session: Session) -> Result<RiddenSession, Refusal> {
    for name in session.files() {
        folder.inside(name)?;
    }
    Ok(load::inputs(session, folder.root())?)
}

/// What tells one state of a session and its files from another, without reading the rides.
pub fn state(folder: &Folder, text: &str, file: &str) -> Result<String, Refusal> {
    let session = Session::from_toml(text, file)?;
    let mut state = text.to_string();
    for name in session.files() {
        let there = std::fs::metadata(folder.inside(name)?).ok();
        let stamp = there.map(|m| (m.len(), m.modified().ok()));
        state.push_str(&format!("\n{name} {stamp:?}"));
    }
    Ok(sha256_hex(state.as_bytes()))
}

/// Solves the text of a session.
pub fn solved(folder: &Folder, text: &str, file: &str, units: Units) -> Result<Solved, Refusal> {
    let inputs = inputs(folder, Session::from_toml(text, file)?)?;
    let analysis = analyse(&inputs, Depth::default())?;
    let files = files(&FilesInput {
        session: &inputs.session,
        solution: &analysis.solution,
        evidence: &analysis.evidence,
        samples: &analysis.samples,
        style: &Style::default(),
        units,
    })?;
    Ok(Solved { session: inputs.session, solution: analysis.solution, evidence: analysis.evidence, files })
}

/// Only the answer, for comparison with another.
pub fn answer(folder: &Folder, text: &str, file: &str) -> Result<Solution, Refusal> {
    let inputs = inputs(folder, Session::from_toml(text, file)?)?;
    Ok(analyse(&inputs, Depth { draws: 0, ..Depth::default() })?.solution)
}

/// The budget checked by random draws of all inputs; `at_each` may end it by unwinding.
pub fn drawn(
    folder: &Folder,
    text: &str,
    file: &str,
    number: usize,
    at_each: &(dyn Fn() + Sync),
) -> Result<Told, Refusal> {
    let inputs = inputs(folder, Session::from_toml(text, file)?)?;
    let analysis = analyse_with_draws(&inputs, Depth::default(), Some(Draws { number, at_each }))?;
    Ok(told(|width| check(&analysis.solution, width)))
}

/// Reads the text of a plan and the track it takes its loop from, which lies in the folder.
fn plan(folder: &Folder, text: &str, file: &str) -> Result<Plan, Refusal> {
    let plan = Plan::from_toml(text, file)?;
    match &plan.circuit.shape_file {
        None => Ok(plan),
        Some(shape) => {
            folder.inside(shape)?;
            Ok(load_plan::plan(&folder.inside(file)?)?)
        }
    }
}

/// What a plan finds: one line for each comparison.
#[derive(Debug, Clone, Serialize)]
pub struct Found {
    pub what: String,
    pub watts: String,
    pub crr: String,
    pub cda_m2: String,
}

/// The smallest detectable differences of a plan, or why CdA and Crr cannot be told apart.
#[derive(Debug, Clone, Serialize)]
pub struct Findable {
    pub not_separable: Option<String>,
    pub lines: Vec<Found>,
}

/// See [`Findable`].
pub fn findable(folder: &Folder, text: &str, file: &str) -> Result<Findable, Refusal> {
    let plan = plan(folder, text, file)?;
    let with_rollers = plan.runs_on(Venue::Rollers) > 0;
    let on = if with_rollers { ", on the loop alone" } else { "" };
    let prediction = predict_plan(&plan)?;
    let detectable = |p: Option<Predicted>, decimals: usize| {
        p.and_then(|p| p.detectable).map_or("–".into(), |d| format!("{d:.decimals$}"))
    };
    let line = |what: String, power, crr, cda| Found {
        what,
        watts: detectable(power, 1),
        crr: detectable(crr, 5),
        cda_m2: detectable(cda, 4),
    };
    let of_differences = prediction
        .differences
        .iter()
        .map(|d| line(format!("{} less {}{on}", d.setup, d.baseline), d.power_w, d.crr, d.cda_m2));
    let of_setups = prediction.setups.iter().map(|s| line(format!("change of {}", s.id), s.power_w, s.crr, s.cda_m2));
    let mut lines: Vec<Found> =
        if prediction.differences.is_empty() { of_setups.collect() } else { of_differences.collect() };
    if with_rollers {
        lines.push(line("loop and rollers together: «What would help» rehearses it".into(), None, None, None));
    }
    Ok(Findable { lines, not_separable: prediction.not_separable.map(|[reason, next]| format!("{reason}. {next}")) })
}

/// Number of parts of a forecast.
pub fn parts_of_forecast(folder: &Folder, text: &str, file: &str) -> Result<usize, Refusal> {
    Ok(forecast_parts(&plan(folder, text, file)?))
}

/// The whole forecast of a plan; `at_each` may end it by unwinding.
pub fn foretold(
    folder: &Folder,
    text: &str,
    file: &str,
    units: Units,
    at_each: &(dyn Fn() + Sync),
) -> Result<Told, Refusal> {
    let plan = plan(folder, text, file)?;
    let forecast = forecast_in_parts(&plan, at_each)?;
    Ok(told(|width| forecast_text(&plan, &forecast, width, units)))
}

/// The page to print.
pub fn sheet(folder: &Folder, text: &str, file: &str, units: Units) -> Result<String, Refusal> {
    let plan = plan(folder, text, file)?;
    Ok(run_sheet(&plan, &lap_targets(&plan), units)?.html)
}

/// The planned day simulated, solved and set beside the truth, so many times; `at_each` may end it by unwinding.
pub fn rehearsed(
    folder: &Folder,
    text: &str,
    file: &str,
    days: u64,
    at_each: &(dyn Fn() + Sync),
) -> Result<Told, Refusal> {
    let plan = plan(folder, text, file)?;
    let first = simulate(&plan, plan.seed)?;
    let solution = solve_rehearsal(&first)?;
    let beside = beside_truth(&first, &solution);
    let seeds: Vec<u64> = (0..days).map(|i| plan.seed.wrapping_add(i)).collect();
    let study = (days > 1).then(|| study(&plan, &seeds, at_each));
    Ok(told(|width| rehearsal_text(&solution, &beside, study.as_ref(), width)))
}
