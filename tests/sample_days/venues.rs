//! Sessions on a loop and on rollers: each venue on its own, both together, and the gap between them.
//!
//! Truth is that of the rehearsed folder, which an independent simulation made.

use crate::sample_folder::{holds, inputs, said, solve, solved, truth, with_runs};
use loopwright::analysis::RiddenSession;
use loopwright::error::Error;
use loopwright::forecast::{Measure, beside_truth, forecast, predict_plan, solve_rehearsal};
use loopwright::plan::{Plan, Target};
use loopwright::report::Units;
use loopwright::report::forecast::forecast_text;
use loopwright::report::rehearsal::rehearsal_text;
use loopwright::report::verdict::Verdict;
use loopwright::session::{Run, Venue, WindMode};
use loopwright::simulate::simulate;
use loopwright::solution::{Contrast, Solution, VenueResult, Venues};
use loopwright::standing::{Ground, standings};

const FOLDER: &str = "road-and-rollers";

fn venues(solution: &Solution) -> &Venues {
    solution.venues.as_ref().expect("two venues")
}

fn venue<'a>(solution: &'a Solution, name: &str) -> &'a VenueResult {
    venues(solution).results.iter().find(|r| r.venue == name).expect(name)
}

fn crr(id: &str, key: &str) -> f64 {
    truth(FOLDER, id, key)
}

#[test]
fn each_venue_holds_its_own_truth_and_the_loop_stands_at_the_top() {
    let s = solved(&inputs(FOLDER));
    for (name, key) in [("road", "crr"), ("rollers", "crr_rollers")] {
        let result = venue(&s, name);
        for setup in &result.setups {
            assert!(holds(&setup.crr, crr(&setup.id, key)), "{name}: {:?}", setup.crr);
        }
        for c in &result.contrasts {
            assert!(holds(&c.crr, crr(&c.setup, key) - crr(&c.baseline, key)), "{name}: {c:?}");
            assert_eq!(c.verdict, "separated");
        }
    }
    assert_eq!((&s.setups, &s.contrasts), (&venue(&s, "road").setups, &venue(&s, "road").contrasts));
    for setup in &s.setups {
        assert!(holds(&setup.cda_m2, truth(FOLDER, &setup.id, "cda_m2")));
    }
    assert_eq!(s.circuit.kind, "road");
}

#[test]
fn runs_and_findings_keep_the_numbers_of_the_session() {
    let all = inputs(FOLDER);
    let analysis = solve(&all).unwrap_or_else(|e| panic!("{e}"));
    let s = &analysis.solution;
    for (k, (run, stated)) in s.runs.iter().zip(&all.session.runs).enumerate() {
        assert_eq!((&run.file, &run.setup), (&stated.file, &stated.setup));
        let rollers = all.session.venue_of(stated) == Venue::Rollers;
        assert_eq!((run.window.is_some(), run.laps.is_empty()), (rollers, rollers), "run {}", k + 1);
        let series = &analysis.evidence.runs[k];
        assert_eq!((series.setup, series.time_s.len()), (all.session.setup_of(stated), all.recordings[k].len()));
    }
    // The same runs in another order: rollers last, so that their numbers shift.
    let last = solve(&with_runs(&all, &[3, 1, 4, 5, 2, 6])).unwrap_or_else(|e| panic!("{e}"));
    let of = |code: &str| -> Vec<Option<usize>> {
        last.solution.findings.iter().filter(|f| f.code == code).map(|f| f.run).collect()
    };
    assert_eq!(of("warm-up"), [Some(2), Some(5)]);
    assert_eq!(last.evidence.warm_ups.iter().map(|w| w.run).collect::<Vec<_>>(), [1, 4]);
    assert_eq!(last.solution.runs[1].file, "run-1.fit");
    assert_eq!(last.solution.setups, s.setups);
}

