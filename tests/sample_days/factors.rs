//! A pressure sweep from its rides to the page, and what a session with factors may not say.
//!
//! Truth is that of the rehearsed folder, which an independent simulation made.

use crate::sample_folder::{inputs, solve};
use loopwright::analysis::{Depth, RiddenSession, analyse};
use loopwright::factor::{Answer, Curve};
use loopwright::forecast::forecast;
use loopwright::plan::Plan;
use loopwright::plot::{Style, draw_all};
use loopwright::pool::{Choice, Day, pool};
use loopwright::report::text::Print;
use loopwright::report::{Units, files, text};
use loopwright::session::Session;
use loopwright::simulate::simulate;
use loopwright::solution::Solution;
use rayon::prelude::*;

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
    assert!(figure.title == "Watts over pressure" && figure.svg.contains("Pressure, kPa"), "{}", figure.title);
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
    assert!(refused("", &kpa("500"), &kpa("500"), "").contains("one level on all 2 set-ups"));
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
    let third = "tyre = \"x\" }\n[[setup]]\nid = \"c\"\nfactors = { tyre = \"x\" }";
    let same = refused(
        "",
        "factors = { tyre = \"y\" }",
        &format!("factors = {{ {third}"),
        "[[run]]\nfile = \"c.fit\"\nsetup = \"c\"",
    );
    assert!(same.contains("s.toml:") && same.contains("«b» and «c» have the same factors"), "{same}");
    assert!(same.contains("give both runs to one set-up"), "{same}");
    let kind = refused("curve = \"tyre\"", "factors = { tyre = \"x\" }", "factors = { tyre = \"y\" }", "");
    assert!(kind.contains("its levels are text"), "{kind}");
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

/// A day of pressures on the curve of the sample, with what changes from run to run as it is supposed.
fn sweep_plan(levels: &[f64], seed: u64) -> Plan {
    let ids: Vec<String> = levels.iter().chain(levels.iter().rev()).map(|kpa| format!("\"p{kpa}\"")).collect();
    let mut text = format!(
        "title = \"day {seed}\"\norder = [{}]\nlaps_per_run = 6\nspeeds_km_h = [29.0, 41.0]\nrider_and_bike.mass_kg = 86.0\n\
         [loop]\nlength_m = 1240.0\nshape = \"bean\"\nelevation_amplitude_m = 1.5\n[wind]\nspeed_m_s = 1.0\nfrom_deg = 200.0\n\
         [solve]\ncda = \"common\"\n[noise]\ngust_sd_m_s = 0.2\n[day]\ncda_run_to_run = 0.007\ncrr_run_to_run = 0.007\n",
        ids.join(", ")
    );
    for kpa in levels {
        let crr = 0.0041 + 0.00053 * ((kpa - BEST_KPA) / 100.0).powi(2);
        text.push_str(&format!(
            "[[setup]]\nid = \"p{kpa}\"\ncda_m2 = 0.268\ncrr = {crr}\nfactors = {{ pressure_kpa = {kpa} }}\n"
        ));
    }
    Plan::from_toml(&text, "plan").unwrap_or_else(|e| panic!("{e}"))
}

fn rehearsed(plan: &Plan, seed: u64) -> RiddenSession {
    let day = simulate(plan, seed).unwrap_or_else(|e| panic!("{e}"));
    let recordings = day.rides.iter().map(|r| r.to_recording()).collect();
    RiddenSession { session: day.session, recordings, weather: None, survey: None }
}

fn solved(plan: &Plan, seed: u64) -> Solution {
    analyse(&rehearsed(plan, seed), Depth { budget: true, draws: 0 })
        .unwrap_or_else(|e| panic!("day {seed}: {e}"))
        .solution
}

