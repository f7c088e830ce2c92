//! Days that keep to the plain model: one wind for the loop, two speeds, a rider who sits alike throughout.
//!
//! Beside bias and coverage they tell whether laps drawn again agree.
//! Left out of ordinary runs because it takes minutes: `cargo test --release --test coverage plain -- --ignored --nocapture`.
//! `LOOPWRIGHT_DAYS` sets the days of each condition, `LOOPWRIGHT_CONDITION` picks one, `LOOPWRIGHT_INSTRUMENTS` lets the
//! instrument err.

use super::exact::nothing_errs;
use super::tally::Tally;
use loopwright::analysis::{DEFAULT_LAP_DRAWS, Depth, RiddenSession, analyse};
use loopwright::plan::Plan;
use loopwright::simulate::{Truth, simulate};
use loopwright::solution::Solution;
use rayon::prelude::*;

/// How the standard errors of laps drawn again compare with those of the sandwich.
#[derive(Default)]
struct Opinions {
    ratio: Vec<f64>,
    days: usize,
    disagree: usize,
}

impl Opinions {
    fn add(&mut self, solution: &Solution) {
        let Some(b) = &solution.bootstrap else { return };
        self.days += 1;
        self.disagree += usize::from(b.disagrees);
        for line in b.setups.iter().chain(&b.contrasts) {
            for r in [&line.crr, &line.cda_m2] {
                self.ratio.extend(r.bootstrap_se.zip(r.sandwich_se).map(|(b, s)| b / s));
            }
        }
    }

    fn line(&mut self, name: &str) -> String {
        self.ratio.sort_by(f64::total_cmp);
        let at = |share: f64| self.ratio.get((share * self.ratio.len() as f64) as usize).copied().unwrap_or(f64::NAN);
        let (low, middle, high) = (at(0.05), at(0.5), at(0.95));
        format!(
            "{name:22} laps drawn again: se {middle:.2} of the sandwich's (90 % {low:.2} to {high:.2}); found to disagree on {} of {} days",
            self.disagree, self.days
        )
    }
}

/// Noise and wind of a condition.
struct Condition {
    name: &'static str,
    noise: &'static str,
    wind: &'static str,
    /// One set-up in one long run instead of three in six.
    single: bool,
}

const fn condition(name: &'static str, noise: &'static str, wind: &'static str) -> Condition {
    Condition { name, noise, wind, single: false }
}

const CONDITIONS: [Condition; 7] = [
    condition("calm", "gust_sd_m_s = 0.15", "speed_m_s = 0.5\nfrom_deg = 200.0"),
    condition("breeze", "gust_sd_m_s = 0.3", "speed_m_s = 2.5\nfrom_deg = 240.0"),
    condition(
        "lag",
        "gust_sd_m_s = 0.2\nspeed_source = \"wheel\"\npower_lag_s = 1.0",
        "speed_m_s = 1.0\nfrom_deg = 90.0",
    ),
    condition("drift", "gust_sd_m_s = 0.3\nwind_drift_m_s_per_h = 3.0", "speed_m_s = 1.0\nfrom_deg = 20.0"),
    condition("gusty", "gust_sd_m_s = 0.8", "speed_m_s = 2.0\nfrom_deg = 300.0"),
    Condition { single: true, ..condition("single", "gust_sd_m_s = 0.2", "speed_m_s = 1.0\nfrom_deg = 90.0") },
    Condition {
        single: true,
        ..condition(
            "single lag",
            "gust_sd_m_s = 0.1\nspeed_source = \"wheel\"\npower_lag_s = 1.0",
            "speed_m_s = 0.2\nfrom_deg = 180.0",
        )
    },
];

