//! Air and wind of a run, from what was stated, logged, recorded or must be assumed.
//!
//! Given the session's air and the ride; gives density and wind along the run and says what was assumed.

use crate::air::doubt::{pressure_is_odd, temperature_is_odd};
use crate::air::standard::standard_pressure_at_elevation_pa;
use crate::air::wind::at_rider_height;
use crate::air::{WeatherLog, WindVector, moist_air_density};
use crate::error::Error;
use crate::finding::{Slip, What};
use crate::quantity::{hpa_from_pa, pa_from_hpa};
use crate::sample::Ride;
use crate::session::{Air, AirHere, Session, Wind, WindMode};
use crate::solve::account::{TimeCurve, WindCurve};
use crate::uncertainty::serial::mean_of_known;

/// Interval at which a weather log is looked up, s.
const LOOK_UP_S: f64 = 60.0;
/// Assumed where nothing is known (common practice, no source).
const ASSUMED_TEMPERATURE_C: f64 = 15.0;
const ASSUMED_HUMIDITY_PCT: f64 = 60.0;
/// Standard uncertainty of an assumed value: weather moves station pressure by about 10 hPa about its mean, a device in
/// the sun reads high by a few degrees (common practice, no source).
const ASSUMED_PRESSURE_U_HPA: f64 = 10.0;
const ASSUMED_TEMPERATURE_U_C: f64 = 6.0;
pub(super) const DEVICE_TEMPERATURE_U_C: f64 = 2.0;
const ASSUMED_HUMIDITY_U_PCT: f64 = 20.0;

/// What a device says outside these is no air temperature and no elevation on land.
const BELIEVED_TEMPERATURE_C: std::ops::Range<f64> = -40.0..60.0;
const BELIEVED_ELEVATION_M: std::ops::Range<f64> = -500.0..9000.0;

/// Air along a run.
#[derive(Debug, Clone)]
pub struct RunAir {
    pub density: TimeCurve,
    pub wind: WindCurve,
    /// Mean readings, for the sensitivity of density.
    pub temperature_c: f64,
    pub pressure_pa: f64,
    pub humidity_pct: f64,
    /// Least standard uncertainties, 0 where the value was stated.
    pub least_u: LeastUncertainty,
    pub findings: Vec<What>,
}

/// Standard uncertainties that an assumed reading has at least.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct LeastUncertainty {
    pub temperature_c: f64,
    pub pressure_hpa: f64,
    pub humidity_pct: f64,
}

