//! A pressure sweep from its rides to the page, and what a session with factors may not say.
//!
//! Truth is that of the rehearsed folder, which an independent simulation made.

// Other tests of samples use more of it.
#[allow(dead_code)]
mod sample_folder;

use loopwright::factor::{Answer, Curve};
use loopwright::plot::{Style, draw_all};
use loopwright::report::text::Print;
use loopwright::report::{Units, files, text};
use loopwright::session::Session;
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
