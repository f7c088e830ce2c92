//! A pressure sweep from its rides to the page, and what a session with factors may not say.
//!
//! Truth is that of the rehearsed folder, which an independent simulation made.

// Other tests of samples use more of it.
#[allow(dead_code)]
mod sample_folder;

use loopwright::analysis::{Depth, Inputs, analyse};
use loopwright::factor::{Answer, Curve};
use loopwright::plan::Plan;
use loopwright::plot::{Style, draw_all};
use loopwright::pool::{Choice, Day, pool};
use loopwright::report::text::Print;
use loopwright::report::{Units, files, text};
use loopwright::session::Session;
use loopwright::simulate::simulate;
use loopwright::solution::Solution;
use rayon::prelude::*;
use sample_folder::{inputs, solve};

const FOLDER: &str = "pressure-sweep";
/// Turning point of the curve that the set-ups of the plan lie on, kPa (by hand from its four values).
const BEST_KPA: f64 = 590.0;

fn curve<'a>(answers: &'a [Answer], output: &str) -> &'a Curve {
    let told = answers.iter().filter_map(Answer::told).find(|o| o.output == output);
    &told.unwrap_or_else(|| panic!("{output}: {answers:?}")).curves[0]
}

#[test]
fn a_sweep_of_four_pressures_tells_its_best_and_stays_within_what_was_ridden() {
    let all = inputs(FOLDER);
    let analysis = solve(&all).unwrap_or_else(|e| panic!("{e}"));
    let solution = &analysis.solution;
    let result = solution.factors.as_ref().expect("factors were stated");
    let levels: Vec<&str> = result.factors[0].of_setups.iter().map(String::as_str).collect();
    assert_eq!(levels, ["450", "530", "610", "690"]);
    for output in ["power_w", "crr"] {
        let curve = curve(&result.outputs, output);
        let o = &curve.optimum;
        assert_eq!(curve.shape, "one bend", "{output}: {curve:?}");
        assert!(o.low <= BEST_KPA && BEST_KPA <= o.high && !o.open_below && !o.open_above, "{output}: {o:?}");
        assert!(o.low >= 450.0 && o.high <= 690.0 && curve.next.iter().all(|n| (450.0..=690.0).contains(&n.level)));
    }
    // 0.00053 · 1.4² of Crr at 450 kPa, in watts m g v/η at 86 kg, 40 km/h and 0.976.
    let lost = curve(&result.outputs, "power_w").off_best[0];
    let expected = 0.00053 * 1.4 * 1.4 * 86.0 * 9.80665 * (40.0 / 3.6) / 0.976;
    assert!(lost.level == 450.0 && lost.lost.low <= expected && expected <= lost.lost.high, "{lost:?} {expected}");
    // One CdA for all: no curve of it.
    assert!(result.outputs.iter().filter_map(Answer::told).all(|o| o.output != "cda_m2"));

    let summary = text::summary(solution, Print::plain(100, Units::Metric));
    assert!(summary.contains("What the factors do") && summary.contains("The best pressure is"), "{summary}");
    assert!(summary.contains("marked on tyre and rim"), "{summary}");
    let figures = draw_all(solution, &analysis.evidence, &Style::default());
    let figure = figures.iter().find(|f| f.name == "factor-curve").expect("a figure");
    assert!(figure.title == "Watts over pressure, kPa" && figure.svg.contains("Pressure, kPa"), "{}", figure.title);
    let written = files::files(&files::FilesInput {
        session: &all.session,
        solution,
        evidence: &analysis.evidence,
        samples: &analysis.samples,
        style: &Style::default(),
        units: Units::Metric,
    })
    .expect("files");
    let of = |name: &str| {
        let file = written.iter().find(|f| f.name == name).unwrap_or_else(|| panic!("{name}"));
        String::from_utf8(file.bytes.clone()).expect("text")
    };
    assert!(
        of("factors.csv").lines().next().is_some_and(|head| head.starts_with("output,factor,level,against,change,"))
    );
    assert!(of("factors.csv").contains("pressure_kpa,450,"), "{}", of("factors.csv"));
    assert!(of("report.html").contains("What the factors do") && of("methods.txt").contains("(Fieller 1954)"));
    // What was written is read back.
    let again: loopwright::solution::Solution = serde_json::from_str(&of("solution.json")).expect("JSON");
    assert_eq!(again.factors.map(|f| f.outputs.len()), solution.factors.as_ref().map(|f| f.outputs.len()));
}

