//! Time to solve 1 to 100 runs: it should grow with the runs, not with their square.
//!
//! Given simulated days, decoded before the clock starts.

use divan::{Bencher, black_box};
use loopwright::analysis::{DEFAULT_LAP_DRAWS, Depth, RiddenSession, analyse};
use loopwright::plan::Plan;
use loopwright::simulate::simulate;

fn main() {
    divan::main();
}

fn season(runs: usize) -> RiddenSession {
    let order: Vec<String> = (0..runs).map(|run| format!("\"{}\"", ["a", "b", "b", "a"][run % 4])).collect();
    let second = if runs > 1 { "[[setup]]\nid = \"b\"\ncda_m2 = 0.26\ncrr = 0.0041\n" } else { "" };
    let text = format!(
        "order = [{}]\nlaps_per_run = 6\nspeeds_km_h = [29.0, 41.0]\nrider_and_bike.mass_kg = 86.0\n\
         loop.length_m = 1000.0\nsolve.cda = \"common\"\n\
         [[setup]]\nid = \"a\"\ncda_m2 = 0.26\ncrr = 0.0045\n{second}",
        order.join(", ")
    );
    let day = simulate(&Plan::from_toml(&text, "plan").expect("the plan is valid"), 1).expect("it can be ridden");
    let recordings = day.rides.iter().map(|r| r.to_recording()).collect();
    RiddenSession { session: day.session, recordings, weather: None, survey: None }
}

#[divan::bench(args = [1, 3, 10, 30, 100], sample_count = 3, sample_size = 1)]
fn runs(bencher: Bencher, runs: usize) {
    let inputs = season(runs);
    let depth = Depth { budget: true, draws: DEFAULT_LAP_DRAWS };
    bencher.bench_local(|| black_box(analyse(&inputs, depth)).is_ok());
}
