//! How Crr from a window moves with each input that is not exactly known.
//!
//! Given a run and the session's standard uncertainties; gives one line for each source, found by balancing the same
//! window again at ±u. It combines nothing: budgets and differences are the business of `uncertainty` and `compare`.

use super::account::DrumInputs;
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

/// An input of a run, how well it is known, and what it is to be wrong by some amount.
#[derive(Clone, Copy)]
pub struct Kind {
    pub source: &'static str,
    pub unit: &'static str,
    pub standard_uncertainty: f64,
    pub reach: Reach,
    pub alter: fn(&mut DrumInputs, f64),
}

/// Every input of a run that is not exactly known. The conversion from drum to flat counts where its uncertainty is given: the
/// usual one hangs on the drum ([`drum::conversion_uncertainty`](super::drum::conversion_uncertainty)).
pub fn kinds(u: &Uncertainty) -> Vec<Kind> {
    let bearing = |i: &mut DrumInputs, by: f64| {
        i.rider.bearing_friction.constant_n *= 1.0 + by;
        i.rider.bearing_friction.linear_n_s_per_m *= 1.0 + by;
    };
    let no_load = |i: &mut DrumInputs, by: f64| {
        i.rollers.no_load_power_w_at_40_km_h = i.rollers.no_load_power_w_at_40_km_h.map(|p| p * (1.0 + by));
    };
    let coefficient_u = u.temperature_coefficient_per_c.unwrap_or(0.0);
    let conversion_u = u.drum_conversion_fraction.unwrap_or(0.0);
    let (session, run) = (Reach::Session, Reach::Run);
    let kind = |source, unit, standard_uncertainty, reach, alter: fn(&mut DrumInputs, f64)| Kind {
        source,
        unit,
        standard_uncertainty,
        reach,
        alter,
    };
    vec![
        kind("mass", "kg", u.mass_kg, run, |i, by| i.rider.mass_kg += by),
        kind("power scale", "1", u.power_fraction, session, |i, by| i.power_scale += by),
        kind("speed scale", "1", u.speed_fraction, session, |i, by| i.speed_scale += by),
        kind("drivetrain efficiency", "1", u.drivetrain_efficiency, session, |i, by| {
            i.rider.drivetrain_efficiency += by;
        }),
        kind("wheel inertia", "kg m²", u.wheel_inertia_kg_m2, session, |i, by| i.rider.wheel_inertia_kg_m2 += by),
        kind("bearing drag", "1", u.bearing_fraction, session, bearing),
        kind("drum diameter", "m", u.drum_diameter_m, session, |i, by| i.rollers.drum_diameter_m += by),
        kind("drum spacing", "m", u.drum_spacing_m, session, |i, by| i.rollers.drum_spacing_m += by),
        kind("weight share", "1", u.rear_weight_fraction, session, |i, by| i.rollers.rear_weight_fraction += by),
        // A factor, so it scales differences as it scales values.
        kind("drum-to-flat conversion", "1", conversion_u, session, |i, by| i.conversion_scale += by),
        kind("no-load drag", "1", u.no_load_fraction, session, no_load),
        kind("turning mass of the drums", "kg", DRUM_ROTATING_MASS_U_KG, run, |i, by| i.drum_rotating_mass_kg += by),
        kind("temperature coefficient of Crr", "1/°C", coefficient_u, session, |i, by| {
            i.rollers.temperature_coefficient_per_c += by;
        }),
        kind("air temperature", "°C", u.temperature_c, run, |i, by| i.temperature_c = i.temperature_c.map(|t| t + by)),
    ]
}

/// Sensitivities of the Crr of a run.
///
/// Errors: [`Error::Inconsistent`] when an altered geometry lets the wheel fall between the drums.
pub fn sensitivities(run: &RollerRun, u: &Uncertainty) -> Result<Vec<Sensitivity>, Error> {
    let line = |kind: Kind| -> Result<Sensitivity, Error> {
        let balanced = |by: f64| {
            let mut inputs = run.inputs.clone();
            (kind.alter)(&mut inputs, by);
            inputs.crr_flat(&run.sums)
        };
        let Kind { source, unit, standard_uncertainty: u, reach, .. } = kind;
        Ok(Sensitivity { source, unit, standard_uncertainty: u, crr: 0.5 * (balanced(u)? - balanced(-u)?), reach })
    };
    kinds(u).into_iter().map(line).collect()
}
