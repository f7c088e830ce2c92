//! What a result means at another pace: watts, speed and time of each set-up and against the baseline, with intervals.
//!
//! Given a solution and the conditions of a ride; gives estimates. It measures nothing anew: the intervals are those of the
//! result, carried to the pace by what Crr and CdA do to the watts there.
//!
//! With P = a Crr + b CdA + c at a steady speed, u²(P) = a² u²(Crr) + b² u²(CdA) + 2ab r u(Crr) u(CdA). The correlation r
//! is the one with which the result's own watts at its reference have their error, so that at the reference the interval is
//! that of the result. At a given power a set-up that needs ΔP less rides faster by ΔP/(dP/dv), to first order in the error.

mod carried_error;

use crate::demand::{Conditions, Pace, Parameters, demand_at, demand_at_speed};
use crate::error::Error;
use crate::quantity::m_s_from_km_h;
use crate::solution::{Estimate, SetupResult, Solution};
use carried_error::{Known, Slopes, factor, slopes, with_error};
use serde::Serialize;

/// What a ride is like.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ride {
    pub conditions: Conditions,
    /// That of the result's reference where it is `None`.
    pub mass_kg: Option<f64>,
    /// For results that have none, as those of rollers; taken as exact.
    pub cda_m2: Option<f64>,
    pub pace: Pace,
    pub distance_m: Option<f64>,
}

/// One set-up at the pace.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AtPace {
    pub setup: String,
    pub label: String,
    pub power_w: Estimate,
    pub speed_m_s: Estimate,
    pub time_s: Option<Estimate>,
    /// `null` for the baseline itself and where the difference is not known.
    pub against_baseline: Option<Against>,
}

/// A set-up less the baseline.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Against {
    /// At the speed of the baseline.
    pub power_w: Estimate,
    /// Over the distance at the pace's power; `null` at a given speed or without a distance.
    pub time_s: Option<Estimate>,
}

/// See the module, one entry a set-up.
///
/// Errors: [`Error::NotPoolable`] never; [`Error::Numerical`] where a set-up has no Crr or no CdA, and those of
/// [`demand_at`].
pub fn outlook(solution: &Solution, ride: &Ride) -> Result<Vec<AtPace>, Error> {
    let baseline = solution.setups.iter().find(|s| s.id == solution.baseline).or(solution.setups.first());
    let Some(baseline) = baseline else { return Ok(Vec::new()) };
    let first = rider(solution, baseline, ride)?;
    let speed_of_baseline = demand_at(&first, &ride.conditions, ride.pace)?.speed_m_s;
    solution
        .setups
        .iter()
        .map(|setup| {
            let rider = rider(solution, setup, ride)?;
            let known = known(setup, ride);
            let demand = demand_at(&rider, &ride.conditions, ride.pace)?;
            let (v, reference) = (demand.speed_m_s, at_reference(solution, &rider));
            let watts = known.watts(demand.total_w, &slopes(&rider, &ride.conditions, v), &reference);
            let at_power = matches!(ride.pace, Pace::PowerW(_));
            let per_watt = 1.0 / steepness(&rider, &ride.conditions, v);
            let (se, factor) = (watts.se.unwrap_or(0.0), factor(&watts));
            let speed = if at_power { with_error(v, se * per_watt, factor) } else { with_error(v, 0.0, 0.0) };
            let power = if at_power { with_error(demand.total_w, 0.0, 0.0) } else { watts };
            let time = ride.distance_m.map(|d| with_error(d / v, d / (v * v) * speed.se.unwrap_or(0.0), factor));
            Ok(AtPace {
                setup: setup.id.clone(),
                label: setup.label.clone(),
                power_w: power,
                speed_m_s: speed,
                time_s: time,
                against_baseline: against(solution, ride, setup, &first, &rider, speed_of_baseline),
            })
        })
        .collect()
}

/// How many watts more a m/s takes.
fn steepness(rider: &Parameters, conditions: &Conditions, speed_m_s: f64) -> f64 {
    let step = 1e-4 * speed_m_s.max(1.0);
    let watts = |v: f64| demand_at_speed(rider, conditions, v).total_w;
    (watts(speed_m_s + step) - watts(speed_m_s - step)) / (2.0 * step)
}

