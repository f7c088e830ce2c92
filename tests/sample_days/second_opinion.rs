//! Whole laps drawn again beside the sandwich: both agree on an ordinary day, and nothing depends on threads.

use loopwright::analysis::{Analysis, Depth, RiddenSession, analyse};
use loopwright::circuit::Survey;
use loopwright::plan::Plan;
use loopwright::record::decode_fit;
use loopwright::session::Session;
use loopwright::simulate::simulate;
use loopwright::solution::Solution;
use loopwright::uncertainty::moderation::MODEL_DOF;
use std::path::Path;

/// The sample test of three tyres.
fn inputs() -> RiddenSession {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-loops/three-tyres");
    let text = std::fs::read_to_string(folder.join("session.toml")).expect("a session");
    let session = Session::from_toml(&text, "session.toml").expect("a sound session");
    let read =
        |file: &String| decode_fit(&std::fs::read(folder.join(file)).expect("a ride"), file).expect("a sound ride");
    let recordings = session.runs.iter().map(|r| read(&r.file)).collect();
    RiddenSession { session, recordings, weather: None, survey: None }
}

fn solve(inputs: &RiddenSession, draws: usize) -> Analysis {
    analyse(inputs, Depth { budget: false, draws }).expect("the sample can be solved")
}

/// Ratios of both standard errors of every Crr, CdA and difference.
fn ratios(solution: &Solution) -> Vec<f64> {
    let b = solution.bootstrap.as_ref().expect("laps were drawn again");
    let each = b.setups.iter().chain(&b.contrasts).flat_map(|line| [line.crr, line.cda_m2]);
    each.filter_map(|r| Some(r.bootstrap_se? / r.sandwich_se?)).collect()
}

#[test]
fn both_standard_errors_agree_on_an_ordinary_day_and_the_estimate_is_steadied_by_the_model() {
    let solution = solve(&inputs(), 1000).solution;
    let ratios = ratios(&solution);
    // Three tyres, two of them against the first, CdA common: three Crr, three times one CdA, two differences of Crr.
    assert_eq!(ratios.len(), 8);
    assert!(ratios.iter().all(|r| (0.8..1.25).contains(r)), "{ratios:?}");
    let b = solution.bootstrap.as_ref().unwrap();
    assert!(!b.disagrees && b.failed == 0 && b.lone_laps == 0, "{b:?}");
    for (line, setup) in b.setups.iter().zip(&solution.setups) {
        for (resampled, estimate) in [(line.crr, setup.crr), (line.cda_m2, setup.cda_m2)] {
            // σ² (ν + d) = ν s² + d m² with d = 5 where ν is more; on such a day the model's m lies near the sandwich's s.
            let (se, dof) = (estimate.scatter_se.unwrap(), estimate.dof.unwrap());
            let sandwich = resampled.sandwich_se.unwrap();
            let model = ((se * se * dof - sandwich * sandwich * (dof - MODEL_DOF)) / MODEL_DOF).sqrt();
            assert!((0.6..1.6).contains(&(model / sandwich)), "{model} {sandwich}");
        }
    }
    assert_eq!(b.contrasts[0].cda_m2.bootstrap_se, None, "a difference held at nought has no error");
}

#[test]
fn without_draws_everything_else_stays_as_it_is() {
    let inputs = inputs();
    let (with, without) = (solve(&inputs, 200).solution, solve(&inputs, 0).solution);
    assert!(without.bootstrap.is_none());
    assert_eq!(Solution { bootstrap: None, ..with }, without);
}

#[test]
fn the_same_seed_gives_the_same_numbers_whatever_the_number_of_threads() {
    let inputs = inputs();
    let with_threads = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("threads");
        pool.install(|| serde_json::to_string(&solve(&inputs, 333).solution).expect("a solution can be written"))
    };
    let one = with_threads(1);
    assert_eq!(one, with_threads(3));
    let mut other = inputs.clone();
    other.session.solve.seed += 1;
    assert_ne!(solve(&other, 333).solution.bootstrap, solve(&inputs, 333).solution.bootstrap);
}

#[test]
fn a_lap_alone_at_its_speed_in_its_run_is_counted_and_its_silence_is_no_disagreement() {
    let mut inputs = inputs();
    for run in &mut inputs.session.runs {
        // Eight whole laps in turn at two speeds: the first of the slow and all of the fast ones stay.
        run.leave_out = vec![3, 5, 7];
    }
    let solution = solve(&inputs, 400).solution;
    let b = solution.bootstrap.as_ref().expect("laps were drawn again");
    assert_eq!(b.lone_laps, 6, "{b:?}");
    let low = ratios(&solution).into_iter().fold(f64::INFINITY, f64::min);
    assert!(low < 0.8, "{low}");
    assert!(!b.disagrees || ratios(&solution).iter().any(|r| *r > 1.25), "{b:?}");
    let said = loopwright::report::lap_bootstrap::sentence(&solution);
    assert!(said.contains("6 laps are the only ones at their speed"), "{said}");
}

#[test]
fn where_no_lap_can_be_drawn_differently_there_is_no_second_opinion() {
    let mut inputs = inputs();
    for run in &mut inputs.session.runs {
        run.leave_out = vec![3, 4, 5, 6, 7, 8];
    }
    let solution = solve(&inputs, 200).solution;
    assert!(solution.bootstrap.is_none());
    assert!(solution.findings.iter().any(|f| f.code == "bootstrap-not-done"), "{:?}", solution.findings);
}

#[test]
fn with_a_surveyed_profile_both_agree_too() {
    let text = "order = [\"a\", \"b\", \"b\", \"a\"]\nlaps_per_run = 8\nspeeds_km_h = [29.0, 41.0]\nrider_and_bike.mass_kg = 86.0\n\
                loop = { length_m = 1250.0, survey_sd_m = 0.02 }\nwind = { speed_m_s = 1.0, from_deg = 200.0 }\n\
                solve.cda = \"common\"\nnoise.gust_sd_m_s = 0.15\n[[setup]]\nid = \"a\"\ncda_m2 = 0.262\ncrr = 0.0045\n\
                [[setup]]\nid = \"b\"\ncda_m2 = 0.262\ncrr = 0.0041\n";
    let day = simulate(&Plan::from_toml(text, "plan.toml").expect("a plan"), 9100).expect("it can be ridden");
    let survey = day.survey.as_ref().map(|t| Survey::parse(t, "survey.csv", 0.02).expect("our own survey"));
    let recordings = day.rides.iter().map(|r| r.to_recording()).collect();
    let inputs = RiddenSession { session: day.session, recordings, weather: None, survey };
    let ratios = ratios(&solve(&inputs, 1000).solution);
    assert_eq!(ratios.len(), 5);
    assert!(ratios.iter().all(|r| (0.75..1.35).contains(r)), "{ratios:?}");
}
