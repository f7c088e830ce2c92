//! Time of the three stages a user waits for: decoding, solving, and writing figures, tables and report in memory.
//!
//! Given the rides of `sample-loops/three-tyres` as bytes.

use divan::{Bencher, black_box};
use loopwright::analysis::{Analysis, Depth, RiddenSession, analyse};
use loopwright::plot::Style;
use loopwright::record::{Recording, decode_fit};
use loopwright::report::Units;
use loopwright::report::files::{FilesInput, files};
use loopwright::session::Session;
use std::path::Path;

fn main() {
    divan::main();
}

struct Day {
    session: Session,
    bytes: Vec<Vec<u8>>,
}

fn day() -> Day {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-loops/three-tyres");
    let text = std::fs::read_to_string(folder.join("session.toml")).expect("the sample is there");
    let session = Session::from_toml(&text, "session.toml").expect("the sample is valid");
    let bytes = session.runs.iter().map(|r| std::fs::read(folder.join(&r.file)).expect("the ride is there")).collect();
    Day { session, bytes }
}

impl Day {
    fn decoded(&self) -> Vec<Recording> {
        self.bytes.iter().map(|b| decode_fit(b, "run.fit").expect("the ride is sound")).collect()
    }

    fn solved(&self) -> Analysis {
        let inputs =
            RiddenSession { session: self.session.clone(), recordings: self.decoded(), weather: None, survey: None };
        analyse(&inputs, Depth::default()).expect("the sample can be solved")
    }

    fn written(&self, analysis: &Analysis) -> usize {
        let input = FilesInput {
            session: &self.session,
            solution: &analysis.solution,
            evidence: &analysis.evidence,
            samples: &analysis.samples,
            style: &Style::default(),
            units: Units::Metric,
        };
        files(&input).expect("the templates fit").len()
    }
}

#[divan::bench]
fn decode(bencher: Bencher) {
    let day = day();
    bencher.bench_local(|| black_box(day.decoded()).len());
}

#[divan::bench]
fn decode_and_solve(bencher: Bencher) {
    let day = day();
    bencher.bench_local(|| black_box(day.solved()).solution.setups.len());
}

#[divan::bench]
fn output(bencher: Bencher) {
    let day = day();
    let analysis = day.solved();
    bencher.bench_local(|| black_box(day.written(&analysis)));
}