fn against(
    solution: &Solution,
    ride: &Ride,
    setup: &SetupResult,
    first: &Parameters,
    other: &Parameters,
    speed_m_s: f64,
) -> Option<Against> {
    let contrast = solution.contrasts.iter().find(|c| c.setup == setup.id && c.baseline == solution.baseline)?;
    let value = demand_at_speed(other, &ride.conditions, speed_m_s).total_w
        - demand_at_speed(first, &ride.conditions, speed_m_s).total_w;
    let difference = Known { crr: contrast.crr, cda_m2: contrast.cda_m2, power_w: contrast.power_w };
    contrast.crr.value.or(contrast.cda_m2.value)?;
    let here = slopes(first, &ride.conditions, speed_m_s);
    let power_w = difference.watts(value, &here, &at_reference(solution, first));
    let time_s = match (ride.pace, ride.distance_m) {
        (Pace::PowerW(_), Some(distance_m)) => {
            let v = |rider: &Parameters| demand_at(rider, &ride.conditions, ride.pace).ok().map(|d| d.speed_m_s);
            let gained = distance_m / v(other)? - distance_m / v(first)?;
            let per_watt = distance_m / (speed_m_s * speed_m_s) / steepness(first, &ride.conditions, speed_m_s);
            Some(with_error(gained, power_w.se.unwrap_or(0.0) * per_watt, factor(&power_w)))
        }
        _ => None,
    };
    Some(Against { power_w, time_s })
}

fn known(setup: &SetupResult, ride: &Ride) -> Known {
    let measured = setup.cda_m2.value.is_some();
    let power_w = if measured { setup.power_w } else { setup.rolling_power_w };
    let exact = Estimate { value: ride.cda_m2, ..Estimate::default() };
    Known { crr: setup.crr, cda_m2: if measured { setup.cda_m2 } else { exact }, power_w }
}

fn at_reference(solution: &Solution, rider: &Parameters) -> Slopes {
    let reference = &solution.reference;
    let rider = Parameters { mass_kg: reference.mass_kg, ..*rider };
    slopes(&rider, &Conditions::calm(reference.air_density_kg_m3), m_s_from_km_h(reference.speed_km_h))
}

