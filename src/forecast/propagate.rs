//! How noise gets through the design into the estimate.
//!
//! Given a design and the noise of its rows; gives the covariance of the parameters in closed form, what the measuring
//! chain does to them, and the solver's own degrees of freedom. It draws no random number.

use super::design::Design;
use super::quiet::{QuietLap, true_wind};
use super::row_noise::RowNoise;
use crate::analysis::instrument::InputQuantity;
use crate::error::Error;
use crate::solve::account::{LapAccount, SupposedAir};
use crate::solve::design::{LapBlock, Problem};
use crate::solve::fit::{Frame, LapInput};
use crate::solve::layout::Layout;
use crate::solve::prior::Expected;
use crate::solve::solved::{Solution, Solved};
use crate::solve::spread::{RowScatter, Spread};
use crate::solve::weights::lap_weights;
use crate::uncertainty::cluster::ClusterRobust;
use crate::uncertainty::working::Working;
use nalgebra::{DMatrix, DVector};

/// A source of the instrument with what it does to the parameters.
pub(super) struct Shift {
    pub(super) source: usize,
    /// Run of the design, for a source that is drawn anew in each.
    pub(super) run: Option<usize>,
    pub(super) parameters: DVector<f64>,
}

/// How much is wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Extent {
    Whole,
    /// Neither degrees of freedom nor what instruments do, which cost most.
    Covariance,
}

/// Noise carried over to the parameters.
pub(super) struct Propagated {
    pub(super) layout: Layout,
    /// Covariance of the parameters by the scatter of the laps.
    pub(super) scatter: DMatrix<f64>,
    /// The same by what the laps leave to what is expected.
    pub(super) open: DMatrix<f64>,
    /// Variance of the CdA of each set-up that rests on what is expected of it.
    pub(super) open_cda: Vec<f64>,
    /// The same if gusts forgot everything at the end of a lap, as the solver supposes.
    pub(super) scatter_by_lap: DMatrix<f64>,
    /// Gives degrees of freedom; `None` when the laps leave a parameter undetermined.
    pub(super) robust: Option<ClusterRobust>,
    pub(super) shifts: Vec<Shift>,
    pub(super) row_sd_m: f64,
    pub(super) laps: usize,
}

