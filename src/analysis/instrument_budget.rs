//! What one standard uncertainty of each input does to the results: the type B budget (JCGM 100:2008, 5.1).
//!
//! Given a solved loop; moves each input by +u and −u, takes the response of the fit and gives the changes of Crr, CdA
//! and watts of every set-up. Differences between set-ups are taken from the same changes, so what is common cancels.
//!
//! The answer is that of the fit to first order, but for the length of laps that are counted by distance, which is solved for
//! anew: laps move along the loop with it, changes of speed fall into them, and first order told a third to a tenth of it.

use super::instrument::{InputQuantity, InstrumentBudget};
use super::loop_venue::{self, LoopVenue};
use super::repetition::{Move, Repetition};
use super::ridden_session::RiddenSession;
use crate::error::Error;
use crate::sample::Ride;
use crate::uncertainty::budget::{Budget, Source};
use rayon::prelude::*;

/// Works out the budget.
///
/// Errors: [`Error::Numerical`] when a repetition has no finite answer.
pub fn budget(inputs: &RiddenSession, rides: &[Ride], venue: &LoopVenue) -> Result<InstrumentBudget, Error> {
    let session = &inputs.session;
    let list = venue.moved_inputs(session);
    let again = Repetition::new(inputs, rides, venue)?;
    let at_base = again.at_base();
    let is_counted = list.iter().any(|(input, _)| *input == InputQuantity::LapLength);
    // By how much counted laps are cut longer; not at all where none is counted.
    let longer_m = |one: Move| if is_counted { one.longer_laps_m(venue.cut.length_m) } else { 0.0 };
    let change = |input: InputQuantity, by: f64| -> Option<Vec<f64>> {
        let one = Move { input, by };
        let first_order = less(&again.answer(one)?, &at_base);
        let beyond = match longer_m(one) {
            0.0 => None,
            longer_m => beyond_first_order(inputs, rides, &again, &at_base, longer_m),
        };
        Some(match beyond {
            Some(beyond) => first_order.iter().zip(beyond).map(|(a, b)| a + b).collect(),
            None => first_order,
        })
    };
    let mut sources: Vec<Source> = list
        .par_iter()
        .map(|&(input, u)| {
            let (plus, minus) = (change(input, u), change(input, -u));
            let name = match input.run() {
                Some(k) => format!("{}, run {}", input.group(), k + 1),
                None => input.group().to_string(),
            };
            match (plus, minus) {
                (Some(plus), Some(minus)) => Ok(Source {
                    name,
                    standard_uncertainty: u,
                    unit: input.unit().to_string(),
                    dof: f64::INFINITY,
                    plus,
                    minus,
                }),
                _ => Err(Error::Numerical {
                    stage: "uncertainty budget",
                    message: format!("no finite answer with {name} moved by {u} {}", input.unit()),
                }),
            }
        })
        .collect::<Result<_, _>>()?;
    let mut group: Vec<&'static str> = list.iter().map(|(input, _)| input.group()).collect();
    // Counted laps move along the loop from bend to straight, and what that does is no straight line in the length.
    for k in 0..list.len() {
        if longer_m(Move { input: list[k].0, by: 1.0 }) != 0.0 {
            sources.push(even_part(&sources[k]));
            group.push(group[k]);
        }
    }
    Ok(InstrumentBudget { budget: Budget::new(sources)?, setups: session.setups.len(), group })
}

/// What another length of counted laps does beyond first order, by solving the day with it: laps move along the loop by more and
/// more, changes of speed fall into them, and laps and weights become others. `None` where that cannot be solved.
fn beyond_first_order(
    inputs: &RiddenSession,
    rides: &[Ride],
    again: &Repetition,
    at_base: &[f64],
    longer_m: f64,
) -> Option<Vec<f64>> {
    let mut other = inputs.clone();
    let circuit = &mut other.session.circuit;
    circuit.length_m = Some(circuit.length_m? + longer_m);
    circuit.bend_radius_m = circuit.bend_radius_m.map(|radius_m| radius_m + longer_m / std::f64::consts::TAU);
    let venue = loop_venue::solve(&other, rides).ok()?;
    let solved = less(&again.of_venue(&venue)?, at_base);
    let first_order = less(&again.answer(Move { input: InputQuantity::LapLength, by: longer_m })?, at_base);
    Some(less(&solved, &first_order))
}

/// a − b.
fn less(a: &[f64], b: &[f64]) -> Vec<f64> {
    a.iter().zip(b).map(|(a, b)| a - b).collect()
}

/// What moves of either sign change alike, as a source beside the first-order one: with an error of x standard uncertainties,
/// x normal, an output moves by a x + e x², the mean square of which is a² + 3 e².
fn even_part(source: &Source) -> Source {
    let even = source.plus.iter().zip(&source.minus).map(|(plus, minus)| 3f64.sqrt() * 0.5 * (plus + minus));
    let Source { name, standard_uncertainty, unit, dof, .. } = source;
    Source::linear(name, *standard_uncertainty, unit, *dof, &even.collect::<Vec<f64>>())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_source_with_its_even_part_has_the_mean_square_of_a_parabola() {
        // a = 2, e = 1: moves of 3 and −1. ∫ (2x + x²)² φ(x) dx = 4 + 3.
        let source =
            Source { plus: vec![3.0], minus: vec![-1.0], ..Source::linear("x", 1.0, "m", f64::INFINITY, &[0.0]) };
        let even = even_part(&source);
        let both = Budget::new(vec![source, even]).unwrap().combined(&[1.0]);
        assert!((both.standard_uncertainty - 7f64.sqrt()).abs() < 1e-12, "{both:?}");
    }
}