#[test]
fn what_both_have_seen_is_combined_with_a_smaller_error_than_either() {
    let s = solved(&inputs(FOLDER));
    let c = &venues(&s).combined[0];
    let expected = crr("basalt", "crr") - crr("amber", "crr");
    assert!(c.agreement.agree && holds(&c.crr, expected) && c.verdict == "separated", "{c:?}");
    let alone = |name: &str| -> Contrast { venue(&s, name).contrasts[0].clone() };
    let (road, rollers) = (alone("road"), alone("rollers"));
    assert!(c.crr.se < rollers.crr.se && rollers.crr.se < road.crr.se);
    // Weights by hand from the two standard errors; what is shared is small beside them.
    let weight = |c: &Contrast| c.crr.se.unwrap().powi(-2);
    let mean = (weight(&road) * road.crr.value.unwrap() + weight(&rollers) * rollers.crr.value.unwrap())
        / (weight(&road) + weight(&rollers));
    assert!((c.crr.value.unwrap() - mean).abs() < 0.1 * c.crr.se.unwrap(), "{mean} {c:?}");
}

#[test]
fn the_gap_is_named_as_the_loss_of_the_surface_and_its_shared_errors_cancel() {
    // The conversion from drum to flat is the rollers' own and cancels nowhere; what is shared shows without it.
    let mut all = inputs(FOLDER);
    all.session.uncertainty.drum_conversion_fraction = Some(0.0);
    // Nor do those that only a loop has.
    let u = &mut all.session.uncertainty;
    (u.power_zero_w, u.fixed_loss_w, u.cda_between_speeds_fraction) = (0.0, 0.0, 0.0);
    let s = solved(&all);
    assert_eq!(venues(&s).surface_loss.len(), 2);
    for loss in &venues(&s).surface_loss {
        let expected = crr(&loss.setup, "crr") - crr(&loss.setup, "crr_rollers");
        let error = loss.crr.value.unwrap() - expected;
        // Three standard errors, not the interval: of several correlated 95 % intervals one may miss. The study in
        // rollers_coverage.rs counts how often they do.
        assert!(error.abs() < 3.0 * loss.crr.se.unwrap(), "{loss:?} against {expected}");
        let part = |name: &str| {
            let setup = venue(&s, name).setups.iter().find(|u| u.id == loss.setup).expect("the set-up").crr;
            setup.instrument_se.unwrap()
        };
        let independent = part("road").hypot(part("rollers"));
        assert!(loss.crr.instrument_se.unwrap() < 0.8 * independent, "one power meter on both venues: {loss:?}");
    }
    assert_eq!(said(&s, "surface-loss").len(), 2);
}

#[test]
fn the_morning_on_rollers_and_an_outdoor_track_says_what_its_readme_concludes() {
    let folder = "track-and-rollers";
    let s = solved(&inputs(folder));
    for id in ["basalt", "cinder"] {
        let c = venues(&s).combined.iter().find(|c| c.setup == id).expect("the pair");
        let gain = truth(folder, id, "crr") - truth(folder, "amber", "crr");
        assert!(c.verdict == "separated" && holds(&c.crr, gain), "{c:?} against {gain}");
    }
    let apart = &venues(&s).combined_pairs;
    assert!(apart.iter().all(|c| c.verdict != "separated" || c.baseline == "amber" || c.setup == "amber"), "{apart:?}");
}

#[test]
fn venues_that_disagree_are_both_shown_flagged_and_not_averaged_as_if_they_agreed() {
    let mut all = inputs(FOLDER);
    let agreed = solved(&all);
    // A fifth more power in the basalt run on rollers makes its gain there vanish.
    all.recordings[1].power_w.iter_mut().for_each(|p| *p *= 1.2);
    let s = solved(&all);
    let c = &venues(&s).combined[0];
    assert!(!c.agreement.agree && c.agreement.between_sd_crr > Some(1e-4), "{c:?}");
    assert_eq!(said(&s, "venues-disagree").len(), 1);
    assert!(c.crr.se.unwrap() > 5.0 * venues(&agreed).combined[0].crr.se.unwrap());
    assert_eq!(s.contrasts, agreed.contrasts, "the loop's own values stay");
}

