//! What every lap and run brings into the fit: its account, the conditions of its run, the tester's own marks.
//!
//! Given a session, its rides and the laps that were cut; gives the inputs of the fit, each with the lap it stands for.

use super::air_of_run::RunAir;
use crate::circuit::{Lap, LapCut};
use crate::constant::{STANDARD_GRAVITY_M_S2, normal_gravity_m_s2};
use crate::error::Error;
use crate::model::rolling::TyreTemperature;
use crate::quantity::m_s_from_km_h;
use crate::sample::{Reason, Ride};
use crate::session::{REFERENCE_TEMPERATURE_C, Run, Session};
use crate::solve::account::{LapAccount, RunConditions};
use crate::solve::fit::LapInput;

/// Crr as ridden over Crr at the reference temperature that a linear rule may give (common practice, no source).
const CREDIBLE_TEMPERATURE_FACTOR: std::ops::RangeInclusive<f64> = 0.5..=2.0;

/// Which lap a [`LapInput`] is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LapAddress {
    pub run: usize,
    pub lap: usize,
}

/// The tester's own marks.
pub(super) fn overrule(run: &Run, laps: &mut [Lap]) -> Result<(), Error> {
    for &number in run.leave_out.iter().chain(&run.keep) {
        if number > laps.len() {
            return Err(Error::Inconsistent {
                file: run.file.clone(),
                line: None,
                message: format!("lap {number} is named in leave_out or keep, but there are only {} laps", laps.len()),
            });
        }
    }
    for lap in laps {
        if run.leave_out.contains(&lap.number) {
            lap.reason = Some(Reason::LeftOut);
        } else if run.keep.contains(&lap.number) && !lap.edge_s.is_empty() {
            lap.reason = None;
        }
    }
    Ok(())
}

/// Normal gravity at the loop, or the standard value where there are no positions.
pub(crate) fn gravity(rides: &[Ride]) -> f64 {
    let mean = |pick: &dyn Fn(&Ride) -> &Vec<f64>| {
        let known: Vec<f64> = rides.iter().flat_map(|r| pick(r).iter().copied()).filter(|x| x.is_finite()).collect();
        (!known.is_empty()).then(|| known.iter().sum::<f64>() / known.len() as f64)
    };
    match mean(&|r| &r.latitude_deg) {
        Some(latitude) => normal_gravity_m_s2(latitude, mean(&|r| &r.altitude_m).unwrap_or(0.0)),
        None => STANDARD_GRAVITY_M_S2,
    }
}

/// How far the tyres of a run are from the reference temperature; the air's stands for theirs where that is all there is.
pub(super) fn tyre_temperature(session: &Session, run: &Run, air: &RunAir) -> TyreTemperature {
    let circuit = &session.circuit;
    TyreTemperature {
        coefficient_per_c: circuit.temperature_coefficient_per_c.unwrap_or(0.0),
        above_reference_c: run.tyre_temperature_c.unwrap_or(air.temperature_c)
            - circuit.reference_temperature_c.unwrap_or(REFERENCE_TEMPERATURE_C),
        is_of_air: run.tyre_temperature_c.is_none(),
    }
}

/// The temperature rule is linear and holds near its reference.
pub(super) fn near_reference(session: &Session, air: &[RunAir]) -> Result<(), Error> {
    for (run, air) in session.runs.iter().zip(air) {
        let tyres = tyre_temperature(session, run, air);
        let factor = tyres.crr_over_reference();
        if !CREDIBLE_TEMPERATURE_FACTOR.contains(&factor) {
            return Err(Error::Inconsistent {
                file: run.file.clone(),
                line: None,
                message: format!(
                    "tyres {:.0} °C from reference_temperature_c with {} per °C would have {factor:.2} times the Crr of the reference, \
                     outside {} to {} where a linear rule makes sense; check tyre_temperature_c, temperature_coefficient_per_c and \
                     reference_temperature_c",
                    tyres.above_reference_c,
                    tyres.coefficient_per_c,
                    CREDIBLE_TEMPERATURE_FACTOR.start(),
                    CREDIBLE_TEMPERATURE_FACTOR.end(),
                ),
            });
        }
    }
    Ok(())
}

/// Conditions of every run as stated.
pub fn conditions<'c>(
    session: &Session,
    rides: &'c [Ride],
    cut: &'c LapCut,
    air: &[RunAir],
    gravity_m_s2: f64,
) -> Vec<RunConditions<'c>> {
    session
        .runs
        .iter()
        .enumerate()
        .map(|(k, run)| RunConditions {
            run: k,
            setup: session.setup_of(run),
            ride: &rides[k],
            line: cut.line.as_ref(),
            edge: &cut.edge,
            rider: session.rider_of(run),
            gravity_m_s2,
            density: air[k].density.clone(),
            given_wind: air[k].wind.clone(),
            tyres: tyre_temperature(session, run, &air[k]),
            speed_scale: 1.0,
            power_scale: 1.0,
            added_power_w: 0.0,
        })
        .collect()
}

pub(crate) fn lap_inputs(
    session: &Session,
    rides: &[Ride],
    cut: &LapCut,
    conditions: &[RunConditions],
) -> (Vec<LapInput>, Vec<LapAddress>) {
    let begin = rides.iter().map(|r| r.start_unix_s).fold(f64::MAX, f64::min);
    let end = rides.iter().map(|r| r.start_unix_s + r.duration_s()).fold(f64::MIN, f64::max);
    let middle = 0.5 * (begin + end);
    let mut inputs = Vec::new();
    let mut address = Vec::new();
    for (k, run) in session.runs.iter().enumerate() {
        for (i, lap) in cut.runs[k].iter().enumerate() {
            let Some(account) = LapAccount::new(&conditions[k], i, lap) else { continue };
            let planned = &run.planned_speed_km_h;
            let mid_s = rides[k].start_unix_s + 0.5 * (lap.start_s + lap.end_s);
            inputs.push(LapInput {
                account,
                reason: lap.reason,
                keep: run.keep.contains(&lap.number),
                planned_m_s: (!planned.is_empty()).then(|| m_s_from_km_h(planned[(lap.number - 1) % planned.len()])),
                hour: (mid_s - middle) / 3600.0,
            });
            address.push(LapAddress { run: k, lap: i });
        }
    }
    (inputs, address)
}
