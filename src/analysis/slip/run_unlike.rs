//! When most laps of a run break the energy account alike, the reason is the run.
//!
//! Given laps with the reasons that screening left; gives them another reason, and findings. It judges no lap anew.

use crate::circuit::LapCut;
use crate::error::{Error, UnusableRun};
use crate::finding::{Finding, Slip, What};
use crate::sample::Reason;
use crate::session::Session;

/// Share of a run's laps from which it is the run, and fewest laps: every lap of one of two speeds is no chance either.
const MOST: f64 = 0.45;
const FEWEST_LAPS: usize = 3;
/// Share from which the few that are left are no better.
const NEARLY_ALL: f64 = 0.75;

/// Reasons that come from the energy account.
fn of_energy(reason: &Reason) -> bool {
    matches!(reason, Reason::Braking | Reason::EnergyUnexplained | Reason::OutlyingMisclosure)
}

/// The first fit, with what screening left of the laps of each run.
///
/// Errors: those of the fit with their likely cause, and [`Error::RunsUnusable`] for runs of which hardly a lap closes.
pub(in crate::analysis) fn sorted_out<T>(
    session: &Session,
    of_runs: &[Vec<Option<Reason>>],
    fitted: Result<T, Error>,
) -> Result<T, Error> {
    refuse(session, of_runs)?;
    fitted.map_err(|e| explain(session, &of_runs.concat(), e))
}

/// Refuses runs of which hardly a lap closes, where others can be solved.
///
/// Errors: [`Error::RunsUnusable`] with the reason of each.
fn refuse(session: &Session, of_runs: &[Vec<Option<Reason>>]) -> Result<(), Error> {
    let unlike = |laps: &Vec<Option<Reason>>| {
        let judged = laps.iter().filter(|r| r.is_none_or(|r| of_energy(&r))).count();
        let marked: Vec<Reason> = laps.iter().flatten().copied().filter(of_energy).collect();
        let hardly_one = marked.len() >= FEWEST_LAPS && marked.len() as f64 >= NEARLY_ALL * judged as f64;
        hardly_one.then(|| (marked.len(), judged, commonest(&marked)))
    };
    let found: Vec<(usize, (usize, usize, String))> =
        of_runs.iter().enumerate().filter_map(|(run, laps)| Some((run, unlike(laps)?))).collect();
    if found.is_empty() || found.len() == of_runs.len() {
        return Ok(());
    }
    let told = |(run, (marked, judged, reason)): &(usize, (usize, usize, String))| {
        Error::Contradicted {
        file: session.runs[*run].file.clone(),
        what: format!("{marked} of its {judged} laps break the energy account alike ({reason}), so it is the run, not its laps"),
        next: "check its power meter (zero, battery, both sides counted), its mass, its wheel size, and that it is the right file"
            .into(),
    }
    };
    let runs = found.iter().map(|f| UnusableRun { run: f.0, reason: told(f).to_string() }).collect();
    Err(Error::RunsUnusable { runs, cause: Box::new(told(&found[0])) })
}

/// Marks the laps of such runs with the run's reason.
pub(in crate::analysis) fn find(cut: &mut LapCut) -> Vec<Finding> {
    let mut out = Vec::new();
    for (k, laps) in cut.runs.iter_mut().enumerate() {
        // Laps that were spoilt by the record say nothing of the account.
        let judged = laps.iter().filter(|l| l.reason.is_none_or(|r| of_energy(&r))).count();
        let marked: Vec<Reason> = laps.iter().filter_map(|l| l.reason).filter(of_energy).collect();
        if marked.len() < FEWEST_LAPS || (marked.len() as f64) < MOST * judged as f64 {
            continue;
        }
        let reason = commonest(&marked);
        for lap in laps.iter_mut().filter(|l| l.reason.is_some_and(|r| of_energy(&r))) {
            lap.reason = Some(Reason::RunUnlike);
        }
        let slip = Slip::RunUnlike { marked: marked.len(), laps: judged, reason };
        out.push(Finding::of_run(k, What::Slip(slip)));
    }
    out
}

fn commonest(reasons: &[Reason]) -> String {
    let count = |r: &Reason| reasons.iter().filter(|other| *other == r).count();
    reasons.iter().max_by_key(|r| count(r)).map(|r| r.to_string()).unwrap_or_default()
}

/// The refusal of a session in which hardly a lap closes, with its likely cause in the place of «braking».
fn explain(session: &Session, reasons: &[Option<Reason>], error: Error) -> Error {
    let marked: Vec<Reason> = reasons.iter().flatten().copied().filter(of_energy).collect();
    let judged = reasons.iter().filter(|r| r.is_none_or(|r| of_energy(&r))).count();
    if !matches!(error, Error::TooFewLaps { .. }) || (marked.len() as f64) < MOST * judged as f64 {
        return error;
    }
    Error::Contradicted {
        file: session.runs.first().map_or_else(|| session.title.clone(), |run| run.file.clone()),
        what: format!(
            "{} of {judged} laps of the session break the energy account ({}), which is no fault of laps",
            marked.len(),
            commonest(&marked)
        ),
        next: "check the unit of speed (m/s, not km/h) and the wheel size, the power meter (zero, both sides counted), the mass, \
               and that nobody was followed or passed"
            .into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::Lap;

    #[test]
    fn a_run_of_which_hardly_a_lap_closes_is_refused_by_name_unless_it_is_so_for_all() {
        let text = "[rider_and_bike]\nmass_kg = 85.0\n[[setup]]\nid = \"a\"\n[[run]]\nfile = \"a.fit\"\nsetup = \"a\"\n\
                    [[run]]\nfile = \"b.fit\"\nsetup = \"a\"\n";
        let session = Session::from_toml(text, "s.toml").expect("a session");
        let (sound, off) = (vec![None; 6], vec![Some(Reason::EnergyUnexplained); 6]);
        assert!(refuse(&session, &[sound.clone(), sound.clone()]).is_ok());
        assert!(refuse(&session, &[off.clone(), off.clone()]).is_ok());
        let Err(Error::RunsUnusable { runs, cause }) = refuse(&session, &[sound, off]) else { panic!("not refused") };
        assert!(runs.len() == 1 && runs[0].run == 1 && runs[0].reason.contains("6 of its 6 laps"), "{runs:?}");
        assert!(cause.to_string().starts_with("b.fit: "), "{cause}");
    }

    fn cut(reasons: &[Option<Reason>]) -> LapCut {
        let laps = reasons.iter().map(|r| Lap { reason: *r, ..Lap::default() }).collect();
        LapCut { runs: vec![laps], ..LapCut::default() }
    }

    #[test]
    fn a_third_of_the_laps_that_brake_keep_their_reason_and_a_run_that_brakes_throughout_is_the_run() {
        let (b, none) = (Some(Reason::Braking), None);
        let mut few = cut(&[b, none, none, b, none, none]);
        assert!(find(&mut few).is_empty());
        assert_eq!(few.runs[0][0].reason, b);
        let mut most = cut(&[b, b, Some(Reason::Gap), b, b, none]);
        let told = find(&mut most);
        assert!(
            matches!(
                &told[..],
                [Finding { run: Some(0), what: What::Slip(Slip::RunUnlike { marked: 4, laps: 5, .. }) }]
            ),
            "{told:?}"
        );
        let of: Vec<Option<Reason>> = most.runs[0].iter().map(|l| l.reason).collect();
        let run = Some(Reason::RunUnlike);
        assert_eq!(of, [run, run, Some(Reason::Gap), run, run, none]);
    }
}
