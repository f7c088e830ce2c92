//! What measures and errs: the input quantities of the budget (JCGM 100:2008, 4.1) and what a budget of them holds.
//!
//! Given a session; gives each input with its standard uncertainty, and a run's conditions with one input moved. It solves nothing.

use super::air_of_run::RunAir;
use crate::air::moist_air_density;
use crate::circuit::SpeedDelay;
use crate::quantity::pa_from_hpa;
use crate::session::{Session, WindMode};
use crate::solution::Quantity;
use crate::solve::account::RunConditions;
use crate::solve::gust::Gustiness;
use crate::uncertainty::budget::Budget;

/// Outputs kept for each set-up, in the order of [`Quantity::ALL`].
pub(super) const OUTPUTS: usize = 3;

/// A budget with where its lines come from.
#[derive(Debug, Clone)]
pub struct InstrumentBudget {
    pub budget: Budget,
    pub setups: usize,
    /// Name under which each source is reported; equal names are independent repeats of one kind.
    pub group: Vec<&'static str>,
}

/// Coefficients of one quantity of a set-up among those of all `setups`.
pub(super) fn coefficients_of_setup(setups: usize, setup: usize, quantity: Quantity) -> Vec<f64> {
    let mut c = vec![0.0; OUTPUTS * setups];
    c[OUTPUTS * setup + quantity as usize] = 1.0;
    c
}

/// Coefficients of the difference of two set-ups among the outputs of all `setups`.
pub(super) fn coefficients_of_difference(setups: usize, setup: usize, from: usize, quantity: Quantity) -> Vec<f64> {
    let mut c = coefficients_of_setup(setups, setup, quantity);
    c[OUTPUTS * from + quantity as usize] -= 1.0;
    c
}

impl InstrumentBudget {
    /// Coefficients of one quantity of a set-up.
    pub fn of_setup(&self, setup: usize, quantity: Quantity) -> Vec<f64> {
        coefficients_of_setup(self.setups, setup, quantity)
    }

    /// Coefficients of the difference of two set-ups.
    pub fn of_difference(&self, setup: usize, from: usize, quantity: Quantity) -> Vec<f64> {
        coefficients_of_difference(self.setups, setup, from, quantity)
    }

    /// Combined standard uncertainty of a combination.
    pub fn combined(&self, coefficients: &[f64]) -> f64 {
        self.budget.combined(coefficients).standard_uncertainty
    }

    /// Root sum of squares of the contributions of one group.
    pub fn contribution(&self, group: &str, coefficients: &[f64]) -> f64 {
        let all = self.budget.contributions(coefficients);
        all.iter().zip(&self.group).filter(|(_, g)| **g == group).map(|(c, _)| c * c).sum::<f64>().sqrt()
    }
}

/// One input quantity that is moved.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum InputQuantity {
    MassOfRun(usize),
    Power,
    PowerZero,
    /// Loss of the chain that does not grow with power.
    FixedLoss,
    /// CdA of slow laps over that of fast ones.
    CdaBetweenSpeeds,
    Speed,
    Temperature,
    Pressure,
    Humidity,
    Efficiency,
    WheelInertia,
    CentreOfMassHeight,
    Bearing,
    GivenWind,
    /// By how much the speed reading is late, which places the laps.
    SpeedDelay,
    /// How long the lap is that is ridden, where laps are counted by it.
    LapLength,
    /// Variance of the gusts.
    Gusts,
    /// Stated reading of the tyres of a run.
    TyreTemperatureOfRun(usize),
    TemperatureCoefficient,
}

