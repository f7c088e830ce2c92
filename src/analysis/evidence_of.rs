//! Series for figures and for the table of samples.
//!
//! Given a solved loop; gives elevations by lap, by step and by record.

use super::loop_venue::LoopVenue;
use super::ridden_session::RiddenSession;
use crate::evidence::{Evidence, JointRegion, LapEvidence, LinePoint, ProfileBand, RunEvidence};
use crate::sample::{Ride, SampleColumns};
use crate::solution::Solution;

/// Puts the evidence together, and the columns that the analysis adds to each record.
pub fn evidence(
    inputs: &RiddenSession,
    rides: &[Ride],
    venue: &LoopVenue,
    solution: &Solution,
) -> (Evidence, Vec<SampleColumns>) {
    let session = &inputs.session;
    let fit = &venue.fit;
    let cut = &venue.cut;
    let steps = cut.edge.len() - 1;
    let edge_m: Vec<f64> = cut.edge.iter().map(|share| share * cut.length_m).collect();
    let profile: Vec<f64> = solution.circuit.profile.iter().map(|p| p.elevation_m).collect();

    // Elevation of every lap that has an account, used or not.
    let all: Vec<usize> = (0..venue.laps.len()).collect();
    let frame = venue.frame();
    let problem = frame.problem(&venue.laps, &all, &vec![1.0; all.len()], fit.scatter);
    let gained = problem.gained_m(&fit.parameters);
    let mut runs: Vec<RunEvidence> =
        rides.iter().zip(&session.runs).map(|(ride, run)| RunEvidence::unused(session.setup_of(run), ride)).collect();
    let mut columns: Vec<SampleColumns> = rides
        .iter()
        .zip(&cut.reasons)
        .map(|(ride, reasons)| SampleColumns {
            lap: vec![None; ride.len()],
            chainage_m: vec![f64::NAN; ride.len()],
            elevation_m: vec![f64::NAN; ride.len()],
            reason: reasons.clone(),
        })
        .collect();
    // Laps that follow each other go on from the height where the last one ended.
    let mut height = vec![0.0; rides.len()];
    let mut square = vec![0.0; steps];
    for ((input, at), gained_m) in venue.laps.iter().zip(&venue.address).zip(&gained) {
        let ride = &rides[at.run];
        let lap = &cut.runs[at.run][at.lap];
        let used = input.reason.is_none();
        let mut elevation_m = vec![0.0];
        let mut residual_m = vec![0.0];
        for (j, found) in gained_m.iter().enumerate() {
            // In a step that is not used the lap goes as the loop does.
            let gain = if input.account.uses(j) { *found } else { profile[j + 1] - profile[j] };
            elevation_m.push(elevation_m[j] + gain);
            residual_m.push(elevation_m[j + 1] - profile[j + 1]);
            if used {
                square[j] += (residual_m[j + 1] - residual_m[j]).powi(2);
            }
        }
        for i in ride.records_between(lap.start_s, lap.end_s) {
            let t = ride.time_s[i];
            let j = lap.edge_s.partition_point(|e| *e <= t).clamp(1, steps) - 1;
            let f = (t - lap.edge_s[j]) / (lap.edge_s[j + 1] - lap.edge_s[j]);
            let here = elevation_m[j] + f * (elevation_m[j + 1] - elevation_m[j]);
            columns[at.run].lap[i] = Some(lap.number as u32);
            columns[at.run].chainage_m[i] = edge_m[j] + f * (edge_m[j + 1] - edge_m[j]);
            columns[at.run].elevation_m[i] = here;
            runs[at.run].residual_m[i] = height[at.run] + residual_m[j] + f * (residual_m[j + 1] - residual_m[j]);
            runs[at.run].used[i] = used && input.account.uses(j);
            let reason = &mut columns[at.run].reason[i];
            *reason = reason.or(lap.reason).or(lap.step_reason.get(j).copied().flatten());
        }
        let misclosure_m = elevation_m[steps];
        height[at.run] += misclosure_m;
        runs[at.run].laps.push(LapEvidence {
            lap: lap.number,
            used,
            mean_speed_m_s: input.account.mean_speed_m_s,
            chainage_m: edge_m.clone(),
            elevation_m,
            residual_m,
            misclosure_m,
        });
    }
    let used = fit.used.len().max(1) as f64;
    let line = cut.line.as_ref();
    let evidence = Evidence {
        runs,
        profile: profile
            .iter()
            .zip(&fit.profile_se_m)
            .zip(&edge_m)
            .map(|((z, se), s)| ProfileBand { chainage_m: *s, elevation_m: *z, se_m: *se })
            .collect(),
        reference_line: line
            .map(|line| {
                let origin = line.place[0];
                let n = line.place.len();
                (0..=n)
                    .map(|i| LinePoint {
                        east_m: line.place[i % n].east_m - origin.east_m,
                        north_m: line.place[i % n].north_m - origin.north_m,
                        residual_m: (square
                            [cut.edge.partition_point(|e| *e * n as f64 <= (i % n) as f64).clamp(1, steps) - 1]
                            / used)
                            .sqrt(),
                    })
                    .collect()
            })
            .unwrap_or_default(),
        line_by_compass: cut.has_bearings,
        regions: if solution.separable { regions(venue) } else { Vec::new() },
        model_residual: None,
        warm_ups: Vec::new(),
    };
    (evidence, columns)
}

fn regions(venue: &LoopVenue) -> Vec<JointRegion> {
    let fit = &venue.fit;
    let columns = fit.layout.setup_crr().iter().zip(fit.layout.setup_cda());
    columns
        .enumerate()
        .map(|(s, (&a, &b))| {
            let mut unit = nalgebra::DVector::zeros(fit.layout.len);
            unit[a] = 1.0;
            let of_crr = fit.covariance.contrast(&unit);
            let robust = &fit.covariance;
            let v = |i, j| of_crr.steadied(robust.covariance[(i, j)], robust.working[(i, j)]) + robust.prior[(i, j)];
            JointRegion {
                setup: s,
                crr: fit.parameters[a],
                cda_m2: fit.parameters[b],
                var_crr: v(a, a),
                var_cda: v(b, b),
                covariance: v(a, b),
                dof: of_crr.moderated().dof,
            }
        })
        .collect()
}
