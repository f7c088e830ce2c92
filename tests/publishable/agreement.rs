//! One day, every output: the numbers of the terminal, the page, the tables, the figures and the JSON are the same numbers.

use crate::sample_folder;
use loopwright::analysis::inspection::inspect;
use loopwright::analysis::{Depth, analyse};
use loopwright::forecast::lap_targets;
use loopwright::plot::Style;
use loopwright::report::Units;
use loopwright::report::files::{FilesInput, files};
use loopwright::report::inspection::inspection;
use loopwright::report::run_sheet::run_sheet;
use loopwright::report::text::{Print, summary};
use loopwright::solution::{Estimate, Solution};
use loopwright::uncertainty::rounding::Place;
use std::collections::BTreeMap;

struct Day {
    solution: Solution,
    text: String,
    files: BTreeMap<String, String>,
}

fn day(name: &str) -> Day {
    let inputs = sample_folder::inputs(name);
    let analysis = analyse(&inputs, Depth::default()).expect("the sample is solved");
    let all = files(&FilesInput {
        session: &inputs.session,
        solution: &analysis.solution,
        evidence: &analysis.evidence,
        samples: &analysis.samples,
        style: &Style::default(),
        units: Units::Metric,
    });
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("text");
    let files = all.expect("files").into_iter().map(|f| (f.name, text(f.bytes))).collect();
    Day { text: summary(&analysis.solution, Print::plain(240, Units::Metric)), solution: analysis.solution, files }
}

/// Value and half-width at the place that two digits of the half-width allow, as people read it.
fn shown(e: &Estimate) -> [String; 2] {
    let half = (e.high.expect("an interval") - e.low.expect("an interval")) / 2.0;
    let place = Place::of(half).expect("a place");
    [place.text(e.value.expect("a value")), place.text(half)]
}