#[test]
fn a_session_with_wrong_factors_is_refused_with_line_and_next_step() {
    let refused = |solve: &str, first: &str, second: &str, run: &str| {
        let text = format!(
            "[rider_and_bike]\nmass_kg = 80\n[solve]\n{solve}\n[[setup]]\nid = \"a\"\n{first}\n[[setup]]\nid = \"b\"\n{second}\n\
             [[run]]\nfile = \"a.fit\"\nsetup = \"a\"\n{run}\n[[run]]\nfile = \"b.fit\"\nsetup = \"b\"\n"
        );
        Session::from_toml(&text, "s.toml").expect_err("it is wrong").to_string()
    };
    let kpa = |x: &str| format!("factors = {{ pressure_kpa = {x} }}");
    let missing = refused("", &kpa("500"), "", "");
    assert!(
        missing.contains("s.toml") && missing.contains("«b» does not state the factor «pressure_kpa»"),
        "{missing}"
    );
    assert!(refused("", &kpa("500"), &kpa("500"), "").contains("one level on all 2 set-up(s)"));
    let text = refused("", &kpa("500"), &kpa("\"600\""), "");
    assert!(text.contains("s.toml:10") && text.contains("without quotes"), "{text}");
    let bar = refused("", &kpa("5.0"), &kpa("6.0"), "");
    assert!(bar.contains("pressure_kpa") && bar.contains("130") && bar.contains("1 bar is 100 kPa"), "{bar}");
    let psi = refused("", &kpa("65.0"), &kpa("80.0"), "");
    assert!(psi.contains("130") && psi.contains("1 psi is 6.9 kPa"), "{psi}");
    let two = refused("curve = \"pressure_kpa\"", &kpa("500"), &kpa("600"), "");
    assert!(two.contains("2 levels (500, 600)") && two.contains("third level"), "{two}");
    let other = refused("", &kpa("500"), &kpa("600"), "tyre_pressure_kpa = { front = 620, rear = 640 }");
    assert!(other.contains("run 1") && other.contains("front = 620"), "{other}");
    let same =
        refused("", "factors = { tyre = \"x\", wheel = \"y\" }", "factors = { tyre = \"x\", wheel = \"y\" }", "");
    assert!(same.contains("one level"), "{same}");
    let sound = "[rider_and_bike]\nmass_kg = 80\n[[setup]]\nid = \"a\"\nfactors = { tyre = \"x\" }\n[[setup]]\nid = \"b\"\n\
                 factors = { tyre = \"y\" }\n[[run]]\nfile = \"a.fit\"\nsetup = \"a\"\n[[run]]\nfile = \"b.fit\"\nsetup = \"b\"\n";
    assert!(Session::from_toml(sound, "s.toml").expect("sound").factors().is_some());
    for (value, holds) in [("0.2", true), ("0.21", false), ("-0.01", false), ("nan", false)] {
        let text = format!("{sound}[uncertainty]\nrun_to_run_fraction = {value}\n");
        let read = Session::from_toml(&text, "s.toml");
        assert_eq!(read.is_ok(), holds, "{value}");
        if let Err(error) = read {
            let words = error.to_string();
            assert!(
                words.contains("run_to_run_fraction") && words.contains("0.2") && words.contains("0.7 % is 0.007"),
                "{words}"
            );
        }
    }
}

/// Three tyres on two wheels, every combination there and back: what a tyre and what a wheel does, in Crr and CdA.
const TYRES_AND_WHEELS: &str = "order = [\"al\", \"bl\", \"cl\", \"ad\", \"bd\", \"cd\", \"cd\", \"bd\", \"ad\", \"cl\", \"bl\", \"al\"]\n\
    laps_per_run = 6\nspeeds_km_h = [29.0, 41.0]\nrider_and_bike.mass_kg = 86.0\n\
    [loop]\nlength_m = 1240.0\nshape = \"bean\"\nelevation_amplitude_m = 1.5\n[wind]\nspeed_m_s = 1.0\nfrom_deg = 200.0\n\
    [solve]\ncda = \"per-setup\"\ncrr = \"per-setup\"\n[noise]\ngust_sd_m_s = 0.2\n";
