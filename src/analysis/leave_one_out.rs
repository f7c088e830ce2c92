//! What a difference hangs on: its watts without the lap and without the run that move them most.
//!
//! Given a solved loop and its differences; gives both answers for each difference, and a finding where one lap decides. It
//! leaves nothing out of the result.
//!
//! Laps and runs are put in order by their scores in the sandwich. The answer without one is a Newton step from the solution
//! with its laps at weight 0, profile and expectations as they are (the one-step estimate of Pregibon 1981, Ann. Stat. 9:705,
//! from memory; Cook & Weisberg 1982, Residuals and Influence in Regression, §5.2).

use super::contrasts::Pair;
use super::loop_venue::LoopVenue;
use super::quantities::{Linear, PowerAt, SetupQuantities};
use crate::finding::{Finding, What};
use crate::session::Session;
use crate::solution::{Contrast, LeaveOneOut, Solution, Without};
use crate::solve::solved::Solved;
use crate::standing::fastest_first;
use crate::uncertainty::student::t_two_sided_p;

/// Laps and runs of the largest scores whose answer is worked out.
const TRIED: usize = 2;

/// What was found.
#[derive(Debug, Default)]
pub struct LeftOneOut {
    pub results: Vec<LeaveOneOut>,
    pub findings: Vec<Finding>,
}

/// Of every set-up against the baseline, and of the fastest against the next best.
pub fn leave_one_out(session: &Session, venue: &LoopVenue, solved: &Solved, solution: &Solution) -> LeftOneOut {
    let power = PowerAt::reference(session);
    let layout = &venue.fit.layout;
    let mut out = LeftOneOut::default();
    for (pair, contrast) in compared(session, solution) {
        let of = |s: usize| SetupQuantities::new(layout, s, &power);
        let watts = of(pair.setup).minus(&of(pair.baseline)).power;
        let moved = venue.fit.covariance.moved_by_laps(&watts.coefficients).iter().copied().collect();
        let day = Day { venue, solved, watts: &watts, contrast, confidence: solution.confidence, moved };
        let lap = day.without_lap();
        let run = day.without_run(session, pair);
        out.findings.extend(lap.as_ref().and_then(|without| day.finding(session, pair, without)));
        if lap.is_some() || run.is_some() {
            let (setup, baseline) = (contrast.setup.clone(), contrast.baseline.clone());
            out.results.push(LeaveOneOut { setup, baseline, lap, run });
        }
    }
    out
}

/// Pairs of whom the verdict speaks, those with a known difference that was tested.
fn compared<'s>(session: &Session, solution: &'s Solution) -> Vec<(Pair, &'s Contrast)> {
    let against = Pair::against_baseline(session).into_iter().zip(&solution.contrasts);
    let mut pairs: Vec<(Pair, &Contrast)> = against.collect();
    let watts = solution.contrasts.iter().map(|c| (c.setup.as_str(), c.power_w.value));
    if let [first, second, ..] = fastest_first(&solution.baseline, watts)[..]
        && ![first, second].contains(&solution.baseline.as_str())
    {
        let all = Pair::all(session).into_iter().zip(&solution.all_pairs);
        pairs.extend(all.filter(|(_, contrast)| contrast.is_between(first, second)));
    }
    pairs.retain(|(_, contrast)| contrast.power_w.value.is_some() && contrast.power_w.se.is_some());
    pairs
}

/// One difference of the day.
struct Day<'a> {
    venue: &'a LoopVenue<'a>,
    solved: &'a Solved<'a, 'a>,
    watts: &'a Linear,
    contrast: &'a Contrast,
    confidence: f64,
    /// By what each lap in use moves it, to first order.
    moved: Vec<f64>,
}

