//! Predicted against rehearsed standard errors: what `plan` promises is what solving the day reports.
//!
//! The whole grid takes minutes and is left out of ordinary runs:
//! `cargo test --release --test coverage prediction -- --ignored --nocapture`; `LOOPWRIGHT_DAYS` sets the days of each plan.

use loopwright::analysis::{Depth, RiddenSession, analyse};
use loopwright::circuit::Survey;
use loopwright::forecast::{Predicted, Prediction, forecast, predict_plan};
use loopwright::plan::Plan;
use loopwright::record;
use loopwright::report::forecast::forecast_text;
use loopwright::session::Session;
use loopwright::simulate::simulate;
use loopwright::solution::{Estimate, Solution};
use rayon::prelude::*;
use std::path::Path;

const TYRES: &str = "[\"a\", \"b\", \"c\", \"c\", \"b\", \"a\"]";
const POSITIONS: &str = "[\"a\", \"b\", \"b\", \"a\"]";

/// A day to be predicted and ridden.
struct Day {
    order: &'static str,
    laps: usize,
    speeds: &'static str,
    gust_sd_m_s: f64,
    /// More lines of [loop], [wind], [solve] and [noise].
    circuit: &'static str,
    wind: &'static str,
    solve: &'static str,
    noise: &'static str,
}

const LIGHT: Day = Day {
    order: TYRES,
    laps: 8,
    speeds: "[29.0, 41.0]",
    gust_sd_m_s: 0.3,
    circuit: "length_m = 1250.0\nshape = \"bean\"\nelevation_amplitude_m = 1.5",
    wind: "speed_m_s = 1.5\nfrom_deg = 240.0",
    solve: "cda = \"common\"",
    noise: "",
};

impl Day {
    fn plan(&self) -> Plan {
        let other = |id: &str, cda: f64, crr: f64| {
            let there = self.order.contains(&format!("\"{id}\""));
            if there { format!("[[setup]]\nid = \"{id}\"\ncda_m2 = {cda}\ncrr = {crr}\n") } else { String::new() }
        };
        let text = format!(
            "order = {}\nlaps_per_run = {}\nspeeds_km_h = {}\nrider_and_bike.mass_kg = 86.0\n[loop]\n{}\n[wind]\n{}\n[solve]\n{}\n\
             [noise]\ngust_sd_m_s = {}\n{}\n[day]\ncda_run_to_run = 0.007\ncrr_run_to_run = 0.007\n[[setup]]\nid = \"a\"\ncda_m2 = 0.262\ncrr = 0.0045\n{}{}",
            self.order,
            self.laps,
            self.speeds,
            self.circuit,
            self.wind,
            self.solve,
            self.gust_sd_m_s,
            self.noise,
            other("b", 0.262, 0.0041),
            other("c", 0.262, 0.0045)
        );
        Plan::from_toml(&text, "grid").expect("the plan is valid")
    }
}

fn rehearse(plan: &Plan, days: u64, depth: Depth) -> Vec<Solution> {
    (0..days)
        .into_par_iter()
        .filter_map(|d| {
            let day = simulate(plan, 5000 + d).expect("the plan can be ridden");
            let recordings = day.rides.iter().map(|r| r.to_recording()).collect();
            let survey = day.survey.as_ref().map(|t| Survey::parse(t, "survey.csv", 0.02).expect("a survey"));
            let inputs = RiddenSession { session: day.session.clone(), recordings, weather: None, survey };
            analyse(&inputs, depth).map_err(|e| println!("seed {}: {e}", 5000 + d)).ok().map(|a| a.solution)
        })
        .collect()
}

/// Root mean square of what was reported.
fn rms(estimates: &[Estimate], of: impl Fn(&Estimate) -> Option<f64>) -> f64 {
    let known: Vec<f64> = estimates.iter().filter_map(of).collect();
    (known.iter().map(|x| x * x).sum::<f64>() / known.len() as f64).sqrt()
}

