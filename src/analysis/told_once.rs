//! What several runs say alike, said once.
//!
//! Given the findings of every run; gives one of the session where all share it, or where two doubt the same.

use crate::finding::{Finding, Slip, What};

/// Findings of the air of all runs, those that all of them share told once: with the mean of what was assumed, and of doubts
/// the worst.
pub fn told_once(of_runs: &[Vec<What>]) -> Vec<Finding> {
    let mut out: Vec<Finding> = Vec::new();
    for (k, said) in of_runs.iter().enumerate() {
        for what in said {
            let alike: Vec<&What> = of_runs.iter().flatten().filter(|w| w.code() == what.code()).collect();
            if alike.len() < 2 || alike.len() < of_runs.len() && !is_doubt(what) {
                out.push(Finding::of_run(k, what.clone()));
            } else if !out.iter().any(|f| f.what.code() == what.code()) {
                out.push(Finding::of_session(together(&alike)));
            }
        }
    }
    out
}

fn is_doubt(what: &What) -> bool {
    matches!(what, What::PressureOdd { .. } | What::Slip(_))
}

/// One finding for several of one kind.
fn together(alike: &[&What]) -> What {
    let mean = |pick: &dyn Fn(&What) -> Option<f64>| {
        let known: Vec<f64> = alike.iter().filter_map(|w| pick(w)).collect();
        known.iter().sum::<f64>() / known.len() as f64
    };
    let distance = |what: &What| match what {
        What::PressureOdd { pressure_hpa, standard_hpa, .. } => (pressure_hpa - standard_hpa).abs(),
        What::Slip(Slip::TemperatureOdd { stated_c, device_c }) => (stated_c - device_c).abs(),
        _ => 0.0,
    };
    match alike[0] {
        What::TemperatureAssumed { from_device, .. } => What::TemperatureAssumed {
            temperature_c: mean(&|w| match w {
                What::TemperatureAssumed { temperature_c, .. } => Some(*temperature_c),
                _ => None,
            }),
            from_device: *from_device,
        },
        What::PressureAssumed { elevation_m, .. } => What::PressureAssumed {
            pressure_hpa: mean(&|w| match w {
                What::PressureAssumed { pressure_hpa, .. } => Some(*pressure_hpa),
                _ => None,
            }),
            elevation_m: elevation_m.map(|_| {
                mean(&|w| match w {
                    What::PressureAssumed { elevation_m, .. } => *elevation_m,
                    _ => None,
                })
            }),
        },
        first => {
            let worst = alike.iter().max_by(|a, b| distance(a).total_cmp(&distance(b)));
            worst.map_or_else(|| first.clone(), |w| (*w).clone())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_all_runs_say_is_said_once_and_what_one_says_of_that_one() {
        let odd = |stated_c| What::Slip(Slip::TemperatureOdd { stated_c, device_c: 19.0 });
        let assumed = |temperature_c| What::TemperatureAssumed { temperature_c, from_device: true };
        let once = told_once(&[vec![odd(50.0)], vec![odd(50.5)], vec![]]);
        assert_eq!(once, [Finding::of_session(odd(50.5))]);
        let once = told_once(&[vec![assumed(18.0)], vec![assumed(20.0)]]);
        assert_eq!(once, [Finding::of_session(assumed(19.0))]);
        assert_eq!(told_once(&[vec![], vec![odd(50.0)]]), [Finding::of_run(1, odd(50.0))]);
    }
}
