//! The invented series behind the results: laps along the loop, records second by second, a loop in the plane.

use super::solution::is_used;
use super::{Noise, Request, is_on_rollers, setup_of};
use loopwright::evidence::*;
use loopwright::solution::Solution;
use std::f64::consts::TAU;

const LENGTH_M: f64 = 1268.4;
const STEPS: usize = 40;
const SECONDS_A_LAP: usize = 131;

fn height(share: f64) -> f64 {
    3.1 * (TAU * share).sin() + 1.1 * (2.0 * TAU * share + 0.8).sin() - 1.1 * 0.8_f64.sin()
}

pub fn evidence(request: Request, solution: &Solution) -> Evidence {
    if request.rollers {
        return Evidence {
            warm_ups: (0..request.setups * 2).map(|run| warm_up(request, run)).collect(),
            ..Evidence::default()
        };
    }
    Evidence {
        runs: (0..request.setups * 2).map(|run| run_evidence(request, solution, run)).collect(),
        profile: (0..=STEPS)
            .map(|j| {
                let share = j as f64 / STEPS as f64;
                ProfileBand {
                    chainage_m: share * LENGTH_M,
                    elevation_m: height(share),
                    se_m: 0.06 * (TAU * share / 2.0).sin(),
                }
            })
            .collect(),
        reference_line: (0..250).map(line_point).collect(),
        line_by_compass: true,
        regions: if request.separable { regions(request, solution) } else { Vec::new() },
        model_residual: Some(model_residual(request)),
        warm_ups: (0..request.setups * 2)
            .filter(|run| is_on_rollers(request, *run))
            .map(|run| warm_up(request, run))
            .collect(),
    }
}

/// A valley that turns the wind: slow and fast laps leave opposite waves, runs only scatter. The gate is not judged.
fn model_residual(request: Request) -> ModelResidual {
    let along = |of: usize, speed_m_s: f64, wave_w: f64, chance_w: f64| LeftAlong {
        of,
        speed_m_s,
        power_w: (0..STEPS)
            .map(|j| {
                let scatter = ((j * 7 + of * 13) % 11) as f64 / 5.0 - 1.0;
                wave_w * (TAU * 2.0 * j as f64 / STEPS as f64).sin() + chance_w * scatter
            })
            .collect(),
        chance_w: vec![chance_w; STEPS],
    };
    ModelResidual {
        distance_m: (0..STEPS).map(|j| LENGTH_M * (j as f64 + 0.5) / STEPS as f64).collect(),
        is_judged: (0..STEPS).map(|j| j > 1 && j < STEPS - 1).collect(),
        runs: (0..request.setups * 2)
            .filter(|run| !is_on_rollers(request, *run))
            .map(|run| along(run, 9.6, 0.0, 4.0))
            .collect(),
        classes: vec![along(0, 8.1, -6.0, 2.0), along(1, 11.4, 9.0, 3.0)],
    }
}

fn regions(request: Request, solution: &Solution) -> Vec<JointRegion> {
    (0..request.setups)
        .filter_map(|setup| {
            let result = &solution.setups[setup];
            let (a, b) = (result.crr.se?, result.cda_m2.se?);
            Some(JointRegion {
                setup,
                crr: result.crr.value?,
                cda_m2: result.cda_m2.value?,
                var_crr: a * a,
                var_cda: b * b,
                covariance: -0.9 * a * b,
                dof: 14.0,
            })
        })
        .collect()
}

fn line_point(index: usize) -> LinePoint {
    let angle = TAU * index as f64 / 250.0;
    let radius = 200.0 + 40.0 * (2.0 * angle).cos() + 18.0 * (3.0 * angle).sin();
    LinePoint {
        east_m: 1.5 * radius * angle.sin() - 20.0,
        north_m: radius * angle.cos() - 240.0,
        residual_m: 0.03 + 0.025 * (5.0 * angle).sin() + 0.02 * angle.cos().powi(2),
    }
}

fn run_evidence(request: Request, solution: &Solution, run: usize) -> RunEvidence {
    let mut noise = Noise::new(run as u64 + 7);
    let laps: Vec<LapEvidence> = solution.runs[run]
        .laps
        .iter()
        .map(|lap| lap_evidence(lap.lap, lap.mean_speed_m_s, lap.misclosure_m.unwrap_or(f64::NAN), &mut noise))
        .collect();
    let seconds = request.laps * SECONDS_A_LAP + 60;
    let lap_at = |second: usize| if second < 28 { 0 } else { (second - 28) / SECONDS_A_LAP + 1 };
    let mut wander = 0.0;
    let mut speed_m_s = Vec::new();
    let mut power_w = Vec::new();
    for second in 0..seconds {
        wander = 0.9 * wander + 0.1 * noise.next();
        let target = if lap_at(second).is_multiple_of(2) { 11.3 } else { 8.1 };
        let rising = (second as f64 / 15.0).min(1.0);
        speed_m_s.push(rising * (target + 2.0 * wander));
        power_w.push(if second % 997 == 500 {
            f64::NAN
        } else {
            rising * (60.0 + 17.0 * target + 30.0 * noise.next())
        });
    }
    RunEvidence {
        setup: setup_of(request, run),
        laps,
        time_s: (0..seconds).map(|s| s as f64).collect(),
        used: (0..seconds).map(|s| (1..=request.laps).contains(&lap_at(s)) && is_used(lap_at(s))).collect(),
        residual_m: (0..seconds)
            .map(|s| {
                if is_on_rollers(request, run) || !(1..=request.laps).contains(&lap_at(s)) {
                    return f64::NAN;
                }
                0.05 * noise.next() + 0.3 * (s as f64 / 700.0).sin()
            })
            .collect(),
        speed_m_s,
        power_w,
        stretch: Vec::new(),
    }
}

fn lap_evidence(lap: usize, mean_speed_m_s: f64, misclosure_m: f64, noise: &mut Noise) -> LapEvidence {
    let mut residual = 0.0;
    let residual_m: Vec<f64> = (0..=STEPS)
        .map(|_| {
            residual = 0.9 * residual + 0.06 * noise.next();
            residual
        })
        .collect();
    let chainage_m: Vec<f64> = (0..=STEPS).map(|j| j as f64 * LENGTH_M / STEPS as f64).collect();
    LapEvidence {
        lap,
        used: is_used(lap),
        mean_speed_m_s,
        elevation_m: chainage_m.iter().zip(&residual_m).map(|(s, e)| height(s / LENGTH_M) + e).collect(),
        chainage_m,
        residual_m,
        misclosure_m,
    }
}

fn warm_up(request: Request, run: usize) -> WarmUpEvidence {
    let mut noise = Noise::new(run as u64 + 55);
    let level = 0.0052 + 0.0003 * setup_of(request, run) as f64;
    let seconds = request.laps.max(6) * 60;
    let decay: Vec<f64> = (0..seconds).map(|s| level + 0.0012 * (-(s as f64) / 170.0).exp()).collect();
    WarmUpEvidence {
        run,
        setup: setup_of(request, run),
        time_s: (0..seconds).map(|s| s as f64).collect(),
        crr: decay
            .iter()
            .enumerate()
            .map(|(s, d)| d + 0.0003 * noise.next() + if s < 4 { 0.03 } else { 0.0 })
            .collect(),
        decay,
        window_from_s: seconds as f64 * 0.45,
        window_to_s: seconds as f64 - 20.0,
        mean_crr: level,
    }
}
