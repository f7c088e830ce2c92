//! Sessions on rollers: values, differences, windows and what is said of a test that lacks something.
//!
//! Truth is that of the rehearsed folder, which an independent simulation made.

use crate::sample_folder::{holds, inputs, said, solve, solved, truth, with_runs};
use loopwright::error::Error;
use loopwright::session::Session;

const FOLDER: &str = "tyres-on-rollers";

#[test]
fn three_tyres_come_back_and_only_the_one_that_differs_is_separated() {
    let s = solved(&inputs(FOLDER));
    let crr = |id: &str| truth(FOLDER, id, "crr");
    for setup in &s.setups {
        assert!(holds(&setup.crr, crr(&setup.id)), "{}: {:?}", setup.id, setup.crr);
    }
    for c in s.contrasts.iter().chain(&s.all_pairs) {
        assert!(holds(&c.crr, crr(&c.setup) - crr(&c.baseline)), "{c:?}");
        // Amber and cedar were made equal, basalt was not.
        let differ = crr(&c.setup) != crr(&c.baseline);
        assert_eq!(c.verdict, if differ { "separated" } else { "not separated" }, "{c:?}");
        assert!(c.p_holm >= c.p_value && c.detectable_power_w.is_some_and(|w| w > 0.0));
    }
    assert_eq!((s.contrasts.len(), s.all_pairs.len()), (2, 3));
}

#[test]
fn watts_are_those_of_rolling_and_nothing_is_said_of_the_air() {
    let s = solved(&inputs(FOLDER));
    assert!(s.separable && s.loop_is_nothing());
    assert_eq!(s.solver.estimator, "energy account");
    // By hand: m g v / η at 86 kg, 40 km/h and 0.976.
    let per_crr_w = 86.0 * 9.80665 * (40.0 / 3.6) / 0.976;
    for setup in &s.setups {
        assert_eq!([setup.cda_m2.value, setup.power_w.value, setup.aero_power_w.value], [None; 3]);
        let (watts, crr) = (setup.rolling_power_w.value.unwrap(), setup.crr.value.unwrap());
        assert!((watts / (per_crr_w * crr) - 1.0).abs() < 1e-9, "{watts}");
    }
    for c in &s.contrasts {
        assert_eq!(c.cda_m2.value, None);
        let (watts, crr) = (c.power_w.value.unwrap(), c.crr.value.unwrap());
        assert!((watts / (per_crr_w * crr) - 1.0).abs() < 1e-9, "{watts}");
    }
    for run in &s.runs {
        assert!(run.laps.is_empty() && run.lag_s.value.is_none() && run.wind.speed_m_s.is_none());
    }
    assert!(s.budget.iter().all(|l| l.cda_m2.is_none() && l.setups.iter().all(|c| c.cda_m2.is_none())));
}

trait OfRollers {
    fn loop_is_nothing(&self) -> bool;
}

impl OfRollers for loopwright::solution::Solution {
    fn loop_is_nothing(&self) -> bool {
        self.circuit.kind == "rollers" && self.circuit.length_m.is_none() && self.circuit.profile.is_empty()
    }
}

#[test]
fn what_is_common_to_all_runs_cancels_in_differences_and_weighing_does_not() {
    let s = solved(&inputs(FOLDER));
    let line = |source: &str| s.budget.iter().find(|l| l.source == source).unwrap_or_else(|| panic!("{source}"));
    for source in ["power scale", "drum diameter", "drum spacing", "weight share", "no-load drag", "bearing drag"] {
        let line = line(source);
        // Amber and cedar roll alike to 1 %, so a common error moves their difference by a few hundredths at most.
        let cedar = line.contrasts.iter().find(|c| c.setup == "cedar").expect("cedar");
        assert!(cedar.crr.unwrap() < 0.05 * line.crr.unwrap(), "{source}: {cedar:?}");
    }
    let mass = line("mass");
    // Each run is weighed for itself, so two set-ups' errors add as squares.
    let of = |id: &str| mass.setups.iter().find(|c| c.setup == id).and_then(|c| c.crr).expect("a contribution");
    let both = of("cedar").hypot(of("amber"));
    let cedar = mass.contrasts.iter().find(|c| c.setup == "cedar").and_then(|c| c.crr).expect("cedar");
    assert!((cedar / both - 1.0).abs() < 1e-6, "{cedar} {both}");
    // Efficiency is divided out of the watts again but for the drag of drums and bearings (a fifth of the power).
    let efficiency = line("drivetrain efficiency");
    let rolling_w = s.setups[0].rolling_power_w.value.unwrap();
    assert!(efficiency.power_w.unwrap() < 0.25 * 0.005 / 0.976 * rolling_w, "{efficiency:?}");
}

