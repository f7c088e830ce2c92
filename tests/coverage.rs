//! Bias and coverage over many simulated days: the proof that intervals mean what they say.
//!
//! Left out of ordinary runs because it takes minutes:
//! `cargo test --release --test coverage -- --ignored --nocapture`. `LOOPWRIGHT_DAYS` sets the days of each condition.

use loopwright::analysis::{Depth, Inputs, analyse};
use loopwright::plan::{Plan, simulate};
use loopwright::solution::Estimate;
use rayon::prelude::*;

/// Errors and intervals of one quantity over many days.
#[derive(Default)]
struct Tally {
    error: Vec<f64>,
    se: Vec<f64>,
    inside: usize,
}

impl Tally {
    fn add(&mut self, e: &Estimate, truth: f64) {
        let (Some(value), Some(se), Some(low), Some(high)) = (e.value, e.se, e.low, e.high) else { return };
        self.error.push(value - truth);
        self.se.push(se);
        self.inside += usize::from(low <= truth && truth <= high);
    }

    fn line(&self, name: &str) -> String {
        let n = self.error.len() as f64;
        let mean = self.error.iter().sum::<f64>() / n;
        let rms = (self.error.iter().map(|e| e * e).sum::<f64>() / n).sqrt();
        let sd = (rms * rms - mean * mean).sqrt();
        let se = self.se.iter().sum::<f64>() / n;
        let rms_se = (self.se.iter().map(|e| e * e).sum::<f64>() / n).sqrt();
        format!(
            "{name:22} n {n:4} bias {mean:+.6} ± {:.6} ({:+.2} se)  rms {rms:.6}  mean se {se:.6}  sd/rms-se {:.3}  inside {:.1} %",
            sd / n.sqrt(),
            mean / se,
            sd / rms_se,
            100.0 * self.inside as f64 / n
        )
    }
}

fn plan(condition: &str, instruments: bool) -> Plan {
    let (order, noise, wind, laps) = match condition {
        "calm" => (TYRES, "gust_sd_m_s = 0.15", "speed_m_s = 0.5\nfrom_deg = 200.0", 6),
        "breeze" => (TYRES, "gust_sd_m_s = 0.3", "speed_m_s = 2.5\nfrom_deg = 240.0", 6),
        "lag" => (
            TYRES,
            "gust_sd_m_s = 0.2\nspeed_source = \"wheel\"\npower_lag_s = 1.0",
            "speed_m_s = 1.0\nfrom_deg = 90.0",
            6,
        ),
        "drift" => (TYRES, "gust_sd_m_s = 0.3\nwind_drift_m_s_per_h = 3.0", "speed_m_s = 1.0\nfrom_deg = 20.0", 6),
        "gusty" => (TYRES, "gust_sd_m_s = 0.8", "speed_m_s = 2.0\nfrom_deg = 300.0", 6),
        "single" => (
            "[\"a\"]",
            "gust_sd_m_s = 0.2\nspeed_source = \"wheel\"\npower_lag_s = 1.0",
            "speed_m_s = 1.0\nfrom_deg = 90.0",
            12,
        ),
        "single-exact" => {
            ("[\"a\"]", "gust_sd_m_s = 0.2\nspeed_source = \"exact\"", "speed_m_s = 1.0\nfrom_deg = 90.0", 12)
        }
        "wind4" => (TYRES, "gust_sd_m_s = 0.2", "speed_m_s = 4.5\nfrom_deg = 20.0", 6),
        "wind4e" => (
            TYRES,
            "gust_sd_m_s = 0.05\nposition_sd_m=0.1\nspeed_source=\"exact\"\npower_cv=0.02",
            "speed_m_s = 4.5\nfrom_deg = 20.0",
            6,
        ),
        "drift1" => (TYRES, "gust_sd_m_s = 0.2\nwind_drift_m_s_per_h = 1.0", "speed_m_s = 1.0\nfrom_deg = 20.0", 6),
        "drifte" => (
            TYRES,
            "gust_sd_m_s = 0.05\nposition_sd_m=0.1\nspeed_source=\"exact\"\npower_cv=0.02\nwind_drift_m_s_per_h = 3.0",
            "speed_m_s = 1.0\nfrom_deg = 20.0",
            6,
        ),
        other => panic!("no condition {other}"),
    };
    let errors = if instruments { "drawn" } else { "none" };
    let zero = if instruments {
        String::new()
    } else {
        [
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
        ]
        .iter()
        .map(|k| format!("{k} = 0.0\n"))
        .collect()
    };
    let three = order == TYRES;
    let more = if three {
        "[[setup]]\nid = \"b\"\ncda_m2 = 0.262\ncrr = 0.0041\n[[setup]]\nid = \"c\"\ncda_m2 = 0.262\ncrr = 0.0045\n"
    } else {
        ""
    };
    let cda = if three { "common" } else { "per-setup" };
    let text = format!(
        "order = {order}\nlaps_per_run = {laps}\nspeeds_km_h = [29.0, 41.0]\n[rider_and_bike]\nmass_kg = 86.0\n[uncertainty]\n{zero}\n[loop]\nlength_m = 1250.0\nshape = \"bean\"\nelevation_amplitude_m = 1.5\n[wind]\n{wind}\n[solve]\ncda = \"{cda}\"\n[noise]\n{noise}\ninstrument_errors = \"{errors}\"\n[[setup]]\nid = \"a\"\ncda_m2 = 0.262\ncrr = 0.0045\n{more}"
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
    for condition in
        ["calm", "breeze", "lag", "drift", "gusty", "single", "single-exact", "wind4", "wind4e", "drift1", "drifte"]
    {
        if only.as_deref().is_some_and(|o| o != condition) {
            continue;
        }
        let plan = plan(condition, instruments);
        let solved: Vec<_> = (0..days)
            .into_par_iter()
            .filter_map(|day| {
                let rehearsal =
                    simulate(&plan, std::env::var("SEED").ok().and_then(|s| s.parse().ok()).unwrap_or(1000) + day)
                        .expect("the plan can be ridden");
                let recordings = rehearsal.rides.iter().map(|r| r.to_recording()).collect();
                let inputs = Inputs { session: rehearsal.session.clone(), recordings, weather: None, survey: None };
                match analyse(&inputs, Depth { budget: instruments, draws: 0 }) {
                    Ok(a) => Some((a.solution, rehearsal.truth)),
                    Err(e) => {
                        println!("{condition} day {day}: {e}");
                        None
                    }
                }
            })
            .collect();
        let (mut crr, mut cda, mut least, mut contrast) =
            (Tally::default(), Tally::default(), Tally::default(), Tally::default());
        for (s, t) in &solved {
            let of = |id: &str| t.setups.iter().find(|u| u.id == id).expect("every set-up has a truth");
            for u in s.setups.iter().take(1) {
                crr.add(&u.crr, of(&u.id).crr);
                cda.add(&u.cda_m2, of(&u.id).cda_m2);
                let mut ls = u.crr;
                ls.value = u.least_squares_crr;
                least.add(&ls, of(&u.id).crr);
            }
            for c in &s.contrasts {
                contrast.add(&c.crr, of(&c.setup).crr - of(&c.baseline).crr);
            }
        }
        println!("{}", crr.line(&format!("{condition} Crr")));
        println!("{}", least.line(&format!("{condition} Crr LS")));
        println!("{}", cda.line(&format!("{condition} CdA")));
        if !contrast.error.is_empty() {
            println!("{}", contrast.line(&format!("{condition} Crr difference")));
        }
    }
}
