//! Speed at a power: the root of the power balance.
//!
//! Given parameters, conditions and watts; gives the one steady speed at which they balance, or why there is none.

use super::power::{Conditions, Demand, Parameters, check, demand_at_speed};
use crate::error::Error;
use argmin::core::{CostFunction, Executor, State, TerminationStatus};
use argmin::solver::brent::BrentRoot;
use serde::{Deserialize, Serialize};

/// Fastest speed that is looked at, m/s; nothing pedalled or rolling reaches it.
const CEILING_M_S: f64 = 200.0;
/// Speeds are solved to this, m/s, far below anything measured.
const TOLERANCE_M_S: f64 = 1e-9;

/// How a ride is paced: by a steady speed or by a steady power.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Pace {
    SpeedMS(f64),
    PowerW(f64),
}

/// Power missing at a speed.
struct Shortfall<'a> {
    rider: &'a Parameters,
    conditions: &'a Conditions,
    power_w: f64,
}

impl Shortfall<'_> {
    fn at(&self, speed_m_s: f64) -> f64 {
        demand_at_speed(self.rider, self.conditions, speed_m_s).total_w - self.power_w
    }
}

impl CostFunction for Shortfall<'_> {
    type Param = f64;
    type Output = f64;

    fn cost(&self, speed_m_s: &f64) -> Result<f64, argmin::core::Error> {
        Ok(self.at(*speed_m_s))
    }
}

/// The steady speed at a power, m/s, by Brent's method.
///
/// The balance P(v) = v F(v) with a resistance F that grows with v has exactly one root above zero for P > 0. With
/// P = 0 it is the speed of coasting, 0 where nothing pushes.
///
/// Errors: [`Error::Numerical`] when a value is not a sensible number, the power is negative, or nothing limits the
/// speed.
///
/// ```
/// use loopwright::demand::{Conditions, Parameters, demand_at_speed, speed_at_power};
/// let (rider, calm) = (Parameters::new(0.30, 0.004, 85.0), Conditions::calm(1.2));
/// let v = speed_at_power(&rider, &calm, 250.0).unwrap();
/// assert!((demand_at_speed(&rider, &calm, v).total_w - 250.0).abs() < 1e-6);
/// ```
pub fn speed_at_power(rider: &Parameters, conditions: &Conditions, power_w: f64) -> Result<f64, Error> {
    check(rider, conditions)?;
    let fail = |message: String| Error::Numerical { stage: "demand", message };
    if !(power_w.is_finite() && power_w >= 0.0) {
        return Err(fail(format!("power = {power_w} W is not a number from zero up; a rider cannot be paced by it")));
    }
    let shortfall = Shortfall { rider, conditions, power_w };
    // With no power the balance is also met standing still, so the search starts above rest.
    let floor = if power_w > 0.0 { 0.0 } else { 1e-6 };
    if shortfall.at(floor) >= 0.0 {
        return Ok(0.0);
    }
    if shortfall.at(CEILING_M_S) <= 0.0 {
        return Err(fail(format!(
            "nothing limits the speed below {CEILING_M_S} m/s at {power_w} W; check CdA, air density and gradient"
        )));
    }
    let solver = BrentRoot::new(floor, CEILING_M_S, TOLERANCE_M_S);
    let run = Executor::new(shortfall, solver)
        .configure(|state| state.max_iters(200))
        .run()
        .map_err(|e| fail(format!("the speed at {power_w} W could not be solved for ({e})")))?;
    let state = run.state();
    match (state.get_termination_status(), state.get_best_param()) {
        (TerminationStatus::Terminated(argmin::core::TerminationReason::SolverConverged), Some(&v)) => Ok(v),
        (status, _) => Err(fail(format!("the speed at {power_w} W did not settle ({status})"))),
    }
}

/// Power and its causes at a pace.
///
/// Errors: those of [`speed_at_power`], and a speed that is negative or not a number.
pub fn demand_at(rider: &Parameters, conditions: &Conditions, pace: Pace) -> Result<Demand, Error> {
    let speed = match pace {
        Pace::PowerW(power) => speed_at_power(rider, conditions, power)?,
        Pace::SpeedMS(speed) if speed.is_finite() && speed >= 0.0 => speed,
        Pace::SpeedMS(speed) => {
            let message = format!("speed = {speed} m/s is not a number from zero up");
            return Err(Error::Numerical { stage: "demand", message });
        }
    };
    check(rider, conditions)?;
    Ok(demand_at_speed(rider, conditions, speed))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn watts_and_speed_are_each_others_inverse_in_any_wind() {
        let rider = Parameters::new(0.25, 0.0035, 80.0);
        for headwind_m_s in [-9.0, -3.0, 0.0, 4.0] {
            for gradient in [-0.05, 0.0, 0.08] {
                for power in [0.5, 60.0, 400.0] {
                    let day = Conditions { headwind_m_s, gradient, crosswind_m_s: 1.0, ..Conditions::calm(1.15) };
                    let v = speed_at_power(&rider, &day, power).unwrap();
                    let back = demand_at_speed(&rider, &day, v).total_w;
                    assert!((back - power).abs() < 1e-5, "{headwind_m_s} {gradient} {power}: {v} m/s gives {back}");
                }
            }
        }
    }

    #[test]
    fn coasting_downhill_is_where_gravity_meets_drag() {
        let rider = Parameters {
            bearing_friction: crate::session::BearingFriction { constant_n: 0.0, linear_n_s_per_m: 0.0 },
            ..Parameters::new(0.3, 0.004, 85.0)
        };
        let hill = Conditions { gradient: -0.05, ..Conditions::calm(1.2) };
        // Closed form: ½ρCdA v² = m g (0.05 − 0.004) cos γ, by hand.
        let expected = (85.0 * 9.806_65 * 0.046 / 1.0025f64.sqrt() / 0.18).sqrt();
        assert!((speed_at_power(&rider, &hill, 0.0).unwrap() - expected).abs() < 1e-6);
        assert_eq!(speed_at_power(&rider, &Conditions::calm(1.2), 0.0).unwrap(), 0.0);
    }

    #[test]
    fn nonsense_is_refused_with_the_name_of_the_value() {
        let rider = Parameters::new(0.3, 0.004, 85.0);
        let calm = Conditions::calm(1.2);
        let said = |r: &Parameters, c: &Conditions, p| speed_at_power(r, c, p).unwrap_err().to_string();
        assert!(said(&rider, &calm, f64::NAN).contains("power"));
        assert!(said(&rider, &calm, -5.0).contains("power"));
        assert!(said(&Parameters { mass_kg: 0.0, ..rider }, &calm, 200.0).contains("mass"));
        assert!(said(&Parameters { cda_m2: f64::INFINITY, ..rider }, &calm, 200.0).contains("CdA"));
        let airless = Conditions { gradient: -0.1, air_density_kg_m3: 0.0, ..calm };
        assert!(said(&rider, &airless, 200.0).contains("nothing limits the speed"));
        assert!(demand_at(&rider, &calm, Pace::SpeedMS(-1.0)).is_err());
    }
}