const TYRES: [(&str, f64); 3] = [("a", 0.0047), ("b", 0.0040), ("c", 0.0051)];
const WHEELS: [(&str, f64); 2] = [("l", 0.268), ("d", 0.262)];

fn tyres_and_wheels(seed: u64) -> Inputs {
    let mut text = TYRES_AND_WHEELS.to_string();
    for (wheel, cda) in WHEELS {
        for (tyre, crr) in TYRES {
            text.push_str(&format!(
                "[[setup]]\nid = \"{tyre}{wheel}\"\ncda_m2 = {cda}\ncrr = {crr}\nfactors = {{ tyre = \"{tyre}\", wheel = \"{wheel}\" }}\n"
            ));
        }
    }
    let plan = Plan::from_toml(&text, "plan").unwrap_or_else(|e| panic!("{e}"));
    let day = simulate(&plan, seed).unwrap_or_else(|e| panic!("{e}"));
    let recordings = day.rides.iter().map(|r| r.to_recording()).collect();
    Inputs { session: day.session, recordings, weather: None, survey: None }
}

/// What a level does beside another, by the plan.
fn truth_of(output: &str, level: &str, against: &str) -> f64 {
    let of = |all: &[(&str, f64)], wanted: &str| all.iter().find(|(name, _)| *name == wanted).map(|(_, value)| *value);
    let difference = |all: &[(&str, f64)]| of(all, level).zip(of(all, against)).map_or(0.0, |(a, b)| a - b);
    match output {
        "crr" => difference(&TYRES),
        "cda_m2" => difference(&WHEELS),
        other => panic!("{other}"),
    }
}

#[test]
fn effects_of_tyres_and_wheels_hold_the_truth_over_a_dozen_days_and_over_two_together() {
    let days: Vec<Solution> = (0..12u64)
        .into_par_iter()
        .map(|d| {
            let depth = Depth { budget: true, draws: 0 };
            analyse(&tyres_and_wheels(8300 + d), depth).unwrap_or_else(|e| panic!("day {d}: {e}")).solution
        })
        .collect();
    let (mut held, mut all) = (0, 0);
    for solution in &days {
        let result = solution.factors.as_ref().expect("factors were stated");
        let outputs = result.outputs.iter().filter_map(Answer::told).filter(|o| o.output != "power_w");
        for output in outputs {
            for effects in &output.effects {
                for level in &effects.levels {
                    let truth = truth_of(&output.output, &level.level, &effects.reference);
                    held += usize::from(level.effect.low <= truth && truth <= level.effect.high);
                    all += 1;
                }
            }
        }
    }
    // Two tyres and one wheel, each in Crr and in CdA. Of 72 intervals of 95 % fewer than 63 hold with a chance of 1 %.
    assert_eq!(all, 72);
    assert!(held >= 63, "{held} of {all}");
    let written: Vec<Vec<u8>> = days.iter().map(|s| serde_json::to_vec(s).expect("JSON")).collect();
    let (mut held, mut all) = (0, 0);
    for pair in written.chunks(2) {
        let results: Vec<Day> = pair
            .iter()
            .enumerate()
            .flat_map(|(k, bytes)| Day::read(&format!("{k}.json"), bytes).expect("a result"))
            .collect();
        let pooled = pool(&results, &Choice::default()).expect("two days of one test");
        for e in pooled.effects.iter().filter(|e| e.output != "power_w") {
            let truth = truth_of(&e.output, &e.level, &e.against);
            let (low, high) = (e.effect.together.low.expect("known"), e.effect.together.high.expect("known"));
            held += usize::from(low <= truth && truth <= high);
            all += 1;
            assert!(e.days.iter().all(|day| e.effect.together.se.expect("known") < 1.001 * day.se || !e.effect.agree));
        }
    }
    // Of 36 fewer than 30 hold with a chance of 0.5 %.
    assert_eq!(all, 36);
    assert!(held >= 30, "{held} of {all}");
}
