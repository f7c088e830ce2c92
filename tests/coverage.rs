//! Bias and coverage over many simulated days: the proof that intervals mean what they say.
//!
//! Left out of ordinary runs because it takes minutes:
//! `cargo test --release --test coverage -- --ignored --nocapture`. `LOOPWRIGHT_DAYS` sets the days of each condition.

use loopwright::analysis::{DEFAULT_LAP_DRAWS, Depth, Inputs, analyse};
use loopwright::plan::{Plan, Truth, least_scatter, simulate};
use loopwright::solution::{Estimate, Solution};
use rayon::prelude::*;

/// Errors and intervals of one quantity over many days.
#[derive(Default)]
struct Tally {
    error: Vec<f64>,
    se: Vec<f64>,
    inside: Vec<bool>,
}

impl Tally {
    fn add(&mut self, e: &Estimate, truth: f64) {
        let (Some(value), Some(se), Some(low), Some(high)) = (e.value, e.se, e.low, e.high) else { return };
        self.error.push(value - truth);
        self.se.push(se);
        self.inside.push(low <= truth && truth <= high);
    }

    fn share_inside(&self) -> f64 {
        self.inside.iter().filter(|held| **held).count() as f64 / self.inside.len() as f64
    }

    /// How the tenth with the smallest standard errors fares. A standard error of a dozen laps is itself uncertain by a
    /// quarter, and errors hardly depend on which one chance reports: small ones are too small, large ones too large.
    fn smallest_tenth(&self, name: &str) -> String {
        let mut order: Vec<usize> = (0..self.se.len()).collect();
        order.sort_by(|a, b| self.se[*a].total_cmp(&self.se[*b]));
        order.truncate((self.se.len() / 10).max(1));
        let n = order.len() as f64;
        let rms = (order.iter().map(|&i| self.error[i].powi(2)).sum::<f64>() / n).sqrt();
        let rms_of_all = (self.error.iter().map(|e| e * e).sum::<f64>() / self.error.len() as f64).sqrt();
        let inside = order.iter().filter(|&&i| self.inside[i]).count() as f64 / n;
        let z = (0..self.se.len()).map(|i| (self.error[i] / self.se[i]).abs());
        let beyond = |limit: f64| z.clone().filter(|z| *z > limit).count();
        format!(
            "{name:22} smallest tenth of se: rms error {:.2} of all, inside {:.1} %; errors beyond 3, 3.5, 4 se: {}, {}, {}",
            rms / rms_of_all,
            100.0 * inside,
            beyond(3.0),
            beyond(3.5),
            beyond(4.0)
        )
    }

    /// What no honest estimator would show, beyond the chance of this many days: a bias of over half a standard error, or
    /// intervals that hold less than 88 % of the time.
    fn fault(&self) -> Option<String> {
        let n = self.error.len() as f64;
        let bias = self.error.iter().sum::<f64>() / self.se.iter().sum::<f64>();
        let inside = self.share_inside();
        let chance = 3.0 * (0.95 * 0.05 / n).sqrt();
        (bias.abs() > 0.5 || inside < 0.88 - chance).then(|| format!("bias {bias:+.2} se, {inside:.3} inside"))
    }

    /// `least` is the scatter of the best linear unbiased estimate that knows the noise.
    fn line(&self, name: &str, least: Option<f64>) -> String {
        let n = self.error.len() as f64;
        let mean = self.error.iter().sum::<f64>() / n;
        let rms = (self.error.iter().map(|e| e * e).sum::<f64>() / n).sqrt();
        let sd = (rms * rms - mean * mean).sqrt();
        let se = self.se.iter().sum::<f64>() / n;
        let rms_se = (self.se.iter().map(|e| e * e).sum::<f64>() / n).sqrt();
        format!(
            "{name:22} n {n:4} bias {mean:+.6} ± {:.6} ({:+.2} se)  rms {rms:.6}  mean se {se:.6}  sd/rms-se {:.3}  inside {:.1} %  rms/bound {:.2}",
            sd / n.sqrt(),
            mean / se,
            sd / rms_se,
            100.0 * self.share_inside(),
            rms / least.unwrap_or(f64::NAN)
        )
    }
}

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

/// The plan of a condition; with `instruments` the measuring chain errs as it is said to, else not at all.
fn plan(condition: &Condition, instruments: bool) -> Plan {
    let known = [
        "mass_kg",
        "power_fraction",
        "speed_fraction",
        "temperature_c",
        "pressure_hpa",
        "humidity_pct",
        "drivetrain_efficiency",
        "wheel_inertia_kg_m2",
        "centre_of_mass_height_m",
        "bearing_fraction",
    ];
    let (errors, zero) = if instruments {
        ("drawn", String::new())
    } else {
        ("none", known.iter().map(|k| format!("{k} = 0.0\n")).collect())
    };
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
fn intervals_hold_the_truth_as_often_as_they_say() {
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
                let inputs = Inputs { session: rehearsal.session, recordings, weather: None, survey: None };
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
        let least = least_scatter(&plan).expect("the plan of the study has a bound");
        let [first, difference] = [least.setups.first(), least.contrasts.first()];
        for (tally, what, least) in [
            (&crr, "Crr", first.and_then(|s| s.crr)),
            (&cda, "CdA", first.and_then(|s| s.cda_m2)),
            (&contrast, "Crr difference", difference.and_then(|c| c.crr)),
        ] {
            if !tally.error.is_empty() {
                // With errors of the measuring chain the bound is not what the errors can be held against.
                let least = least.filter(|_| !instruments);
                let name = format!("{} {what}", condition.name);
                println!("{}\n{}", tally.line(&name, least), tally.smallest_tenth(&name));
                wrong.extend(tally.fault().map(|f| format!("{} {what}: {f}", condition.name)));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