/// The plan of a condition; with `instruments` the instrument errs as it is said to, else not at all.
fn plan(condition: &Condition, instruments: bool) -> Plan {
    let (errors, zero) = if instruments { ("drawn", String::new()) } else { ("none", nothing_errs()) };
    let others =
        "[[setup]]\nid = \"b\"\ncda_m2 = 0.262\ncrr = 0.0041\n[[setup]]\nid = \"c\"\ncda_m2 = 0.262\ncrr = 0.0045\n";
    let (order, laps, cda, more) =
        if condition.single { ("[\"a\"]", 12, "per-setup", "") } else { (TYRES, 6, "common", others) };
    let Condition { noise, wind, .. } = condition;
    let text = format!(
        "order = {order}\nlaps_per_run = {laps}\nspeeds_km_h = [29.0, 41.0]\n\
         [rider_and_bike]\nmass_kg = 86.0\n[uncertainty]\n{zero}\n\
         [loop]\nlength_m = 1250.0\nshape = \"bean\"\nelevation_amplitude_m = 1.5\n\
         [wind]\n{wind}\n[solve]\ncda = \"{cda}\"\n[noise]\n{noise}\ninstrument_errors = \"{errors}\"\n\
         [[setup]]\nid = \"a\"\ncda_m2 = 0.262\ncrr = 0.0045\n{more}"
    );
    Plan::from_toml(&text, "coverage").expect("the plan of the study is valid")
}

const TYRES: &str = "[\"a\", \"b\", \"c\", \"c\", \"b\", \"a\"]";

#[test]
#[ignore = "takes minutes; see the head of this file"]
fn intervals_of_plain_days_hold_the_truth_as_often_as_they_say() {
    let days: u64 = std::env::var("LOOPWRIGHT_DAYS").ok().and_then(|d| d.parse().ok()).unwrap_or(80);
    let only = std::env::var("LOOPWRIGHT_CONDITION").ok();
    let instruments = std::env::var("LOOPWRIGHT_INSTRUMENTS").is_ok();
    let mut wrong = Vec::new();
    let wanted = |c: &Condition| only.as_deref().is_none_or(|o| o == c.name);
    for (k, condition) in CONDITIONS.iter().enumerate().filter(|(_, c)| wanted(c)) {
        // Days of their own for each condition, so that one unlucky draw does not show in all of them.
        let first_seed = 100_000 * (k as u64 + 1);
        let plan = plan(condition, instruments);
        let solved: Vec<(Solution, Truth)> = (0..days)
            .into_par_iter()
            .map(|day| {
                let rehearsal = simulate(&plan, first_seed + day).expect("the plan can be ridden");
                let recordings = rehearsal.rides.iter().map(|r| r.to_recording()).collect();
                let inputs = RiddenSession { session: rehearsal.session, recordings, weather: None, survey: None };
                let depth = Depth { budget: instruments, draws: DEFAULT_LAP_DRAWS };
                (analyse(&inputs, depth).expect("every day can be solved").solution, rehearsal.truth)
            })
            .collect();
        let mut opinions = Opinions::default();
        solved.iter().for_each(|(s, _)| opinions.add(s));
        println!("{}", opinions.line(condition.name));
        let [mut crr, mut cda, mut contrast] = [Tally::default(), Tally::default(), Tally::default()];
        for (s, t) in &solved {
            let of = |id: &str| t.setups.iter().find(|u| u.id == id).expect("every set-up has a truth");
            let first = &s.setups[0];
            crr.add(&first.crr, of(&first.id).crr);
            cda.add(&first.cda_m2, of(&first.id).cda_m2);
            for c in &s.contrasts {
                contrast.add(&c.crr, of(&c.setup).crr - of(&c.baseline).crr);
            }
        }
        for (tally, what) in [(&crr, "Crr"), (&cda, "CdA"), (&contrast, "Crr difference")] {
            if !tally.error.is_empty() {
                let name = format!("{} {what}", condition.name);
                println!("{}\n{}", tally.line(&name), tally.smallest_tenth(&name));
                wrong.extend(tally.fault().map(|f| format!("{} {what}: {f}", condition.name)));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
