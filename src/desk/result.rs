//! Result: the session solved, the report's own words and figures, what laps chosen by hand do to it, and files to keep.
//!
//! Given the session; shows its answer. It writes the results folder on request, as `solve` does.

use super::answer::Answer;
use super::edit::What;
use super::folder::NotReplaced;
use super::form::{Form, encoded};
use super::lap_links::with_links;
use super::open::Desk;
use super::page::{Place, page};
use super::refusal::Refusal;
use super::shelf::Kept;
use crate::cli::results;
use loopwright::report::next_plan;
use loopwright::solution::Solution;
use serde::Serialize;
use serde_json::json;
use std::path::Path;
use std::sync::{Arc, PoisonError};

/// The report's style, under that of the desk.
const STYLE: &str = include_str!("../report/page/page.css");
const REPORT: &str = "report.html";
/// Plans of one folder.
const MOST_PLANS: usize = 100;

/// One lap in the list.
#[derive(Debug, Serialize)]
struct Lap {
    lap: usize,
    speed: String,
    misclosure: String,
    used: bool,
    reason: String,
    by_hand: bool,
}

#[derive(Debug, Serialize)]
struct Run {
    number: usize,
    file: String,
    setup: String,
    used: usize,
    laps: Vec<Lap>,
}

/// The session that is asked for, solved.
pub fn solved(desk: &Desk, name: &str) -> Result<(String, Arc<Kept>), Refusal> {
    let text = desk.folder.text(name)?;
    let kept = desk.shelf.solved(&desk.folder, &text, name, desk.units)?;
    Ok((text, kept))
}

pub fn show(desk: &Desk, query: &Form) -> Result<Answer, Refusal> {
    let name = desk.session(query)?;
    if name.is_empty() {
        return Ok(Answer::see("/rides"));
    }
    let frame = desk.frame(Place::Result, "Result", &Form::parse(format!("session={}", encoded(&name)).as_bytes())?);
    let link = encoded(&name);
    let (_, kept) = match solved(desk, &name) {
        Ok(solved) => solved,
        Err(refusal) => {
            let filling = json!({ "refused": refusal.message, "name": name, "link": link });
            return Ok(page(&frame, "result", &filling)?.with_status(refusal.status));
        }
    };
    let last = desk.last_change.lock().unwrap_or_else(PoisonError::into_inner).clone();
    let last = last.filter(|l| l.state == kept.state);
    let files: Vec<[String; 2]> = kept.solved.files.iter().map(|f| [f.name.clone(), encoded(&f.name)]).collect();
    let (verdict, report) = main_of(&kept)?;
    let report = with_links(&report, desk.gate.path(), &link);
    let filling = json!({
        "refused": "", "name": name, "link": link, "verdict": verdict, "report": report, "title": kept.solved.solution.title,
        "runs": runs(desk, &kept), "by_hand": kept.by_hand, "files": files,
        "chosen": chosen(&kept), "results": results_name(&name), "written": query.has("written"), "remarks": remarks(desk, query),
        "last_words": last.as_ref().map(|l| l.words.clone()).unwrap_or_default(),
        "last_rows": last.map(|l| l.rows).unwrap_or_default(),
    });
    page(&frame, "result", &filling)
}

/// The verdict of the report, and what else stands between its head and its foot.
fn main_of(kept: &Kept) -> Result<(String, String), Refusal> {
    let fault = || Refusal::new(500, "The report has no main part; this is a fault of the program, please report it");
    let html = file_of(kept, REPORT).and_then(|bytes| std::str::from_utf8(bytes).ok()).ok_or_else(fault)?;
    let (_, rest) = html.split_once("<main>").ok_or_else(fault)?;
    let (main, _) = rest.rsplit_once("</main>").ok_or_else(fault)?;
    let main = main.trim_start();
    Ok(match main.split_once("</p>") {
        Some((verdict, rest)) if main.starts_with("<p class=\"verdict\"") => {
            (format!("{verdict}</p>"), rest.to_string())
        }
        _ => (String::new(), main.to_string()),
    })
}

fn file_of<'a>(kept: &'a Kept, name: &str) -> Option<&'a [u8]> {
    kept.solved.files.iter().find(|f| f.name == name).map(|f| f.bytes.as_slice())
}

