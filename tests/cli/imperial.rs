//! With `--units imperial` no metric unit is left in what people read: terminal, page, captions, methods, figures.
//!
//! Keys of files, the tester's own names and factors (a pressure stated in kPa) keep their units, and so does density.

use crate::program::{Desk, sample};

/// A number, a space and a metric unit.
fn metric(text: &str) -> Vec<String> {
    let units = ["km/h", "m/s", "°C", "hPa", "kPa", "bar", "kg", "km", "m"];
    let words: Vec<&str> = text.split_whitespace().collect();
    let is_number = |w: &str| w.ends_with(|c: char| c.is_ascii_digit()) && w.contains(|c: char| c.is_ascii_digit());
    let bare = |w: &str| w.trim_end_matches(|c: char| ".,;:)]".contains(c)).to_string();
    words
        .windows(3)
        .filter(|w| is_number(w[0]) && units.contains(&bare(w[1]).as_str()) && !w[2].starts_with("m²"))
        .map(|w| w.join(" "))
        .collect()
}

/// Text of a page or a figure, without what is drawn and styled.
fn words(markup: &str) -> String {
    let mut out = String::new();
    let mut rest = markup;
    while let Some(open) = rest.find('<') {
        out.push_str(&rest[..open]);
        out.push('\n');
        rest = &rest[open..];
        let end = match ["style", "script"].iter().find(|tag| rest.starts_with(&format!("<{tag}"))) {
            Some(tag) => rest.find(&format!("</{tag}>")).unwrap_or(rest.len() - 1),
            None => 0,
        };
        rest = rest[end..].find('>').map_or("", |close| &rest[end + close + 1..]);
    }
    out + rest
}

#[test]
fn no_metric_unit_is_left_in_what_people_read() {
    for folder in ["three-tyres", "tyres-on-rollers", "road-and-rollers"] {
        let desk = Desk::new();
        let of = |name: &str| sample(&format!("{folder}/{name}")).display().to_string();
        let (session, plan, ride) = (of("session.toml"), of("plan.toml"), of("run-1.fit"));
        let imperial = |rest: &[&str]| desk.answered(&[&["--units", "imperial"], rest].concat());
        let solved = imperial(&["solve", &session, "--full", "--budget", "--draws", "0", "--out", "out"]);
        assert!(solved.contains("mph"), "{solved}");
        let mut read = vec![("terminal".to_string(), solved)];
        read.push(("inspect".into(), imperial(&["inspect", &ride])));
        read.push(("plan".into(), imperial(&["plan", &plan])));
        for name in ["verdict.txt", "captions.txt", "methods.txt", "report.html"] {
            read.push((name.into(), words(&desk.text(&format!("out/{name}")))));
        }
        for file in desk.listing().iter().filter(|f| f.extension().is_some_and(|e| e == "svg")) {
            read.push((file.display().to_string(), words(&std::fs::read_to_string(file).expect("a figure"))));
        }
        for (name, text) in &read {
            assert_eq!(metric(text), Vec::<String>::new(), "{folder}: {name}");
        }
    }
    let air = Desk::new().answered(&["--units", "imperial", "air", "--temperature-c", "18", "--pressure-hpa", "978"]);
    assert!(metric(&air).is_empty() && air.contains("64.4 °F"), "{air}");
}

#[test]
fn the_test_itself_sees_a_metric_unit() {
    assert_eq!(metric("ridden at 37.2 km/h, alone").len(), 1);
    assert!(metric("0.14 kg m² and 1.2 kg/m³ at 24.9 mph").is_empty());
    assert_eq!(words("<p>a <b>1 m</b></p><style>x{}</style>").split_whitespace().collect::<Vec<_>>(), ["a", "1", "m"]);
}
