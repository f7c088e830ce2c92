//! How Crr from a window moves with each input that is not exactly known.
//!
//! Given a run and the session's standard uncertainties; gives one line for each source, found by balancing the same
//! window again at ±u. It combines nothing: budgets and differences are the business of `uncertainty` and `compare`.

use super::account::Inputs;
use super::run::RollerRun;
use crate::error::Error;
use crate::session::Uncertainty;

/// Standard uncertainty of the drums' rotating mass, which nobody states, kg. Three drums of thin steel or aluminium
/// tube come to 3–5 kg (common practice, no source); windows with like end speeds make it harmless.
const DRUM_ROTATING_MASS_U_KG: f64 = 4.0;

/// Whether an error is one and the same in every run, and so cancels in a difference.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reach {
    Session,
    Run,
}

/// One source of uncertainty and what it does to Crr on the flat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sensitivity {
    /// Name in the budget; a source that loops have too is called the same there.
    pub source: &'static str,
    pub unit: &'static str,
    pub standard_uncertainty: f64,
    /// Half the change between +u and −u, with its sign (JCGM 100:2008, 5.1.3 note 2).
    pub crr: f64,
    pub reach: Reach,
}

/// Sensitivities of the Crr of a run.
///
/// Errors: [`Error::Inconsistent`] when an altered geometry lets the wheel fall between the drums.
pub fn sensitivities(run: &RollerRun, u: &Uncertainty) -> Result<Vec<Sensitivity>, Error> {
    let balanced = |alter: &dyn Fn(&mut Inputs, f64), sign: f64| {
        let mut inputs = run.inputs.clone();
        alter(&mut inputs, sign);
        inputs.crr_flat(&run.sums)
    };
    let line = |source, unit, u: f64, reach, alter: &dyn Fn(&mut Inputs, f64)| -> Result<Sensitivity, Error> {
        let crr = 0.5 * (balanced(alter, u)? - balanced(alter, -u)?);
        Ok(Sensitivity { source, unit, standard_uncertainty: u, crr, reach })
    };
    let bearing = |i: &mut Inputs, by: f64| {
        i.rider.bearing_friction.constant_n *= 1.0 + by;
        i.rider.bearing_friction.linear_n_s_per_m *= 1.0 + by;
    };
    let no_load = |i: &mut Inputs, by: f64| {
        i.rollers.no_load_power_w_at_40_km_h = i.rollers.no_load_power_w_at_40_km_h.map(|p| p * (1.0 + by));
    };
    Ok(vec![
        line("mass", "kg", u.mass_kg, Reach::Run, &|i, by| i.rider.mass_kg += by)?,
        line("power scale", "1", u.power_fraction, Reach::Session, &|i, by| i.power_scale += by)?,
        line("speed scale", "1", u.speed_fraction, Reach::Session, &|i, by| i.speed_scale += by)?,
        line("drivetrain efficiency", "1", u.drivetrain_efficiency, Reach::Session, &|i, by| {
            i.rider.drivetrain_efficiency += by
        })?,
        line("wheel inertia", "kg m²", u.wheel_inertia_kg_m2, Reach::Session, &|i, by| {
            i.rider.wheel_inertia_kg_m2 += by
        })?,
        line("bearing drag", "1", u.bearing_fraction, Reach::Session, &bearing)?,
        line("drum diameter", "m", u.drum_diameter_m, Reach::Session, &|i, by| i.rollers.drum_diameter_m += by)?,
        line("drum spacing", "m", u.drum_spacing_m, Reach::Session, &|i, by| i.rollers.drum_spacing_m += by)?,
        line("weight share", "1", u.rear_weight_fraction, Reach::Session, &|i, by| {
            i.rollers.rear_weight_fraction += by
        })?,
        line("no-load drag", "1", u.no_load_fraction, Reach::Session, &no_load)?,
        line("turning mass of the drums", "kg", DRUM_ROTATING_MASS_U_KG, Reach::Run, &|i, by| {
            i.drum_rotating_mass_kg += by
        })?,
        line("air temperature", "°C", u.temperature_c, Reach::Run, &|i, by| {
            i.temperature_c = i.temperature_c.map(|t| t + by)
        })?,
    ])
}
