//! The targets of the fuzz tests, led by coverage: an input that reaches new code is kept and changed further.
//!
//! Given the name of a target in `LOOPWRIGHT_FUZZ_TARGET`; begins from the same sound inputs, which it writes to
//! `target/fuzz/corpus/`, and stops at the first input that panics, hangs or fills memory. Sums that overflow panic here.
//! In this folder:
//!
//! ```text
//! LOOPWRIGHT_FUZZ_TARGET=csv cargo run --release -- -max_total_time=1800 -timeout=20 ../../../target/fuzz/corpus/csv
//! ```
#![no_main]
#![forbid(unsafe_code)]

#[path = "../mutate.rs"]
mod mutate;
#[path = "../seeds.rs"]
mod seeds;
#[path = "../targets.rs"]
mod targets;

use libfuzzer_sys::{fuzz_mutator, fuzz_target, fuzzer_mutate};
use mutate::{Mutator, Random};
use rand::{RngExt, SeedableRng};
use std::sync::OnceLock;
use targets::{TARGETS, Target};

fn target() -> &'static Target {
    static TARGET: OnceLock<&Target> = OnceLock::new();
    TARGET.get_or_init(|| {
        let name = std::env::var("LOOPWRIGHT_FUZZ_TARGET").unwrap_or_default();
        let names = TARGETS.map(|t| t.name);
        TARGETS.iter().find(|t| t.name == name).unwrap_or_else(|| panic!("LOOPWRIGHT_FUZZ_TARGET is one of {names:?}"))
    })
}

fn write_seeds() {
    let folder = seeds::project().join("target/fuzz/corpus").join(target().name);
    std::fs::create_dir_all(&folder).expect("the folder of seeds can be made");
    for (i, seed) in (target().seeds)().iter().enumerate() {
        std::fs::write(folder.join(format!("seed-{i}")), seed).expect("a seed can be written");
    }
}

fuzz_target!(init: write_seeds(), |data: &[u8]| {
    (target().run)(data);
});

fuzz_mutator!(|data: &mut [u8], size: usize, max_size: usize, seed: u32| {
    let mut mutator = Mutator { random: Random::seed_from_u64(seed.into()), kind: target().kind };
    if mutator.random.random_bool(0.5) {
        let size = fuzzer_mutate(data, size, max_size);
        mutator.mend_mostly(&mut data[..size]);
        return size;
    }
    let changed = mutator.changed(&[data[..size].to_vec()]);
    let size = changed.len().min(max_size);
    data[..size].copy_from_slice(&changed[..size]);
    size
});