/// Words on one line with plain signs, so that a table's cell and a sentence read alike.
fn plain(text: &str) -> String {
    text.replace('−', "-").split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The same of a page or figure, without its tags.
fn flat(text: &str) -> String {
    let text = text.replace('−', "-").replace("&#x2f;", "/");
    let mut out = String::new();
    let mut inside = false;
    for c in text.chars() {
        match c {
            '<' => inside = true,
            '>' => {
                inside = false;
                out.push(' ');
            }
            c if !inside => out.push(c),
            _ => {}
        }
    }
    out.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn column(csv: &str, name: &str) -> Vec<String> {
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let place =
        reader.headers().expect("a header").iter().position(|h| h == name).unwrap_or_else(|| panic!("no {name}"));
    reader.records().map(|r| r.expect("a row")[place].to_string()).collect()
}

#[test]
fn every_output_of_a_day_has_the_same_numbers() {
    for name in ["three-tyres", "two-positions", "tyres-on-rollers", "road-and-rollers", "track-and-rollers"] {
        let day = day(name);
        let (page, verdict) = (flat(&day.files["report.html"]), plain(&day.files["verdict.txt"]));
        let terminal = plain(&day.text);
        let figure = flat(&day.files["figures/differences.svg"]);
        let json: serde_json::Value = serde_json::from_str(&day.files["solution.json"]).expect("JSON");
        let s = &day.solution;
        // Set-ups: page, terminal, CSV and JSON.
        for (place, setup) in s.setups.iter().enumerate() {
            for (key, e) in [("crr", &setup.crr), ("cda_m2", &setup.cda_m2), ("power_w", &setup.power_w)] {
                if e.value.is_none() {
                    continue;
                }
                let [value, half] = shown(e);
                let both = format!("{value} ± {half}");
                assert!(page.contains(&both), "{name}: {both} is not on the page");
                assert!(terminal.contains(&both), "{name}: {both} is not on the terminal:\n{terminal}");
                let in_csv: f64 = column(&day.files["setups.csv"], key)[place].parse().expect("a number");
                assert_eq!(Some(in_csv), e.value, "{name}: {key}");
                assert_eq!(json["setups"][place][key]["value"].as_f64(), e.value, "{name}: {key}");
            }
            // Watts are the sum of what they are spent on, as the page lists it.
            if let (Some(all), Some(rolling), Some(air)) =
                (setup.power_w.value, setup.rolling_power_w.value, setup.aero_power_w.value)
            {
                let bearings = format!("{:.1}", all - rolling - air);
                assert!(
                    all - rolling - air > 0.0 && page.contains(&format!("{bearings} ")),
                    "{name}: bearings {bearings}"
                );
            }
        }
        // The headline's watts stand in verdict, terminal, page and figure alike.
        let watts =
            verdict.split(" it needs ").nth(1).and_then(|t| t.split(" W ").next()).expect("watts in the verdict");
        for (place, text) in [("terminal", &terminal), ("page", &page), ("figure", &figure)] {
            assert!(text.contains(watts), "{name}: {watts} of the verdict is not in the {place}:\n{text}");
        }
        // Differences: terminal and page.
        for c in &s.contrasts {
            let [value, half] = shown(&c.power_w);
            let sign = if c.power_w.value.is_some_and(|v| v > 0.0) { "+" } else { "" };
            assert!(page.contains(&format!("{sign}{value} ± {half}")), "{name}: {value} is not on the page");
            assert!(terminal.contains(&format!("{sign}{value}")), "{name}: {value} is not on the terminal");
        }
        // Laps: those of the runs, of the set-ups, of the CSV, of header and table of the page.
        let laps: usize = s.runs.iter().map(|run| run.laps.len()).sum();
        let used: usize = s.runs.iter().flat_map(|run| &run.laps).filter(|lap| lap.used).count();
        if laps > 0 {
            assert_eq!(s.setups.iter().map(|setup| setup.laps_used).sum::<usize>(), used, "{name}");
            assert_eq!(column(&day.files["laps.csv"], "lap").len(), laps, "{name}");
            assert_eq!(day.files["report.html"].matches("<tr data-lap=").count(), laps, "{name}");
            assert!(page.contains(&format!("{laps} laps")) && verdict.contains(&format!("{laps} laps")), "{name}");
        }
    }
}

/// A length in metres in a text, with the words about it.
fn lengths_near(text: &str, about_m: f64) -> Vec<(f64, &str)> {
    let mut out = Vec::new();
    for (end, _) in text.match_indices(" m") {
        let begin = text[..end].rfind(|c: char| !c.is_ascii_digit() && c != '.').map_or(0, |at| at + 1);
        let Ok(length) = text[begin..end].trim_start_matches(|c: char| !c.is_ascii_digit()).parse::<f64>() else {
            continue;
        };
        let edge = |mut at: usize, step: isize| {
            while !text.is_char_boundary(at) {
                at = at.saturating_add_signed(step);
            }
            at
        };
        let unit_ends = !text[end + 2..].starts_with(|c: char| c.is_alphanumeric() || c == '/' || c == '²');
        if unit_ends && (length / about_m - 1.0).abs() < 0.02 {
            let (from, to) = (edge(begin.saturating_sub(30), -1), edge((end + 26).min(text.len()), 1));
            out.push((length, &text[from..to]));
        }
    }
    out
}

/// Every length of a lap that a day of each kind tells is one of three, each with its name beside it.
#[test]
fn every_length_of_a_lap_is_one_number_with_one_name() {
    for name in ["three-tyres", "road-and-rollers", "track-and-rollers"] {
        let inputs = sample_folder::inputs(name);
        let day = day(name);
        let circuit = &day.solution.circuit;
        let by_wheel = circuit.length_by_wheel_m.expect("the wheel is seen");
        assert_eq!(circuit.length_m, Some(by_wheel), "{name}");
        assert_eq!(circuit.stated_length_m, inputs.session.circuit.length_m, "{name}");
        let profile_ends = circuit.profile.last().expect("a profile").distance_m;
        assert!((profile_ends - by_wheel).abs() < 1e-6, "{name}: the profile ends at {profile_ends}");
        let one = |m: f64| format!("{m:.1}");
        let mut named = vec![(one(by_wheel), "by the speed channel")];
        named.extend(circuit.length_by_positions_m.value.map(|m| (one(m), "ositions show")));
        named.extend(circuit.stated_length_m.map(|m| (one(m), "stated")));
        named.extend(circuit.stated_length_m.map(|m| (one(m), "session states")));
        let words = ["verdict.txt", "methods.txt", "captions.txt"].map(|file| (file, plain(&day.files[file])));
        let texts =
            words.into_iter().chain([("page", flat(&day.files["report.html"])), ("terminal", plain(&day.text))]);
        for (place, text) in texts {
            let told = lengths_near(&text, by_wheel);
            assert!(place == "captions.txt" || told.iter().any(|(m, _)| one(*m) == one(by_wheel)), "{name}, {place}");
            for (length, words) in told {
                let right = named.iter().any(|(m, called)| *m == one(length) && words.contains(called));
                assert!(right, "{name}, {place}: {length} m without its name in «{words}»; known are {named:?}");
            }
        }
        // Laps in the tables are as long as the loop by the same wheel, within what a lap strays.
        for lap in column(&day.files["laps.csv"], "distance_m") {
            let lap: f64 = lap.parse().expect("a number");
            assert!((lap / by_wheel - 1.0).abs() < 0.006, "{name}: {lap} m beside {by_wheel} m");
        }
        // What is said of one ride before it is solved is the wheel's length of that ride, and says so.
        for (run, recording) in inputs.session.runs.iter().zip(&inputs.recordings) {
            let text = plain(&inspection(&inspect(recording, None), 240, Units::Metric));
            for (length, words) in lengths_near(&text, by_wheel) {
                assert!(words.contains("by the speed channel"), "{name}, {}: {length} m in «{words}»", run.file);
                assert!((length / by_wheel - 1.0).abs() < 0.002, "{name}, {}: {length} m", run.file);
            }
        }
    }
    // Before the ride only one is known, and it is the measurement line's.
    let plan = sample_folder::plan("track-and-rollers");
    let sheet = run_sheet(&plan, &lap_targets(&plan), Units::Metric).expect("a run sheet");
    for text in [flat(&sheet.html), plain(&sheet.markdown)] {
        assert!(text.contains("on a track of 452.0 m on the measurement line"), "{text}");
    }
}

#[test]
fn every_key_of_the_result_is_documented() {
    let schema = serde_json::to_value(schemars::schema_for!(Solution)).expect("JSON");
    let mut undocumented = Vec::new();
    let mut keys = 0;
    let mut visit = |place: &str, object: &serde_json::Value| {
        for (key, property) in object["properties"].as_object().into_iter().flatten() {
            keys += 1;
            if property["description"].as_str().is_none_or(|d| d.len() < 8) {
                undocumented.push(format!("{place}.{key}"));
            }
        }
    };
    visit("Solution", &schema);
    for (name, definition) in schema["$defs"].as_object().expect("definitions") {
        visit(name, definition);
    }
    assert!(keys > 150, "only {keys} keys were looked at");
    assert!(undocumented.is_empty(), "{undocumented:?}");
}
