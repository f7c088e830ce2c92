//! A rehearsed day, solved, with the truth beside each estimate.
//!
//! Given a rehearsal; hands its rides to the analysis as if they had been read from files and lays what was put in beside
//! what came out. It judges only whether an interval holds the truth.

use super::goal::Measure;
use crate::analysis::quantities::PowerAt;
use crate::analysis::{Depth, RiddenSession, analyse};
use crate::circuit::Survey;
use crate::error::Error;
use crate::session::{RiderAndBike, Session, Sharing, Venue};
use crate::simulate::{Rehearsal, SetupTruth, Truth};
use crate::solution::{Estimate, Solution};
use serde::Serialize;

/// Standard deviation of a survey for which none is stated, m.
const SURVEY_SD_M: f64 = 0.02;

/// One estimate and its truth.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BesideTruth {
    /// "amber", "basalt − amber", or "basalt − amber, together" for what loop and rollers say of it.
    pub subject: String,
    pub measure: Measure,
    pub truth: f64,
    pub estimate: Estimate,
    /// Whether the interval holds the truth; `null` where there is no interval.
    pub inside: Option<bool>,
}

/// Solves a rehearsal.
///
/// Errors: those of [`analyse`].
pub fn solve_rehearsal(rehearsal: &Rehearsal) -> Result<Solution, Error> {
    let session = rehearsal.session.clone();
    let survey = match &rehearsal.survey {
        Some(text) => Some(Survey::parse(text, "survey.csv", session.circuit.survey_sd_m.unwrap_or(SURVEY_SD_M))?),
        None => None,
    };
    let recordings = rehearsal.rides.iter().map(|r| r.to_recording()).collect();
    // The truth stands beside it, so that no second opinion on the scatter is needed.
    let depth = Depth { draws: 0, ..Depth::default() };
    Ok(analyse(&RiddenSession { session, recordings, weather: None, survey }, depth)?.solution)
}

/// What loop and rollers say together where only tyres differ, then every set-up and every difference with the baseline,
/// in Crr, CdA and watts.
pub fn beside_truth(rehearsal: &Rehearsal, solution: &Solution) -> Vec<BesideTruth> {
    let true_values = TrueValues::of(&rehearsal.session, &rehearsal.truth);
    let mut out = Vec::new();
    let mut add = |subject: String, truth: [Option<f64>; 3], estimates: [Estimate; 3]| {
        for ((measure, truth), estimate) in
            [Measure::Crr, Measure::CdaM2, Measure::PowerW].into_iter().zip(truth).zip(estimates)
        {
            // What was held or cannot be told has no interval to be judged.
            let (Some(truth), Some(_), Some(_)) = (truth, estimate.value, estimate.se) else { continue };
            let inside = estimate.low.zip(estimate.high).map(|(low, high)| (low..=high).contains(&truth));
            out.push(BesideTruth { subject: subject.clone(), measure, truth, estimate, inside });
        }
    };
    // Where CdA differs the verdict is that of the loop's watts.
    let rolling_decides = rehearsal.session.solve.cda == Sharing::Common;
    let venues = solution.venues.iter().filter(|_| rolling_decides);
    for c in venues.flat_map(|v| &v.combined) {
        let watts = |crr: f64| true_values.power.per_crr_w * crr;
        let crr = true_values.crr_apart(&c.setup, &c.baseline);
        let apart = [crr, None, crr.map(watts)];
        add(format!("{} − {}, together", c.setup, c.baseline), apart, [c.crr, Estimate::default(), c.rolling_power_w]);
    }
    for setup in &solution.setups {
        add(setup.id.clone(), true_values.of_setup(&setup.id), [setup.crr, setup.cda_m2, setup.power_w]);
    }
    for c in &solution.contrasts {
        let (a, b) = (true_values.of_setup(&c.setup), true_values.of_setup(&c.baseline));
        let apart = [0, 1, 2].map(|i| Some(a[i]? - b[i]?));
        add(format!("{} − {}", c.setup, c.baseline), apart, [c.crr, c.cda_m2, c.power_w]);
    }
    out
}

/// What was put in, in the quantities that come out.
struct TrueValues<'a> {
    setups: &'a [SetupTruth],
    power: PowerAt,
    /// All runs were on rollers, where tyres may roll otherwise and there is no air drag.
    rollers_only: bool,
}

impl<'a> TrueValues<'a> {
    fn of(session: &Session, truth: &'a Truth) -> TrueValues<'a> {
        // Watts are stated where power is measured, so the true efficiency and bearings count; mass, speed and air are
        // those of the reference.
        let true_session = Session {
            rider_and_bike: RiderAndBike {
                mass_kg: session.rider_and_bike.mass_kg,
                ..truth.instruments.rider_and_bike.clone()
            },
            ..session.clone()
        };
        TrueValues {
            setups: &truth.setups,
            power: PowerAt::reference(&true_session),
            rollers_only: session.runs.iter().all(|r| session.venue_of(r) == Venue::Rollers),
        }
    }

    /// Difference in Crr on the road, which is what rollers are ridden for too.
    fn crr_apart(&self, setup: &str, baseline: &str) -> Option<f64> {
        let crr = |id: &str| self.setups.iter().find(|s| s.id == id).map(|s| s.crr);
        Some(crr(setup)? - crr(baseline)?)
    }

    /// Crr, CdA and watts.
    fn of_setup(&self, id: &str) -> [Option<f64>; 3] {
        let Some(s) = self.setups.iter().find(|s| s.id == id) else { return [None; 3] };
        if self.rollers_only {
            return [Some(s.crr_rollers.unwrap_or(s.crr)), None, None];
        }
        let watts = self.power.per_crr_w * s.crr + self.power.per_cda_w_m2 * s.cda_m2 + self.power.bearing_w;
        [Some(s.crr), Some(s.cda_m2), Some(watts)]
    }
}
