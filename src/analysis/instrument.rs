//! The inputs of the instruments, and what a budget of them holds.
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

/// One input that is moved.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Input {
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

impl Input {
    pub(crate) fn group(self) -> &'static str {
        match self {
            Input::MassOfRun(_) => "mass",
            Input::Power => "power scale",
            Input::PowerZero => "zero of the meter",
            Input::FixedLoss => "fixed loss of the chain",
            Input::CdaBetweenSpeeds => "CdA between speeds",
            Input::Speed => "speed scale",
            Input::Temperature => "air temperature",
            Input::Pressure => "air pressure",
            Input::Humidity => "humidity",
            Input::Efficiency => "drivetrain efficiency",
            Input::WheelInertia => "wheel inertia",
            Input::CentreOfMassHeight => "centre of mass height",
            Input::Bearing => "bearing drag",
            Input::GivenWind => "given wind",
            Input::SpeedDelay => "speed delay",
            Input::LapLength => "length of the lap",
            Input::Gusts => "gusts",
            Input::TyreTemperatureOfRun(_) => "tyre temperature",
            Input::TemperatureCoefficient => "temperature coefficient of Crr",
        }
    }

    /// The run that alone has this error.
    pub(crate) fn run(self) -> Option<usize> {
        match self {
            Input::MassOfRun(k) | Input::TyreTemperatureOfRun(k) => Some(k),
            _ => None,
        }
    }

    /// The same error of another run, where each run has its own.
    pub(crate) fn in_run(self, run: usize) -> Input {
        match self {
            Input::MassOfRun(_) => Input::MassOfRun(run),
            Input::TyreTemperatureOfRun(_) => Input::TyreTemperatureOfRun(run),
            other => other,
        }
    }

    pub(super) fn unit(self) -> &'static str {
        match self {
            Input::MassOfRun(_) => "kg",
            Input::PowerZero | Input::FixedLoss => "W",
            Input::Temperature | Input::TyreTemperatureOfRun(_) => "°C",
            Input::TemperatureCoefficient => "1/°C",
            Input::Pressure => "hPa",
            Input::Humidity => "%",
            Input::WheelInertia => "kg m²",
            Input::Gusts => "m²/s²",
            Input::CentreOfMassHeight | Input::LapLength => "m",
            Input::SpeedDelay => "s",
            Input::Power
            | Input::CdaBetweenSpeeds
            | Input::Speed
            | Input::Efficiency
            | Input::Bearing
            | Input::GivenWind => "1",
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
) -> Vec<(Input, f64)> {
    let u = &session.uncertainty;
    let least = |pick: &dyn Fn(&RunAir) -> f64| air.iter().map(pick).fold(0.0, f64::max);
    let mut inputs: Vec<(Input, f64)> = (0..session.runs.len()).map(|k| (Input::MassOfRun(k), u.mass_kg)).collect();
    inputs.extend([
        (Input::Power, u.power_fraction),
        (Input::PowerZero, u.power_zero_w),
        (Input::FixedLoss, u.fixed_loss_w),
        (Input::CdaBetweenSpeeds, u.cda_between_speeds_fraction),
        (Input::Speed, u.speed_fraction),
        (Input::Temperature, u.temperature_c.max(least(&|a| a.least_u.temperature_c))),
        (Input::Pressure, u.pressure_hpa.max(least(&|a| a.least_u.pressure_hpa))),
        (Input::Humidity, u.humidity_pct.max(least(&|a| a.least_u.humidity_pct))),
        (Input::Efficiency, u.drivetrain_efficiency),
        (Input::WheelInertia, u.wheel_inertia_kg_m2),
        (Input::CentreOfMassHeight, u.centre_of_mass_height_m),
        (Input::Bearing, u.bearing_fraction),
    ]);
    if session.wind.mode == WindMode::Given {
        inputs.push((Input::GivenWind, u.wind_fraction));
    }
    if let Some(delay) = speed_delay {
        inputs.push((Input::SpeedDelay, delay.sd_s));
    }
    if let Some(sd_m) = lap_length_sd_m {
        inputs.push((Input::LapLength, sd_m));
    }
    if let Some(g) = gustiness {
        inputs.push((Input::Gusts, g.standard_uncertainty));
    }
    inputs.extend(tyre_temperatures(session));
    inputs.retain(|(_, u)| *u > 0.0);
    inputs
}

/// What stands behind bringing Crr to a reference temperature, where that was asked for.
fn tyre_temperatures(session: &Session) -> Vec<(Input, f64)> {
    if session.circuit.temperature_coefficient_per_c.is_none() {
        return Vec::new();
    }
    let u = &session.uncertainty;
    // A probe is held to each tyre anew, so that its errors do not cancel between runs.
    let read = session.runs.iter().enumerate().filter(|(_, run)| run.tyre_temperature_c.is_some());
    let mut inputs: Vec<(Input, f64)> = read.map(|(k, _)| (Input::TyreTemperatureOfRun(k), u.temperature_c)).collect();
    inputs.push((Input::TemperatureCoefficient, u.temperature_coefficient_per_c.unwrap_or(0.0)));
    inputs
}

/// A run's conditions with one input moved.
pub(crate) fn alter<'a>(run: &RunConditions<'a>, air: &RunAir, input: Input, by: f64) -> RunConditions<'a> {
    let mut out = run.clone();
    let density = |dt: f64, dp: f64, dh: f64| {
        let at = |t: f64, p: f64, h: f64| moist_air_density(t, p, h).density_kg_m3;
        at(air.temperature_c + dt, air.pressure_pa + pa_from_hpa(dp), (air.humidity_pct + dh).max(0.0))
            / at(air.temperature_c, air.pressure_pa, air.humidity_pct)
    };
    match input {
        Input::MassOfRun(k) if k == run.run => out.rider.mass_kg += by,
        Input::MassOfRun(_) => {}
        Input::Power => out.power_scale += by,
        Input::PowerZero => out.added_power_w += by * run.rider.drivetrain_efficiency,
        Input::FixedLoss => out.added_power_w -= by,
        Input::Speed => out.speed_scale += by,
        Input::Temperature => {
            out.density = run.density.scaled(density(by, 0.0, 0.0));
            if run.tyres.is_of_air {
                out.tyres.above_reference_c += by;
            }
        }
        Input::TyreTemperatureOfRun(k) if k == run.run => out.tyres.above_reference_c += by,
        Input::TyreTemperatureOfRun(_) => {}
        Input::TemperatureCoefficient => out.tyres.coefficient_per_c += by,
        Input::Pressure => out.density = run.density.scaled(density(0.0, by, 0.0)),
        Input::Humidity => out.density = run.density.scaled(density(0.0, 0.0, by)),
        Input::Efficiency => out.rider.drivetrain_efficiency += by,
        Input::WheelInertia => out.rider.wheel_inertia_kg_m2 += by,
        Input::CentreOfMassHeight => out.rider.centre_of_mass_height_m += by,
        Input::Bearing => {
            out.rider.bearing_friction.constant_n *= 1.0 + by;
            out.rider.bearing_friction.linear_n_s_per_m *= 1.0 + by;
        }
        Input::GivenWind => {
            out.given_wind.east_m_s = run.given_wind.east_m_s.scaled(1.0 + by);
            out.given_wind.north_m_s = run.given_wind.north_m_s.scaled(1.0 + by);
        }
        // Gusts belong to the fit, and these others to the laps, not to a run's conditions.
        Input::Gusts | Input::SpeedDelay | Input::LapLength | Input::CdaBetweenSpeeds => {}
    }
    out
}
