//! One lap: how it was ridden, how it closes beside the others, and the choice to leave it out or keep it.
//!
//! Given a run and a lap; shows them. Given a choice with its reason; writes it into the session, after the session was solved with
//! it, so that what it does to the answer stands beside it.

use super::answer::Answer;
use super::choice::{Choice, chosen};
use super::edit;
use super::folder::NotReplaced;
use super::form::{Form, encoded};
use super::open::{Desk, LastChange};
use super::page::{Place, page};
use super::refusal::Refusal;
use super::result::solved;
use super::shelf::Kept;
use super::strip::{Frame, Strip, strip};
use super::two_answers;
use loopwright::evidence::LapEvidence;
use serde_json::json;
use std::sync::PoisonError;

/// Size of the drawings.
const SIZE: [f64; 2] = [600.0, 120.0];
/// Shares of a lap.
const SHARES: usize = 120;
/// More other laps are not drawn behind the one that is looked at.
const MOST_BEHIND: usize = 200;

/// Run and lap, counted from 1.
fn which(form: &Form) -> Result<(usize, usize), Refusal> {
    let number =
        |name: &str| form.line(name)?.parse::<usize>().map_err(|_| Refusal::odd("Name a run and a lap by number"));
    Ok((number("run")?, number("lap")?))
}

pub fn show(desk: &Desk, query: &Form) -> Result<Answer, Refusal> {
    let (name, (run, lap)) = (query.line("session")?, which(query)?);
    let (text, kept) = solved(desk, &name)?;
    let missing = || Refusal::new(404, format!("There is no run {run} with a lap {lap}"));
    let of_run = run.checked_sub(1).and_then(|k| kept.solved.solution.runs.get(k)).ok_or_else(missing)?;
    let at = of_run.laps.iter().position(|l| l.lap == lap).ok_or_else(missing)?;
    let held = &of_run.laps[at];
    let stated = &kept.solved.session.runs[run - 1];
    let (left_out, is_kept) = (stated.leave_out.contains(&lap), stated.keep.contains(&lap));
    let (speed, power) = ridden(desk, &kept, run - 1, held.start_s, held.duration_s);
    let (residual, others, range) = residuals(&kept, run - 1, lap);
    let units = desk.units;
    let frame = desk.frame(Place::Result, "Lap", &Form::parse(format!("session={}", encoded(&name)).as_bytes())?);
    page(
        &frame,
        "lap",
        &json!({
            "name": name, "link": encoded(&name), "base": json!(text).to_string(), "run": run, "lap": lap,
            "file": of_run.file, "setup": of_run.setup, "used": held.used, "reason": held.reason, "by_hand": left_out || is_kept,
            "said": stated.lap_reasons.get(&lap.to_string()).cloned().unwrap_or_default(),
            "mean_speed": units.speed(held.mean_speed_m_s), "duration": format!("{:.0} s", held.duration_s),
            "distance": units.length(held.distance_m),
            "mean_power": held.mean_power_w.map_or("–".into(), |w| format!("{w:.0} W")),
            "misclosure": held.misclosure_m.map_or("–".into(), |m| format!("{m:+.3} m")),
            "speed": speed, "power": power, "residual": residual, "others": others, "range": range, "speed_unit": units.speed_unit(),
            "before": at.checked_sub(1).map(|i| of_run.laps[i].lap), "after": of_run.laps.get(at + 1).map(|l| l.lap),
        }),
    )
}

/// Speed and power over the lap.
fn ridden(desk: &Desk, kept: &Kept, run: usize, start_s: f64, duration_s: f64) -> (Option<Strip>, Option<Strip>) {
    let Some(evidence) = kept.solved.evidence.runs.get(run) else { return (None, None) };
    let frame = Frame { width: SIZE[0], height: SIZE[1], from: start_s, to: start_s + duration_s, range: None };
    let speed: Vec<f64> = evidence.speed_m_s.iter().map(|v| desk.units.speed_value(*v)).collect();
    let shares = SHARES.min(duration_s.max(1.0) as usize);
    (strip(&evidence.time_s, &speed, shares, &frame), strip(&evidence.time_s, &evidence.power_w, shares, &frame))
}

/// Residual elevation along this lap, and along the used laps of all runs, in one scale, which comes last.
fn residuals(kept: &Kept, run: usize, lap: usize) -> (Option<Strip>, Vec<Strip>, [f64; 2]) {
    let all = |k: usize| kept.solved.evidence.runs.get(k).map_or(&[][..], |r| r.laps.as_slice());
    let Some(this) = all(run).iter().find(|l| l.lap == lap) else { return (None, Vec::new(), [0.0; 2]) };
    let is_other = |k: usize, l: &LapEvidence| l.used && (k, l.lap) != (run, lap);
    let others: Vec<&LapEvidence> = (0..kept.solved.evidence.runs.len())
        .flat_map(|k| all(k).iter().filter(move |l| is_other(k, l)))
        .take(MOST_BEHIND)
        .collect();
    let known = others.iter().chain(std::iter::once(&this)).flat_map(|l| l.residual_m.iter().copied());
    let known: Vec<f64> = known.filter(|x| x.is_finite()).collect();
    let (low, high) =
        (known.iter().copied().fold(f64::INFINITY, f64::min), known.iter().copied().fold(f64::NEG_INFINITY, f64::max));
    let to = this.chainage_m.last().copied().unwrap_or(0.0);
    let frame = Frame { width: SIZE[0], height: SIZE[1], from: 0.0, to, range: (low < high).then_some([low, high]) };
    let drawn = |l: &LapEvidence| strip(&l.chainage_m, &l.residual_m, l.chainage_m.len().clamp(1, SHARES), &frame);
    (drawn(this), others.into_iter().filter_map(drawn).collect(), [low, high])
}

pub fn choose(desk: &Desk, form: &Form) -> Result<Answer, Refusal> {
    let (name, base, (run, lap)) = (form.line("session")?, form.text("base")?, which(form)?);
    let (choice, reason) = (Choice::of(&form.line("choice")?)?, form.line("reason")?);
    let text = chosen(&base, &name, run, lap, choice, &reason)?;
    let before = desk.shelf.solved(&desk.folder, &base, &name, desk.units)?;
    let after = desk.shelf.solved(&desk.folder, &text, &name, desk.units).map_err(|refusal| {
        Refusal::new(
            refusal.status,
            format!("With this choice there is no answer, and it was not written: {}", refusal.message),
        )
    })?;
    match desk.folder.replace(&name, Some(&base), &text) {
        Ok(()) => {}
        Err(NotReplaced::Refused(refusal)) => return Err(refusal),
        Err(NotReplaced::Changed(now)) => {
            return edit::conflict(desk, edit::What::Session, &name, now.as_deref(), &text, &[]);
        }
    }
    let done = match choice {
        Choice::LeaveOut => format!("Run {run}, lap {lap} was left out: {reason}"),
        Choice::Keep => format!("Run {run}, lap {lap} is kept: {reason}"),
        Choice::TakenBack => format!("Run {run}, lap {lap} is left to the program again"),
    };
    let rows = two_answers::side_by_side(&before.solved.solution, &after.solved.solution);
    // The state is that of the file as it was written.
    let last = LastChange { state: after.state.clone(), words: done, rows };
    *desk.last_change.lock().unwrap_or_else(PoisonError::into_inner) = Some(last);
    Ok(Answer::see(&format!("/result?session={}#desk-change", encoded(&name))))
}