/// Standard deviation of the estimates themselves.
fn spread(estimates: &[Estimate]) -> f64 {
    let values: Vec<f64> = estimates.iter().filter_map(|e| e.value).collect();
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (values.len() as f64 - 1.0)).sqrt()
}

/// Quantities that are compared: their name, what is predicted and how it is found in a solution.
#[allow(clippy::type_complexity)]
fn quantities(p: &Prediction) -> Vec<(&'static str, Option<Predicted>, Box<dyn Fn(&Solution) -> Option<Estimate>>)> {
    let mut list: Vec<(&'static str, Option<Predicted>, Box<dyn Fn(&Solution) -> Option<Estimate>>)> = vec![
        ("Crr", p.setups[0].crr, Box::new(|s| Some(s.setups[0].crr))),
        ("CdA, m²", p.setups[0].cda_m2, Box::new(|s| Some(s.setups[0].cda_m2))),
    ];
    if let Some(d) = p.differences.first() {
        list.push(("Crr, difference", d.crr, Box::new(|s| Some(s.contrasts.first()?.crr))));
        list.push(("CdA, difference", d.cda_m2, Box::new(|s| Some(s.contrasts.first()?.cda_m2))));
        list.push(("W, difference", d.power_w, Box::new(|s| Some(s.contrasts.first()?.power_w))));
    }
    list.retain(|(_, predicted, _)| predicted.is_some());
    list
}

#[test]
#[ignore = "takes minutes; see the head of this file"]
fn predicted_and_rehearsed_standard_errors_agree_over_a_grid_of_plans() {
    let days: u64 = std::env::var("LOOPWRIGHT_DAYS").ok().and_then(|d| d.parse().ok()).unwrap_or(120);
    let only = std::env::var("LOOPWRIGHT_PLAN").ok();
    let positions = Day { order: POSITIONS, solve: "crr = \"common\"", ..LIGHT };
    let track = Day {
        order: POSITIONS,
        laps: 24,
        speeds: "[33.0, 33.0, 33.0, 33.0, 45.0, 45.0, 45.0, 45.0]",
        gust_sd_m_s: 0.1,
        circuit: "kind = \"track\"\nlength_m = 250.0",
        wind: "mode = \"none\"",
        ..LIGHT
    };
    let grid: Vec<(&str, Day)> = vec![
        ("calm, 8 laps", Day { gust_sd_m_s: 0.1, ..LIGHT }),
        ("light, 4 laps", Day { laps: 4, ..LIGHT }),
        ("light, 8 laps", LIGHT),
        ("light, 16 laps", Day { laps: 16, ..LIGHT }),
        ("gusty, 4 laps", Day { laps: 4, gust_sd_m_s: 0.8, ..LIGHT }),
        ("gusty, 8 laps", Day { gust_sd_m_s: 0.8, ..LIGHT }),
        ("gusty, 16 laps", Day { laps: 16, gust_sd_m_s: 0.8, ..LIGHT }),
        ("light, 33 and 38 km/h", Day { speeds: "[33.0, 38.0]", ..LIGHT }),
        ("light, 36 km/h only", Day { speeds: "[36.0]", ..LIGHT }),
        ("gusty, 36 km/h only", Day { speeds: "[36.0]", gust_sd_m_s: 0.8, ..LIGHT }),
        ("light, one set-up, 12 laps", Day { order: "[\"a\"]", laps: 12, solve: "", ..LIGHT }),
        ("light, nothing shared", Day { solve: "", ..LIGHT }),
        ("light, two positions", positions),
        ("windy, 4 m/s", Day { wind: "speed_m_s = 4.0\nfrom_deg = 20.0", ..LIGHT }),
        ("light, satellite speed", Day { noise: "speed_source = \"satellite\"", ..LIGHT }),
        ("gusts of 20 s", Day { noise: "gust_time_s = 20.0", ..LIGHT }),
        ("power scatter 2 %", Day { noise: "power_cv = 0.02", ..LIGHT }),
        ("survey, 0.02 m", Day { circuit: "length_m = 1250.0\nshape = \"bean\"\nsurvey_sd_m = 0.02", ..LIGHT }),
        ("track, 24 laps indoors", track),
    ];
    println!(
        "| plan | quantity | predicted se | reported se | predicted/reported | spread of {days} days |\n|---|---|---|---|---|---|"
    );
    let mut off = Vec::new();
    for (name, day) in grid {
        if only.as_deref().is_some_and(|o| !name.contains(o)) {
            continue;
        }
        let plan = day.plan();
        let p = predict_plan(&plan).expect("the plan can be predicted");
        let solved = rehearse(&plan, days, Depth::default());
        assert!(solved.len() as u64 * 10 >= days * 9, "{name}: {} of {days} days solved", solved.len());
        for (what, predicted, pick) in quantities(&p) {
            let Some(predicted) = predicted else { continue };
            let estimates: Vec<Estimate> = solved.iter().filter_map(pick).collect();
            let reported = rms(&estimates, |e| e.se);
            let ratio = predicted.se / reported;
            println!(
                "| {name} | {what} | {:.3e} | {reported:.3e} | {ratio:.2} | {:.3e} |",
                predicted.se,
                spread(&estimates)
            );
            if (ratio - 1.0).abs() > 0.15 {
                off.push(format!("{name}, {what}: {ratio:.2}"));
            }
        }
    }
    assert!(off.is_empty(), "more than 15 % off: {off:?}");
}