impl Design<'_> {
    /// Carries the noise of the rows and of the instrument over to the parameters.
    ///
    /// Errors: [`Error::Numerical`] when the laps leave the equations singular.
    pub(super) fn propagate(&self, noise: &RowNoise, extent: Extent) -> Result<Propagated, Error> {
        let frame = Frame { work: self.work.clone(), choices: &self.choices, survey: self.survey.as_ref() };
        let all: Vec<usize> = (0..self.laps.len()).collect();
        let (row_sd_m, long_run_variance) = (self.row_sd_m(noise), self.long_run_variance(noise));
        let weights = self.weights(noise);
        let scatter = RowScatter { sd_m: row_sd_m, long_run_variance, spread: Spread::default() };
        let problem = |scatter: RowScatter| frame.problem(&self.laps, &all, &weights, scatter);
        let unseen = problem(scatter);
        let parameters = self.parameters(&unseen.layout);
        let problem = problem(RowScatter { spread: Spread::foreseen(&unseen, &parameters), ..scatter });
        let at = Solution { parameters: &parameters, instruments_at: &parameters, classes: &self.classes };
        let solved = Solved::new(problem, at)?;
        let inverse = solved.inverse().ok_or_else(|| {
            let message =
                "the planned laps leave a parameter undetermined; plan more laps or two clearly different speeds";
            Error::Numerical { stage: "prediction", message: message.into() }
        })?;
        let problem = &solved.problem;
        let rows = weighted_instruments(problem, &solved.z);
        let open = DMatrix::from_diagonal(&(problem.precision(&parameters) * long_run_variance));
        let (core, by_lap) = (self.core(noise, &rows, true), self.core(noise, &rows, false));
        let carry = |core: &DMatrix<f64>| &inverse * core * inverse.transpose();
        Ok(Propagated {
            scatter: carry(&core),
            scatter_by_lap: carry(&by_lap),
            open: carry(&open),
            open_cda: self.open_cda(&problem.layout, &inverse, &open),
            robust: match extent {
                Extent::Whole => solved.covariance_with(&Working::independent(self.laps.len())).ok(),
                Extent::Covariance => None,
            },
            shifts: match extent {
                Extent::Whole => self.shifts(&inverse, &rows),
                Extent::Covariance => Vec::new(),
            },
            layout: problem.layout.clone(),
            row_sd_m,
            laps: self.laps.len(),
        })
    }

    /// Wᵀ Ω W for the weights W of all rows, lap by lap.
    pub(super) fn core(&self, noise: &RowNoise, rows: &[DMatrix<f64>], across_laps: bool) -> DMatrix<f64> {
        self.by_row(noise, rows)
            + self.by_edge(noise, rows)
            + self.by_survey(rows)
            + self.by_gust(noise, rows, across_laps)
    }

    /// Standard deviation of a row: square root of the mean variance, m.
    pub(super) fn row_sd_m(&self, noise: &RowNoise) -> f64 {
        let all: Vec<f64> =
            self.laps.iter().zip(&self.quiet).flat_map(|(l, q)| self.row_variances(noise, l, q)).collect();
        (all.iter().sum::<f64>() / all.len().max(1) as f64).sqrt().max(1e-6)
    }

    /// What a lap's mean row is known to times its number of rows, m²: how the solver weighs laps against what is expected.
    fn long_run_variance(&self, noise: &RowNoise) -> f64 {
        let all = self
            .laps
            .iter()
            .zip(&self.quiet)
            .map(|(lap, quiet)| self.closing_variance(noise, lap, quiet) / lap.account.steps() as f64);
        (all.sum::<f64>() / self.laps.len().max(1) as f64).max(1e-12)
    }

    /// Variance of the CdA of each set-up that rests on what is expected of it.
    fn open_cda(&self, layout: &Layout, inverse: &DMatrix<f64>, open: &DMatrix<f64>) -> Vec<f64> {
        let kinds = layout.kinds();
        let of = |row: usize| {
            let rests = |c: &usize| kinds[*c] == Some(Expected::Cda);
            (0..layout.len).filter(rests).map(|c| inverse[(row, c)].powi(2) * open[(c, c)]).sum()
        };
        layout.setup_cda().iter().map(|row| of(*row)).collect()
    }

    /// Variance of each row of a lap by the power meter, m².
    pub(super) fn work_variances(&self, noise: &RowNoise, lap: &LapInput, quiet: &QuietLap) -> Vec<f64> {
        let steps = lap.account.edge_s.windows(2).zip(&quiet.power_square);
        let per_joule_m = self.per_joule_m(&lap.account);
        steps.map(|(edge_s, square)| noise.work_j2(*square, edge_s[1] - edge_s[0]) * per_joule_m.powi(2)).collect()
    }

    /// Variance of each row of a lap, m².
    fn row_variances(&self, noise: &RowNoise, lap: &LapInput, quiet: &QuietLap) -> Vec<f64> {
        let edge_s = &lap.account.edge_s;
        let row = |(j, (work, push)): (usize, (f64, &Push))| {
            let duration_s = edge_s[j + 1] - edge_s[j];
            work + push.squared() * noise.gust_m2_s2(duration_s, duration_s, None)
        };
        let work = self.work_variances(noise, lap, quiet);
        work.into_iter().zip(&self.pushes(&lap.account)).enumerate().map(row).collect()
    }

    /// What the solver will weigh each lap by, if misclosures scatter as the rows say.
    fn weights(&self, noise: &RowNoise) -> Vec<f64> {
        let laps = self.laps.iter().zip(&self.quiet);
        let misclosures: Vec<f64> = laps.map(|(lap, quiet)| self.closing_variance(noise, lap, quiet).sqrt()).collect();
        let speeds: Vec<f64> = self.laps.iter().map(|l| l.account.mean_speed_m_s).collect();
        lap_weights(&misclosures, &speeds)
    }

    /// Variance of the misclosure of a lap, m².
    fn closing_variance(&self, noise: &RowNoise, lap: &LapInput, quiet: &QuietLap) -> f64 {
        let edge_s = &lap.account.edge_s;
        let mut variance: f64 = self.row_variances(noise, lap, quiet).iter().sum();
        let pushes = self.pushes(&lap.account);
        for (i, a) in pushes.iter().enumerate() {
            for (j, b) in pushes.iter().enumerate().skip(i + 1) {
                let apart_s = edge_s[j] - edge_s[i + 1];
                if apart_s > noise.memory_s() {
                    break;
                }
                let (first_s, second_s) = (edge_s[i + 1] - edge_s[i], edge_s[j + 1] - edge_s[j]);
                variance += 2.0 * a.dot(*b) * noise.gust_m2_s2(first_s, second_s, Some(apart_s));
            }
        }
        variance.max(0.0)
    }

    /// Elevation for a joule at the meter, m/J.
    fn per_joule_m(&self, account: &LapAccount) -> f64 {
        self.day.session.rider_and_bike.drivetrain_efficiency / account.weight_n
    }

    /// Change of the residual of each step for a gust of 1 m/s east and north, m.
    pub(super) fn pushes(&self, account: &LapAccount) -> Vec<Push> {
        let run = self.runs[account.run].of;
        let fitted = if self.choices.wind { true_wind(&self.day.truth, run) } else { Default::default() };
        let cda_m2 = self.day.truth.setups.get(account.setup).map_or(f64::NAN, |s| s.cda_m2);
        let aero = account.aero(SupposedAir::of_wind(fitted));
        aero.east.iter().zip(&aero.north).map(|(e, n)| Push { east: -cda_m2 * e, north: -cda_m2 * n }).collect()
    }

    /// Scatter of the power meter: new in every second.
    fn by_row(&self, noise: &RowNoise, rows: &[DMatrix<f64>]) -> DMatrix<f64> {
        let k = rows.first().map_or(0, |r| r.ncols());
        let mut core = DMatrix::zeros(k, k);
        for ((lap, quiet), w) in self.laps.iter().zip(&self.quiet).zip(rows) {
            let mut weighted = w.clone();
            for (j, variance) in self.work_variances(noise, lap, quiet).into_iter().enumerate() {
                weighted.row_mut(j).scale_mut(variance);
            }
            core += w.tr_mul(&weighted);
        }
        core
    }

    /// Gusts, which last from one step into the next and, where asked, from one lap into the next.
    fn by_gust(&self, noise: &RowNoise, rows: &[DMatrix<f64>], across_laps: bool) -> DMatrix<f64> {
        let k = rows.first().map_or(0, |r| r.ncols());
        let mut core = DMatrix::zeros(k, k);
        for run in 0..self.runs.len() {
            let mut row: Vec<GustRow> = Vec::new();
            let mut at_s = 0.0;
            for (g, lap) in self.laps.iter().enumerate().filter(|(_, l)| l.account.run == run) {
                for (j, push) in self.pushes(&lap.account).into_iter().enumerate() {
                    let duration_s = lap.account.edge_s[j + 1] - lap.account.edge_s[j];
                    row.push(GustRow { lap: g, begin_s: at_s, duration_s, push, weight: rows[g].row(j).transpose() });
                    at_s += duration_s;
                }
            }
            for (i, a) in row.iter().enumerate() {
                let mut reached =
                    &a.weight * (0.5 * a.push.squared() * noise.gust_m2_s2(a.duration_s, a.duration_s, None));
                for b in &row[i + 1..] {
                    let apart_s = b.begin_s - a.begin_s - a.duration_s;
                    if apart_s > noise.memory_s() || (!across_laps && a.lap != b.lap) {
                        break;
                    }
                    reached.axpy(
                        a.push.dot(b.push) * noise.gust_m2_s2(a.duration_s, b.duration_s, Some(apart_s)),
                        &b.weight,
                        1.0,
                    );
                }
                // Half of the symmetric sum; the transpose brings the other half.
                core.ger(1.0, &a.weight, &reached, 1.0);
            }
        }
        &core + core.transpose()
    }

    /// Scatter of the speed at step edges: what one step gains by it the next one loses.
    fn by_edge(&self, noise: &RowNoise, rows: &[DMatrix<f64>]) -> DMatrix<f64> {
        let k = rows.first().map_or(0, |r| r.ncols());
        let mut core = DMatrix::zeros(k, k);
        for run in 0..self.runs.len() {
            let mut ended: Option<DVector<f64>> = None;
            let mut scatter_j2 = 0.0;
            let mut add = |net: DVector<f64>, scatter_j2: f64| core.ger(scatter_j2, &net, &net, 1.0);
            for (lap, w) in self.laps.iter().zip(rows).filter(|(l, _)| l.account.run == run) {
                let a = &lap.account;
                let mass_kg = a.weight_n / self.day.truth.gravity_m_s2;
                scatter_j2 = noise.edge_j2(mass_kg, a.mean_speed_m_s);
                for j in 0..w.nrows() {
                    let begins = w.row(j).transpose() / a.weight_n;
                    add(ended.take().map_or_else(|| -&begins, |e| e - &begins), scatter_j2);
                    ended = Some(begins);
                }
            }
            if let Some(last) = ended {
                add(last, scatter_j2);
            }
        }
        core
    }

    /// Errors of a survey, which all laps share: cov = sd² (2I − S − Sᵀ) over the steps.
    fn by_survey(&self, rows: &[DMatrix<f64>]) -> DMatrix<f64> {
        let k = rows.first().map_or(0, |r| r.ncols());
        let Some(survey) = &self.survey else { return DMatrix::zeros(k, k) };
        let Some(sum) = rows.iter().cloned().reduce(|a, b| a + b) else { return DMatrix::zeros(k, k) };
        let steps = sum.nrows();
        let mut differences = sum.clone();
        for j in 0..steps {
            let next = sum.row((j + 1) % steps).into_owned();
            let mut row = differences.row_mut(j);
            row -= next;
        }
        differences.tr_mul(&differences) * survey.sd_m.powi(2)
    }

    /// What one standard uncertainty of each source does to the parameters.
    fn shifts(&self, inverse: &DMatrix<f64>, rows: &[DMatrix<f64>]) -> Vec<Shift> {
        let own_run = |source: usize| self.day.sources[source].input.run().is_some();
        let mut shifts = Vec::new();
        for source in 0..self.day.sources.len() {
            let runs: Vec<Option<usize>> =
                if own_run(source) { (0..self.runs.len()).map(Some).collect() } else { vec![None] };
            for run in runs {
                let mut right = DVector::zeros(inverse.nrows());
                for ((lap, quiet), w) in self.laps.iter().zip(&self.quiet).zip(rows) {
                    if run.is_none_or(|r| r == lap.account.run) {
                        right += w.tr_mul(&DVector::from_column_slice(&quiet.moved[source]));
                    }
                }
                let weighed = matches!(self.day.sources[source].input, InputQuantity::MassOfRun(_));
                let share = if weighed { self.weighing } else { 1.0 };
                shifts.push(Shift { source, run, parameters: inverse * right * share });
            }
        }
        shifts
    }
}

