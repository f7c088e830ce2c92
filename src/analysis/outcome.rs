//! The solution as it is written: set-ups, contrasts, runs, loop, budget, findings.
//!
//! Given a solved loop; gives a [`Solution`]. It computes no fit.

mod expectation;
mod resistance;

use super::air_along;
use super::contrasts::{Pair, PairDifference, contrasts};
use super::inputs::Inputs;
use super::instrument::Output;
use super::known::{Known, Uncertain};
use super::loop_venue::{LoopVenue, fit_findings, mean_density, tyre_temperature};
use super::quantities::{Linear, PowerAt, SetupQuantities, linear_known};
use super::roller_replication::run_to_run;
use super::run_results::{empty_solution, order_finding, run_result, venue_word};
use super::run_values::BetweenRuns;
use crate::air::WindVector;
use crate::finding::{Finding, What};
use crate::sample::Ride;
use crate::session::Session;
use crate::solution::{
    CircuitResult, Estimate, Gate, LapResult, Measured, ProfilePoint, RunResult, Separation, SetupResult, Solution,
    Solver, WindResult,
};
use crate::solve::account::LapAccount;
use crate::solve::fit::residuals;
use crate::solve::instruments::tell_cda;
use crate::solve::prior::Expected;
use crate::solve::separation::{self, Evidence};
use crate::uncertainty::budget::Combined;
use crate::uncertainty::cluster::{ClusterRobust, ContrastVariance};
use nalgebra::DVector;

/// Probability of laps that scatter as these do, the model of the scatter within them being as true as it usually is, below
/// which it is told.
const LAPS_DIFFER: f64 = 0.05;

/// What the parts below share.
struct Report<'a> {
    session: &'a Session,
    venue: &'a LoopVenue<'a>,
    power: PowerAt,
    quantities: Vec<SetupQuantities>,
    /// Of the same set-ups; worked out once, because degrees of freedom are dear.
    scatter: Vec<Scatter>,
    confidence: f64,
    between: &'a BetweenRuns,
    /// Of each set-up, where it was ridden on rollers too.
    crr_on_rollers: &'a [Option<f64>],
}

/// Variances of a set-up by the scatter of laps.
struct Scatter {
    crr: ContrastVariance,
    cda: ContrastVariance,
}

impl Scatter {
    fn of(q: &SetupQuantities, covariance: &ClusterRobust) -> Scatter {
        Scatter { crr: covariance.contrast(&q.crr.coefficients), cda: covariance.contrast(&q.cda.coefficients) }
    }
}

/// Puts the solution together, without its findings, to which it adds.
pub fn solution(
    inputs: &Inputs,
    rides: &[Ride],
    venue: &LoopVenue,
    between: &BetweenRuns,
    crr_on_rollers: &[Option<f64>],
    findings: &mut Vec<Finding>,
) -> Solution {
    let session = &inputs.session;
    let power = PowerAt::reference(session);
    let quantities: Vec<SetupQuantities> =
        (0..session.setups.len()).map(|s| SetupQuantities::new(&venue.fit.layout, s, &power)).collect();
    let report = Report {
        session,
        venue,
        power,
        scatter: quantities.iter().map(|q| Scatter::of(q, &venue.fit.covariance)).collect(),
        quantities,
        confidence: session.solve.confidence,
        between,
        crr_on_rollers,
    };
    findings.extend(fit_findings(venue));
    findings.extend(air_along::findings(venue));
    findings.extend(replication_finding(between));
    let evidence = report.separability();
    let verdict = separation::not_separable(&evidence, &venue.fit.classes);
    let separable = verdict.is_none();
    if let Some([reason, next]) = verdict {
        findings.push(Finding::of_session(What::NotSeparable { reason, next }));
    } else {
        findings.extend(report.estimator_findings());
    }
    findings.extend(report.rests_on_expectation(separable));
    // A drift that is fitted has a finding of its own where the order does not show it.
    if !session.solve.crr_drift {
        findings.extend(order_finding(session, rides));
    }
    let against = Pair::against_baseline(session);
    let differences =
        |pairs: &[Pair]| -> Vec<PairDifference> { pairs.iter().map(|p| report.difference(*p, separable)).collect() };
    Solution {
        separable,
        contrasts: contrasts(session, &differences(&against)),
        all_pairs: contrasts(session, &differences(&Pair::all(session))),
        setups: (0..session.setups.len()).map(|s| report.setup(s, separable)).collect(),
        runs: report.runs(inputs, rides),
        circuit: report.circuit(),
        separation: report.separation(&evidence),
        budget: report.budget(&against, separable),
        run_to_run: Some(run_to_run(session, &between.replication, session.circuit.kind, "resistance")),
        yaw: air_along::yaw(session, &venue.fit),
        solver: Solver {
            iterations: venue.fit.iterations as u64,
            converged: venue.fit.converged,
            starts: venue.fit.starts,
            estimator: "instruments".into(),
        },
        ..empty_solution(session)
    }
}

