//! Check of the budget by random draws: all inputs of the instruments drawn at once, everything solved again, and
//! the interval of the draws set beside the reported one (JCGM 101:2008, clauses 7 and 8).
//!
//! Given a solution and a way to solve again with inputs moved; gives one line for each quantity that has an interval.
//! Inputs are drawn from normal distributions (a best estimate with a standard uncertainty, 6.4.7), scatter from
//! Student's t (6.4.9). The same seed gives the same numbers whatever the number of threads. It changes no result.

use super::instrument::{coefficients_of_difference, coefficients_of_setup};
use super::loop_venue::LoopVenue;
use super::repetition::{Move, Repetition};
use super::ridden_session::RiddenSession;
use super::run_results::venue_word;
use crate::error::Error;
use crate::finding::{Finding, What};
use crate::sample::Ride;
use crate::session::{Session, Venue};
use crate::solution::{Contrast, Estimate, MonteCarlo, MonteCarloResult, Quantities, Quantity, SetupResult, Solution};
use crate::uncertainty::monte_carlo::{InputDistribution, Propagated, propagate};

/// Fewest and most draws: below, the ends of an interval are noise; the most is what 7.2.2 advises for 95 %.
pub const FEWEST_DRAWS: usize = 1_000;
pub const MOST_DRAWS: usize = 200_000;
/// Draws over the least that make the ends of the intervals sharp enough, so that the next check is not short again.
const SPARE_DRAWS: f64 = 1.5;
/// Most numbers kept at a time.
const MOST_NUMBERS: usize = 20_000_000;
/// Significant digits of a standard uncertainty that count (n_dig of 7.9.2). With two the ends of an interval would need
/// a million draws; what a second digit would show is below what a standard uncertainty is known to.
const DIGITS: u32 = 1;

/// How many draws, and what is called as each begins; whoever unwinds out of it ends them all.
#[derive(Clone, Copy)]
pub struct Draws<'a> {
    pub number: usize,
    pub at_each: &'a (dyn Fn() + Sync),
}

/// One quantity to be checked.
struct Checked {
    setup: String,
    baseline: Option<String>,
    quantity: &'static str,
    /// Over the outputs of all set-ups.
    coefficients: Vec<f64>,
    estimate: Estimate,
}

/// Something that can be solved again: how much its outputs move for standard normal deviates of its inputs.
pub struct Chain<'a> {
    pub venue: Venue,
    pub inputs: usize,
    pub change: &'a (dyn Fn(&[f64]) -> Option<Vec<f64>> + Sync),
}

/// Checks the results of a loop.
///
/// Errors: [`Error::Usage`] when the numbers of so many draws cannot be kept.
pub fn of_loop(
    inputs: &RiddenSession,
    rides: &[Ride],
    venue: &LoopVenue,
    solution: &Solution,
    draws: Draws,
) -> Result<MonteCarlo, Error> {
    let session = &inputs.session;
    let list = venue.moved_inputs(session);
    let again = Repetition::new(inputs, rides, venue)?;
    let base = again.at_base();
    let change = |z: &[f64]| {
        let moves: Vec<Move> = list.iter().zip(z).map(|(&(input, u), z)| Move { input, by: z * u }).collect();
        Some(again.solve(&moves)?.iter().zip(&base).map(|(a, b)| a - b).collect())
    };
    check(session, solution, &Chain { venue: session.circuit.kind, inputs: list.len(), change: &change }, draws)
}

