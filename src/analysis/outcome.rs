//! The solution as it is written: set-ups, contrasts, runs, loop, budget, findings.
//!
//! Given a solved loop; gives a [`Solution`]. It computes no fit.

use super::Inputs;
use super::instrument::{InstrumentBudget, Output};
use super::loop_venue::{LoopVenue, fit_findings, mean_density};
use super::quantities::{Linear, PowerAt, SetupQuantities, linear_estimate};
use crate::air::WindVector;
use crate::compare::equivalence::two_one_sided_p;
use crate::compare::multiplicity::holm;
use crate::compare::order::pairs_in_time;
use crate::compare::verdict::Verdict;
use crate::finding::{Finding, What};
use crate::sample::Ride;
use crate::session::Session;
use crate::solution::{
    BudgetLine, CircuitResult, Contrast, Contribution, Estimate, FindingResult, Gate, LapResult, Measured, Pressures,
    ProfilePoint, ReferenceConditions, RunResult, SCHEMA, Separation, SetupResult, Solution, Solver, WindResult,
};
use crate::solve::fit::{Estimator, residuals};
use crate::solve::separation::{self, Evidence};
use crate::uncertainty::power::detectable_difference;
use crate::uncertainty::student::{coverage_factor, t_two_sided_p};
use nalgebra::DVector;

/// Power at which the smallest detectable difference is given.
const DETECTION_POWER: f64 = 0.8;

/// What the parts below share.
struct Report<'a> {
    session: &'a Session,
    venue: &'a LoopVenue<'a>,
    power: PowerAt,
    quantities: Vec<SetupQuantities>,
    confidence: f64,
}

/// Puts the solution together.
pub fn solution(inputs: &Inputs, rides: &[Ride], venue: &LoopVenue, mut findings: Vec<Finding>) -> Solution {
    let session = &inputs.session;
    let power = PowerAt::reference(session);
    let report = Report {
        session,
        venue,
        power,
        quantities: (0..session.setups.len()).map(|s| SetupQuantities::new(&venue.fit.layout, s, &power)).collect(),
        confidence: session.solve.confidence,
    };
    findings.extend(fit_findings(session, venue));
    let evidence = report.separability();
    let verdict = separation::not_separable(&evidence, &venue.fit.classes);
    let separable = verdict.is_none();
    if let Some([reason, next]) = verdict {
        findings.push(Finding::of_session(What::NotSeparable { reason, next }));
    } else {
        findings.extend(report.estimator_findings());
    }
    findings.extend(report.order_findings(rides));
    let setups: Vec<SetupResult> = (0..session.setups.len()).map(|s| report.setup(s, separable)).collect();
    let baseline = session.baseline();
    let against: Vec<[usize; 2]> =
        (0..session.setups.len()).filter(|s| *s != baseline).map(|s| [s, baseline]).collect();
    let pairs: Vec<[usize; 2]> =
        (0..session.setups.len()).flat_map(|b| (b + 1..session.setups.len()).map(move |a| [a, b])).collect();
    Solution {
        schema: SCHEMA,
        loopwright: env!("CARGO_PKG_VERSION").to_string(),
        title: session.title.clone(),
        confidence: report.confidence,
        separable,
        baseline: session.setups[baseline].id.clone(),
        reference: ReferenceConditions {
            speed_km_h: session.reference.speed_km_h,
            mass_kg: session.reference_mass_kg(),
            air_density_kg_m3: session.reference.air_density_kg_m3,
        },
        contrasts: report.contrasts(&against, separable),
        all_pairs: report.contrasts(&pairs, separable),
        setups,
        runs: report.runs(inputs, rides),
        circuit: report.circuit(),
        separation: report.separation(&evidence),
        budget: venue.budget.as_ref().map(|b| report.budget(b, baseline, &against)).unwrap_or_default(),
        solver: Solver {
            iterations: venue.fit.least_squares.iterations,
            converged: venue.fit.least_squares.converged,
            starts: venue.fit.starts,
            estimator: match venue.fit.estimator {
                Estimator::Instruments => "instruments".into(),
                Estimator::LeastSquares => "least squares".into(),
            },
        },
        findings: findings
            .iter()
            .map(|f| FindingResult {
                code: f.what.code().to_string(),
                run: f.run.map(|r| r + 1),
                message: f.what.message(),
            })
            .collect(),
        venues: None,
    }
}