impl Report<'_> {
    fn known(&self, linear: &Linear, instrument_se: Option<f64>) -> Known {
        match linear_known(linear, &self.venue.fit.parameters, &self.venue.fit.covariance, instrument_se) {
            Known::Within(u) => Known::Within(Uncertain { run_to_run: Some(self.between.of(linear)), ..u }),
            other => other,
        }
    }

    fn estimate(&self, linear: &Linear, instrument_se: Option<f64>) -> Estimate {
        self.known(linear, instrument_se).estimate(self.confidence)
    }

    fn instrument(&self, setup: usize, output: Output) -> Option<f64> {
        self.venue.budget.as_ref().map(|b| b.combined(&b.of_setup(setup, output)))
    }

    /// Used laps of a set-up.
    fn laps_of(&self, setup: usize) -> impl Iterator<Item = &crate::solve::account::LapAccount> + '_ {
        self.venue.fit.used.iter().map(|i| &self.venue.laps[*i].account).filter(move |a| a.setup == setup)
    }

    fn separability(&self) -> Evidence {
        let speeds: Vec<f64> = self.venue.fit.used.iter().map(|i| self.venue.laps[*i].account.mean_speed_m_s).collect();
        let widest = self
            .quantities
            .iter()
            .enumerate()
            .map(|(s, q)| {
                // By the laps alone: what they cannot show must not be made up for by a model.
                let laps = self.scatter[s].crr;
                let scatter = Combined { standard_uncertainty: laps.standard_error(), dof: laps.dof };
                let value = q.crr.value(&self.venue.fit.parameters);
                let own = Uncertain::of_laps(value, scatter);
                own.estimate(self.confidence).high.map_or(f64::NAN, |high| high - value)
            })
            // A half-width that is not a number is as wide as can be.
            .fold(0.0_f64, |a, b| if b.is_nan() { f64::INFINITY } else { a.max(b) });
        let share = |(s, laps): (usize, &Scatter)| {
            let open = self.open(&self.quantities[s].cda, &[Expected::Cda]);
            open / (open + laps.cda.moderated().standard_uncertainty.powi(2))
        };
        Evidence {
            crr_half_width: widest,
            expected_share: self.scatter.iter().enumerate().map(share).fold(0.0, f64::max),
            spread: separation::spread_of_squares(&speeds),
            speed_min_m_s: speeds.iter().copied().fold(f64::MAX, f64::min),
            speed_max_m_s: speeds.iter().copied().fold(f64::MIN, f64::max),
        }
    }

    /// Variance of a quantity that rests on what was expected of some parameters.
    fn open(&self, linear: &Linear, of: &[Expected]) -> f64 {
        let fit = &self.venue.fit;
        let parts = fit.covariance.prior_parts(&linear.coefficients);
        let kinds = fit.layout.kinds();
        parts.iter().zip(&kinds).filter(|(_, kind)| kind.is_some_and(|k| of.contains(&k))).map(|(v, _)| v).sum()
    }

    fn separation(&self, evidence: &Evidence) -> Separation {
        let first = &self.scatter[self.session.baseline()];
        let correlation = self.correlation(self.session.baseline());
        let known = (1.0 - correlation.powi(2)).clamp(0.0, 1.0).sqrt();
        let finite = |x: f64| x.is_finite().then_some(x);
        Separation {
            correlation: finite(correlation),
            condition: finite(self.venue.fit.condition),
            speed_min_m_s: finite(evidence.speed_min_m_s),
            speed_max_m_s: finite(evidence.speed_max_m_s),
            first_stage_f: self.venue.fit.classes.first_stage_f,
            se_crr_if_cda_known: finite(first.crr.moderated().standard_uncertainty * known),
            se_cda_m2_if_crr_known: finite(first.cda.moderated().standard_uncertainty * known),
        }
    }

    fn correlation(&self, s: usize) -> f64 {
        let (a, b) = (&self.quantities[s].crr.coefficients, &self.quantities[s].cda.coefficients);
        let ClusterRobust { covariance, working, prior, .. } = &self.venue.fit.covariance;
        let quadratic = |a: &DVector<f64>, b: &DVector<f64>| {
            self.scatter[s].crr.steadied(a.dot(&(covariance * b)), a.dot(&(working * b))) + a.dot(&(prior * b))
        };
        quadratic(a, b) / (quadratic(a, a) * quadratic(b, b)).sqrt()
    }

    fn setup(&self, s: usize, separable: bool) -> SetupResult {
        let q = &self.quantities[s];
        let setup = &self.session.setups[s];
        let laps_used = self.laps_of(s).count();
        let mean_speed_m_s = self.mean_speed_m_s(s);
        let rolling = self.instrument(s, Output::Crr).map(|u| u * self.power.per_crr_w);
        let aero = self.instrument(s, Output::Cda).map(|u| u * self.power.per_cda_w_m2);
        let hide = |e: Estimate| if separable { e } else { Estimate::default() };
        let least = &self.venue.fit.least_squares.parameters;
        let on_rollers = self.crr_on_rollers.get(s).copied().flatten();
        let held = on_rollers.unwrap_or(self.session.expected.crr);
        SetupResult {
            id: setup.id.clone(),
            label: setup.name().to_string(),
            crr: hide(self.estimate(&q.crr, self.instrument(s, Output::Crr))),
            cda_m2: hide(self.estimate(&q.cda, self.instrument(s, Output::Cda))),
            power_w: hide(self.estimate(&q.power, self.instrument(s, Output::Power))),
            rolling_power_w: hide(self.estimate(&q.rolling_power, rolling)),
            aero_power_w: hide(self.estimate(&q.aero_power, aero)),
            correlation: Some(self.correlation(s)).filter(|c| separable && c.is_finite()),
            least_squares_crr: separable.then(|| q.crr.value(least)),
            least_squares_cda_m2: separable.then(|| q.cda.value(least)),
            drag_at_mean_speed_n: mean_speed_m_s.map(|v| self.drag(s, v)),
            cda_m2_with_crr_held: mean_speed_m_s.filter(|_| !separable).map(|v| self.cda_if_crr_were(s, held, v)),
            crr_held: (!separable).then_some(held),
            crr_held_from: (!separable).then(|| if on_rollers.is_some() { "rollers" } else { "expected" }.to_string()),
            mean_speed_m_s,
            laps_used,
        }
    }

    /// Differences of a pair. Where values are not known, watts are, with what is left open in their interval; with one of Crr
    /// and CdA shared the difference of the other is too.
    fn difference(&self, pair: Pair, separable: bool) -> PairDifference {
        let q = self.quantities[pair.setup].minus(&self.quantities[pair.baseline]);
        let budget = self.venue.budget.as_ref();
        let u = |output: Output| budget.map(|b| b.combined(&b.of_difference(pair.setup, pair.baseline, output)));
        let (crr, cda_m2) = (self.known(&q.crr, u(Output::Crr)), self.known(&q.cda, u(Output::Cda)));
        let power_w = self.known(&q.power, u(Output::Power));
        if !separable && crr != Known::Exactly(0.0) && cda_m2 != Known::Exactly(0.0) {
            return PairDifference { pair, crr: Known::Not, cda_m2: Known::Not, power_w };
        }
        PairDifference { pair, crr, cda_m2, power_w }
    }

    /// The quantity for which laps differ most beyond what the scatter within them explains.
    fn laps_differ(&self) -> Option<Finding> {
        let all = self.scatter.iter().enumerate().flat_map(|(s, laps)| [(s, "Crr", laps.crr), (s, "CdA", laps.cda)]);
        let (s, quantity, worst) = all
            .filter(|(.., laps)| laps.probability() < LAPS_DIFFER)
            .min_by(|a, b| a.2.probability().total_cmp(&b.2.probability()))?;
        Some(Finding::of_session(What::LapsDiffer {
            name: format!("{quantity} of {}", self.session.setups[s].name()),
            by_laps: worst.standard_error(),
            within: worst.working.sqrt(),
        }))
    }

    fn estimator_findings(&self) -> Vec<Finding> {
        let fit = &self.venue.fit;
        let mut out = Vec::new();
        if !tell_cda(&fit.classes) {
            out.push(Finding::of_session(What::WeakInstruments {
                first_stage_f: fit.classes.first_stage_f.unwrap_or(0.0),
            }));
        }
        for (q, scatter) in self.quantities.iter().zip(&self.scatter) {
            let difference_crr = q.crr.value(&fit.least_squares.parameters) - q.crr.value(&fit.parameters);
            let standard_error = scatter.crr.moderated().standard_uncertainty;
            if difference_crr.abs() > 2.0 * standard_error {
                out.push(Finding::of_session(What::Gusty { difference_crr, standard_error }));
                break;
            }
        }
        out.extend(self.laps_differ());
        if fit.used.len() < 8 {
            out.push(Finding::of_session(What::FewLaps { laps: fit.used.len() }));
        }
        out
    }

    fn runs(&self, inputs: &Inputs, rides: &[Ride]) -> Vec<RunResult> {
        let fit = &self.venue.fit;
        let frame = self.venue.frame();
        let problem = frame.problem(&self.venue.laps, &fit.used, &fit.weight, fit.scatter);
        let blocks = problem.blocks(&fit.parameters);
        let closures: Vec<f64> = residuals(&problem, &blocks).iter().map(|r| r.iter().sum()).collect();
        let measured = |column: Option<usize>, held: Option<f64>| match column {
            Some(c) => {
                let se = fit.covariance.parameter_standard_error(c);
                Measured { value: Some(fit.parameters[c]), se: Some(se).filter(|s| s.is_finite()) }
            }
            None => Measured { value: held, se: None },
        };
        self.session
            .runs
            .iter()
            .enumerate()
            .map(|(k, stated)| {
                let ride = &rides[k];
                let columns = &fit.layout.runs[k];
                let given = self.venue.air[k].wind.at(0.5 * ride.duration_s());
                let east = measured(columns.east, Some(given.east_m_s));
                let north = measured(columns.north, Some(given.north_m_s));
                let compass = self.venue.cut.has_bearings || columns.east.is_none();
                let wind = east.value.zip(north.value).map(|(east_m_s, north_m_s)| WindVector { east_m_s, north_m_s });
                let misclosure = |lap: usize| {
                    fit.used.iter().position(|&i| {
                        let at = self.venue.address[i];
                        at.run == k && at.lap == lap
                    })
                };
                let account = |used: Option<usize>| used.map(|a| &self.venue.laps[fit.used[a]].account);
                let laps = self.venue.cut.runs[k]
                    .iter()
                    .enumerate()
                    .map(|(i, lap)| {
                        let at = misclosure(i);
                        let work = ride.work_j.at(lap.end_s) - ride.work_j.at(lap.start_s);
                        LapResult {
                            lap: lap.number,
                            start_s: lap.start_s,
                            duration_s: lap.duration_s(),
                            distance_m: lap.distance_m,
                            mean_speed_m_s: account(at).map_or(lap.mean_speed_m_s(), |a| a.mean_speed_m_s),
                            mean_power_w: Some(work / lap.duration_s()).filter(|p| p.is_finite()),
                            planned_speed_class: at.map(|a| fit.classes.of_lap[a] + 1),
                            misclosure_m: at.map(|a| closures[a]),
                            used: at.is_some(),
                            share_used: account(at).map_or(0.0, LapAccount::share_used),
                            reason: if at.is_some() {
                                None
                            } else {
                                lap.reason.map(|r| r.in_words(stated.lap_reasons.get(&lap.number.to_string())))
                            },
                        }
                    })
                    .collect();
                RunResult {
                    air_density_kg_m3: Some(mean_density(&self.venue.air[k])),
                    temperature_c: Some(self.venue.air[k].temperature_c),
                    crr_over_reference: self.over_reference(k),
                    lag_s: measured(columns.lag, self.venue.choices.held_lag_s[k]),
                    wind: WindResult {
                        speed_m_s: wind.map(|w| w.speed_m_s()),
                        from_deg: wind.filter(|_| compass).and_then(|w| w.from_deg()),
                        east_m_s: if compass { east } else { Measured::default() },
                        north_m_s: if compass { north } else { Measured::default() },
                        // A track that nobody says the bearing of is laid with its home straight to the north.
                        along_m_s: if compass { Measured::default() } else { north },
                        across_m_s: if compass { Measured::default() } else { east },
                        drift_east_m_s: columns
                            .drift_east
                            .filter(|_| compass)
                            .map_or_else(Measured::default, |c| measured(Some(c), None)),
                        drift_north_m_s: columns
                            .drift_north
                            .filter(|_| compass)
                            .map_or_else(Measured::default, |c| measured(Some(c), None)),
                        gust_m_s: self.venue.gustiness.map(|g| g.sd_m_s()),
                    },
                    laps,
                    ..run_result(inputs, ride, k)
                }
            })
            .collect()
    }

    /// Where a temperature coefficient was stated.
    fn over_reference(&self, run: usize) -> Option<f64> {
        self.session.circuit.temperature_coefficient_per_c?;
        Some(tyre_temperature(self.session, &self.session.runs[run], &self.venue.air[run]).crr_over_reference())
    }

    fn circuit(&self) -> CircuitResult {
        let cut = &self.venue.cut;
        let mut height = 0.0;
        let mut profile = vec![ProfilePoint { distance_m: 0.0, elevation_m: 0.0 }];
        for (j, gain) in self.venue.fit.profile_m.iter().enumerate() {
            height += gain;
            profile.push(ProfilePoint { distance_m: cut.edge[j + 1] * cut.length_m, elevation_m: height });
        }
        CircuitResult {
            kind: venue_word(self.session.circuit.kind),
            length_m: Some(cut.length_m),
            stated_length_m: cut.lengths.stated.map(|l| l.length_m),
            gate: cut.gate.map(|g| Gate { lat_deg: g.lat_deg, lon_deg: g.lon_deg }),
            speed_age_s: self
                .venue
                .speed_delay
                .map_or_else(Measured::default, |delay| Measured { value: Some(delay.mean_s), se: Some(delay.sd_s) }),
            length_by_wheel_m: cut.lengths.by_wheel(),
            length_by_positions_m: cut
                .lengths
                .by_positions
                .map_or_else(Measured::default, |l| Measured { value: Some(l.length_m), se: Some(l.sd_m) }),
            length_from: Some(if cut.lengths.by_wheel().is_some() { "wheel" } else { "stated length" }.into()),
            profile,
            tyre_rule: None,
            wind_along: air_along::shares(self.venue),
        }
    }
}

/// Where the intervals rest on what was supposed of changes from run to run.
fn replication_finding(between: &BetweenRuns) -> Option<Finding> {
    let seen = between.replication.run_to_run(between.confidence());
    let fraction = between.replication.supposed_fraction();
    seen.rests_on_prior()
        .then(|| Finding::of_session(What::RunToRunSupposed { repeats: seen.repeats, fraction, of: "resistance" }))
}