/// Checks every quantity of a venue that has an interval.
pub fn check(session: &Session, solution: &Solution, chain: &Chain, draws: Draws) -> Result<MonteCarlo, Error> {
    let all = checked(session, solution, chain.venue);
    let number = draws.number;
    let numbers = number.saturating_mul(2 * all.len().max(1));
    if numbers > MOST_NUMBERS {
        return Err(Error::Usage {
            flag: "--monte-carlo".into(),
            message: format!(
                "{number} draws of {} quantities are {numbers} numbers, more than the limit of {MOST_NUMBERS}; draw {} \
                 at most",
                all.len(),
                MOST_NUMBERS / (2 * all.len().max(1))
            ),
        });
    }
    let mut inputs = vec![InputDistribution::Normal { mean: 0.0, sd: 1.0 }; chain.inputs];
    inputs.extend(all.iter().map(|c| scatter(&c.estimate)));
    let count = chain.inputs;
    let model = |drawn: &[f64], out: &mut [f64]| {
        (draws.at_each)();
        // What has no answer leaves NaN, which is counted.
        if let Some(change) = (chain.change)(&drawn[..count]) {
            for (k, c) in all.iter().enumerate() {
                let moved: f64 = c.coefficients.iter().zip(&change).map(|(a, b)| a * b).sum();
                let value = c.estimate.value.unwrap_or(f64::NAN);
                out[2 * k] = value + moved;
                out[2 * k + 1] = value + moved + drawn[count + k];
            }
        }
    };
    let drawn = propagate(&inputs, 2 * all.len(), number, session.solve.confidence, session.solve.seed, model)?;
    let word = venue_word(chain.venue);
    let results = all.iter().zip(drawn.chunks_exact(2)).map(|(c, pair)| line(&word, c, &pair[0], &pair[1])).collect();
    Ok(MonteCarlo { draws: number, seed: session.solve.seed, digits: DIGITS, results })
}

fn checked(session: &Session, solution: &Solution, venue: Venue) -> Vec<Checked> {
    let setups = session.setups.len();
    let place = |id: &str| session.setups.iter().position(|s| s.id == id);
    let rows = |id: &str, baseline: Option<&str>, of: Quantities<Estimate>, power: &'static str| {
        let one = |quantity: Quantity| {
            let coefficients = match baseline {
                None => coefficients_of_setup(setups, place(id)?, quantity),
                Some(baseline) => coefficients_of_difference(setups, place(id)?, place(baseline)?, quantity),
            };
            Some(Checked {
                setup: id.to_string(),
                baseline: baseline.map(str::to_string),
                quantity: if quantity == Quantity::Power { power } else { quantity.key() },
                coefficients,
                estimate: *quantity.of(&of),
            })
        };
        Quantity::ALL.into_iter().filter_map(one).collect::<Vec<Checked>>()
    };
    let of_setup = |s: &SetupResult| {
        let rolling = ("rolling_power_w", s.rolling_power_w);
        let (key, power_w) = if venue == Venue::Rollers { rolling } else { (Quantity::Power.key(), s.power_w) };
        rows(&s.id, None, Quantities { crr: s.crr, cda_m2: s.cda_m2, power_w }, key)
    };
    let of_contrast = |c: &Contrast| {
        let of = Quantities { crr: c.crr, cda_m2: c.cda_m2, power_w: c.power_w };
        rows(&c.setup, Some(&c.baseline), of, Quantity::Power.key())
    };
    let all = solution.setups.iter().flat_map(of_setup).chain(solution.contrasts.iter().flat_map(of_contrast));
    let has_interval = |c: &Checked| c.estimate.value.is_some() && c.estimate.se.is_some_and(|se| se > 0.0);
    all.filter(has_interval).collect()
}

/// Scatter about 0, with its degrees of freedom got back from those of the whole (JCGM 100, eq. G.2b).
fn scatter(e: &Estimate) -> InputDistribution {
    let (part, whole) = (e.scatter_se.unwrap_or(0.0), e.se.unwrap_or(f64::NAN));
    let dof = e.dof.map_or(f64::INFINITY, |dof| dof * (part / whole).powi(4));
    if dof.is_finite() && dof > 0.0 && part > 0.0 {
        InputDistribution::Student { mean: 0.0, standard_error: part, dof }
    } else {
        InputDistribution::Normal { mean: 0.0, sd: part }
    }
}

/// δ of JCGM 101, 7.9.2: u = c · 10^l with `DIGITS` digits in c, δ = ½ · 10^l.
fn tolerance(standard_uncertainty: f64) -> f64 {
    // Scientific notation rounds c first, so that 0.96 counts as 1 · 10^0.
    let decimals = DIGITS as usize - 1;
    let rounded = format!("{standard_uncertainty:.decimals$e}");
    let exponent: i32 = rounded.split_once('e').and_then(|(_, power)| power.parse().ok()).unwrap_or(0);
    0.5 * 10f64.powi(exponent - decimals as i32)
}