/// Works out the air of one run.
///
/// Errors: [`Error::Inconsistent`] when a weather log does not cover the run.
pub fn run_air(air: &Air, wind: &Wind, log: Option<&WeatherLog>, ride: &Ride) -> Result<RunAir, Error> {
    let scaled = |w: WindVector| at_rider_height(w, wind.mast_height_m, wind.roughness_length_m);
    let stated_wind = match (wind.mode, wind.speed_m_s, wind.from_deg) {
        (WindMode::Given, Some(speed), Some(from)) => Some(scaled(WindVector::from_speed_and_direction(speed, from))),
        _ => None,
    };
    if let Some(log) = log {
        log.check_covers(ride.start_unix_s, ride.start_unix_s + ride.duration_s())?;
        let count = (ride.duration_s() / LOOK_UP_S).ceil() as usize + 1;
        let mut out = RunAir {
            density: TimeCurve::default(),
            wind: WindCurve::default(),
            temperature_c: 0.0,
            pressure_pa: 0.0,
            humidity_pct: 0.0,
            least_u: LeastUncertainty::default(),
            findings: Vec::new(),
        };
        for i in 0..count {
            let t = (i as f64 * LOOK_UP_S).min(ride.duration_s());
            if out.density.time_s.last().is_some_and(|last| t <= *last) {
                break;
            }
            let Some(w) = log.at(ride.start_unix_s + t) else { continue };
            out.density.time_s.push(t);
            out.density.value.push(moist_air_density(w.temperature_c, w.pressure_pa, w.humidity_pct).density_kg_m3);
            let logged = if wind.mode == WindMode::Given { w.wind.map(scaled) } else { None };
            let here = stated_wind.or(logged).unwrap_or(WindVector::STILL);
            for (curve, value) in [(&mut out.wind.east_m_s, here.east_m_s), (&mut out.wind.north_m_s, here.north_m_s)] {
                curve.time_s.push(t);
                curve.value.push(value);
            }
            out.temperature_c += w.temperature_c;
            out.pressure_pa += w.pressure_pa;
            out.humidity_pct += w.humidity_pct;
        }
        let n = out.density.value.len();
        if n == 0 {
            return Err(Error::Inconsistent {
                file: "weather log".into(),
                line: None,
                message: "no reading near the ride; check the date and time zone of the log".into(),
            });
        }
        out.temperature_c /= n as f64;
        out.pressure_pa /= n as f64;
        out.humidity_pct /= n as f64;
        let (temperature_c, elevation_m) =
            believed(mean_of_known(&ride.temperature_c), mean_of_known(&ride.altitude_m));
        out.findings = doubts(Some(out.temperature_c), Some(out.pressure_pa), temperature_c, elevation_m);
        return Ok(out);
    }
    let Readings { temperature_c, pressure_pa, humidity_pct, least_u, findings } =
        readings(air, mean_of_known(&ride.temperature_c), mean_of_known(&ride.altitude_m));
    let here = stated_wind.unwrap_or(WindVector::STILL);
    Ok(RunAir {
        density: TimeCurve::constant(moist_air_density(temperature_c, pressure_pa, humidity_pct).density_kg_m3),
        wind: WindCurve {
            east_m_s: TimeCurve::constant(here.east_m_s),
            north_m_s: TimeCurve::constant(here.north_m_s),
        },
        temperature_c,
        pressure_pa,
        humidity_pct,
        least_u,
        findings,
    })
}

/// Readings of the air as stated, or assumed where they were not.
#[derive(Debug, Clone, PartialEq)]
pub struct Readings {
    pub temperature_c: f64,
    /// At the station.
    pub pressure_pa: f64,
    pub humidity_pct: f64,
    pub least_u: LeastUncertainty,
    pub findings: Vec<What>,
}

/// Completes what was stated: the device's temperature or 15 °C, the standard atmosphere at the elevation, 60 %.
///
/// A stated pressure further from the standard atmosphere than weather takes it is told, not changed.
pub fn readings(air: &Air, device_temperature_c: Option<f64>, elevation_m: Option<f64>) -> Readings {
    let mut findings = Vec::new();
    let mut least_u = LeastUncertainty::default();
    let (device_temperature_c, elevation_m) = believed(device_temperature_c, elevation_m);
    let temperature_c = air.temperature_c.unwrap_or_else(|| {
        let from_device = device_temperature_c.is_some();
        least_u.temperature_c = if from_device { DEVICE_TEMPERATURE_U_C } else { ASSUMED_TEMPERATURE_U_C };
        let temperature_c = device_temperature_c.unwrap_or(ASSUMED_TEMPERATURE_C);
        findings.push(What::TemperatureAssumed { temperature_c, from_device });
        temperature_c
    });
    let standard_pa = standard_pressure_at_elevation_pa(elevation_m.unwrap_or(0.0));
    let pressure_pa = air.pressure_hpa.map(pa_from_hpa).unwrap_or_else(|| {
        least_u.pressure_hpa =
            if elevation_m.is_some() { ASSUMED_PRESSURE_U_HPA } else { 3.0 * ASSUMED_PRESSURE_U_HPA };
        findings.push(What::PressureAssumed { pressure_hpa: hpa_from_pa(standard_pa), elevation_m });
        standard_pa
    });
    let stated_pa = air.pressure_hpa.map(pa_from_hpa);
    findings.extend(doubts(air.temperature_c, stated_pa, device_temperature_c, elevation_m));
    let humidity_pct = air.humidity_pct.unwrap_or_else(|| {
        least_u.humidity_pct = ASSUMED_HUMIDITY_U_PCT;
        findings.push(What::HumidityAssumed { humidity_pct: ASSUMED_HUMIDITY_PCT });
        ASSUMED_HUMIDITY_PCT
    });
    Readings { temperature_c, pressure_pa, humidity_pct, least_u, findings }
}