impl InputQuantity {
    pub(crate) fn group(self) -> &'static str {
        match self {
            InputQuantity::MassOfRun(_) => "mass",
            InputQuantity::Power => "power scale",
            InputQuantity::PowerZero => "zero of the meter",
            InputQuantity::FixedLoss => "fixed loss of the chain",
            InputQuantity::CdaBetweenSpeeds => "CdA between speeds",
            InputQuantity::Speed => "speed scale",
            InputQuantity::Temperature => "air temperature",
            InputQuantity::Pressure => "air pressure",
            InputQuantity::Humidity => "humidity",
            InputQuantity::Efficiency => "drivetrain efficiency",
            InputQuantity::WheelInertia => "wheel inertia",
            InputQuantity::CentreOfMassHeight => "centre of mass height",
            InputQuantity::Bearing => "bearing drag",
            InputQuantity::GivenWind => "given wind",
            InputQuantity::SpeedDelay => "speed delay",
            InputQuantity::LapLength => "length of the lap",
            InputQuantity::Gusts => "gusts",
            InputQuantity::TyreTemperatureOfRun(_) => "tyre temperature",
            InputQuantity::TemperatureCoefficient => "temperature coefficient of Crr",
        }
    }

    /// The run that alone has this error.
    pub(crate) fn run(self) -> Option<usize> {
        match self {
            InputQuantity::MassOfRun(k) | InputQuantity::TyreTemperatureOfRun(k) => Some(k),
            _ => None,
        }
    }

    /// The same error of another run, where each run has its own.
    pub(crate) fn in_run(self, run: usize) -> InputQuantity {
        match self {
            InputQuantity::MassOfRun(_) => InputQuantity::MassOfRun(run),
            InputQuantity::TyreTemperatureOfRun(_) => InputQuantity::TyreTemperatureOfRun(run),
            other => other,
        }
    }

    pub(super) fn unit(self) -> &'static str {
        match self {
            InputQuantity::MassOfRun(_) => "kg",
            InputQuantity::PowerZero | InputQuantity::FixedLoss => "W",
            InputQuantity::Temperature | InputQuantity::TyreTemperatureOfRun(_) => "°C",
            InputQuantity::TemperatureCoefficient => "1/°C",
            InputQuantity::Pressure => "hPa",
            InputQuantity::Humidity => "%",
            InputQuantity::WheelInertia => "kg m²",
            InputQuantity::Gusts => "m²/s²",
            InputQuantity::CentreOfMassHeight | InputQuantity::LapLength => "m",
            InputQuantity::SpeedDelay => "s",
            InputQuantity::Power
            | InputQuantity::CdaBetweenSpeeds
            | InputQuantity::Speed
            | InputQuantity::Efficiency
            | InputQuantity::Bearing
            | InputQuantity::GivenWind => "1",
        }
    }
}

/// Standard uncertainty of each input that has one.
pub(crate) fn inputs_of(
    session: &Session,
    air: &[RunAir],
    speed_delay: Option<SpeedDelay>,
    lap_length_sd_m: Option<f64>,
    gustiness: Option<Gustiness>,
) -> Vec<(InputQuantity, f64)> {
    let u = &session.uncertainty;
    let least = |pick: &dyn Fn(&RunAir) -> f64| air.iter().map(pick).fold(0.0, f64::max);
    let mut inputs: Vec<(InputQuantity, f64)> =
        (0..session.runs.len()).map(|k| (InputQuantity::MassOfRun(k), u.mass_kg)).collect();
    inputs.extend([
        (InputQuantity::Power, u.power_fraction),
        (InputQuantity::PowerZero, u.power_zero_w),
        (InputQuantity::FixedLoss, u.fixed_loss_w),
        (InputQuantity::CdaBetweenSpeeds, u.cda_between_speeds_fraction),
        (InputQuantity::Speed, u.speed_fraction),
        (InputQuantity::Temperature, u.temperature_c.max(least(&|a| a.least_u.temperature_c))),
        (InputQuantity::Pressure, u.pressure_hpa.max(least(&|a| a.least_u.pressure_hpa))),
        (InputQuantity::Humidity, u.humidity_pct.max(least(&|a| a.least_u.humidity_pct))),
        (InputQuantity::Efficiency, u.drivetrain_efficiency),
        (InputQuantity::WheelInertia, u.wheel_inertia_kg_m2),
        (InputQuantity::CentreOfMassHeight, u.centre_of_mass_height_m),
        (InputQuantity::Bearing, u.bearing_fraction),
    ]);
    if session.wind.mode == WindMode::Given {
        inputs.push((InputQuantity::GivenWind, u.wind_fraction));
    }
    if let Some(delay) = speed_delay {
        inputs.push((InputQuantity::SpeedDelay, delay.sd_s));
    }
    if let Some(sd_m) = lap_length_sd_m {
        inputs.push((InputQuantity::LapLength, sd_m));
    }
    if let Some(g) = gustiness {
        inputs.push((InputQuantity::Gusts, g.standard_uncertainty));
    }
    inputs.extend(tyre_temperatures(session));
    inputs.retain(|(_, u)| *u > 0.0);
    inputs
}

