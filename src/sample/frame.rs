//! The aligned series as a table whose columns carry their unit in the name.
//!
//! Given rides on one clock; gives a polars frame. It writes nothing.

use super::clock::Ride;
use super::exclusion::Reason;
use crate::error::Error;
use polars::prelude::{Column, DataFrame};

/// What the analysis adds to each record of a run.
#[derive(Debug, Clone, Default)]
pub struct SampleColumns {
    /// Lap number from 1; `None` outside whole laps.
    pub lap: Vec<Option<u32>>,
    /// Place on the loop, m; NaN outside laps.
    pub chainage_m: Vec<f64>,
    /// Reconstructed elevation, m; NaN outside laps.
    pub elevation_m: Vec<f64>,
    pub reason: Vec<Option<Reason>>,
}

/// One frame with the records of all runs: run, time, channels, lap, chainage, elevation, reason.
///
/// Missing values are nulls. Errors: [`Error::Numerical`] when columns differ in length.
pub fn samples_frame(rides: &[(&Ride, &SampleColumns)]) -> Result<DataFrame, Error> {
    let rows: usize = rides.iter().map(|(r, _)| r.len()).sum();
    let number = |name: &str, pick: &dyn Fn(&Ride, &SampleColumns, usize) -> f64| -> Column {
        let mut values: Vec<Option<f64>> = Vec::with_capacity(rows);
        for (ride, extra) in rides {
            values.extend((0..ride.len()).map(|i| Some(pick(ride, extra, i)).filter(|x| x.is_finite())));
        }
        Column::new(name.into(), values)
    };
    let mut run: Vec<u32> = Vec::with_capacity(rows);
    let mut lap: Vec<Option<u32>> = Vec::with_capacity(rows);
    let mut reason: Vec<Option<String>> = Vec::with_capacity(rows);
    for (k, (ride, extra)) in rides.iter().enumerate() {
        run.extend(std::iter::repeat_n(k as u32 + 1, ride.len()));
        lap.extend((0..ride.len()).map(|i| extra.lap.get(i).copied().flatten()));
        let bridged = |i: usize| ride.drop_outs.bridged.binary_search(&i).is_ok().then_some(Reason::PowerBridged);
        let why = |i: usize| extra.reason.get(i).copied().flatten().or_else(|| bridged(i));
        reason.extend((0..ride.len()).map(|i| why(i).map(|r| r.to_string())));
    }
    let missing = f64::NAN;
    let columns = vec![
        Column::new("run".into(), run),
        number("time_s", &|r, _, i| r.time_s[i]),
        number("power_w", &|r, _, i| r.power_w[i]),
        number("speed_m_s", &|r, _, i| r.speed_m_s[i]),
        number("distance_m", &|r, _, i| r.distance_m.totals()[i]),
        number("cadence_rpm", &|r, _, i| r.cadence_rpm[i]),
        number("temperature_c", &|r, _, i| r.temperature_c[i]),
        Column::new("lap".into(), lap),
        number("chainage_m", &|_, e, i| e.chainage_m.get(i).copied().unwrap_or(missing)),
        number("elevation_m", &|_, e, i| e.elevation_m.get(i).copied().unwrap_or(missing)),
        Column::new("left_out_because".into(), reason),
    ];
    DataFrame::new(rows, columns)
        .map_err(|e| Error::Numerical { stage: "aligned series", message: format!("columns do not fit together: {e}") })
}
