//! Files and choices that cannot be pooled: each message names the file, what is wrong and the next step.

use crate::results::{Told, bytes, days, result};
use loopwright::pool::{Choice, Day, MOST, pool};
use loopwright::solution::Solution;

fn told(crr: f64) -> Told {
    Told { setup: "latex", baseline: "butyl", crr, scatter: 0.00006, scale: 0.00002 }
}

fn sound(name: &str) -> Solution {
    result(name, "butyl", &[told(-0.0004)])
}

fn says(message: &str, words: &[&str]) {
    for word in words {
        assert!(message.contains(word), "«{word}» is not in: {message}");
    }
}

fn refused_file(content: &[u8], words: &[&str]) {
    let message = Day::read("a.json", content).expect_err("it is refused").to_string();
    says(&message, &["a.json: "]);
    says(&message, words);
}

fn refused(solutions: &[Solution], choice: &Choice, words: &[&str]) {
    says(&pool(&days(solutions), choice).expect_err("they are refused").to_string(), words);
}

#[test]
fn a_file_that_is_no_result_says_what_it_is() {
    refused_file(b"", &["it is empty", "solution.json that `loopwright solve` wrote"]);
    refused_file(b"\x0e\x10FIT", &["it is not JSON"]);
    refused_file(b"{ \"schema\": 1, ", &["it is not JSON", "EOF"]);
    refused_file(b"[1, 2]", &["JSON but not a loopwright result"]);
    refused_file(b"{ \"schema\": \"one\" }", &["JSON but not a loopwright result"]);
    refused_file(b"{ \"name\": 1 }", &["JSON but not a loopwright result", "no schema and version"]);
    refused_file(
        b"{ \"schema\": 1, \"loopwright\": \"0.1.0\", \"kind\": \"pool\" }",
        &["pooled result", "counted twice"],
    );
    refused_file(b"{ \"schema\": 1, \"loopwright\": \"0.1.0\" }", &["does not hold to it", "missing field"]);
    let deep = [vec![b'['; 100_000], vec![b']'; 100_000]].concat();
    refused_file(&deep, &["JSON"]);
}

#[test]
fn another_schema_is_named_with_the_version_that_wrote_it() {
    let mut newer = sound("May");
    newer.schema = 2;
    newer.loopwright = "0.9.0".into();
    refused_file(&bytes(&newer), &["schema 2 (loopwright 0.9.0)", "reads schema 1", "solve the session again"]);
}

#[test]
fn a_result_of_one_set_up_has_nothing_to_pool() {
    refused_file(&bytes(&result("May", "butyl", &[])), &["no differences between set-ups", "two set-ups or more"]);
}

#[test]
fn numbers_that_no_solution_has_are_refused_with_their_place() {
    for (spoil, words) in [
        (&(|s: &mut Solution| s.contrasts[0].crr.se = Some(-1.0)) as &dyn Fn(&mut Solution), "Crr is -0.0004 ± -1"),
        (&|s: &mut Solution| s.contrasts[0].crr.se = Some(0.0), "Crr is -0.0004 ± 0"),
        (&|s: &mut Solution| s.contrasts[0].power_w.value = Some(1e300), "in power"),
        (&|s: &mut Solution| s.contrasts[0].power_w.dof = Some(-3.0), "-3 degrees of freedom"),
        (&|s: &mut Solution| s.budget[0].pairs[0].crr = Some(7.0), "its instruments alone make 7"),
        (&|s: &mut Solution| s.confidence = 0.0, "its confidence is 0"),
    ] {
        let mut day = sound("May");
        spoil(&mut day);
        refused_file(&bytes(&day), &[words, "solve the session again"]);
    }
    let mut many = sound("May");
    many.setups = vec![many.setups[0].clone(); 61];
    refused_file(&bytes(&many), &["the number of set-ups is 61, more than the limit of 60"]);
}

#[test]
fn the_same_day_never_counts_twice() {
    let (may, june) = (sound("May"), sound("June"));
    refused(
        &[may.clone(), june.clone(), may.clone()],
        &Choice::default(),
        &["day-3/solution.json", "same result as day-1/solution.json", "SHA-256", "give each day once"],
    );
    // Solved again with other settings it is still the same ride.
    let mut again = may.clone();
    again.confidence = 0.9;
    refused(
        &[may.clone(), june, again],
        &Choice { confidence: Some(0.95), ..Choice::default() },
        &["its ride run-1.fit is also in day-1/solution.json", "one result of each ride"],
    );
    refused(&[may], &Choice::default(), &["1 result given, at least 2 are needed"]);
}

#[test]
fn too_many_results_are_refused_with_the_limit() {
    let many: Vec<Solution> = (0..MOST + 1).map(|k| sound(&format!("day {k}"))).collect();
    refused(&many, &Choice::default(), &["201 results, more than the limit of 200"]);
}

#[test]
fn results_that_do_not_go_together_say_what_would() {
    let other = result("June", "foam", &[Told { setup: "sealed", baseline: "foam", ..told(0.0001) }]);
    refused(
        &[sound("May"), other],
        &Choice::default(),
        &["no two results have a pair of set-ups in common", "latex", "sealed", "the same id"],
    );
    let away = |name: &str| {
        let pair = Told { setup: "sealed", baseline: "foam", ..told(0.0001) };
        result(name, "foam", &[pair])
    };
    refused(
        &[sound("May"), away("June"), away("July")],
        &Choice::default(),
        &["no difference with the baseline «butyl» is in two results", "--baseline with one of foam, sealed"],
    );
    let stated = Choice { baseline: Some("wool".into()), ..Choice::default() };
    refused(&[sound("May"), sound("June")], &stated, &["--baseline", "no result has a set-up «wool»", "butyl, latex"]);
    let mut wide = sound("June");
    wide.confidence = 0.9;
    refused(&[sound("May"), wide], &Choice::default(), &["--confidence", "0.95 in day-1", "0.9 in day-2"]);
}

#[test]
fn one_set_up_under_two_ids_is_refused_with_both() {
    let mut second = result("June", "butyl", &[Told { setup: "Latex", ..told(-0.0005) }]);
    let all = [sound("May"), second.clone()];
    refused(&all, &Choice::default(), &["\"Latex\"", "\"latex\"", "one id in all sessions"]);
    // Another set-up altogether, with a label of its own, is only not pooled.
    for setup in &mut second.setups {
        if setup.id == "Latex" {
            (setup.id, setup.label) = ("foam".into(), "foam".into());
        }
    }
    for contrast in second.contrasts.iter_mut().chain(&mut second.all_pairs) {
        contrast.setup = contrast.setup.replace("Latex", "foam");
    }
    let all = [sound("May"), sound("July"), second];
    let pooled = pool(&days(&all), &Choice::default()).expect("two of three have the difference");
    let said = pooled.findings.iter().find(|f| f.code == "result-not-pooled").expect("it is told");
    assert!(said.message.contains("June"), "{}", said.message);
}