impl Report<'_> {
    fn estimate(&self, linear: &Linear, instrument_se: Option<f64>) -> Estimate {
        linear_estimate(linear, &self.venue.fit.parameters, &self.venue.fit.covariance, instrument_se, self.confidence)
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
            .map(|q| {
                let v = self.venue.fit.covariance.contrast(&q.crr.coefficients);
                coverage_factor(self.confidence, v.dof) * v.standard_error()
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
        let first = &self.quantities[self.session.baseline()];
        let correlation = self.correlation(first);
        let known = (1.0 - correlation.powi(2)).max(0.0).sqrt();
        let se = |l: &Linear| self.venue.fit.covariance.contrast(&l.coefficients).standard_error();
        let finite = |x: f64| x.is_finite().then_some(x);
        Separation {
            correlation: finite(correlation),
            condition: finite(self.venue.fit.condition),
            speed_min_m_s: finite(evidence.speed_min_m_s),
            speed_max_m_s: finite(evidence.speed_max_m_s),
            first_stage_f: self.venue.fit.classes.first_stage_f,
            se_crr_if_cda_known: finite(se(&first.crr) * known),
            se_cda_m2_if_crr_known: finite(se(&first.cda) * known),
        }
    }

    fn correlation(&self, q: &SetupQuantities) -> f64 {
        let v = &self.venue.fit.covariance.covariance;
        let quadratic = |a: &DVector<f64>, b: &DVector<f64>| (a.transpose() * v * b)[(0, 0)];
        let (a, b) = (&q.crr.coefficients, &q.cda.coefficients);
        quadratic(a, b) / (quadratic(a, a) * quadratic(b, b)).sqrt()
    }

    fn setup(&self, s: usize, separable: bool) -> SetupResult {
        let q = &self.quantities[s];
        let setup = &self.session.setups[s];
        let (total_m, total_s) = self.laps_of(s).fold((0.0, 0.0), |(m, t), a| {
            let duration = a.edge_s[a.steps()] - a.edge_s[0];
            (m + a.mean_speed_m_s * duration, t + duration)
        });
        let laps_used = self.laps_of(s).count();
        let mean_speed_m_s = (total_s > 0.0).then(|| total_m / total_s);
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
            correlation: Some(self.correlation(q)).filter(|c| separable && c.is_finite()),
            least_squares_crr: separable.then(|| q.crr.value(least)),
            least_squares_cda_m2: separable.then(|| q.cda.value(least)),
            drag_at_mean_speed_n: mean_speed_m_s.map(|v| self.drag(s, v)),
            mean_speed_m_s,
            laps_used,
        }
    }

    /// Resistance at a speed, Crr m g + ½ρ CdA v², which is known even where its parts are not.
    fn drag(&self, s: usize, speed_m_s: f64) -> Estimate {
        let (mut weight, mut density, mut n) = (0.0, 0.0, 0.0);
        for a in self.laps_of(s) {
            weight += a.weight_n;
            density += a.mean_density_kg_m3;
            n += 1.0;
        }
        let q = &self.quantities[s];
        let (per_crr, per_cda) = (weight / n, 0.5 * density / n * speed_m_s * speed_m_s);
        let linear =
            Linear { coefficients: &q.crr.coefficients * per_crr + &q.cda.coefficients * per_cda, constant: 0.0 };
        let instrument = self.venue.budget.as_ref().map(|b| {
            let (crr, cda) = (b.of_setup(s, Output::Crr), b.of_setup(s, Output::Cda));
            let both: Vec<f64> = crr.iter().zip(&cda).map(|(a, c)| per_crr * a + per_cda * c).collect();
            b.combined(&both)
        });
        // Instruments are no help at one speed; least squares is the efficient way to the combination.
        let fit = &self.venue.fit;
        linear_estimate(
            &linear,
            &fit.least_squares.parameters,
            &fit.least_squares_covariance,
            instrument,
            self.confidence,
        )
    }

    /// Differences of pairs [a, b], a minus b, with p-values adjusted over the list.
    fn contrasts(&self, pairs: &[[usize; 2]], separable: bool) -> Vec<Contrast> {
        let tests: Vec<(Estimate, Contrast)> = pairs.iter().map(|p| self.contrast(*p)).collect();
        let p_values: Vec<f64> = tests.iter().map(|(_, c)| c.p_value.unwrap_or(1.0)).collect();
        let adjusted = holm(&p_values);
        let alpha = 1.0 - self.confidence;
        tests
            .into_iter()
            .zip(adjusted)
            .map(|((_, c), p_holm)| {
                if !separable && !self.difference_is_known(&c) {
                    return Contrast {
                        setup: c.setup,
                        baseline: c.baseline,
                        verdict: Verdict::NotSeparated.to_string(),
                        ..Contrast::default()
                    };
                }
                let verdict = Verdict::decide(p_holm, c.p_equivalence, alpha);
                Contrast { p_holm: c.p_value.map(|_| p_holm), verdict: verdict.to_string(), ..c }
            })
            .collect()
    }

    /// With one of the two shared the difference of the other is known even where the values are not.
    fn difference_is_known(&self, contrast: &Contrast) -> bool {
        let exact = |e: &Estimate| e.value == Some(0.0) && e.se.is_none();
        exact(&contrast.crr) || exact(&contrast.cda_m2)
    }

    fn contrast(&self, [a, b]: [usize; 2]) -> (Estimate, Contrast) {
        let q = self.quantities[a].minus(&self.quantities[b]);
        let u = |output: Output| self.venue.budget.as_ref().map(|t| t.combined(&t.of_difference(a, b, output)));
        let power_w = self.estimate(&q.power, u(Output::Power));
        let alpha = 1.0 - self.confidence;
        let of = |f: &dyn Fn(f64, f64, f64) -> f64| match (power_w.value, power_w.se, power_w.dof) {
            (Some(d), Some(se), dof) if se > 0.0 => {
                Some(f(d, se, dof.unwrap_or(f64::INFINITY))).filter(|p| p.is_finite())
            }
            _ => None,
        };
        let margin = self.session.solve.negligible_power_w;
        let contrast = Contrast {
            setup: self.session.setups[a].id.clone(),
            baseline: self.session.setups[b].id.clone(),
            crr: self.estimate(&q.crr, u(Output::Crr)),
            cda_m2: self.estimate(&q.cda, u(Output::Cda)),
            p_value: of(&|d, se, dof| t_two_sided_p(d / se, dof)),
            p_holm: None,
            detectable_power_w: of(&|_, se, dof| detectable_difference(se, dof, alpha, DETECTION_POWER)),
            p_equivalence: margin.and_then(|m| of(&|d, se, dof| two_one_sided_p(d, se, dof, m))),
            verdict: String::new(),
            power_w,
        };
        (power_w, contrast)
    }

    fn estimator_findings(&self) -> Vec<Finding> {
        let fit = &self.venue.fit;
        let mut out = Vec::new();
        if fit.estimator == Estimator::LeastSquares {
            out.push(Finding::of_session(What::WeakInstruments {
                first_stage_f: fit.classes.first_stage_f.unwrap_or(0.0),
            }));
        }
        for q in &self.quantities {
            let difference_crr = q.crr.value(&fit.least_squares.parameters) - q.crr.value(&fit.parameters);
            let standard_error = fit.covariance.contrast(&q.crr.coefficients).standard_error();
            if difference_crr.abs() > 2.0 * standard_error {
                out.push(Finding::of_session(What::Gusty { difference_crr, standard_error }));
                break;
            }
        }
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

    fn order_findings(&self, rides: &[Ride]) -> Option<Finding> {
        let setups: Vec<usize> = self.session.runs.iter().map(|r| self.session.setup_of(r)).collect();
        let times: Vec<f64> = rides.iter().map(|r| r.start_unix_s + 0.5 * r.duration_s()).collect();
        let confounded = pairs_in_time(&setups, &times).iter().any(|p| p.is_confounded());
        let order: Vec<&str> = self.session.runs.iter().map(|r| r.setup.as_str()).collect();
        confounded.then(|| Finding::of_session(What::OrderConfounded { order: order.join(" ") }))
    }

    fn runs(&self, inputs: &Inputs, rides: &[Ride]) -> Vec<RunResult> {
        let fit = &self.venue.fit;
        let frame = self.venue.frame();
        let problem = frame.problem(&self.venue.laps, &fit.used, &fit.weight, fit.row_sd_m);
        let blocks = problem.blocks(&fit.parameters);
        let closures: Vec<f64> = residuals(&problem, &blocks).iter().map(|r| r.iter().sum()).collect();
        let measured = |column: Option<usize>, held: Option<f64>| match column {
            Some(c) => {
                let mut unit = DVector::zeros(fit.layout.len);
                unit[c] = 1.0;
                let se = fit.covariance.contrast(&unit).standard_error();
                Measured { value: Some(fit.parameters[c]), se: Some(se).filter(|s| s.is_finite()) }
            }
            None => Measured { value: held, se: None },
        };
        self.session
            .runs
            .iter()
            .enumerate()
            .map(|(k, run)| {
                let (ride, recording) = (&rides[k], &inputs.recordings[k]);
                let columns = &fit.layout.runs[k];
                let given = self.venue.air[k].wind.at(0.5 * ride.duration_s());
                let east = measured(columns.east, Some(given.east_m_s));
                let north = measured(columns.north, Some(given.north_m_s));
                let wind = WindVector { east_m_s: east.value.unwrap_or(0.0), north_m_s: north.value.unwrap_or(0.0) };
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
                            reason: if at.is_some() { None } else { lap.reason.map(|r| r.to_string()) },
                        }
                    })
                    .collect();
                RunResult {
                    file: run.file.clone(),
                    sha256: recording.provenance.sha256.clone(),
                    setup: run.setup.clone(),
                    venue: format!("{:?}", self.session.venue_of(run)).to_lowercase(),
                    mass_kg: self.session.rider_of(run).mass_kg,
                    records: ride.len(),
                    started: jiff::Timestamp::from_second(ride.start_unix_s as i64).ok().map(|t| t.to_string()),
                    duration_s: ride.duration_s(),
                    air_density_kg_m3: Some(mean_density(&self.venue.air[k])),
                    temperature_c: Some(self.venue.air[k].temperature_c),
                    tyre_pressure_kpa: run.tyre_pressure_kpa.map(|p| Pressures { front: p.front, rear: p.rear }),
                    lag_s: measured(columns.lag, self.venue.choices.held_lag_s[k]),
                    wind: WindResult {
                        speed_m_s: Some(wind.speed_m_s()),
                        from_deg: wind.from_deg(),
                        east_m_s: east,
                        north_m_s: north,
                        gust_m_s: Some(self.venue.choices.gust_sd_m_s[k]).filter(|g| *g > 0.0),
                    },
                    laps,
                }
            })
            .collect()
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
            kind: format!("{:?}", self.session.circuit.kind).to_lowercase(),
            length_m: Some(cut.length_m),
            gate: cut.gate.map(|g| Gate { lat_deg: g.lat_deg, lon_deg: g.lon_deg }),
            profile,
        }
    }

    fn budget(&self, b: &InstrumentBudget, baseline: usize, against: &[[usize; 2]]) -> Vec<BudgetLine> {
        let contribution = |group: &str, setup: &str, of: &dyn Fn(Output) -> Vec<f64>| Contribution {
            setup: setup.to_string(),
            crr: Some(b.contribution(group, &of(Output::Crr))),
            cda_m2: Some(b.contribution(group, &of(Output::Cda))),
            power_w: Some(b.contribution(group, &of(Output::Power))),
        };
        let mut lines: Vec<BudgetLine> = Vec::new();
        for (source, group) in b.budget.sources().iter().zip(&b.group) {
            if lines.iter().any(|l| l.source == *group) {
                continue;
            }
            let setups: Vec<Contribution> =
                (0..b.setups).map(|s| contribution(group, &self.session.setups[s].id, &|o| b.of_setup(s, o))).collect();
            let first = setups[baseline].clone();
            lines.push(BudgetLine {
                source: group.to_string(),
                standard_uncertainty: source.standard_uncertainty,
                unit: source.unit.clone(),
                crr: first.crr,
                cda_m2: first.cda_m2,
                power_w: first.power_w,
                contrasts: against
                    .iter()
                    .map(|[a, c]| contribution(group, &self.session.setups[*a].id, &|o| b.of_difference(*a, *c, o)))
                    .collect(),
                setups,
            });
        }
        lines
    }
}