#[test]
fn figures_and_table_get_the_window_of_every_run() {
    let all = inputs(FOLDER);
    let analysis = solve(&all).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(analysis.evidence.warm_ups.len(), 6);
    for (k, (w, run)) in analysis.evidence.warm_ups.iter().zip(&analysis.solution.runs).enumerate() {
        let window = run.window.as_ref().expect("a window");
        assert_eq!((w.run, w.window_from_s, w.window_to_s), (k, window.from_s, window.to_s));
        assert_eq!(w.setup, all.session.setup_of(&all.session.runs[k]));
        assert_eq!((w.time_s.len(), w.mean_crr), (w.crr.len(), window.crr_drum));
        // The plan warms up with 200 s; four of them leave under 2 % of the excess.
        assert!((2.0 * 200.0..=4.0 * 200.0).contains(&window.from_s), "{window:?}");
        let used = analysis.evidence.runs[k].used.iter().filter(|u| **u).count() as f64;
        assert!((used - (window.to_s - window.from_s)).abs() <= 2.0, "one record a second");
    }
    let rows: usize = all.recordings.iter().map(|r| r.len()).sum();
    assert_eq!(analysis.samples.height(), rows);
}

#[test]
fn one_run_of_each_set_up_is_told_and_repeats_are_not() {
    let all = inputs(FOLDER);
    let one_each = solved(&with_runs(&all, &[1, 2, 3]));
    assert_eq!(said(&one_each, "no-repeats").len(), 1);
    assert_eq!(said(&one_each, "order-confounded").len(), 1);
    let repeated = solved(&all);
    assert!(said(&repeated, "no-repeats").is_empty() && said(&repeated, "order-confounded").is_empty());
}

#[test]
fn runs_that_disagree_more_than_their_windows_widen_the_interval() {
    let mut all = inputs(FOLDER);
    let quiet = solved(&all);
    // Run 6 repeats run 1. Three per cent more power is what a slipped pressure or a new zero of the meter makes.
    all.recordings[5].power_w.iter_mut().for_each(|p| *p *= 1.03);
    let odd = solved(&all);
    for (before, after) in quiet.setups.iter().zip(&odd.setups) {
        assert!(after.crr.scatter_se > before.crr.scatter_se, "pooled over the set-ups: {after:?}");
    }
    // Six runs of three set-ups are three repeats, and these tell of more than was supposed.
    let told = |s: &loopwright::solution::Solution| s.run_to_run.clone().expect("rollers tell it");
    assert_eq!((told(&odd).repeats, told(&odd).supposed_fraction), (3, 0.01));
    assert!(told(&odd).fraction > told(&quiet).fraction && told(&odd).high > 0.01, "{:?}", told(&odd));
}

#[test]
fn the_conversion_to_the_flat_scales_differences_as_it_scales_values() {
    let s = solved(&inputs(FOLDER));
    let line = s.budget.iter().find(|l| l.source == "drum-to-flat conversion").expect("a line of its own");
    // By hand: 0.05 ln(1 + r/R); the sample's drums measure 0.1113 m, its wheels 0.335 m in radius.
    let u = 0.05 * (1.0_f64 + 0.335 / 0.05565).ln();
    assert!((line.standard_uncertainty - u).abs() < 1e-12, "{line:?}");
    for (c, contrast) in line.contrasts.iter().zip(&s.contrasts) {
        assert!((c.crr.unwrap() / (u * contrast.crr.value.unwrap()).abs() - 1.0).abs() < 1e-6, "{c:?}");
    }
    for (c, setup) in line.setups.iter().zip(&s.setups) {
        assert!((c.crr.unwrap() / (u * setup.crr.value.unwrap()) - 1.0).abs() < 1e-6, "{c:?}");
    }
    let mut all = inputs(FOLDER);
    all.session.uncertainty.drum_conversion_fraction = Some(0.0);
    assert!(solved(&all).budget.iter().all(|l| l.source != "drum-to-flat conversion"));
}

