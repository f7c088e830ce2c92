//! One day, every output: the numbers of the terminal, the page, the tables, the figures and the JSON are the same numbers.

use crate::sample_folder;
use loopwright::analysis::{Depth, analyse};
use loopwright::plot::Style;
use loopwright::report::Units;
use loopwright::report::files::{FilesInput, files};
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
    for name in ["three-tyres", "two-positions", "tyres-on-rollers", "road-and-rollers"] {
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
        // One length of the loop wherever it is told.
        if let Some(length) = s.circuit.length_m {
            let told = format!("{length:.1} m");
            assert!(verdict.contains(&told) && page.contains(&told), "{name}: {told}");
            for text in [&page, &verdict, &plain(&day.files["methods.txt"])] {
                for other in
                    text.split(" m ").filter_map(|t| t.rsplit(' ').next()).filter_map(|n| n.parse::<f64>().ok())
                {
                    let near = (other / length - 1.0).abs() < 0.02;
                    assert!(!near || (other - length).abs() < 0.06, "{name}: {other} m beside {told}");
                }
            }
        }
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