/// The rider of a set-up. What is lost between meter and road is taken so that the watts at the reference are those of the
/// result.
fn rider(solution: &Solution, setup: &SetupResult, ride: &Ride) -> Result<Parameters, Error> {
    let fail = |what: &str, next: &str| Error::Numerical {
        stage: "demand",
        message: format!("set-up «{}» has no {what} in this result; {next}", setup.id),
    };
    let crr = setup.crr.value.ok_or_else(|| {
        fail("Crr of its own", "ride two clearly different speeds, or give --crr and --cda-m2 without --from")
    })?;
    let cda_m2 = setup.cda_m2.value.or(ride.cda_m2).ok_or_else(|| fail("CdA", "state one with --cda-m2"))?;
    let reference = &solution.reference;
    let at_reference = Parameters { drivetrain_efficiency: 1.0, ..Parameters::new(cda_m2, crr, reference.mass_kg) };
    let calm = Conditions::calm(reference.air_density_kg_m3);
    let road_w = demand_at_speed(&at_reference, &calm, m_s_from_km_h(reference.speed_km_h)).total_w;
    let told = setup.power_w.value.filter(|w| *w > 0.0).map(|w| road_w / w).filter(|e| (0.8..=1.0).contains(e));
    let usual = Parameters::new(cda_m2, crr, reference.mass_kg);
    Ok(Parameters {
        mass_kg: ride.mass_kg.unwrap_or(reference.mass_kg),
        drivetrain_efficiency: told.unwrap_or(usual.drivetrain_efficiency),
        ..usual
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::solution::{Contrast, ReferenceConditions};

    fn estimate(value: f64, se: f64) -> Estimate {
        Estimate {
            value: Some(value),
            se: Some(se),
            low: Some(value - 2.0 * se),
            high: Some(value + 2.0 * se),
            ..Estimate::default()
        }
    }

    /// Two tyres with one CdA, whose watts at the reference have the error that only Crr has.
    fn result() -> Solution {
        let reference = ReferenceConditions { speed_km_h: 36.0, mass_kg: 85.0, air_density_kg_m3: 1.2 };
        let setup = |id: &str, crr: f64| {
            let rider = Parameters::new(0.30, crr, 85.0);
            let watts = demand_at_speed(&rider, &Conditions::calm(1.2), 10.0).total_w;
            SetupResult {
                id: id.into(),
                crr: estimate(crr, 0.0001),
                cda_m2: estimate(0.30, 0.003),
                power_w: estimate(watts, 1.5),
                ..SetupResult::default()
            }
        };
        // 85 · 9.80665 · 10 / 0.976 = 8540.7 W for a unit of Crr.
        let contrast = Contrast {
            setup: "b".into(),
            baseline: "a".into(),
            crr: estimate(-0.0005, 0.0001),
            cda_m2: Estimate { value: Some(0.0), ..Estimate::default() },
            power_w: estimate(-4.27, 0.854),
            ..Contrast::default()
        };
        Solution {
            reference,
            baseline: "a".into(),
            setups: vec![setup("a", 0.0045), setup("b", 0.0040)],
            contrasts: vec![contrast],
            ..Solution::default()
        }
    }

    fn ride(pace: Pace) -> Ride {
        Ride { conditions: Conditions::calm(1.2), mass_kg: None, cda_m2: None, pace, distance_m: Some(40_000.0) }
    }

    #[test]
    fn at_the_reference_watts_and_interval_are_those_of_the_result() {
        let solution = result();
        let all = outlook(&solution, &ride(Pace::SpeedMS(10.0))).expect("an outlook");
        let first = &all[0];
        assert!((first.power_w.value.unwrap() - solution.setups[0].power_w.value.unwrap()).abs() < 1e-9);
        assert!((first.power_w.se.unwrap() - 1.5).abs() < 1e-9, "{first:?}");
        let gained = all[1].against_baseline.as_ref().expect("a difference");
        assert!(
            (gained.power_w.value.unwrap() + 4.270).abs() < 0.001 && (gained.power_w.se.unwrap() - 0.854).abs() < 0.001
        );
    }

    #[test]
    fn a_difference_of_rolling_alone_grows_with_the_speed_and_so_does_its_interval() {
        let all = outlook(&result(), &ride(Pace::SpeedMS(12.5))).expect("an outlook");
        let gained = all[1].against_baseline.as_ref().expect("a difference").power_w;
        assert!(
            (gained.value.unwrap() + 4.270 * 1.25).abs() < 0.001 && (gained.se.unwrap() - 0.854 * 1.25).abs() < 0.001
        );
    }

    #[test]
    fn time_at_a_power_has_the_interval_that_both_of_its_ends_give() {
        let solution = result();
        let pace = Pace::PowerW(250.0);
        let all = outlook(&solution, &ride(pace)).expect("an outlook");
        let time = all[1].against_baseline.as_ref().and_then(|a| a.time_s).expect("a time");
        // As somebody would by hand: the journey with Crr at both ends of the difference's interval.
        let of = |crr: f64| {
            let v = demand_at(&Parameters::new(0.30, crr, 85.0), &Conditions::calm(1.2), pace).unwrap().speed_m_s;
            40_000.0 / v
        };
        let (low, high) = (of(0.0045 - 0.0007) - of(0.0045), of(0.0045 - 0.0003) - of(0.0045));
        assert!(
            (time.low.unwrap() - low).abs() < 0.4 && (time.high.unwrap() - high).abs() < 0.4,
            "{time:?}, {low} to {high}"
        );
    }

    #[test]
    fn a_result_of_rollers_needs_a_cda_and_says_so() {
        let mut solution = result();
        solution.setups.iter_mut().for_each(|s| s.cda_m2 = Estimate::default());
        let message = outlook(&solution, &ride(Pace::SpeedMS(10.0))).expect_err("no CdA").to_string();
        assert!(message.contains("--cda-m2"), "{message}");
        let with = Ride { cda_m2: Some(0.3), ..ride(Pace::SpeedMS(10.0)) };
        assert!(outlook(&solution, &with).is_ok());
    }
}