impl Day<'_> {
    /// Run of each lap in use.
    fn run_of(&self, used: usize) -> usize {
        self.venue.address[self.venue.fit.used[used]].run
    }

    /// Watts without some of the laps in use.
    fn watts_without(&self, is_out: impl Fn(usize) -> bool) -> Option<f64> {
        let count = self.venue.fit.used.len();
        let counts: Vec<f64> = (0..count).map(|used| if is_out(used) { 0.0 } else { 1.0 }).collect();
        let change = self.watts.coefficients.dot(&self.solved.recounted(&counts)?);
        self.contrast.power_w.value.map(|value| value + change).filter(|w| w.is_finite())
    }

    /// The answer that differs most among those without each of the likeliest.
    fn farthest(&self, mut size: Vec<(usize, f64)>, without: impl Fn(usize) -> Option<f64>) -> Option<(usize, f64)> {
        size.sort_by(|a, b| b.1.abs().total_cmp(&a.1.abs()));
        let now = self.contrast.power_w.value?;
        let tried = size.into_iter().take(TRIED).filter_map(|(which, _)| Some((which, without(which)?)));
        tried.max_by(|a, b| (a.1 - now).abs().total_cmp(&(b.1 - now).abs()))
    }

    fn without_lap(&self) -> Option<Without> {
        let moved = self.moved.iter().copied().enumerate().collect();
        let (used, power_w) = self.farthest(moved, |lap| self.watts_without(|used| used == lap))?;
        let address = self.venue.address[self.venue.fit.used[used]];
        let lap = Some(self.venue.cut.runs[address.run][address.lap].number);
        Some(Without { run: address.run + 1, lap, power_w, separated: self.is_separated(power_w) })
    }

    /// Only runs of set-ups that were ridden again: without the others there is no difference.
    fn without_run(&self, session: &Session, pair: Pair) -> Option<Without> {
        let mut moved = vec![None; session.runs.len()];
        for (used, by) in self.moved.iter().enumerate() {
            *moved[self.run_of(used)].get_or_insert(0.0) += by;
        }
        let setup_of = |run: usize| session.setup_of(&session.runs[run]);
        let mut ridden = vec![0; session.setups.len()];
        let with_laps = || moved.iter().enumerate().filter_map(|(run, by)| Some((run, (*by)?)));
        with_laps().for_each(|(run, _)| ridden[setup_of(run)] += 1);
        let may_go = |run: usize| ![pair.setup, pair.baseline].contains(&setup_of(run)) || ridden[setup_of(run)] > 1;
        let moved = with_laps().filter(|(run, by)| *by != 0.0 && may_go(*run)).collect();
        let (run, power_w) = self.farthest(moved, |run| self.watts_without(|used| self.run_of(used) == run))?;
        Some(Without { run: run + 1, lap: None, power_w, separated: None })
    }

    /// Whether the difference would be told from chance at this value, all else being as it is. `None` where it was not tested.
    fn is_separated(&self, power_w: f64) -> Option<bool> {
        let (p_value, p_holm) = (self.contrast.p_value?, self.contrast.p_holm?);
        let estimate = &self.contrast.power_w;
        let p = t_two_sided_p(power_w / estimate.se?, estimate.dof.unwrap_or(f64::INFINITY));
        let times = if p_value > 0.0 { (p_holm / p_value).max(1.0) } else { 1.0 };
        Some(p * times < 1.0 - self.confidence)
    }

    /// Where one lap moves the difference by more than its standard error, or makes it real.
    fn finding(&self, session: &Session, pair: Pair, without: &Without) -> Option<Finding> {
        let estimate = &self.contrast.power_w;
        let (value, se) = (estimate.value?, estimate.se?);
        // Not the other way round: nobody should look for the lap without which a difference becomes real.
        let hangs = self.contrast.verdict == "separated" && !without.separated?;
        if !hangs && (without.power_w - value).abs() <= se {
            return None;
        }
        let of = format!("{} less {}", session.setups[pair.setup].name(), session.setups[pair.baseline].name());
        let lap = without.lap?;
        let what = What::OneLapMoves { lap, of, power_w: value, without_w: without.power_w, hangs };
        Some(Finding::of_run(without.run - 1, what))
    }
}
