//! Certified results of the NIST Statistical Reference Datasets, analysis of variance.
//!
//! The certified values are NIST's; how many digits a double-precision solver can reach on each set is the pass mark
//! that the collection states or an independent computation found.

use loopwright::uncertainty::anova::OneWay;

/// Correct significant digits, −log₁₀ of the relative error, 15 at most.
fn digits(got: f64, certified: f64) -> f64 {
    let relative = if certified == 0.0 { got.abs() } else { (got / certified - 1.0).abs() };
    if relative == 0.0 { 15.0 } else { (-relative.log10()).min(15.0) }
}

/// Readings of a one-way table by group, in file order.
fn groups(text: &str) -> Vec<Vec<f64>> {
    let mut labels: Vec<&str> = Vec::new();
    let mut readings: Vec<Vec<f64>> = Vec::new();
    for line in text.lines().skip(60) {
        let cells: Vec<&str> = line.split_whitespace().collect();
        let [label, value] = cells[..] else { continue };
        if labels.last() != Some(&label) {
            labels.push(label);
            readings.push(Vec::new());
        }
        readings.last_mut().unwrap().push(value.parse().unwrap());
    }
    readings
}

struct Certified {
    between: f64,
    within: f64,
    f: f64,
    marks: f64,
}

fn anova_passes(name: &str, text: &str, certified: Certified) {
    let table = OneWay::of_readings(&groups(text)).unwrap();
    let got = [
        digits(table.sum_of_squares_between, certified.between),
        digits(table.sum_of_squares_within, certified.within),
        digits(table.f, certified.f),
    ];
    println!("{name}: {got:.1?} digits");
    assert!(got.iter().all(|count| *count >= certified.marks), "{name}: {got:?}, {} wanted", certified.marks);
}

#[test]
fn analysis_of_variance_is_met_as_far_as_the_data_survive_rounding_to_doubles() {
    // Marks: the table worked out with 150 digits from the readings *rounded to doubles* keeps 12, 10, 15, 10 and 4
    // digits of the certified one; a one-pass sum of squares has none left on the last.
    anova_passes(
        "SiRstv",
        include_str!("../data/nist/SiRstv.dat"),
        Certified { between: 5.11462616e-2, within: 2.1663656e-1, f: 1.18046237440255, marks: 12.0 },
    );
    anova_passes(
        "AtmWtAg",
        include_str!("../data/nist/AtmWtAg.dat"),
        Certified { between: 3.638341875e-9, within: 1.04951729166667e-8, f: 15.9467335677930, marks: 9.5 },
    );
    anova_passes(
        "SmLs01",
        include_str!("../data/nist/SmLs01.dat"),
        Certified { between: 1.68, within: 1.8, f: 21.0, marks: 13.0 },
    );
    anova_passes(
        "SmLs04",
        include_str!("../data/nist/SmLs04.dat"),
        Certified { between: 1.68, within: 1.8, f: 21.0, marks: 9.5 },
    );
    anova_passes(
        "SmLs07",
        include_str!("../data/nist/SmLs07.dat"),
        Certified { between: 1.68, within: 1.8, f: 21.0, marks: 4.0 },
    );
    // On the rounded readings themselves the arithmetic must lose next to nothing (150-digit result).
    let rounded = OneWay::of_readings(&groups(include_str!("../data/nist/SmLs07.dat"))).unwrap();
    assert!(digits(rounded.f, 21.0008118878188) >= 7.0, "{}", rounded.f);
}
