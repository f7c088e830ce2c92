//! Time to solve a day of six runs, with and without the uncertainty budget.
//!
//! Given the rides of `sample-loops/three-tyres`, decoded before the clock starts.

use divan::{Bencher, black_box};
use loopwright::analysis::{Depth, RiddenSession, analyse};
use loopwright::session::Session;
use std::path::Path;

fn main() {
    divan::main();
}

fn three_tyres() -> RiddenSession {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-loops/three-tyres");
    let text = std::fs::read_to_string(folder.join("session.toml")).expect("the sample is there");
    let session = Session::from_toml(&text, "session.toml").expect("the sample is valid");
    let recordings = session
        .runs
        .iter()
        .map(|r| loopwright::record::read(&folder.join(&r.file)).expect("the ride is sound"))
        .collect();
    RiddenSession { session, recordings, weather: None, survey: None }
}

#[divan::bench]
fn values_only(bencher: Bencher) {
    let inputs = three_tyres();
    bencher.bench_local(|| black_box(analyse(&inputs, Depth { budget: false, draws: 0 })).is_ok());
}

#[divan::bench]
fn with_budget(bencher: Bencher) {
    let inputs = three_tyres();
    bencher.bench_local(|| black_box(analyse(&inputs, Depth { budget: true, draws: 0 })).is_ok());
}