/// What a device shows, as far as it can be believed.
fn believed(temperature_c: Option<f64>, elevation_m: Option<f64>) -> (Option<f64>, Option<f64>) {
    let temperature_c = temperature_c.filter(|t| BELIEVED_TEMPERATURE_C.contains(t));
    (temperature_c, elevation_m.filter(|z| BELIEVED_ELEVATION_M.contains(z)))
}

/// What was stated or logged held against what the device shows.
fn doubts(stated_c: Option<f64>, stated_pa: Option<f64>, device_c: Option<f64>, elevation_m: Option<f64>) -> Vec<What> {
    let mut out = Vec::new();
    if let (Some(pressure_pa), Some(elevation_m)) = (stated_pa, elevation_m)
        && pressure_is_odd(pressure_pa, elevation_m)
    {
        let standard_hpa = hpa_from_pa(standard_pressure_at_elevation_pa(elevation_m));
        out.push(What::PressureOdd { pressure_hpa: hpa_from_pa(pressure_pa), standard_hpa, elevation_m });
    }
    if let (Some(stated_c), Some(device_c)) = (stated_c, device_c)
        && temperature_is_odd(stated_c, device_c)
    {
        out.push(What::Slip(Slip::TemperatureOdd { stated_c, device_c }));
    }
    out
}

/// The air of a run of a session: what was read at the run or its venue in the place of what holds for the day.
///
/// Errors: those of [`run_air`].
pub fn air_of_run(session: &Session, run: usize, log: Option<&WeatherLog>, ride: &Ride) -> Result<RunAir, Error> {
    let here = session.air_here(&session.runs[run]);
    let air = session.air.with(here);
    // Who read all of it at the run needs no log, which may be of another place.
    let log = log.filter(|_| !here.is_whole() || session.wind.mode == WindMode::Given);
    let of_day = run_air(&air, &session.wind, log, ride)?;
    Ok(if log.is_some() { of_day.with(here, ride) } else { of_day })
}

impl RunAir {
    /// With readings at the run in the place of logged ones, which keep their course in time only where nothing was read.
    fn with(mut self, here: AirHere, ride: &Ride) -> RunAir {
        if here == AirHere::default() {
            return self;
        }
        let logged = moist_air_density(self.temperature_c, self.pressure_pa, self.humidity_pct).density_kg_m3;
        self.temperature_c = here.temperature_c.unwrap_or(self.temperature_c);
        self.pressure_pa = here.pressure_hpa.map_or(self.pressure_pa, pa_from_hpa);
        self.humidity_pct = here.humidity_pct.unwrap_or(self.humidity_pct);
        let read = moist_air_density(self.temperature_c, self.pressure_pa, self.humidity_pct).density_kg_m3;
        self.density = if here.is_whole() { TimeCurve::constant(read) } else { self.density.scaled(read / logged) };
        let (device_c, elevation_m) = believed(mean_of_known(&ride.temperature_c), mean_of_known(&ride.altitude_m));
        self.findings = doubts(Some(self.temperature_c), Some(self.pressure_pa), device_c, elevation_m);
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pressure_reduced_to_sea_level_is_told_at_some_height_and_not_near_the_sea() {
        let air = Air { temperature_c: Some(18.0), pressure_hpa: Some(1013.0), humidity_pct: Some(60.0), log: None };
        // At 600 m the standard atmosphere has 943 hPa, at 100 m 1001 hPa (ISO 2533).
        let high = readings(&air, None, Some(600.0));
        assert!(matches!(high.findings[..], [What::PressureOdd { .. }]), "{:?}", high.findings);
        let by_the_sea = Air { pressure_hpa: Some(1008.0), ..air };
        assert!(readings(&by_the_sea, None, Some(100.0)).findings.is_empty());
        assert_eq!(high.pressure_pa, 101_300.0);
    }
}