#[test]
fn a_set_up_of_one_venue_stays_there() {
    let all = inputs(FOLDER);
    // Basalt on the road only.
    let s = solved(&with_runs(&all, &[1, 3, 4, 5, 6]));
    let ids: Vec<&str> = venue(&s, "rollers").setups.iter().map(|u| u.id.as_str()).collect();
    assert_eq!((ids, s.setups.len()), (vec!["amber"], 2));
    assert!(venues(&s).combined.is_empty() && venues(&s).surface_loss.len() == 1);
    assert!(said(&s, "one-venue-only")[0].contains("Basalt"));
    // Amber, the baseline, on the rollers only: the loop shows basalt alone, and the top keeps a row for both.
    let s = solved(&with_runs(&all, &[1, 2, 4, 5]));
    assert_eq!(s.setups.iter().map(|u| u.crr.value.is_some()).collect::<Vec<_>>(), [false, true]);
    assert!(s.contrasts.is_empty() && venue(&s, "rollers").contrasts.len() == 1);
}

/// The inputs with some runs (counted from 1) broken off after so many seconds.
fn broken_off(all: &RiddenSession, runs: &[usize], after_s: usize) -> RiddenSession {
    let mut out = all.clone();
    for run in runs {
        let recording = &mut out.recordings[run - 1];
        let wanted: Vec<bool> = (0..recording.len()).map(|record| record < after_s).collect();
        recording.keep_rows(&wanted);
    }
    out
}

#[test]
fn runs_that_cannot_be_used_cost_themselves_whatever_the_venue() {
    let all = inputs(FOLDER);
    let whole = solved(&all);
    // A roller run too short for a window, the only one of its set-up.
    let one = solved(&broken_off(&all, &[2], 90));
    assert_eq!(said(&one, "run-left-out").len(), 1, "{:?}", one.findings);
    assert_eq!(venue(&one, "road").setups, venue(&whole, "road").setups);
    assert_eq!(venue(&one, "rollers").setups.len(), 1);
    assert!(Verdict::of(&one, Units::Metric).headline.starts_with("Check first"));
    // All of them, then all on the loop: the other venue stands alone.
    let road = solved(&broken_off(&all, &[1, 2], 90));
    assert_eq!((said(&road, "run-left-out").len(), road.venues.is_none()), (2, true));
    assert_eq!(road.setups, venue(&whole, "road").setups);
    let rollers = solved(&broken_off(&all, &[3, 4, 5, 6], 120));
    assert_eq!((said(&rollers, "run-left-out").len(), rollers.venues.is_none()), (4, true));
    assert_eq!(rollers.setups, venue(&whole, "rollers").setups);
    // Nothing left.
    let nothing = solve(&broken_off(&all, &[1, 2, 3, 4, 5, 6], 90)).map(|a| a.solution.findings);
    assert!(matches!(&nothing, Err(Error::NoLaps { file, .. }) if file == "run-3.fit"), "{nothing:?}");
}

#[test]
fn one_venue_alone_has_no_part_for_two() {
    let all = inputs(FOLDER);
    let road = solved(&with_runs(&all, &[3, 4, 5, 6]));
    let rollers = solved(&with_runs(&all, &[1, 2]));
    assert!(road.venues.is_none() && rollers.venues.is_none());
    let both = solved(&all);
    assert_eq!(road.setups, venue(&both, "road").setups);
    assert_eq!(rollers.setups, venue(&both, "rollers").setups);
    // Runs that all say where they were override the kind of the session.
    let mut said_otherwise = with_runs(&all, &[3, 4, 5, 6]);
    said_otherwise.session.circuit.kind = Venue::Rollers;
    said_otherwise.session.runs.iter_mut().for_each(|r| r.on = Some(Venue::Road));
    assert_eq!(solved(&said_otherwise).setups, road.setups);
}