/// Change of a row's residual for a gust of 1 m/s, m s/m.
#[derive(Debug, Clone, Copy)]
pub(super) struct Push {
    east: f64,
    north: f64,
}

impl Push {
    pub(super) fn dot(self, other: Push) -> f64 {
        self.east * other.east + self.north * other.north
    }

    pub(super) fn squared(self) -> f64 {
        self.dot(self)
    }
}

struct GustRow {
    lap: usize,
    begin_s: f64,
    duration_s: f64,
    push: Push,
    weight: DVector<f64>,
}

/// P Z of each lap, steps × parameters, times the weight of the lap.
fn weighted_instruments(problem: &Problem, z: &[LapBlock]) -> Vec<DMatrix<f64>> {
    let (k, steps) = (problem.layout.len, problem.steps());
    let dense: Vec<DMatrix<f64>> = z.iter().map(|b| problem.rows(b, 1.0)).collect();
    let mut absorbed = DMatrix::zeros(steps, k);
    for (rows, w) in dense.iter().zip(&problem.weight) {
        absorbed += rows * *w;
    }
    for c in 0..k {
        let column = problem.absorption.profile(&absorbed.column(c).into_owned());
        absorbed.set_column(c, &column);
    }
    dense.into_iter().zip(&problem.weight).map(|(rows, w)| (rows - &absorbed) * *w).collect()
}
