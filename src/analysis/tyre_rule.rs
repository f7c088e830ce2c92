//! How Crr is brought to one temperature: by the rule that the session states, or by the one that is supposed of bicycle tyres
//! where runs were ridden at different temperatures and none is stated.
//!
//! Given inputs and rides; gives inputs with the supposed rule, and what must be told. It corrects nothing itself.

use super::air_of_run::air_of_run;
use super::ridden_session::RiddenSession;
use crate::finding::{Finding, Slip, What};
use crate::sample::Ride;
use crate::session::{REFERENCE_TEMPERATURE_C, Session};
use crate::solution::TyreRule;

/// Relative fall of Crr per °C and its standard uncertainty: a published curve falls by 2.1 % at 0 °C and by 1.5 % at 20 °C
/// (Rothhämel 2023, International Journal of Vehicle Systems Modelling and Testing 17:67), the rule for car tyres by 0.8 %
/// (ISO 28580).
const SUPPOSED_PER_C: f64 = 0.015;
const SUPPOSED_U_PER_C: f64 = 0.008;
/// Temperatures of runs that lie closer together than this are one, °C: it moves Crr by less than 0.00004.
const APART_C: f64 = 0.5;
/// The same where only the devices read them, which the sun warms unlike the tyres.
const DEVICES_APART_C: f64 = 3.0;

/// The same day with a session that states the supposed rule.
pub(super) struct Supposed {
    /// `None` where temperatures are too badly known to correct anything.
    pub inputs: Option<RiddenSession>,
    pub finding: Finding,
}

/// `None` where a rule is stated or the runs were ridden at one temperature.
pub(super) fn supposed(inputs: &RiddenSession, rides: &[Ride]) -> Option<Supposed> {
    let session = &inputs.session;
    if session.circuit.temperature_coefficient_per_c.is_some() {
        return None;
    }
    let (mut known, mut any) = (Vec::new(), Vec::new());
    for (k, ride) in rides.iter().enumerate() {
        // What is wrong with the air is told by those who need it.
        let air = air_of_run(session, k, inputs.weather.as_ref(), ride).ok()?;
        let of_air = (air.least_u.temperature_c == 0.0).then_some(air.temperature_c);
        known.extend(session.runs[k].tyre_temperature_c.or(of_air));
        any.push(session.runs[k].tyre_temperature_c.unwrap_or(air.temperature_c));
    }
    if known.len() < rides.len() {
        let apart_c = apart(&any);
        let finding = Finding::of_session(What::Slip(Slip::TyresOfUnknownTemperature { apart_c }));
        return (apart_c > DEVICES_APART_C).then_some(Supposed { inputs: None, finding });
    }
    let apart_c = apart(&known);
    if apart_c <= APART_C {
        return None;
    }
    let mut inputs = inputs.clone();
    let circuit = &mut inputs.session.circuit;
    let mean_c = known.iter().sum::<f64>() / known.len() as f64;
    let reference_c = *circuit.reference_temperature_c.get_or_insert(mean_c);
    circuit.temperature_coefficient_per_c = Some(SUPPOSED_PER_C);
    let u_per_c = *inputs.session.uncertainty.temperature_coefficient_per_c.get_or_insert(SUPPOSED_U_PER_C);
    let said = Slip::TyreRuleSupposed { apart_c, reference_c, per_c: SUPPOSED_PER_C, u_per_c };
    Some(Supposed { inputs: Some(inputs), finding: Finding::of_session(What::Slip(said)) })
}

/// The rule of a session that has one.
pub(super) fn of(session: &Session, is_supposed: bool) -> Option<TyreRule> {
    let circuit = &session.circuit;
    circuit.temperature_coefficient_per_c.map(|per_c| TyreRule {
        coefficient_per_c: per_c,
        standard_uncertainty_per_c: session.uncertainty.temperature_coefficient_per_c.unwrap_or(0.0),
        reference_c: circuit.reference_temperature_c.unwrap_or(REFERENCE_TEMPERATURE_C),
        is_supposed,
    })
}

fn apart(temperatures_c: &[f64]) -> f64 {
    let most = temperatures_c.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    most - temperatures_c.iter().copied().fold(f64::INFINITY, f64::min)
}
