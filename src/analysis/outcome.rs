//! The solution as it is written: set-ups, contrasts, runs, loop, budget, findings.
//!
//! Given a solved loop; gives a [`Solution`]. It computes no fit.

mod resistance;

use super::Inputs;
use super::contrasts::{Pair, PairDifference, contrasts};
use super::instrument::Output;
use super::known::{Known, Uncertain};
use super::loop_venue::{LoopVenue, fit_findings, mean_density, tyre_temperature};
use super::quantities::{Linear, PowerAt, SetupQuantities, linear_known};
use super::run_results::{empty_solution, order_finding, run_result, venue_word};
use crate::air::WindVector;
use crate::finding::{Finding, What};
use crate::sample::Ride;
use crate::session::Session;
use crate::solution::{
    CircuitResult, Estimate, Gate, LapResult, Measured, ProfilePoint, RunResult, Separation, SetupResult, Solution,
    Solver, WindResult,
};
use crate::solve::fit::{Estimator, residuals};
use crate::solve::held::{HELD_CRR, HeldFit, with_crr_held};
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
    /// Where CdA and Crr cannot be told apart.
    held: Option<HeldFit>,
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
pub fn solution(inputs: &Inputs, rides: &[Ride], venue: &LoopVenue, findings: &mut Vec<Finding>) -> Solution {
    let session = &inputs.session;
    let power = PowerAt::reference(session);
    let quantities: Vec<SetupQuantities> =
        (0..session.setups.len()).map(|s| SetupQuantities::new(&venue.fit.layout, s, &power)).collect();
    let mut report = Report {
        session,
        venue,
        power,
        scatter: quantities.iter().map(|q| Scatter::of(q, &venue.fit.covariance)).collect(),
        quantities,
        confidence: session.solve.confidence,
        held: None,
    };
    findings.extend(fit_findings(venue));
    let evidence = report.separability();
    let verdict = separation::not_separable(&evidence, &venue.fit.classes);
    let separable = verdict.is_none();
    if let Some([reason, next]) = verdict {
        report.held = with_crr_held(&venue.frame(), &venue.laps, &venue.fit).ok();
        findings.push(Finding::of_session(What::NotSeparable { reason, next }));
    } else {
        findings.extend(report.estimator_findings());
    }
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
        runs: report.runs(inputs, rides, separable),
        circuit: report.circuit(),
        separation: report.separation(&evidence),
        budget: report.budget(&against, separable),
        solver: Solver {
            iterations: venue.fit.least_squares.iterations,
            converged: venue.fit.least_squares.converged,
            starts: venue.fit.starts,
            estimator: match venue.fit.estimator {
                Estimator::Instruments => "instruments".into(),
                Estimator::LeastSquares => "least squares".into(),
            },
        },
        ..empty_solution(session)
    }
}

