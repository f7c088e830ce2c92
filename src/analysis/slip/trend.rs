//! Misclosures that climb or fall steadily through runs, as where the zero of a power meter creeps.
//!
//! Given a solved loop; gives findings with the size of the trend. Laps are compared within their run and class of speed
//! alone, so that neither the level of a run nor the order of speeds passes for a trend. It changes no result.

use super::super::loop_venue::LoopVenue;
use crate::finding::{Finding, MisclosureTrend, Slip, What};
use crate::solve::fit::LapInput;
use crate::uncertainty::trend::{Reading, trend};

/// Chance of telling a trend that is none: half of it for all runs together, half for the single runs.
const LEVEL: f64 = 0.01;

/// A lap that is used.
#[derive(Debug, Clone, Copy)]
struct LapMisclosure {
    run: usize,
    class: usize,
    hour: f64,
    misclosure_m: f64,
    /// Power that lifts rider and bicycle by a metre in a lap, W/m.
    w_per_m: f64,
}

/// Whether a change of the wind in each run is taken from the laps as it was fitted, or left in them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum WindDrift {
    AsFitted,
    None,
}

/// One finding for all runs, or one for each run that has a trend of its own.
///
/// The fit lets wind change linearly through a run, and with shelter along the loop that explains any trend. So laps are judged as
/// if the wind had stayed, and the finding says where the solution takes the trend for wind.
pub(in crate::analysis) fn findings(venue: &LoopVenue) -> Vec<Finding> {
    let (laps, as_fitted) = (misclosures(venue, WindDrift::None), misclosures(venue, WindDrift::AsFitted));
    let mut runs: Vec<usize> = laps.iter().map(|l| l.run).collect();
    runs.dedup();
    let told = |run: Option<usize>, level: f64| -> Option<Finding> {
        let of = |laps: &[LapMisclosure]| -> Vec<LapMisclosure> {
            laps.iter().filter(|l| run.is_none_or(|run| l.run == run)).copied().collect()
        };
        let trend = found(&of(&laps), level)?;
        let taken_for_wind = found(&of(&as_fitted), level).is_none();
        Some(Finding { run, what: What::Slip(Slip::MisclosureTrend(MisclosureTrend { taken_for_wind, ..trend })) })
    };
    if let [only] = runs[..] {
        return told(Some(only), LEVEL).into_iter().collect();
    }
    if let Some(together) = told(None, 0.5 * LEVEL) {
        return vec![together];
    }
    let level = 0.5 * LEVEL / runs.len() as f64;
    runs.iter().filter_map(|&run| told(Some(run), level)).collect()
}

/// Residual misclosures of the laps used, in the order of riding.
fn misclosures(venue: &LoopVenue, drift: WindDrift) -> Vec<LapMisclosure> {
    let fit = &venue.fit;
    let mut parameters = fit.parameters.clone();
    if drift == WindDrift::None {
        let columns = fit.layout.runs.iter().flat_map(|run| [run.drift_east, run.drift_north]).flatten();
        columns.for_each(|column| parameters[column] = 0.0);
    }
    let problem = venue.frame().problem(&venue.laps, &fit.used, &fit.weight, fit.scatter);
    let gained = problem.gained_m(&parameters);
    let of_lap = fit.used.iter().zip(&fit.classes.of_lap).zip(&gained).map(|((&i, &class), gained_m)| {
        let LapInput { account, hour, .. } = &venue.laps[i];
        let duration_s = account.edge_s[account.edge_s.len() - 1] - account.edge_s[0];
        LapMisclosure {
            run: venue.address[i].run,
            class,
            hour: *hour,
            // A step that is not used takes its share of the profile with it.
            misclosure_m: (0..account.steps())
                .filter(|j| account.uses(*j))
                .map(|j| gained_m[j] - fit.profile_m[j])
                .sum(),
            w_per_m: account.weight_n / duration_s,
        }
    });
    of_lap.collect()
}

/// The trend of some laps, where it is shown at a level.
fn found(laps: &[LapMisclosure], level: f64) -> Option<MisclosureTrend> {
    let groups = groups(laps);
    let readings = |g: &[LapMisclosure]| -> Vec<Reading> {
        g.iter().map(|l| Reading { time: l.hour, value: l.misclosure_m }).collect()
    };
    let all: Vec<Vec<Reading>> = groups.iter().map(|g| readings(g)).collect();
    let whole = trend(&all).filter(|t| t.p_value < level)?;
    let mut hours: Vec<f64> = all.iter().filter(|g| g.len() > 1).map(|g| g[g.len() - 1].time - g[0].time).collect();
    hours.sort_by(f64::total_cmp);
    let run_hours = hours[hours.len() / 2];
    let change_m = whole.slope * run_hours;
    let mut runs: Vec<usize> = laps.iter().map(|l| l.run).collect();
    runs.dedup();
    let slope_of = |run: usize| {
        let own: Vec<Vec<Reading>> = groups.iter().filter(|g| g[0].run == run).map(|g| readings(g)).collect();
        trend(&own).map(|t| t.slope)
    };
    let slopes: Vec<f64> = runs.iter().filter_map(|run| slope_of(*run)).collect();
    Some(MisclosureTrend {
        change_m,
        power_w: change_m * laps.iter().map(|l| l.w_per_m).sum::<f64>() / laps.len() as f64,
        run_minutes: 60.0 * run_hours,
        p_value: whole.p_value,
        runs: slopes.iter().filter(|slope| **slope * whole.slope > 0.0).count(),
        of: slopes.len(),
        taken_for_wind: false,
    })
}

/// Laps of one run and one class of speed.
fn groups(laps: &[LapMisclosure]) -> Vec<Vec<LapMisclosure>> {
    let mut out: Vec<Vec<LapMisclosure>> = Vec::new();
    for lap in laps {
        match out.iter_mut().find(|g| (g[0].run, g[0].class) == (lap.run, lap.class)) {
            Some(group) => group.push(*lap),
            None => out.push(vec![*lap]),
        }
    }
    out
}