#[test]
fn a_stated_window_is_used_and_a_wrong_one_refused_with_its_line() {
    let mut all = inputs(FOLDER);
    all.session.runs[1].window_s = Some([600.0, 880.0]);
    let window = solved(&all).runs[1].window.clone().expect("a window");
    assert_eq!((window.from_s, window.to_s), (600.0, 880.0));
    all.session.runs[1].window_s = Some([2000.0, 2600.0]);
    assert!(matches!(solve(&all), Err(Error::Inconsistent { file, .. }) if file == "run-2.fit"));

    let session = |run: &str| {
        let head = "[rider_and_bike]\nmass_kg = 80\n[[setup]]\nid = \"a\"\n[[run]]\nfile = \"a.fit\"\nsetup = \"a\"\n";
        Session::from_toml(&format!("{head}{run}"), "s.toml")
    };
    let whole = session("on = \"rollers\"\nwindow_s = [600, 900]").expect("whole seconds will do");
    assert_eq!(whole.runs[0].window_s, Some([600.0, 900.0]));
    for (run, words) in [
        ("window_s = [600, 900]", "for runs on rollers"),
        ("on = \"rollers\"\nwindow_s = [900, 600]", "ends before it begins"),
        ("on = \"rollers\"\nwindow_s = [-5, 600]", "seconds from the first record"),
        ("on = \"rollers\"\nwindow_s = [0, nan]", "seconds from the first record"),
        ("on = \"rollers\"\nwindow_s = [600]", "window_s"),
    ] {
        let error = session(run).expect_err(run).to_string();
        assert!(error.contains(words) && error.starts_with("s.toml:"), "{run}: {error}");
    }
}

#[test]
fn a_run_without_a_window_is_left_out_while_its_set_up_has_another() {
    let mut all = inputs(FOLDER);
    let shorten = |r: &mut loopwright::record::Recording| {
        // Power for 200 s, less the setting off: too short whatever it shows.
        r.power_w.iter_mut().skip(200).for_each(|p| *p = f64::NAN);
    };
    shorten(&mut all.recordings[3]);
    let s = solved(&all);
    let left_out: Vec<_> = s.findings.iter().filter(|f| f.code == "roller-run-left-out").collect();
    assert!(left_out.len() == 1 && left_out[0].run == Some(4), "{left_out:?}");
    assert!(s.runs[3].window.is_none() && s.runs[2].window.is_some());
    // Of one run the set-up has its value, solved for in units of the errors.
    let (of_setup, of_run) = (s.setups[2].crr.value, s.runs[2].window.as_ref().and_then(|w| w.crr.value));
    assert!((of_setup.unwrap() / of_run.unwrap() - 1.0).abs() < 1e-9);
    shorten(&mut all.recordings[2]);
    // Of none it has none: that stands first, and the others are what they were.
    let without = solved(&all);
    let reasons = said(&without, "run-left-out");
    assert!(reasons.len() == 2 && reasons[0].contains("run-3.fit"), "{reasons:?}");
    assert_eq!(without.setups[2].crr, Default::default());
    assert!((without.setups[0].crr.value.unwrap() / s.setups[0].crr.value.unwrap() - 1.0).abs() < 1e-9);
    all.recordings.iter_mut().for_each(shorten);
    assert!(matches!(solve(&all), Err(Error::NoSteadyWindow { file, .. }) if file == "run-1.fit"));
}

#[test]
fn what_a_sound_test_needs_is_told_where_it_is_missing() {
    let mut all = inputs(FOLDER);
    let before = solved(&all);
    assert!(said(&before, "roller-practice").iter().all(|m| !m.contains("Weigh")));
    all.session.runs[4].mass_kg = None;
    all.session.rollers.no_load_power_w_at_40_km_h = None;
    let s = solved(&all);
    assert!(said(&s, "roller-practice").iter().any(|m| m.contains("Weigh") && m.contains("run-5.fit")));
    assert_eq!(said(&s, "no-load-drag-assumed").len(), 1, "once for all runs");
    assert!(s.budget.iter().all(|l| l.source != "no-load drag"));
    assert!(said(&s, "roller-assumptions")[0].contains("111.3 mm"));
}

#[test]
fn without_power_or_speed_a_roller_run_is_refused_by_name() {
    let mut all = inputs(FOLDER);
    all.recordings.iter_mut().for_each(|r| r.power_w.fill(f64::NAN));
    assert!(matches!(solve(&all), Err(Error::NoChannel { file, channel: "power", .. }) if file == "run-1.fit"));
    // Distance alone is enough: speed is its change over time.
    let mut all = inputs(FOLDER);
    let crr = solved(&all).runs[0].window.clone().expect("a window").crr;
    let first = &mut all.recordings[0];
    let mut way_m = 0.0;
    for i in 1..first.len() {
        let before = std::mem::replace(&mut first.speed_m_s[i - 1], f64::NAN);
        way_m += 0.5 * (before + first.speed_m_s[i]) * (first.time_s[i] - first.time_s[i - 1]);
        first.distance_m[i] = way_m;
    }
    first.speed_m_s.fill(f64::NAN);
    first.distance_m[0] = 0.0;
    let from_distance = solved(&all).runs[0].window.clone().expect("a window").crr;
    let apart = (from_distance.value.unwrap() - crr.value.unwrap()).abs();
    assert!(apart < 2.0 * crr.se.unwrap(), "{apart}");
}