impl Report<'_> {
    fn known(&self, linear: &Linear, instrument_se: Option<f64>) -> Known {
        linear_known(linear, &self.venue.fit.parameters, &self.venue.fit.covariance, instrument_se)
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
                // By the laps alone: what they cannot show must not be made up for by a model. What the measuring chain
                // leaves open counts as much as scatter does.
                let laps = self.scatter[s].crr;
                let scatter = Combined { standard_uncertainty: laps.standard_error(), dof: laps.dof };
                let value = q.crr.value(&self.venue.fit.parameters);
                let own = Uncertain { value, scatter, instrument_se: self.instrument(s, Output::Crr) };
                own.estimate(self.confidence).high.map_or(f64::NAN, |high| high - value)
            })
            // A half-width that is not a number is as wide as can be.
            .fold(0.0_f64, |a, b| if b.is_nan() { f64::INFINITY } else { a.max(b) });
        Evidence {
            crr_half_width: widest,
            spread: separation::spread_of_squares(&speeds),
            speed_min_m_s: speeds.iter().copied().fold(f64::MAX, f64::min),
            speed_max_m_s: speeds.iter().copied().fold(f64::MIN, f64::max),
        }
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
            air_taken_as_still: self.held.as_ref().is_some_and(|h| h.still_air),
        }
    }

    fn correlation(&self, s: usize) -> f64 {
        let (a, b) = (&self.quantities[s].crr.coefficients, &self.quantities[s].cda.coefficients);
        let ClusterRobust { covariance, working, .. } = &self.venue.fit.covariance;
        let quadratic = |a: &DVector<f64>, b: &DVector<f64>| {
            self.scatter[s].crr.steadied(a.dot(&(covariance * b)), a.dot(&(working * b)))
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
            cda_m2_with_crr_held: self.held.as_ref().map(|h| {
                let mut unit = DVector::zeros(h.covariance.covariance.nrows());
                unit[h.column[s]] = 1.0;
                let scatter = h.covariance.contrast(&unit).moderated();
                self.held_cda(h.cda_m2[s], scatter).estimate(self.confidence)
            }),
            crr_held: self.held.as_ref().map(|_| HELD_CRR),
            mean_speed_m_s,
            laps_used,
        }
    }

    /// Differences of a pair, none of them known where the values are not. With one of Crr and CdA shared the difference
    /// of the other is known all the same.
    fn difference(&self, pair: Pair, separable: bool) -> PairDifference {
        let q = self.quantities[pair.setup].minus(&self.quantities[pair.baseline]);
        let budget = self.venue.budget.as_ref();
        let u = |output: Output| budget.map(|b| b.combined(&b.of_difference(pair.setup, pair.baseline, output)));
        let (crr, cda_m2) = (self.known(&q.crr, u(Output::Crr)), self.known(&q.cda, u(Output::Cda)));
        if !separable && crr != Known::Exactly(0.0) && cda_m2 != Known::Exactly(0.0) {
            return PairDifference { pair, crr: Known::Not, cda_m2: Known::Not, power_w: Known::Not };
        }
        PairDifference { pair, crr, cda_m2, power_w: self.known(&q.power, u(Output::Power)) }
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
        if fit.estimator == Estimator::LeastSquares {
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
        for (s, q) in self.quantities.iter().enumerate() {
            let (crr, cda) = (q.crr.value(&fit.parameters), q.cda.value(&fit.parameters));
            let name = self.session.setups[s].name();
            if !(0.0005..=0.02).contains(&crr) {
                out.push(Finding::of_session(What::Implausible { name: format!("Crr of {name}"), value: crr }));
            }
            if !(0.1..=0.8).contains(&cda) {
                out.push(Finding::of_session(What::Implausible { name: format!("CdA of {name}"), value: cda }));
            }
        }
        if fit.used.len() < 8 {
            out.push(Finding::of_session(What::FewLaps { laps: fit.used.len() }));
        }
        out
    }

    fn runs(&self, inputs: &Inputs, rides: &[Ride], separable: bool) -> Vec<RunResult> {
        let fit = &self.venue.fit;
        let frame = self.venue.frame();
        let problem = frame.problem(&self.venue.laps, &fit.used, &fit.weight, fit.row_sd_m);
        let blocks = problem.blocks(&fit.parameters);
        let closures: Vec<f64> = residuals(&problem, &blocks).iter().map(|r| r.iter().sum()).collect();
        let measured = |column: Option<usize>, held: Option<f64>| match column {
            // Lag and wind rest on CdA and Crr and are not known without them.
            Some(_) if !separable => Measured::default(),
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
                let wind = east.value.zip(north.value).map(|(east_m_s, north_m_s)| WindVector { east_m_s, north_m_s });
                let misclosure = |lap: usize| {
                    fit.used.iter().position(|&i| {
                        let at = self.venue.address[i];
                        at.run == k && at.lap == lap
                    })
                };
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
                            mean_speed_m_s: lap.mean_speed_m_s(),
                            mean_power_w: Some(work / lap.duration_s()).filter(|p| p.is_finite()),
                            planned_speed_class: at.map(|a| fit.classes.of_lap[a] + 1),
                            misclosure_m: at.map(|a| closures[a]),
                            used: at.is_some(),
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
                        from_deg: wind.and_then(|w| w.from_deg()),
                        east_m_s: east,
                        north_m_s: north,
                        drift_east_m_s: columns.drift_east.map_or_else(Measured::default, |c| measured(Some(c), None)),
                        drift_north_m_s: columns
                            .drift_north
                            .map_or_else(Measured::default, |c| measured(Some(c), None)),
                        gust_m_s: self.venue.gustiness.filter(|_| separable).map(|g| g.sd_m_s()),
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
            gate: cut.gate.map(|g| Gate { lat_deg: g.lat_deg, lon_deg: g.lon_deg }),
            speed_age_s: self
                .venue
                .age
                .map_or_else(Measured::default, |age| Measured { value: Some(age.mean_s), se: Some(age.sd_s) }),
            profile,
        }
    }
}