#[test]
fn a_plan_for_a_windy_day_keeps_the_laps_that_are_ridden_at_the_limit_of_power() {
    // Against 4 m/s the fast laps are ridden at steady power, which without scatter repeats itself like a stuck meter.
    let plan = Day { wind: "speed_m_s = 4.0\nfrom_deg = 20.0", ..LIGHT }.plan();
    let p = predict_plan(&plan).unwrap();
    assert!(p.separable);
    assert_eq!(p.setups[0].laps, 16, "two runs of eight laps");
}

#[test]
fn the_session_of_a_planned_track_states_its_bends() {
    // Without them the lean is left out, and CdA and Crr of a rehearsal are off by several of their errors.
    let day = Day { circuit: "kind = \"track\"\nlength_m = 250.0", wind: "mode = \"none\"", ..LIGHT };
    let session = simulate(&day.plan(), 1).unwrap().session;
    assert_eq!((session.circuit.bend_radius_m, session.circuit.transition_m), (Some(22.0), Some(12.0)));
}

#[test]
fn a_light_day_of_tyres_and_a_gusty_day_of_positions_are_predicted() {
    // The mean square of 16 reported errors with 10 to 25 degrees of freedom each is known to 7 %, its root to 4 %.
    let gusty = Day { order: POSITIONS, solve: "crr = \"common\"", gust_sd_m_s: 0.7, laps: 6, ..LIGHT };
    for (day, what) in [(Day { laps: 6, ..LIGHT }, "Crr, difference"), (gusty, "CdA, difference")] {
        let plan = day.plan();
        let p = predict_plan(&plan).unwrap();
        let solved = rehearse(&plan, 16, Depth { budget: false, draws: 0 });
        assert_eq!(solved.len(), 16);
        for (name, predicted, pick) in quantities(&p) {
            if name != what && name != "Crr" {
                continue;
            }
            let estimates: Vec<Estimate> = solved.iter().filter_map(pick).collect();
            let ratio = predicted.unwrap().scatter_se / rms(&estimates, |e| e.scatter_se);
            assert!((0.85..=1.15).contains(&ratio), "{name}: {ratio}");
        }
    }
}

#[test]
fn what_the_measuring_chain_adds_is_predicted_as_the_budget_has_it() {
    // Both move the same inputs by the same standard uncertainties; noise changes the sensitivities by a few per cent.
    let plan = Day { laps: 6, ..LIGHT }.plan();
    let p = predict_plan(&plan).unwrap();
    let solved = rehearse(&plan, 6, Depth::default());
    for (name, predicted, pick) in quantities(&p) {
        let estimates: Vec<Estimate> = solved.iter().filter_map(pick).collect();
        let ratio = predicted.unwrap().instrument_se / rms(&estimates, |e| e.instrument_se);
        assert!((0.85..=1.15).contains(&ratio), "{name}: {ratio}");
    }
}

