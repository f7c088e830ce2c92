//! The solution as it is written: set-ups, contrasts, runs, loop, budget, findings.
//!
//! Given a solved loop; gives a [`Solution`]. It computes no fit.

mod expectation;
mod resistance;
mod runs;
mod separability;

use super::air_along;
use super::contrasts::{Pair, PairDifference, contrasts};
use super::known::{Known, Uncertain};
use super::loop_findings::fit_findings;
use super::loop_venue::LoopVenue;
use super::quantities::{Linear, PowerAt, SetupQuantities, linear_known};
use super::ridden_session::RiddenSession;
use super::roller_replication::run_to_run;
use super::run_results::{empty_solution, order_finding, venue_word};
use super::run_values::BetweenRuns;
use crate::finding::{Finding, What};
use crate::quantity::km_h_from_m_s;
use crate::sample::Ride;
use crate::session::Session;
use crate::solution::{CircuitResult, Estimate, Gate, Measured, ProfilePoint, Quantity, SetupResult, Solution, Solver};
use crate::solve::account::LapAccount;
use crate::solve::prior::Expected;
use crate::solve::separation;
use crate::uncertainty::cluster::{ClusterRobust, ContrastVariance};

/// Factor beyond the speeds of the laps from which a speed of reference is far from them: drag is twice as large, or half.
const FAR_FROM_RIDDEN: f64 = 1.41;

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
    inputs: &RiddenSession,
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
    findings.extend(report.reference_not_ridden());
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

    fn instrument(&self, setup: usize, quantity: Quantity) -> Option<f64> {
        self.venue.budget.as_ref().map(|b| b.combined(&b.of_setup(setup, quantity)))
    }

    /// Where the speed of reference is far below the slowest lap or above the fastest.
    fn reference_not_ridden(&self) -> Option<Finding> {
        let fit = &self.venue.fit;
        let speeds = || fit.used.iter().map(|i| km_h_from_m_s(self.venue.lap(*i).mean_speed_m_s()));
        let (slowest_km_h, fastest_km_h) = (speeds().fold(f64::INFINITY, f64::min), speeds().fold(0.0, f64::max));
        let reference_km_h = self.session.reference.speed_km_h;
        let is_near = (slowest_km_h / FAR_FROM_RIDDEN..=fastest_km_h * FAR_FROM_RIDDEN).contains(&reference_km_h);
        (!is_near).then(|| Finding::of_session(What::ReferenceNotRidden { reference_km_h, slowest_km_h, fastest_km_h }))
    }

    fn instrument_of_difference(&self, pair: Pair, quantity: Quantity) -> Option<f64> {
        let budget = self.venue.budget.as_ref();
        budget.map(|b| b.combined(&b.of_difference(pair.setup, pair.baseline, quantity)))
    }

    /// Used laps of a set-up.
    fn laps_of(&self, setup: usize) -> impl Iterator<Item = &LapAccount> + '_ {
        self.venue.fit.used.iter().map(|i| &self.venue.laps[*i].account).filter(move |a| a.setup == setup)
    }

    /// Variance of a quantity that rests on what was expected of some parameters.
    fn open(&self, linear: &Linear, of: &[Expected]) -> f64 {
        let fit = &self.venue.fit;
        let parts = fit.covariance.prior_parts(&linear.coefficients);
        let kinds = fit.layout.kinds();
        parts.iter().zip(&kinds).filter(|(_, kind)| kind.is_some_and(|k| of.contains(&k))).map(|(v, _)| v).sum()
    }

    fn setup(&self, s: usize, separable: bool) -> SetupResult {
        let q = &self.quantities[s];
        let setup = &self.session.setups[s];
        let laps_used = self.laps_of(s).count();
        let mean_speed_m_s = self.mean_speed_m_s(s);
        let rolling = self.instrument(s, Quantity::Crr).map(|u| u * self.power.per_crr_w);
        let aero = self.instrument(s, Quantity::Cda).map(|u| u * self.power.per_cda_w_m2);
        let hide = |e: Estimate| if separable { e } else { Estimate::default() };
        let least = &self.venue.fit.least_squares.parameters;
        let on_rollers = self.crr_on_rollers.get(s).copied().flatten();
        let held = on_rollers.unwrap_or(self.session.expected.crr);
        SetupResult {
            id: setup.id.clone(),
            label: setup.name().to_string(),
            crr: hide(self.estimate(&q.crr, self.instrument(s, Quantity::Crr))),
            cda_m2: hide(self.estimate(&q.cda, self.instrument(s, Quantity::Cda))),
            power_w: hide(self.estimate(&q.power, self.instrument(s, Quantity::Power))),
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
        let u = |quantity: Quantity| self.instrument_of_difference(pair, quantity);
        let (crr, cda_m2) = (self.known(&q.crr, u(Quantity::Crr)), self.known(&q.cda, u(Quantity::Cda)));
        let power_w = self.known(&q.power, u(Quantity::Power));
        if !separable && crr != Known::Exactly(0.0) && cda_m2 != Known::Exactly(0.0) {
            return PairDifference { pair, crr: Known::Not, cda_m2: Known::Not, power_w };
        }
        PairDifference { pair, crr, cda_m2, power_w }
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
            length_from: Some(if cut.lengths.by_wheel().is_some() { "speed channel" } else { "stated length" }.into()),
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
    let setups = between.replication.setups();
    seen.rests_on_prior().then(|| {
        Finding::of_session(What::RunToRunSupposed { repeats: seen.repeats, setups, fraction, of: "resistance" })
    })
}
