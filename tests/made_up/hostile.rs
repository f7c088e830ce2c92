//! Ways to spoil a day that must not make a figure or a report panic.

use super::{Day, Noise, Request, day, spoil};
use loopwright::evidence::Evidence;
use loopwright::solution::Solution;
use std::cell::RefCell;

/// Days with missing, infinite, huge, equal and mixed values, with columns of different lengths, and with nothing.
pub fn days() -> Vec<(String, Day)> {
    let mut all = Vec::new();
    for rollers in [false, true] {
        for value in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 0.0, -1.0, 1e300, -1e300, 1e-300, 1e11] {
            let mut spoiled = day(Request { rollers, ..Request::new(2, 3) });
            spoil(&mut spoiled, &|_| value);
            all.push((format!("all {value}"), spoiled));
        }
        if !rollers {
            let mut both = day(Request { mixed: true, ..Request::new(3, 4) });
            spoil(&mut both, &|v| if v > 0.3 { f64::NAN } else { -v });
            all.push(("both venues".into(), both));
        }
        let noise = RefCell::new(Noise::new(3));
        let mut mixed = day(Request { rollers, ..Request::new(3, 5) });
        let odd = [f64::NAN, f64::INFINITY, -1e300, 0.0, -1.0, 1e9];
        spoil(&mut mixed, &|v| {
            let at = ((noise.borrow_mut().next() + 1.0) * 6.0) as usize;
            odd.get(at).copied().unwrap_or(v)
        });
        all.push(("mixed".into(), mixed));

        let mut ragged = day(Request { rollers, ..Request::new(2, 4) });
        for run in &mut ragged.evidence.runs {
            run.setup = 99;
            run.speed_m_s.truncate(5);
            run.used.clear();
            run.time_s.truncate(40);
            run.laps.iter_mut().for_each(|lap| lap.residual_m.truncate(1));
        }
        ragged.evidence.warm_ups.iter_mut().for_each(|w| w.crr.truncate(3));
        ragged.evidence.regions.iter_mut().for_each(|r| r.setup = 50);
        all.push(("ragged".into(), ragged));
    }
    let plain = || day(Request::new(2, 3));
    all.push(("nothing".into(), Day { solution: Solution::default(), evidence: Evidence::default(), ..plain() }));
    all.push(("no evidence".into(), Day { evidence: Evidence::default(), ..plain() }));
    all.push(("no solution".into(), Day { solution: Solution::default(), ..plain() }));
    all
}