/// Solves the session of a folder.
fn solve(folder: &Path, depth: Depth) -> Solution {
    let text = std::fs::read_to_string(folder.join("session.toml")).expect("a session");
    let session = Session::from_toml(&text, "session.toml").expect("a valid session");
    let recordings = session.runs.iter().map(|r| record::read(&folder.join(&r.file)).expect("a ride")).collect();
    analyse(&RiddenSession { session, recordings, weather: None, survey: None }, depth).expect("a solution").solution
}

#[test]
fn the_sample_day_of_tyres_reports_what_its_plan_predicts() {
    // One day: with 25 degrees of freedom its errors are known to 14 %.
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-loops/three-tyres");
    let text = std::fs::read_to_string(folder.join("plan.toml")).unwrap();
    let p = predict_plan(&Plan::from_toml(&text, "plan.toml").unwrap()).unwrap();
    let solution = solve(&folder, Depth { budget: false, draws: 0 });
    let differences: Vec<Estimate> = solution.contrasts.iter().map(|c| c.crr).collect();
    let ratio = p.differences[0].crr.unwrap().scatter_se / rms(&differences, |e| e.scatter_se);
    assert!((0.75..=1.25).contains(&ratio), "{ratio}");
}

#[test]
fn a_plan_at_one_speed_says_what_a_second_speed_and_a_repeat_bring() {
    let once = Day { order: "[\"a\", \"b\", \"c\"]", laps: 6, speeds: "[36.0]", ..LIGHT };
    let f = forecast(&once.plan()).unwrap();
    let p = f.prediction.as_ref().unwrap();
    assert!(p.setups.iter().all(|s| s.crr.is_none() && s.cda_m2.is_none()), "one speed tells no values");
    assert!(p.differences.iter().all(|d| d.power_w.is_some()), "but differences");
    let one = f.one_speed.as_ref().unwrap();
    let (now, again) = (one.detectable_w.unwrap(), one.every_run_again_w.unwrap());
    // Twice the laps and, for the first time, a look at what changes between runs.
    assert!((0.3..0.8).contains(&(again / now)), "{again} W for {now} W");
    let second = one.second_speed.as_ref().unwrap();
    assert!(second.crr.is_some() && second.cda_m2.is_some() && second.detectable_w.is_some());
    let text = forecast_text(&once.plan(), &f, 100, loopwright::report::Units::Metric)
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ");
    for said in [
        "not what CdA and Crr of any of them are".to_string(),
        format!("finds {now:.1} W"),
        format!("once more it finds {again:.1} W"),
        // No faster than a tenth above what is planned where no [limits] say more.
        "in turn at 30 and 40 km/h".to_string(),
    ] {
        assert!(text.contains(&said), "«{said}» in {text}");
    }
}

#[test]
fn what_changes_from_run_to_run_is_part_of_every_prediction_and_falls_with_repeats() {
    let of =
        |order: &'static str| predict_plan(&Day { order, ..LIGHT }.plan()).unwrap().differences[0].power_w.unwrap();
    let (once, twice) = (of("[\"a\", \"b\", \"c\"]"), of(TYRES));
    // 0.7 % of some 25 N at 40 km/h is 2 W a run. With one run each nothing shows how large the changes truly are, so that few
    // degrees of freedom count; a second run of each helps by more than the √2 of twice the laps.
    assert!(once.run_to_run_se > 1.0 && twice.run_to_run_se < once.run_to_run_se, "{}", once.run_to_run_se);
    let gain = once.detectable.unwrap() / twice.detectable.unwrap();
    assert!(gain > 2.0_f64.sqrt(), "{gain}");
    // As the parts of the plan say, together they are the whole.
    for p in [once, twice] {
        let parts = [p.scatter_se, p.prior_se, p.run_to_run_se, p.instrument_se];
        assert!((parts.iter().map(|x| x * x).sum::<f64>().sqrt() / p.se - 1.0).abs() < 1e-9);
    }
}