#[test]
fn at_one_speed_cda_goes_with_crr_of_the_rollers_where_there_are_any() {
    let all = inputs("track-and-rollers");
    let day = solved(&all);
    let cda = |s: &Solution, i: usize| s.setups[i].cda_m2_with_crr_held.expect("a CdA that goes with a Crr");
    for (i, setup) in day.setups.iter().enumerate() {
        let on_rollers = venue(&day, "rollers").setups.iter().find(|s| s.id == setup.id).unwrap().crr.value;
        assert_eq!((setup.crr_held, setup.crr_held_from.as_deref()), (on_rollers, Some("rollers")));
        assert!(holds(&cda(&day, i), 0.262), "{:?}", cda(&day, i));
    }
    // Tyres were changed and not the position: it shows only where each has its own Crr.
    let spread = |s: &Solution| {
        let all: Vec<f64> = (0..3).map(|i| cda(s, i).value.unwrap()).collect();
        all.iter().fold(0.0, |m: f64, v| m.max(*v)) - all.iter().fold(1.0, |m: f64, v| m.min(*v))
    };
    let track = solved(&with_runs(&all, &[4, 5, 6]));
    assert!(spread(&day) < 0.5 * spread(&track), "{} {}", spread(&day), spread(&track));
    let expected = all.session.expected.crr;
    assert!(
        track.setups.iter().all(|s| s.crr_held == Some(expected) && s.crr_held_from.as_deref() == Some("expected"))
    );
}

#[test]
fn at_one_speed_a_wind_is_known_no_better_than_it_was_expected_and_a_right_reading_is_not_doubted() {
    let day = solved(&inputs("track-and-rollers"));
    let text = std::fs::read_to_string("sample-loops/track-and-rollers/expected.toml").expect("the truth");
    let truth: toml::Table = text.parse().expect("TOML");
    let of = |run: usize, key: &str| truth["run"][run][key].as_float().expect(key);
    for run in 3..6 {
        let wind = &day.runs[run].wind;
        for (fitted, key) in [(wind.east_m_s, "wind_east_m_s"), (wind.north_m_s, "wind_north_m_s")] {
            let (off, se) = (fitted.value.unwrap() - of(run, key), fitted.se.unwrap());
            assert!(off.abs() < 2.0 * se && se < 2.0, "run {}, {key}: {off} ± {se}", run + 1);
        }
    }
    let mut read = inputs("track-and-rollers");
    let wind = &mut read.session.wind;
    wind.mode = WindMode::Given;
    (wind.speed_m_s, wind.from_deg, wind.mast_height_m) = (Some(1.4), Some(250.0), 2.0);
    assert!(said(&solved(&read), "wind-odd").is_empty());
}

#[test]
fn a_plan_of_both_venues_is_told_by_what_they_find_together() {
    let plan = crate::sample_folder::plan("track-and-rollers");
    let of_both = forecast(&plan).unwrap_or_else(|e| panic!("{e}"));
    let together = of_both.together.as_ref().expect("both venues see the same set-ups");
    let alone = of_both.prediction.as_ref().expect("runs on the loop");
    // The same as the loop's runs by themselves, and not as if all six were ridden there.
    assert_eq!(&predict_plan(&plan).unwrap(), alone);
    let (found, on_the_loop) = (Measure::PowerW.of_all(&together.differences), Measure::PowerW.detectable(alone));
    assert!(found.unwrap() < 0.5 * on_the_loop.unwrap(), "{found:?} {on_the_loop:?}");
    // The sample day was rehearsed from this plan: what was found on it is what was foretold.
    let day = solved(&inputs("track-and-rollers"));
    for (c, foretold) in venues(&day).combined.iter().zip(&together.differences) {
        let ratio = c.rolling_power_w.se.unwrap() / foretold.power_w.unwrap().se;
        assert!((0.5..2.0).contains(&ratio), "{}: {ratio}", c.setup);
    }
    let words = forecast_text(&plan, &of_both, 100, Units::Metric);
    let first = |what: &str| words.find(what).unwrap_or_else(|| panic!("«{what}» in {words}"));
    assert!(first("Track and rollers together find") < first("On the track alone such a day finds"));
    assert!(words.contains("More runs help, not more laps."), "{words}");
    // What is found there is what a target is judged by.
    let wanted = Plan { target: Target { power_w: Some(5.0), ..Target::default() }, ..plan };
    assert!(forecast(&wanted).unwrap().goals[0].reached);
}

