//! Bias and coverage on rollers, and of what two venues say together, over many simulated days.
//!
//! Left out of ordinary runs because it takes minutes:
//! `cargo test --release --test coverage rollers -- --ignored --nocapture`. `LOOPWRIGHT_DAYS` sets the days of each.

use loopwright::analysis::{Depth, RiddenSession, analyse};
use loopwright::plan::Plan;
use loopwright::simulate::simulate;
use loopwright::solution::{Contrast, Estimate, Solution};
use rayon::prelude::*;

/// Errors and intervals of one quantity over many days.
struct Tally {
    name: &'static str,
    error: Vec<f64>,
    se: Vec<f64>,
    inside: usize,
}

impl Tally {
    fn new(name: &'static str) -> Tally {
        Tally { name, error: Vec::new(), se: Vec::new(), inside: 0 }
    }

    fn add(&mut self, e: &Estimate, truth: f64) {
        let (Some(value), Some(se), Some(low), Some(high)) = (e.value, e.se, e.low, e.high) else { return };
        self.error.push(value - truth);
        self.se.push(se);
        self.inside += usize::from(low <= truth && truth <= high);
    }

    fn inside(&self) -> f64 {
        self.inside as f64 / self.error.len().max(1) as f64
    }

    fn line(&self) -> String {
        let n = self.error.len() as f64;
        let root_mean = |list: &[f64]| (list.iter().map(|e| e * e).sum::<f64>() / n).sqrt();
        let (rms, se) = (root_mean(&self.error), root_mean(&self.se));
        let bias = self.error.iter().sum::<f64>() / n;
        let share = 100.0 * self.inside();
        format!(
            "{:26} n {n:4} bias {bias:+.6} ± {:.6}  rms {rms:.6}  rms-se {se:.6}  inside {share:.1} %",
            self.name,
            rms / n.sqrt()
        )
    }
}

/// Solves simulated days of a plan and counts.
fn study(title: &str, plan: &str, days: u64) -> Vec<Tally> {
    let plan = Plan::from_toml(plan, title).expect("a plan of the samples");
    let solved: Vec<_> = (0..days)
        .into_par_iter()
        .filter_map(|day| {
            let rehearsal = simulate(&plan, 500 + day).expect("the plan can be ridden");
            let recordings = rehearsal.rides.iter().map(|r| r.to_recording()).collect();
            let inputs = RiddenSession { session: rehearsal.session.clone(), recordings, weather: None, survey: None };
            match analyse(&inputs, Depth::default()) {
                Ok(analysis) => Some((analysis.solution, rehearsal.truth)),
                Err(e) => {
                    println!("{title}, day {day}: {e}");
                    None
                }
            }
        })
        .collect();
    let names = ["rollers Crr", "rollers difference", "loop Crr", "loop difference", "combined", "surface loss"];
    let mut tally: Vec<Tally> = names.into_iter().map(Tally::new).collect();
    for (solution, truth) in &solved {
        let of = |id: &str| truth.setups.iter().find(|u| u.id == id).expect("every set-up has a truth");
        let road = |id: &str| of(id).crr;
        let drums = |id: &str| of(id).crr_rollers.unwrap_or(of(id).crr);
        let (setups, contrasts): (_, &[Contrast]) = match &solution.venues {
            Some(v) => (&v.results[1].setups, &v.results[1].contrasts),
            None => (&solution.setups, &solution.contrasts),
        };
        tally[0].add(&setups[0].crr, drums(&setups[0].id));
        contrasts.iter().for_each(|c| tally[1].add(&c.crr, drums(&c.setup) - drums(&c.baseline)));
        if let (Solution { setups, contrasts, .. }, Some(v)) = (solution, &solution.venues) {
            tally[2].add(&setups[0].crr, road(&setups[0].id));
            contrasts.iter().for_each(|c| tally[3].add(&c.crr, road(&c.setup) - road(&c.baseline)));
            v.combined.iter().for_each(|c| tally[4].add(&c.crr, road(&c.setup) - road(&c.baseline)));
            v.surface_loss.iter().for_each(|l| tally[5].add(&l.crr, road(&l.setup) - drums(&l.setup)));
        }
    }
    tally.retain(|t| !t.error.is_empty());
    println!("{title}: {} of {days} days solved", solved.len());
    tally.iter().for_each(|t| println!("  {}", t.line()));
    assert!(solved.len() as f64 >= 0.95 * days as f64, "{title}");
    tally
}

#[test]
#[ignore = "takes minutes; see the head of this file"]
fn intervals_of_rollers_and_of_both_venues_hold_the_truth() {
    let days: u64 = std::env::var("LOOPWRIGHT_DAYS").ok().and_then(|d| d.parse().ok()).unwrap_or(60);
    let plan = |name: &str| {
        let path = format!("{}/sample-loops/{name}/plan.toml", env!("CARGO_MANIFEST_DIR"));
        std::fs::read_to_string(path).expect("a plan")
    };
    let six = plan("tyres-on-rollers");
    let twice = r#""amber", "basalt", "cedar", "cedar", "basalt", "amber""#;
    assert!(six.contains(twice));
    let three = six.replace(twice, r#""amber", "basalt", "cedar""#);
    for (title, text) in
        [("two runs each", six), ("one run each", three), ("road and rollers", plan("road-and-rollers"))]
    {
        for t in study(title, &text, days) {
            // A share of 0.95 over n days scatters by √(0.95 · 0.05/n); three of those below it would be a fault.
            let least = 0.95 - 3.0 * (0.95 * 0.05 / t.error.len() as f64).sqrt();
            assert!(t.inside() >= least, "{title}, {}: {} inside, at least {least}", t.name, t.inside());
        }
    }
}