/// What stands behind bringing Crr to a reference temperature, where that was asked for.
fn tyre_temperatures(session: &Session) -> Vec<(InputQuantity, f64)> {
    if session.circuit.temperature_coefficient_per_c.is_none() {
        return Vec::new();
    }
    let u = &session.uncertainty;
    // A probe is held to each tyre anew, so that its errors do not cancel between runs.
    let read = session.runs.iter().enumerate().filter(|(_, run)| run.tyre_temperature_c.is_some());
    let mut inputs: Vec<(InputQuantity, f64)> =
        read.map(|(k, _)| (InputQuantity::TyreTemperatureOfRun(k), u.temperature_c)).collect();
    inputs.push((InputQuantity::TemperatureCoefficient, u.temperature_coefficient_per_c.unwrap_or(0.0)));
    inputs
}

/// A run's conditions with one input moved.
pub(crate) fn alter<'a>(run: &RunConditions<'a>, air: &RunAir, input: InputQuantity, by: f64) -> RunConditions<'a> {
    let mut out = run.clone();
    let density = |dt: f64, dp: f64, dh: f64| {
        let at = |t: f64, p: f64, h: f64| moist_air_density(t, p, h).density_kg_m3;
        at(air.temperature_c + dt, air.pressure_pa + pa_from_hpa(dp), (air.humidity_pct + dh).max(0.0))
            / at(air.temperature_c, air.pressure_pa, air.humidity_pct)
    };
    match input {
        InputQuantity::MassOfRun(k) if k == run.run => out.rider.mass_kg += by,
        InputQuantity::MassOfRun(_) => {}
        InputQuantity::Power => out.power_scale += by,
        InputQuantity::PowerZero => out.added_power_w += by * run.rider.drivetrain_efficiency,
        InputQuantity::FixedLoss => out.added_power_w -= by,
        InputQuantity::Speed => out.speed_scale += by,
        InputQuantity::Temperature => {
            out.density = run.density.scaled(density(by, 0.0, 0.0));
            if run.tyres.is_of_air {
                out.tyres.above_reference_c += by;
            }
        }
        InputQuantity::TyreTemperatureOfRun(k) if k == run.run => out.tyres.above_reference_c += by,
        InputQuantity::TyreTemperatureOfRun(_) => {}
        InputQuantity::TemperatureCoefficient => out.tyres.coefficient_per_c += by,
        InputQuantity::Pressure => out.density = run.density.scaled(density(0.0, by, 0.0)),
        InputQuantity::Humidity => out.density = run.density.scaled(density(0.0, 0.0, by)),
        InputQuantity::Efficiency => out.rider.drivetrain_efficiency += by,
        InputQuantity::WheelInertia => out.rider.wheel_inertia_kg_m2 += by,
        InputQuantity::CentreOfMassHeight => out.rider.centre_of_mass_height_m += by,
        InputQuantity::Bearing => {
            out.rider.bearing_friction.constant_n *= 1.0 + by;
            out.rider.bearing_friction.linear_n_s_per_m *= 1.0 + by;
        }
        InputQuantity::GivenWind => {
            out.given_wind.east_m_s = run.given_wind.east_m_s.scaled(1.0 + by);
            out.given_wind.north_m_s = run.given_wind.north_m_s.scaled(1.0 + by);
        }
        // Gusts belong to the fit, and these others to the laps, not to a run's conditions.
        InputQuantity::Gusts
        | InputQuantity::SpeedDelay
        | InputQuantity::LapLength
        | InputQuantity::CdaBetweenSpeeds => {}
    }
    out
}