#[test]
fn two_days_of_other_pressures_give_one_curve_with_a_narrower_best() {
    let days = [(vec![450.0, 530.0, 610.0, 690.0], 71), (vec![490.0, 570.0, 650.0], 72)];
    let days: Vec<Solution> = days.par_iter().map(|(levels, seed)| solved(&sweep_plan(levels, *seed), *seed)).collect();
    let results: Vec<Day> = days
        .iter()
        .enumerate()
        .flat_map(|(k, s)| Day::read(&format!("{k}.json"), &serde_json::to_vec(s).expect("JSON")).expect("a result"))
        .collect();
    let result = pool(&results, &Choice::default()).unwrap_or_else(|e| panic!("{e}"));
    assert!(result.contrasts.is_empty() && result.curves.iter().map(|c| c.output.as_str()).eq(["power_w", "crr"]));
    let pooled = &result.curves[0];
    let width = |c: &Curve| c.optimum.high - c.optimum.low;
    let alone = days.iter().map(|s| width(curve(&s.factors.as_ref().expect("factors").outputs, "power_w")));
    assert!(pooled.agree && alone.into_iter().all(|w| width(&pooled.curve) < w), "{:?}", pooled.curve.optimum);
    let o = &pooled.curve.optimum;
    assert!(o.low <= BEST_KPA && BEST_KPA <= o.high && o.low >= 450.0 && o.high <= 690.0, "{o:?}");
    let written = loopwright::report::pooled::files::files(&result, &Style::default(), Units::Metric).expect("files");
    let of = |name: &str| {
        let file = written.iter().find(|f| f.name == name).unwrap_or_else(|| panic!("{name}"));
        String::from_utf8(file.bytes.clone()).expect("text")
    };
    let (page, words) = (of("pool.html"), of("pool.txt"));
    assert!(page.contains("The best pressure is") && words.contains("What the factors do"), "{words}");
    assert!(page.contains("marked on tyre and rim") && words.contains("2 answers about factors"), "{words}");
    // A line for each of the seven pressures in each of two outputs, and its head.
    assert_eq!(of("curves.csv").lines().count(), 15);
    assert!(of("factor-curve.svg").contains("above the least"));
    // Days that have neither a set-up nor a factor in common are refused.
    let plain: Vec<Day> = results.into_iter().map(|d| Day { factors: None, ..d }).collect();
    let refused = pool(&plain, &Choice::default()).expect_err("nothing in common").to_string();
    assert!(refused.contains("or state its factors"), "{refused}");
}

#[test]
fn a_plan_foretells_the_intervals_of_slope_best_level_and_effects() {
    const SWEEPS: u64 = 60;
    const DESIGNS: u64 = 24;
    // From day to day an interval varies by a third, because few repeats tell what changes from run to run: means of so many are
    // known to 4 % and 7 %. What is planned is the usual one, root mean square, which such a spread puts above the mean.
    let near = |what: &str, planned: f64, reported: f64| {
        assert!((0.75..1.33).contains(&(planned / reported)), "{what}: {planned} planned, {reported} reported");
    };
    let mean = |all: &[Solution], of: &(dyn Fn(&[Answer]) -> f64 + Sync)| {
        all.iter().map(|s| of(&s.factors.as_ref().expect("factors").outputs)).sum::<f64>() / all.len() as f64
    };
    let plan = sweep_plan(&[450.0, 530.0, 610.0, 690.0], 1);
    let foretold = forecast(&plan).unwrap_or_else(|e| panic!("{e}")).factors.expect("factors").outputs;
    let days: Vec<Solution> = (0..SWEEPS).into_par_iter().map(|d| solved(&plan, 8700 + d)).collect();
    let slope = |all: &[Answer]| curve(all, "power_w").slope.high - curve(all, "power_w").slope.low;
    let best = |all: &[Answer]| curve(all, "power_w").optimum.high - curve(all, "power_w").optimum.low;
    near("slope", slope(&foretold), mean(&days, &slope));
    near("best", best(&foretold), mean(&days, &best));
    // Named within the range, and worth something.
    let next = &curve(&foretold, "power_w").next;
    assert!(next.iter().all(|n| (450.0..=690.0).contains(&n.level)) && next[0].width_ratio < 0.95, "{next:?}");

    let plan = tyres_and_wheels_plan("[day]\ncda_run_to_run = 0.007\ncrr_run_to_run = 0.007\n");
    let foretold = forecast(&plan).unwrap_or_else(|e| panic!("{e}")).factors.expect("factors").outputs;
    let days: Vec<Solution> = (0..DESIGNS).into_par_iter().map(|d| solved(&plan, 8800 + d)).collect();
    for (place, factor) in ["tyre", "wheel"].iter().enumerate() {
        let width = |all: &[Answer]| {
            let told = all.iter().filter_map(Answer::told).find(|o| o.output == "power_w").expect("watts");
            let e = &told.effects[place];
            assert_eq!(e.factor, *factor);
            e.levels[0].effect.high - e.levels[0].effect.low
        };
        near(factor, width(&foretold), mean(&days, &width));
    }
}