fn line(venue: &str, c: &Checked, instrument: &Propagated, whole: &Propagated) -> MonteCarloResult {
    let e = &c.estimate;
    let known = |x: f64| x.is_finite().then_some(x);
    let delta = tolerance(e.se.unwrap_or(f64::NAN));
    let apart = |reported: Option<f64>, drawn: f64| (reported.unwrap_or(f64::NAN) - drawn).abs();
    let gap = apart(e.low, whole.symmetric.low).max(apart(e.high, whole.symmetric.high));
    MonteCarloResult {
        venue: venue.to_string(),
        setup: c.setup.clone(),
        baseline: c.baseline.clone(),
        quantity: c.quantity.into(),
        instrument_se: known(instrument.sd),
        budget_instrument_se: e.instrument_se,
        low: known(whole.symmetric.low),
        high: known(whole.symmetric.high),
        budget_low: e.low,
        budget_high: e.high,
        tolerance: known(delta),
        sampling_se: known(whole.end_se),
        failed: whole.failed,
        verdict: verdict(gap, delta, whole.end_se).into(),
    }
}

/// The intervals agree when both ends are within δ (8.1) and the draws are many enough to say so: two standard errors
/// of an end below δ. They differ when the gap is above δ by more than two standard errors.
fn verdict(gap: f64, delta: f64, end_se: f64) -> &'static str {
    if gap - 2.0 * end_se > delta {
        "differs"
    } else if gap <= delta && 2.0 * end_se <= delta {
        "agrees"
    } else {
        "too few draws"
    }
}

/// What must be told of a check.
pub fn findings(check: &MonteCarlo) -> Vec<Finding> {
    let of = check.results.len();
    let mut out = Vec::new();
    let gap = |r: &MonteCarloResult| -> f64 {
        let ends =
            [(r.low, r.budget_low), (r.high, r.budget_high)].map(|(a, b)| a.zip(b).map_or(0.0, |(a, b)| (a - b).abs()));
        ends[0].max(ends[1]) / r.tolerance.unwrap_or(f64::INFINITY)
    };
    let differing: Vec<&MonteCarloResult> = check.results.iter().filter(|r| r.verdict == "differs").collect();
    if let Some(worst) = differing.iter().max_by(|a, b| gap(a).total_cmp(&gap(b))) {
        let less = worst.baseline.as_ref().map(|b| format!(" less {b}")).unwrap_or_default();
        let quantity = match worst.quantity.as_str() {
            "crr" => "Crr",
            "cda_m2" => "CdA",
            _ => "watts",
        };
        let largest = format!("{quantity} of {}{less}", worst.setup);
        out.push(What::MonteCarloDiffers { count: differing.len(), of, largest });
    }
    // Errors of the ends over what they may be; where they are small enough only the gap is in the way.
    let noise = |r: &MonteCarloResult| 2.0 * r.sampling_se.unwrap_or(f64::INFINITY) / r.tolerance.unwrap_or(f64::NAN);
    let unsure = check.results.iter().filter(|r| r.verdict == "too few draws");
    let (near, noisy): (Vec<_>, Vec<_>) = unsure.partition(|r| noise(r) <= 1.0 || check.draws >= MOST_DRAWS);
    if !noisy.is_empty() {
        let most = noisy.iter().map(|r| noise(r).powi(2)).fold(0.0, f64::max);
        let wanted = (check.draws as f64 * most * SPARE_DRAWS).min(MOST_DRAWS as f64) as usize;
        out.push(What::TooFewDraws { count: noisy.len(), of, wanted });
    }
    if !near.is_empty() {
        out.push(What::NearTolerance { count: near.len(), of });
    }
    let failed = check.results.iter().map(|r| r.failed).max().unwrap_or(0);
    if failed > 0 {
        out.push(What::DrawsFailed { failed, draws: check.draws });
    }
    out.into_iter().map(Finding::of_session).collect()
}

#[cfg(test)]
#[path = "monte_carlo_tests.rs"]
mod tests;
