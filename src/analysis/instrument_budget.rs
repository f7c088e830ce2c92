//! What one standard uncertainty of each input does to the results: the type B budget (JCGM 100:2008, 5.1).
//!
//! Given a solved loop; moves each input by +u and −u, takes the response of the fit and gives the changes of Crr, CdA
//! and watts of every set-up. Differences between set-ups are taken from the same changes, so what is common cancels.

use super::inputs::Inputs;
use super::instrument::{Input, InstrumentBudget};
use super::loop_venue::LoopVenue;
use super::repetition::{Move, Repetition};
use crate::error::Error;
use crate::sample::Ride;
use crate::uncertainty::budget::{Budget, Source};
use rayon::prelude::*;

/// Works out the budget.
///
/// Errors: [`Error::Numerical`] when a repetition has no finite answer.
pub fn budget(inputs: &Inputs, rides: &[Ride], venue: &LoopVenue) -> Result<InstrumentBudget, Error> {
    let session = &inputs.session;
    let list = venue.moved_inputs(session);
    let again = Repetition::new(inputs, rides, venue)?;
    let at_base = again.at_base();
    let change = |input: Input, by: f64| -> Option<Vec<f64>> {
        let moved = again.answer(Move { input, by })?;
        Some(moved.iter().zip(&at_base).map(|(a, b)| a - b).collect())
    };
    let sources: Vec<Source> = list
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
    Ok(InstrumentBudget {
        budget: Budget::new(sources)?,
        setups: session.setups.len(),
        group: list.iter().map(|(i, _)| i.group()).collect(),
    })
}
