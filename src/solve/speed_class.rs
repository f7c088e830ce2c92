//! Laps ridden at the same planned speed: stated, or seen as clearly separated lap speeds.
//!
//! Given mean lap speeds and, where stated, planned ones; gives the class of each lap and how strongly classes differ.
//! It never looks at power or residuals.

use crate::uncertainty::anova::{Group, OneWay};

/// A class needs this many laps.
const FEWEST_LAPS: usize = 2;
/// A break between classes must be this many within-class standard deviations wide, and this share of the speed.
const BREAK_SDS: f64 = 2.5;
const BREAK_SHARE: f64 = 0.03;
/// Most classes looked for.
const MOST_CLASSES: usize = 5;
/// Spread of lap speeds, relative, from which each lap may stand for a planned speed of its own.
const LEVEL_SPREAD: f64 = 0.06;

/// How speed classes came about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Origin {
    Stated,
    Found,
    /// Every lap has its own level: the lap's mean speed times the mean shape is the instrument.
    LapLevels,
    /// All laps at one speed: there is no instrument.
    OneSpeed,
}

/// Classes of all laps in use.
#[derive(Debug, Clone, PartialEq)]
pub struct SpeedClasses {
    pub origin: Origin,
    /// Class of each lap, from 0 for the slowest.
    pub of_lap: Vec<usize>,
    pub count: usize,
    /// One-way F of the square of lap speed between classes; `None` where classes have no scatter of their own.
    pub first_stage_f: Option<f64>,
}

/// Sorts laps into classes. `planned_m_s` has an entry a lap, `None` where the session says nothing.
pub fn classify(mean_speed_m_s: &[f64], planned_m_s: &[Option<f64>]) -> SpeedClasses {
    let stated: Option<Vec<f64>> = planned_m_s.iter().copied().collect();
    let (origin, of_lap) = match stated.filter(|s| !s.is_empty()).map(|s| by_value(&s)) {
        // One plan for all: what speeds differ by is what riders, tyres and air made of it.
        Some(of_lap) if counts(&of_lap).len() == 1 => (Origin::OneSpeed, of_lap),
        Some(of_lap) if counts(&of_lap).len() > 1 && counts(&of_lap).iter().all(|c| *c >= FEWEST_LAPS) => {
            (Origin::Stated, of_lap)
        }
        _ => match by_breaks(mean_speed_m_s) {
            Some(of_lap) => (Origin::Found, of_lap),
            None if relative_spread(mean_speed_m_s) > LEVEL_SPREAD => {
                (Origin::LapLevels, vec![0; mean_speed_m_s.len()])
            }
            None => (Origin::OneSpeed, vec![0; mean_speed_m_s.len()]),
        },
    };
    let squares: Vec<f64> = mean_speed_m_s.iter().map(|v| v * v).collect();
    let first_stage_f = f_between(&squares, &of_lap);
    SpeedClasses { origin, count: counts(&of_lap).len(), of_lap, first_stage_f }
}

fn counts(of_lap: &[usize]) -> Vec<usize> {
    let mut counts = vec![0; of_lap.iter().max().map_or(0, |m| m + 1)];
    for &c in of_lap {
        counts[c] += 1;
    }
    counts
}

fn by_value(planned: &[f64]) -> Vec<usize> {
    let mut values = planned.to_vec();
    values.sort_by(f64::total_cmp);
    values.dedup();
    planned.iter().map(|p| values.iter().position(|v| v == p).unwrap_or(0)).collect()
}

/// Splits sorted speeds at their widest gaps, as often as every gap stays clearly wider than the scatter.
fn by_breaks(speeds: &[f64]) -> Option<Vec<usize>> {
    let n = speeds.len();
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by(|a, b| speeds[*a].total_cmp(&speeds[*b]));
    let sorted: Vec<f64> = order.iter().map(|i| speeds[*i]).collect();
    let mut gaps: Vec<usize> = (1..n).collect();
    gaps.sort_by(|a, b| (sorted[*b] - sorted[*b - 1]).total_cmp(&(sorted[*a] - sorted[*a - 1])));
    let mean = sorted.iter().sum::<f64>() / n as f64;
    for classes in (2..=MOST_CLASSES.min(n / FEWEST_LAPS)).rev() {
        let mut breaks: Vec<usize> = gaps[..classes - 1].to_vec();
        breaks.sort_unstable();
        let class_of = |i: usize| breaks.iter().filter(|b| i >= **b).count();
        let of_sorted: Vec<usize> = (0..n).map(class_of).collect();
        let enough = counts(&of_sorted).iter().all(|c| *c >= FEWEST_LAPS);
        let narrowest = breaks.iter().map(|b| sorted[*b] - sorted[*b - 1]).fold(f64::MAX, f64::min);
        let within = within_sd(&sorted, &of_sorted);
        if enough && narrowest > BREAK_SDS * within && narrowest > BREAK_SHARE * mean {
            let mut of_lap = vec![0; n];
            for (i, lap) in order.iter().enumerate() {
                of_lap[*lap] = of_sorted[i];
            }
            return Some(of_lap);
        }
    }
    None
}

/// Values sorted by class.
fn by_class(values: &[f64], of_lap: &[usize]) -> Vec<Vec<f64>> {
    let mut classes = vec![Vec::new(); of_lap.iter().max().map_or(0, |m| m + 1)];
    for (v, c) in values.iter().zip(of_lap) {
        classes[*c].push(*v);
    }
    classes
}

/// Not a number where no class has a second lap.
fn within_sd(values: &[f64], of_lap: &[usize]) -> f64 {
    OneWay::of_readings(&by_class(values, of_lap)).map_or(f64::NAN, |table| table.within_sd())
}

fn relative_spread(values: &[f64]) -> f64 {
    let all = Group::of(values);
    if all.count > 1 { all.sd / all.mean } else { 0.0 }
}

/// F of the one-way analysis of variance.
fn f_between(values: &[f64], of_lap: &[usize]) -> Option<f64> {
    let table = OneWay::of_readings(&by_class(values, of_lap)).ok()?;
    (table.sum_of_squares_within > 0.0).then_some(table.f)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn alternating_laps_fall_into_two_classes() {
        let speeds = [8.07, 11.23, 8.26, 11.24, 8.2, 11.14];
        let c = classify(&speeds, &[None; 6]);
        assert_eq!((c.origin, c.count), (Origin::Found, 2));
        assert_eq!(c.of_lap, [0, 1, 0, 1, 0, 1]);
        assert!(c.first_stage_f.unwrap() > 100.0);
    }

    #[test]
    fn laps_at_one_speed_have_no_classes() {
        let speeds = [9.98, 10.09, 10.02, 9.99, 9.97, 10.01, 10.05, 9.92];
        assert_eq!(classify(&speeds, &[None; 8]).origin, Origin::OneSpeed);
    }

    #[test]
    fn stated_speeds_win_over_what_was_ridden() {
        let planned: Vec<Option<f64>> = [29.0, 41.0, 29.0, 41.0].map(Some).to_vec();
        let c = classify(&[9.0, 9.4, 9.1, 9.3], &planned);
        assert_eq!((c.origin, c.of_lap), (Origin::Stated, vec![0, 1, 0, 1]));
    }

    #[test]
    fn a_steady_climb_of_speeds_is_taken_lap_by_lap() {
        let speeds: Vec<f64> = (0..10).map(|i| 8.0 + 0.4 * f64::from(i)).collect();
        assert_eq!(classify(&speeds, &[None; 10]).origin, Origin::LapLevels);
    }
}
