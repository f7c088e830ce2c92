//! The design of a planned day: what its laps tell about each parameter, and how noise gets into the estimate.
//!
//! Given laps ridden without noise; puts any number of them together in any order and gives, from the solver's own
//! matrices, the covariance of the estimate in closed form:
//!
//! ```text
//! β̂ − β = M Zᵀ P ε,   cov β̂ = M (Zᵀ P Ω P Z + σ²Λ) Mᵀ,   M = (Zᵀ P X + Λ)⁻¹
//! ```
//!
//! with X the derivatives, Z the planned-speed instruments, P the projection that takes the profile out, Λ what is expected of the
//! parameters in units of the long-run variance σ² of a row, and Ω the covariance of the rows (`row_noise`). It draws no random number.

use super::quiet::{QuietDay, QuietLap, true_wind};
use crate::analysis::loop_choices::DRIFT_LAPS;
use crate::sample::Cumulative;
use crate::session::Sharing;
use crate::solve::account::LapAccount;
use crate::solve::fit::{Choices, LapInput, SurveyedSteps};
use crate::solve::layout::Layout;
use crate::solve::separation::{Evidence, not_separable, spread_of_squares};
use crate::solve::speed_class::{SpeedClasses, classify};
use crate::solve::wind_along::Waves;

/// A run of the design.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct DesignRun {
    /// Run of the quiet day whose laps are ridden.
    pub(super) of: usize,
    pub(super) setup: usize,
}

/// What is to be put together.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct DesignChoice {
    pub(super) runs: Vec<DesignRun>,
    /// Whole laps of a run that can be used.
    pub(super) laps: usize,
    /// Standard deviation of a surveyed profile, m.
    pub(super) survey_sd_m: Option<f64>,
    /// Between two runs, s.
    pub(super) pause_s: f64,
    /// Fit a drift of Crr beside everything else.
    pub(super) crr_drift: bool,
    pub(super) crr: Sharing,
    pub(super) cda: Sharing,
    /// Share of the stated uncertainty of a weighing.
    pub(super) weighing: f64,
    /// Nothing changes from run to run.
    pub(super) runs_alike: bool,
}

/// Laps put together.
pub(super) struct Design<'a> {
    pub(super) day: &'a QuietDay,
    pub(super) choices: Choices,
    pub(super) survey: Option<SurveyedSteps>,
    pub(super) laps: Vec<LapInput>,
    pub(super) quiet: Vec<&'a QuietLap>,
    pub(super) work: Vec<&'a Cumulative>,
    pub(super) runs: Vec<DesignRun>,
    pub(super) weighing: f64,
    pub(super) classes: SpeedClasses,
}

impl<'a> Design<'a> {
    pub(super) fn new(day: &'a QuietDay, choice: &DesignChoice) -> Design<'a> {
        let mut laps = Vec::new();
        let mut quiet = Vec::new();
        let mut begin_s = 0.0;
        for (k, run) in choice.runs.iter().enumerate() {
            let ridden = &day.laps[run.of];
            let whole: Vec<&QuietLap> =
                (0..choice.laps).filter_map(|i| ridden.get(place(i, ridden.len(), day.cycle))).collect();
            let total_s: f64 = whole.iter().map(|l| l.duration_s).sum();
            let mut at_s = 0.0;
            for (i, lap) in whole.into_iter().enumerate() {
                let middle_s = at_s + 0.5 * lap.duration_s;
                at_s += lap.duration_s;
                let mut account = lap.input.account.clone();
                account.run = k;
                account.lap = i;
                account.setup = run.setup;
                account.phase = 2.0 * middle_s / total_s - 1.0;
                laps.push(LapInput { account, hour: (begin_s + middle_s) / 3600.0, ..lap.input.clone() });
                quiet.push(lap);
            }
            begin_s += total_s + choice.pause_s;
        }
        let middle_h = 0.5 * (begin_s - choice.pause_s) / 3600.0;
        laps.iter_mut().for_each(|l| l.hour -= middle_h);

        let held = |k: usize| day.choices.held_lag_s.get(choice.runs[k].of).copied().flatten();
        let each = 0..choice.runs.len();
        let choices = Choices {
            held_lag_s: each.clone().map(held).collect(),
            wind_drift: vec![choice.laps >= DRIFT_LAPS; choice.runs.len()],
            gust_variance: vec![0.0; choice.runs.len()],
            crr_drift: choice.crr_drift,
            unshown_height_sd_m: None,
            setup_of_run: choice.runs.iter().map(|r| r.setup).collect(),
            crr: choice.crr.into(),
            cda: choice.cda.into(),
            ..day.choices.clone()
        };
        let speeds: Vec<f64> = laps.iter().map(|l| l.account.mean_speed_m_s).collect();
        let planned: Vec<Option<f64>> = laps.iter().map(|l| l.planned_m_s).collect();
        let classes = classify(&speeds, &planned);
        let steps = laps.first().map_or(0, |l| l.account.steps());
        Design {
            day,
            survey: choice.survey_sd_m.map(|sd_m| SurveyedSteps {
                gain_m: vec![0.0; steps],
                sd_m,
                least_row_sd_m: 0.0,
            }),
            work: choice.runs.iter().map(|r| day.work(r.of)).collect(),
            runs: choice.runs.clone(),
            weighing: choice.weighing,
            choices,
            classes,
            laps,
            quiet,
        }
    }

    /// Laps of a set-up.
    pub(super) fn laps_of(&self, setup: usize) -> impl Iterator<Item = &LapAccount> + '_ {
        self.laps.iter().map(|l| &l.account).filter(move |a| a.setup == setup)
    }