#[test]
fn a_plan_with_wrong_factors_is_refused_as_a_session_is() {
    let setup = |id: &str, factors: &str| format!("[[setup]]\nid = \"{id}\"\ncda_m2 = 0.3\ncrr = 0.0045\n{factors}\n");
    let refused = |first: &str, second: &str| {
        let text = format!(
            "order = [\"a\", \"b\"]\nspeeds_km_h = [29.0, 41.0]\nrider_and_bike.mass_kg = 86.0\nloop.length_m = 1250.0\n{}{}",
            setup("a", first),
            setup("b", second)
        );
        Plan::from_toml(&text, "plan.toml").expect_err("it is wrong").to_string()
    };
    let missing = refused("factors = { pressure_kpa = 500 }", "");
    assert!(missing.contains("plan.toml") && missing.contains("does not state the factor"), "{missing}");
    let text = refused("factors = { pressure_kpa = 500 }", "factors = { pressure_kpa = \"600\" }");
    assert!(text.contains("plan.toml:14") && text.contains("without quotes"), "{text}");
}

/// Three tyres on two wheels, every combination there and back: what a tyre and what a wheel does, in Crr and CdA.
const TYRES_AND_WHEELS: &str = "order = [\"al\", \"bl\", \"cl\", \"ad\", \"bd\", \"cd\", \"cd\", \"bd\", \"ad\", \"cl\", \"bl\", \"al\"]\n\
    laps_per_run = 6\nspeeds_km_h = [29.0, 41.0]\nrider_and_bike.mass_kg = 86.0\n\
    [loop]\nlength_m = 1240.0\nshape = \"bean\"\nelevation_amplitude_m = 1.5\n[wind]\nspeed_m_s = 1.0\nfrom_deg = 200.0\n\
    [solve]\ncda = \"per-setup\"\ncrr = \"per-setup\"\n[noise]\ngust_sd_m_s = 0.2\n";
const TYRES: [(&str, f64); 3] = [("a", 0.0047), ("b", 0.0040), ("c", 0.0051)];
const WHEELS: [(&str, f64); 2] = [("l", 0.268), ("d", 0.262)];

fn tyres_and_wheels_plan(more: &str) -> Plan {
    let mut text = format!("{TYRES_AND_WHEELS}{more}");
    for (wheel, cda) in WHEELS {
        for (tyre, crr) in TYRES {
            text.push_str(&format!(
                "[[setup]]\nid = \"{tyre}{wheel}\"\ncda_m2 = {cda}\ncrr = {crr}\nfactors = {{ tyre = \"{tyre}\", wheel = \"{wheel}\" }}\n"
            ));
        }
    }
    Plan::from_toml(&text, "plan").unwrap_or_else(|e| panic!("{e}"))
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
    let days: Vec<Solution> =
        (0..12u64).into_par_iter().map(|d| solved(&tyres_and_wheels_plan(""), 8300 + d)).collect();
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
