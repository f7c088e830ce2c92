//! Which runs are on a loop and which on rollers; each venue on its own, then both together.
//!
//! Given all inputs; gives one outcome. Where a session mixes venues the loop's values stand at the top, because only a
//! loop shows CdA, and those of both under `venues`.

use super::combine::{Both, Side};
use super::left_out::solve_without_unusable;
use super::monte_carlo::Draws;
use super::on_rollers::of_rollers;
use super::one_loop::of_loop;
use super::part::Part;
use super::quantities::PowerAt;
use super::ridden_session::{Depth, RiddenSession};
use super::run_results::venue_word;
use super::solvable_laps::unusable;
use super::venue_outcome::VenueOutcome;
use crate::error::Error;
use crate::evidence::Evidence;
use crate::finding::{Finding, What};
use crate::sample::Ride;
use crate::session::{Session, Venue};
use crate::solution::{Estimate, SetupResult, Solution, VenueResult, Venues};

/// Solves every venue of the session, without the runs that cannot be used.
///
/// Errors: those of the venues.
pub fn solve(
    inputs: &RiddenSession,
    rides: &[Ride],
    depth: Depth,
    draws: Option<Draws>,
) -> Result<VenueOutcome, Error> {
    solve_without_unusable(inputs, rides, |inputs, rides| solve_all(inputs, rides, depth, draws))
}

fn solve_all(
    inputs: &RiddenSession,
    rides: &[Ride],
    depth: Depth,
    draws: Option<Draws>,
) -> Result<VenueOutcome, Error> {
    let session = &inputs.session;
    let venues: Vec<Venue> = session.runs.iter().map(|r| session.venue_of(r)).collect();
    if venues.iter().all(|v| *v == Venue::Rollers) {
        return of_rollers(inputs, rides, depth, draws);
    }
    if venues.iter().all(|v| *v == session.circuit.kind) {
        return of_loop(inputs, rides, depth, draws, &[]);
    }
    let on_loop = Part::of_venues(inputs, rides, &|v| v != Venue::Rollers);
    if !venues.contains(&Venue::Rollers) {
        return of_loop(&on_loop.inputs, &on_loop.rides, depth, draws, &[]);
    }
    let on_rollers = Part::of_venues(inputs, rides, &|v| v == Venue::Rollers);
    let mut rollers =
        of_rollers(&on_rollers.inputs, &on_rollers.rides, depth, draws).map_err(|e| on_rollers.renumbered(e))?;
    let known: Vec<Option<f64>> = on_loop
        .inputs
        .session
        .setups
        .iter()
        .map(|setup| rollers.solution.setups.iter().find(|s| s.id == setup.id)?.crr.value)
        .collect();
    // Without a loop the rollers still stand, so what leaves no lap to solve leaves out the runs and not the day.
    let without_laps = |e: Error| match e {
        Error::TooFewLaps { .. } | Error::NoLaps { .. } => unusable(&vec![Some(e.clone()); on_loop.runs.len()], e),
        other => other,
    };
    let mut circuit = of_loop(&on_loop.inputs, &on_loop.rides, depth, draws, &known)
        .map_err(|e| on_loop.renumbered(without_laps(e)))?;
    let both = Both::new(
        Side { solution: &circuit.solution, budget: circuit.budget.as_ref() },
        Side { solution: &rollers.solution, budget: rollers.budget.as_ref() },
    )?;
    let per_crr_w = PowerAt::reference(session).per_crr_w;
    let together = Venues {
        results: vec![
            venue_result(&circuit.solution, on_loop.inputs.session.circuit.kind),
            venue_result(&rollers.solution, Venue::Rollers),
        ],
        combined: both.combined(session, per_crr_w),
        combined_pairs: both.combined_pairs(session, per_crr_w),
        surface_loss: both.surface_losses(session, per_crr_w),
    };
    on_loop.renumber(&mut circuit);
    on_rollers.renumber(&mut rollers);
    let said = findings(session, &together, &on_loop, &on_rollers);
    Ok(one_solution(session, [(on_loop, circuit), (on_rollers, rollers)], together, said))
}

fn venue_result(solution: &Solution, venue: Venue) -> VenueResult {
    VenueResult {
        venue: venue_word(venue),
        baseline: solution.baseline.clone(),
        setups: solution.setups.clone(),
        contrasts: solution.contrasts.clone(),
        all_pairs: solution.all_pairs.clone(),
        budget: solution.budget.clone(),
        run_to_run: solution.run_to_run.clone(),
        factors: solution.factors.clone(),
    }
}