#[test]
fn a_rehearsal_of_both_venues_is_judged_first_by_what_they_say_together() {
    const DAY: &str = "track-and-rollers";
    let plan = crate::sample_folder::plan(DAY);
    let day = simulate(&plan, plan.seed).unwrap();
    let s = solve_rehearsal(&day).unwrap();
    let beside = beside_truth(&day, &s);
    for (c, rows) in venues(&s).combined.iter().zip(beside.chunks(2)) {
        let [crr, watts] = rows else { panic!("{rows:?}") };
        assert_eq!(crr.subject, format!("{} − {}, together", c.setup, c.baseline));
        assert_eq!((crr.measure, watts.measure), (Measure::Crr, Measure::PowerW));
        assert_eq!((crr.estimate, watts.estimate), (c.crr, c.rolling_power_w));
        let expected = truth(DAY, &c.setup, "crr") - truth(DAY, &c.baseline, "crr");
        assert!((crr.truth - expected).abs() < 1e-12, "{crr:?} against {expected}");
        assert_eq!(crr.inside, Some(holds(&c.crr, expected)));
    }
    assert!(rehearsal_text(&s, &beside, None, 80).starts_with("Track and rollers together"));
    // An order that both venues share is told once.
    let order = said(&s, "order-confounded");
    assert_eq!(order.len(), 1, "{order:?}");
}

#[test]
fn road_and_track_in_one_session_are_refused() {
    let mut all = inputs(FOLDER);
    all.session.runs[3].on = Some(Venue::Track);
    let error = all.session.check().expect_err("two loops");
    assert!(matches!(&error, Error::Inconsistent { message, .. } if message.contains("pool")), "{error}");
}

#[test]
fn the_written_solution_reads_back_as_it_was() {
    let s = solved(&inputs(FOLDER));
    let text = serde_json::to_string(&s).expect("JSON");
    assert_eq!(serde_json::from_str::<Solution>(&text).expect("the same schema"), s);
}

#[test]
fn the_best_and_the_next_best_are_compared_by_both_venues_together() {
    // Three tyres on a road and the same three, with the same differences, on rollers.
    const THREE: &str = "three-tyres";
    let (mut both, rollers) = (inputs(THREE), inputs("tyres-on-rollers"));
    both.session.rollers = rollers.session.rollers.clone();
    let runs = rollers.session.runs.iter().map(|run| Run { on: Some(Venue::Rollers), ..run.clone() });
    both.session.runs.extend(runs);
    both.recordings.extend(rollers.recordings);
    let s = solved(&both);
    let pairs = &venues(&s).combined_pairs;
    assert_eq!(pairs.len(), 3, "{pairs:?}");
    for c in pairs {
        let expected = truth(THREE, &c.setup, "crr") - truth(THREE, &c.baseline, "crr");
        assert!(holds(&c.crr, expected), "{c:?} against {expected}");
    }
    // What is judged with the baseline alone is judged among all pairs too, never more sharply.
    for c in &venues(&s).combined {
        let same = pairs.iter().find(|p| (&p.setup, &p.baseline) == (&c.setup, &c.baseline)).expect("the same pair");
        assert_eq!(same.crr, c.crr);
        assert!(same.p_holm >= c.p_holm);
    }
    let standing = standings(&s).remove(0);
    assert_eq!(standing.ground, Ground::Together);
    let best = standing.best_two.as_ref().expect("the best two");
    assert_eq!([&best.faster, &best.slower], [&standing.order[0], &standing.order[1]]);
    let text = Verdict::of(&s, Units::Metric).answer();
    assert!(text.contains("next best"), "{text}");
}