    /// Why CdA and Crr cannot be told apart and what to ride, by the rule of the solver.
    pub(super) fn not_separable(&self, crr_half_width: f64, expected_share: f64) -> Option<[String; 2]> {
        let speeds: Vec<f64> = self.laps.iter().map(|l| l.account.mean_speed_m_s).collect();
        let evidence = Evidence {
            crr_half_width,
            expected_share,
            spread: spread_of_squares(&speeds),
            speed_min_m_s: speeds.iter().copied().fold(f64::MAX, f64::min),
            speed_max_m_s: speeds.iter().copied().fold(f64::MIN, f64::max),
        };
        not_separable(&evidence, &self.classes)
    }

    /// The true parameters in a layout; a shared one is the mean of what it stands for.
    pub(super) fn parameters(&self, layout: &Layout) -> Vec<f64> {
        let mut sum = vec![0.0; layout.len];
        let mut count = vec![0.0; layout.len];
        let mut put = |column: Option<usize>, value: f64| {
            if let Some(i) = column {
                sum[i] += value;
                count[i] += 1.0;
            }
        };
        let (met, along) = waves_of(&self.day.truth.wind_share, layout.along.len());
        for (k, (columns, run)) in layout.runs.iter().zip(&self.runs).enumerate() {
            if let Some(setup) = self.day.truth.setups.get(run.setup) {
                put(Some(layout.crr(k)), setup.crr);
                put(Some(layout.cda(k)), setup.cda_m2);
            }
            let wind = true_wind(&self.day.truth, run.of);
            put(columns.east, met * wind.east_m_s);
            put(columns.north, met * wind.north_m_s);
        }
        for (column, value) in layout.along.clone().zip(along) {
            put(Some(column), value);
        }
        sum.iter().zip(&count).map(|(s, n)| if *n > 0.0 { s / n } else { 0.0 }).collect()
    }
}

/// The shares of the wind at equal distances round the lap as their geometric mean and the coefficients of their logarithm; 1 and
/// zeros where there are no shares.
fn waves_of(share: &[f64], coefficients: usize) -> (f64, Vec<f64>) {
    let n = share.len();
    if n == 0 {
        return (1.0, vec![0.0; coefficients]);
    }
    // Each share is that in the middle of its step.
    let edge: Vec<f64> = (0..=n).map(|i| (i as f64 - 0.5) / n as f64).collect();
    let log: Vec<f64> = share.iter().map(|s| s.ln()).collect();
    let mean = |term: &Vec<f64>| term.iter().zip(&log).map(|(t, l)| t * l).sum::<f64>() / n as f64;
    let along = Waves::new(coefficients / 2, &edge).term.iter().map(|term| 2.0 * mean(term)).collect();
    ((log.iter().sum::<f64>() / n as f64).exp(), along)
}

/// Which ridden lap stands for lap `i`: itself, or the last one ridden at the same planned speed.
fn place(i: usize, ridden: usize, cycle: usize) -> usize {
    if i < ridden || ridden == 0 {
        return i;
    }
    let back = (0..cycle.min(ridden)).find(|b| (ridden - 1 - b) % cycle == i % cycle);
    ridden - 1 - back.unwrap_or(0)
}