/// Runs in the order of the session; every set-up at the top, without values where the loop has none.
fn one_solution(
    session: &Session,
    [(on_loop, circuit), (on_rollers, rollers)]: [(Part, VenueOutcome); 2],
    together: Venues,
    said: Vec<Finding>,
) -> VenueOutcome {
    let count = session.runs.len();
    let place = |k: usize| {
        let find = |part: &Part| part.runs.iter().position(|of| *of == k);
        find(&on_loop).unwrap_or_else(|| on_loop.runs.len() + find(&on_rollers).unwrap_or_default())
    };
    let order: Vec<usize> = (0..count).map(place).collect();
    let sorted = |len: usize| order.iter().copied().filter(move |i| *i < len);
    let setup = |s: usize| match on_loop.setups.iter().position(|of| *of == s) {
        Some(i) => circuit.solution.setups[i].clone(),
        None => {
            let setup = &session.setups[s];
            SetupResult { id: setup.id.clone(), label: setup.name().to_string(), ..SetupResult::default() }
        }
    };
    let setups = (0..session.setups.len()).map(setup).collect();
    let runs = [circuit.solution.runs.clone(), rollers.solution.runs.clone()].concat();
    let series = [circuit.evidence.runs.clone(), rollers.evidence.runs.clone()].concat();
    let mut monte_carlo = circuit.solution.monte_carlo.clone();
    if let (Some(all), Some(more)) = (&mut monte_carlo, rollers.solution.monte_carlo) {
        all.results.extend(more.results);
    }
    let columns = [circuit.columns, rollers.columns].concat();
    VenueOutcome {
        solution: Solution {
            setups,
            runs: sorted(runs.len()).map(|i| runs[i].clone()).collect(),
            venues: Some(together),
            monte_carlo,
            ..circuit.solution
        },
        findings: order_told_once(circuit.findings.into_iter().chain(rollers.findings).chain(said).collect()),
        evidence: Evidence {
            runs: sorted(series.len()).map(|i| series[i].clone()).collect(),
            warm_ups: rollers.evidence.warm_ups,
            ..circuit.evidence
        },
        columns: sorted(columns.len()).map(|i| columns[i].clone()).collect(),
        budget: circuit.budget,
    }
}

/// One finding of the order for both venues.
fn order_told_once(findings: Vec<Finding>) -> Vec<Finding> {
    let mut out: Vec<Finding> = Vec::new();
    for finding in findings {
        let first = out.iter_mut().find_map(|f| match &mut f.what {
            What::OrderConfounded { orders } => Some(orders),
            _ => None,
        });
        match (first, finding) {
            (Some(orders), Finding { what: What::OrderConfounded { orders: more }, .. }) => orders.extend(more),
            (_, finding) => out.push(finding),
        }
    }
    out
}

/// Half of an interval.
fn half_width(e: &Estimate) -> Option<f64> {
    Some(0.5 * (e.high? - e.low?))
}

fn findings(session: &Session, together: &Venues, on_loop: &Part, on_rollers: &Part) -> Vec<Finding> {
    let name = |id: &str| session.setups.iter().find(|s| s.id == id).map_or(id, |s| s.name()).to_string();
    let on = session.circuit.kind.name();
    let mut out = Vec::new();
    for loss in &together.surface_loss {
        if let (Some(crr), Some(rolling_power_w)) = (loss.crr.value, loss.rolling_power_w.value) {
            let half_width = half_width(&loss.crr);
            out.push(What::SurfaceLoss { on, setup: name(&loss.setup), crr, half_width, rolling_power_w });
        }
    }
    for c in together.combined.iter().filter(|c| !c.agreement.agree) {
        let (q, p_value) = (c.agreement.q.unwrap_or(f64::NAN), c.agreement.p_value.unwrap_or(f64::NAN));
        out.push(What::VenuesDisagree { on, setup: name(&c.setup), baseline: name(&c.baseline), q, p_value });
    }
    for (s, setup) in session.setups.iter().enumerate() {
        match (on_loop.setups.contains(&s), on_rollers.setups.contains(&s)) {
            (true, true) => out.extend(
                pressure_gap_kpa(session, s)
                    .filter(|gap| *gap > SAME_PRESSURE_KPA)
                    .map(|gap_kpa| What::PressuresDiffer { on, setup: setup.name().into(), gap_kpa }),
            ),
            (true, false) => out.push(What::OneVenueOnly { setup: setup.name().into(), venue: on }),
            _ => out.push(What::OneVenueOnly { setup: setup.name().into(), venue: Venue::Rollers.name() }),
        }
    }
    out.into_iter().map(Finding::of_session).collect()
}

/// A gauge reads no closer, kPa (common practice, no source).
const SAME_PRESSURE_KPA: f64 = 10.0;

/// Largest difference in pressure of a set-up between a run on the loop and one on rollers.
fn pressure_gap_kpa(session: &Session, setup: usize) -> Option<f64> {
    let of = |rollers: bool| {
        let runs = session.runs.iter().filter(move |r| session.setup_of(r) == setup);
        runs.filter(move |r| (session.venue_of(r) == Venue::Rollers) == rollers).filter_map(|r| r.tyre_pressure_kpa)
    };
    let gaps = of(false).flat_map(|a| of(true).map(move |b| (a.front - b.front).abs().max((a.rear - b.rear).abs())));
    gaps.reduce(f64::max)
}