fn runs(desk: &Desk, kept: &Kept) -> Vec<Run> {
    let solution: &Solution = &kept.solved.solution;
    let stated = &kept.solved.session.runs;
    let run = |(k, run): (usize, &loopwright::solution::RunResult)| Run {
        number: k + 1,
        file: run.file.clone(),
        setup: run.setup.clone(),
        used: run.laps.iter().filter(|l| l.used).count(),
        laps: run
            .laps
            .iter()
            .map(|lap| Lap {
                lap: lap.lap,
                speed: desk.units.speed(lap.mean_speed_m_s),
                misclosure: lap.misclosure_m.map_or("–".into(), |m| format!("{m:+.2}")),
                used: lap.used,
                reason: lap.reason.clone().unwrap_or_default(),
                by_hand: stated.get(k).is_some_and(|r| r.leave_out.contains(&lap.lap) || r.keep.contains(&lap.lap)),
            })
            .collect(),
    };
    solution.runs.iter().enumerate().map(run).collect()
}

/// How many laps the tester left out and kept.
fn chosen(kept: &Kept) -> [usize; 2] {
    let runs = &kept.solved.session.runs;
    [runs.iter().map(|r| r.leave_out.len()).sum(), runs.iter().map(|r| r.keep.len()).sum()]
}

/// Where `solve` puts the results by default.
fn results_name(session: &str) -> String {
    format!("{}-results", Path::new(session).file_stem().map_or("session".into(), |s| s.to_string_lossy()))
}

/// What was worth telling when the results were written.
fn remarks(desk: &Desk, query: &Form) -> Vec<String> {
    let told = query.has("written").then(|| desk.remarks.lock().unwrap_or_else(PoisonError::into_inner).clone());
    told.unwrap_or_default()
}

/// The report as it is written, to print.
pub fn report(desk: &Desk, query: &Form) -> Result<Answer, Refusal> {
    let (_, kept) = solved(desk, &query.line("session")?)?;
    let bytes = file_of(&kept, REPORT).ok_or_else(|| Refusal::new(404, "There is no report"))?;
    Ok(Answer::sheet(bytes))
}

/// A plan of the next day out of the result, in the folder under a name that is free.
pub fn next_plan(desk: &Desk, form: &Form) -> Result<Answer, Refusal> {
    let (_, kept) = solved(desk, &form.line("session")?)?;
    let text = file_of(&kept, next_plan::NAME).and_then(|bytes| std::str::from_utf8(bytes).ok());
    let text = text.ok_or_else(|| Refusal::new(404, "This result holds no runs to plan from"))?;
    let stem = next_plan::NAME.trim_end_matches(".toml");
    let names = std::iter::once(next_plan::NAME.to_string()).chain((2..MOST_PLANS).map(|n| format!("{stem}-{n}.toml")));
    for name in names {
        match desk.folder.replace(&name, None, text) {
            Ok(()) => return Ok(Answer::see(&format!("{}&saved=1", What::Plan.place(&name)))),
            Err(NotReplaced::Refused(refusal)) => return Err(refusal),
            Err(NotReplaced::Changed(_)) => {}
        }
    }
    Err(Refusal::new(409, format!("{stem}-2.toml and so on are all there; clear some away")))
}

/// One of the files that `solve` writes.
pub fn file(desk: &Desk, query: &Form) -> Result<Answer, Refusal> {
    let (name, (_, kept)) = (query.line("name")?, solved(desk, &query.line("session")?)?);
    let bytes = file_of(&kept, &name).ok_or_else(|| Refusal::new(404, "There is no such file among the results"))?;
    Ok(Answer::download(name.rsplit('/').next().unwrap_or("file"), bytes.to_vec()))
}

pub fn style() -> Result<Answer, Refusal> {
    Ok(Answer::style(STYLE))
}

/// Writes the results folder.
pub fn write(desk: &Desk, form: &Form) -> Result<Answer, Refusal> {
    let name = form.line("session")?;
    let (_, kept) = solved(desk, &name)?;
    let place = desk.folder.place_for_results(&results_name(&name))?;
    let written = results::write(&place, results::Kind::Solve, &kept.solved.files)?;
    *desk.remarks.lock().unwrap_or_else(PoisonError::into_inner) = written.remarks();
    Ok(Answer::see(&format!("/result?session={}&written=1#desk-files", encoded(&name))))
}
