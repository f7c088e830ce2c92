//! Laps that break the energy account: braking, a push or a draft, an outlying misclosure.
//!
//! Given accounts or residuals; gives reasons. Robust statistics only, so that one bad lap does not hide another; it
//! never judges a lap by what it would do to the answer.

use super::account::{FittedWind, LapAccount, SupposedAir};
use super::weights::EXPECTED_EXPONENT;
use crate::sample::{Cumulative, Reason};

/// Values every rider is near enough to for finding gross faults.
const NOMINAL_CRR: f64 = 0.0045;
const NOMINAL_CDA_M2: f64 = 0.28;
/// Elevation that must be missing or too much within one step before the fit, and after it, m: braking from 36 to
/// 32 km/h loses 1 m.
const GROSS_M: f64 = 1.2;
const FINE_M: f64 = 0.35;
/// Robust standard deviations that a step must be off as well.
const STEP_SDS: f64 = 7.0;
/// Robust standard deviations at which a misclosure is an outlier: far beyond what gusts do among a few dozen laps.
const MISCLOSURE_SDS: f64 = 5.0;
/// Fewest laps among which an outlier can be told.
const FEWEST_LAPS: usize = 8;

/// 1.4826 times the median absolute deviation.
fn robust_sd(values: &[f64]) -> f64 {
    let centre = median(values);
    1.4826 * median(&values.iter().map(|v| (v - centre).abs()).collect::<Vec<_>>())
}

pub(super) fn median(values: &[f64]) -> f64 {
    let mut v: Vec<f64> = values.iter().copied().filter(|x| x.is_finite()).collect();
    if v.is_empty() {
        return f64::NAN;
    }
    v.sort_by(f64::total_cmp);
    0.5 * (v[(v.len() - 1) / 2] + v[v.len() / 2])
}

/// Reason for each lap before any fit, from the account at nominal values against the median lap.
pub fn gross_faults(laps: &[&LapAccount], work: &[&Cumulative]) -> Vec<Option<Reason>> {
    let heights: Vec<Vec<f64>> = laps
        .iter()
        .map(|l| {
            let aero = l.aero(SupposedAir::of_wind(FittedWind::default()));
            l.supplied_m(work[l.run], 0.0)
                .iter()
                .zip(l.rolling_m.iter().zip(&aero.b))
                .enumerate()
                .map(|(j, (a, (d, b)))| if l.uses(j) { a - NOMINAL_CRR * d - NOMINAL_CDA_M2 * b } else { f64::NAN })
                .collect()
        })
        .collect();
    judge_steps(&heights, GROSS_M)
}

/// Reason for each lap after a fit, from the residual of each step.
///
/// Misclosures are judged on the scale of the lap's speed, because fast laps scatter more, and only the worst is marked at
/// a time: an outlier pulls the fit, so the others must be seen again without it.
pub fn fine_faults(residuals: &[Vec<f64>], speed_m_s: &[f64]) -> Vec<Option<Reason>> {
    let mut reasons = judge_steps(residuals, FINE_M);
    if residuals.len() >= FEWEST_LAPS && reasons.iter().all(Option::is_none) {
        let scaled: Vec<f64> = residuals
            .iter()
            .zip(speed_m_s)
            .map(|(r, v)| r.iter().sum::<f64>() * v.powf(-0.5 * EXPECTED_EXPONENT))
            .collect();
        let (centre, sd) = (median(&scaled), robust_sd(&scaled));
        let off = |m: &f64| (m - centre).abs();
        let worst = scaled.iter().enumerate().max_by(|a, b| off(a.1).total_cmp(&off(b.1)));
        if let Some((lap, m)) = worst
            && off(m) > MISCLOSURE_SDS * sd
        {
            reasons[lap] = Some(Reason::OutlyingMisclosure);
        }
    }
    reasons
}

/// Compares each step with the same step of the other laps; a lap has NaN where it has none. Energy that vanished looks like a climb: braking.
fn judge_steps(heights: &[Vec<f64>], least_m: f64) -> Vec<Option<Reason>> {
    if heights.len() < 3 {
        return vec![None; heights.len()];
    }
    let steps = heights.iter().map(Vec::len).min().unwrap_or(0);
    let column = |j: usize| heights.iter().map(|h| h[j]).collect::<Vec<_>>();
    let centre: Vec<f64> = (0..steps).map(|j| median(&column(j))).collect();
    let all: Vec<f64> = heights.iter().flat_map(|h| h.iter().zip(&centre).map(|(x, c)| x - c)).collect();
    let limit = (STEP_SDS * robust_sd(&all)).max(least_m);
    heights
        .iter()
        .map(|h| {
            let off = h.iter().zip(&centre).map(|(x, c)| x - c).filter(|off| off.is_finite());
            let worst = off.max_by(|a, b| a.abs().total_cmp(&b.abs()))?;
            if worst > limit {
                Some(Reason::Braking)
            } else if worst < -limit {
                Some(Reason::EnergyUnexplained)
            } else {
                None
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn energy_lost_in_one_step_is_braking_and_energy_gained_is_unexplained() {
        let mut laps = vec![vec![0.1, -0.1, 0.05, -0.02]; 8];
        laps[2][1] += 2.0;
        laps[5][3] -= 2.0;
        let r = judge_steps(&laps, GROSS_M);
        assert_eq!(r[2], Some(Reason::Braking));
        assert_eq!(r[5], Some(Reason::EnergyUnexplained));
        assert_eq!(r.iter().filter(|x| x.is_some()).count(), 2);
    }

    #[test]
    fn a_misclosure_far_from_the_others_is_marked() {
        let mut laps: Vec<Vec<f64>> = (0..10).map(|i| vec![0.01 * f64::from(i % 5 - 2); 12]).collect();
        laps[4] = vec![0.2; 12];
        let r = fine_faults(&laps, &[9.0; 10]);
        assert_eq!(r[4], Some(Reason::OutlyingMisclosure));
        assert_eq!(r.iter().flatten().count(), 1);
    }
}
