//! Inputs spoiled at random, thrown at every reader and at the whole job: each must be answered or refused.
//!
//! Given files that the program itself simulates; changes bytes, numbers, lines and lengths (checksums mended, so that
//! the change gets past them) and watches for a panic, a hang, or memory out of proportion. What breaks something is
//! written to `target/fuzz/` and, once mended, kept under `tests/data/fuzz/`. It never looks at what the answer is
//! worth; other tests do.
//!
//! `LOOPWRIGHT_FUZZ_SECONDS=60 cargo test --release --test fuzz -- --ignored` spends a minute on all targets together;
//! `LOOPWRIGHT_FUZZ_TARGET=csv` takes one, `LOOPWRIGHT_FUZZ_SEED=7` begins elsewhere. `guided/` throws at the same
//! targets and is led by the code that inputs reach; it wants a C++ compiler.
#![forbid(unsafe_code)]

mod mutate;
mod seeds;
mod targets;
mod watch;

use mutate::{Mutator, Random};
use rand::SeedableRng;
use std::collections::{BTreeMap, BTreeSet};
use std::time::{Duration, Instant};
use targets::{TARGETS, Target};
use watch::{Verdict, Watch};

/// Inputs kept because they were answered in a new way.
const MOST_KEPT: usize = 2000;

fn environment(name: &str) -> Option<String> {
    std::env::var(name).ok()
}

/// Throws inputs at a target until the time is up; gives what broke.
fn throw(target: &Target, time: Duration, seed: u64) -> Vec<String> {
    let mut kept = (target.seeds)();
    let mut mutator = Mutator { random: Random::seed_from_u64(seed), kind: target.kind };
    let mut ways: BTreeSet<String> = BTreeSet::new();
    let mut broken: BTreeMap<String, String> = BTreeMap::new();
    let watch = Watch::of(target);
    let (started, mut thrown, mut worst) = (Instant::now(), 0_u64, Duration::ZERO);
    while started.elapsed() < time {
        let input = mutator.changed(&kept);
        let report = watch.run(&input);
        thrown += 1;
        worst = worst.max(report.took);
        match report.verdict {
            Verdict::Answered { way } => {
                if ways.insert(way) && kept.len() < MOST_KEPT {
                    kept.push(input);
                }
            }
            Verdict::Broken { how } => {
                broken.entry(how.clone()).or_insert_with(|| {
                    let path = watch::keep(target.name, &input);
                    println!("  {}: {how}; input kept in {}", target.name, path.display());
                    format!("{}: {how}", target.name)
                });
            }
        }
    }
    println!(
        "{:8} {thrown:9} inputs in {:4.0} s, {:4} ways of answering, slowest {:4.0} ms, most memory {} MB, broken {}",
        target.name,
        started.elapsed().as_secs_f64(),
        ways.len(),
        worst.as_secs_f64() * 1e3,
        watch.most_megabytes(),
        broken.len()
    );
    broken.into_values().collect()
}

#[test]
#[ignore = "runs for as long as LOOPWRIGHT_FUZZ_SECONDS says; .ci/run calls it"]
fn whatever_is_thrown_is_answered_or_refused() {
    let seconds: f64 = environment("LOOPWRIGHT_FUZZ_SECONDS").and_then(|s| s.parse().ok()).unwrap_or(16.0);
    let seed = environment("LOOPWRIGHT_FUZZ_SEED").and_then(|s| s.parse().ok()).unwrap_or(1);
    let only = environment("LOOPWRIGHT_FUZZ_TARGET");
    let chosen: Vec<&Target> = TARGETS.iter().filter(|t| only.as_ref().is_none_or(|o| o == t.name)).collect();
    assert!(!chosen.is_empty(), "no such target; there are {:?}", TARGETS.map(|t| t.name));
    let each = Duration::from_secs_f64(seconds / chosen.len() as f64);
    let broken: Vec<String> = chosen.into_iter().flat_map(|target| throw(target, each, seed)).collect();
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}

#[test]
fn seeds_are_sound_so_that_changes_reach_deep() {
    for target in &TARGETS {
        let watch = Watch::of(target);
        for (i, seed) in (target.seeds)().iter().enumerate() {
            match watch.run(seed).verdict {
                Verdict::Answered { way } => assert!(way.starts_with("ok"), "{} seed {i}: {way}", target.name),
                Verdict::Broken { how } => panic!("{} seed {i}: {how}", target.name),
            }
        }
    }
}

#[test]
fn inputs_that_once_broke_something_are_answered() {
    let folder = seeds::project().join("tests/data/fuzz");
    let mut replayed = 0;
    for target in &TARGETS {
        let Ok(entries) = std::fs::read_dir(folder.join(target.name)) else { continue };
        let watch = Watch::of(target);
        for path in entries.flatten().map(|e| e.path()) {
            let input = std::fs::read(&path).expect("a kept input can be read");
            if let Verdict::Broken { how } = watch.run(&input).verdict {
                panic!("{}: {how}", path.display());
            }
            replayed += 1;
        }
    }
    println!("{replayed} inputs replayed");
}
