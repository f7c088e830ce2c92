//! Time to read a ride, beside the time the decoding library itself needs for the same bytes.
//!
//! Given rides of three and of twenty-four hours made in memory, one record of fourteen fields a second. The aim
//! is `whole` within 1.5 times `library_alone`.

#[path = "../tests/fit_bytes/mod.rs"]
mod fit_bytes;

use divan::{Bencher, black_box, counter::BytesCount};
use fitparser::de::FitStreamProcessor;
use loopwright::record::decode_fit;

const HOURS: [u32; 2] = [3, 24];

fn main() {
    divan::main();
}

fn ride_bytes(hours: u32) -> Vec<u8> {
    fit_bytes::ride(fit_bytes::Section::little_endian(), hours * 3600).file()
}

/// The library's stream interface over the whole file: raw fields of every message, none of them looked at.
#[divan::bench(args = HOURS)]
fn library_alone(bencher: Bencher, hours: u32) {
    let bytes = ride_bytes(hours);
    bencher.counter(BytesCount::of_slice(&bytes)).bench_local(|| {
        let mut library = FitStreamProcessor::new();
        let mut rest = &bytes[..];
        while !rest.is_empty() {
            let (behind, object) = library.deserialize_next(rest).expect("a sound file");
            black_box(object);
            rest = behind;
        }
    });
}

/// What a user waits for: columns, laps, pauses, findings, checksum and SHA-256.
#[divan::bench(args = HOURS)]
fn whole(bencher: Bencher, hours: u32) {
    let bytes = ride_bytes(hours);
    bencher
        .counter(BytesCount::of_slice(&bytes))
        .bench_local(|| black_box(decode_fit(&bytes, "ride.fit").expect("a sound file")));
}
