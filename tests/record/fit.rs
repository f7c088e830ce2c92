//! Files made here, byte by byte, through the public reader: what a sound file must give, and what a damaged one
//! must never do.

use crate::fit_bytes::{RECORD_FIELDS, Raw, START, START_UNIX_S, Section, base, bitwise_crc, record, ride};
use loopwright::error::Error;
use loopwright::finding::What;
use loopwright::record::{MAX_RECORDS, Pause, Recording, crc16, decode, decode_fit, parse_csv, read};
use proptest::prelude::*;

/// Every column as bits, so that missing values compare equal.
fn columns(ride: &Recording) -> Vec<Vec<u64>> {
    let channels = loopwright::record::Channel::ALL.map(|c| ride.channel(c));
    std::iter::once(&ride.time_s[..]).chain(channels).map(|c| c.iter().map(|x| x.to_bits()).collect()).collect()
}

fn codes(ride: &Recording) -> Vec<&'static str> {
    ride.findings.iter().map(What::code).collect()
}

/// What must hold of every recording, however bad its file was.
fn assert_well_formed(ride: &Recording) {
    assert!(!ride.is_empty());
    assert!(ride.time_s.iter().all(|t| t.is_finite()) && ride.time_s.is_sorted_by(|a, b| a < b));
    assert!(columns(ride).iter().all(|c| c.len() == ride.len()));
    assert!(ride.lap_marks_s.is_sorted_by(|a, b| a < b));
    assert!(ride.pauses_s.is_sorted_by(|a, b| a.to_s < b.from_s) && ride.pauses_s.iter().all(|p| p.from_s < p.to_s));
}

/// A sound recording or an error that names the file; a panic caught inside would be told as a stopped decoder.
fn assert_calm(outcome: Result<Recording, Error>) {
    match outcome {
        Ok(ride) => assert_well_formed(&ride),
        Err(error) => {
            let message = error.to_string();
            assert!(message.contains(": ") && !message.contains("stopped the decoder"), "{message}");
        }
    }
}

#[test]
fn every_channel_has_the_value_and_unit_it_was_written_with() {
    // The raw values of `fit_bytes::record(7)` and the scales of the FIT profile vouch for these.
    let ride = decode_fit(&ride(Section::little_endian(), 100).file(), "ride.fit").expect("a sound file");
    assert_well_formed(&ride);
    assert_eq!(ride.len(), 100);
    assert_eq!(ride.time_s[7], START_UNIX_S + 7.0);
    assert_eq!(ride.power_w[7], 207.0);
    assert_eq!(ride.speed_m_s[7], 10.007);
    assert_eq!(ride.distance_m[7], 70.0);
    assert!((ride.latitude_deg[7] - (45.0 + 700.0 * 180.0 / 2f64.powi(31))).abs() < 1e-12);
    assert!((ride.longitude_deg[7] + 700.0 * 180.0 / 2f64.powi(31)).abs() < 1e-12);
    assert_eq!(ride.altitude_m[7], 100.0);
    assert_eq!(ride.cadence_rpm[7], 90.0);
    assert_eq!(ride.temperature_c[7], 21.0);
    assert_eq!(ride.lap_marks_s, [START_UNIX_S + 50.25, START_UNIX_S + 99.75]);
    assert_eq!(ride.pauses_s, [Pause { from_s: START_UNIX_S + 50.0, to_s: START_UNIX_S + 51.0 }]);
    assert_eq!(codes(&ride), [""; 0]);
}

#[test]
fn the_provenance_is_that_of_the_whole_file() {
    // Length and hash of the same bytes by wc and sha256sum (GNU coreutils).
    let ride = parse_csv(b"time_s,power_w\n0,1\n", "a.csv").expect("a sound table");
    assert_eq!(ride.provenance.bytes, 19);
    assert_eq!(ride.provenance.sha256, "b879b6d44aac6a5d2957abe32c12e3a1275cd5e4dfa2a30537c2e12b3ecd2696");
}

#[test]
fn big_endian_is_read_as_little_endian() {
    let little = decode_fit(&ride(Section::little_endian(), 60).file(), "a").expect("sound");
    let big = decode_fit(&ride(Section::big_endian(), 60).file(), "a").expect("sound");
    assert_eq!(columns(&big), columns(&little));
    assert_eq!((big.lap_marks_s, big.pauses_s), (little.lap_marks_s, little.pauses_s));
}

#[test]
fn the_checksum_table_agrees_with_one_bit_at_a_time() {
    assert_eq!(crc16(b"123456789"), 0xBB3D);
    let bytes: Vec<u8> = (0..=255).rev().chain(0..77).collect();
    assert_eq!(crc16(&bytes), bitwise_crc(&bytes));
}

#[test]
fn more_records_than_the_limit_are_refused_before_they_are_decoded() {
    let many = MAX_RECORDS + 1;
    // Records, and behind them messages of a kind that nothing is known of, which do not count.
    let file = |records: usize, others: usize| {
        let mut section = Section::little_endian();
        section.file_id(4);
        section.define(1, 20, &[[253, 4, base::UINT32]], &[]);
        section.define(2, 65_000, &[[0, 4, base::UINT32]], &[]);
        (0..records).for_each(|i| section.data(1, &[Raw::U32(START + i as u32)]));
        (0..others).for_each(|_| section.data(2, &[Raw::U32(1)]));
        section.file()
    };
    let (fit, others) = (file(many, 0), file(1000, many));
    let table: String =
        std::iter::once("time_s,power_w\n".into()).chain((0..many).map(|i| format!("{i},1\n"))).collect();
    let start = std::time::Instant::now();
    for (refused, what) in [(decode(&fit, "long.fit"), "records"), (decode(table.as_bytes(), "long.csv"), "lines")] {
        let error = refused.expect_err("too many").to_string();
        assert!(error.contains(&format!("number of {what}")) && error.contains("limit of 1000000"), "{error}");
    }
    // Decoding a million takes seconds; counting them takes hundredths of one.
    assert!(start.elapsed().as_secs_f64() < 2.0, "{:?}", start.elapsed());
    assert_eq!(decode(&others, "others.fit").expect("sound").len(), 1000);
}

#[test]
fn short_times_give_the_moments_of_the_protocol_example() {
    // FIT protocol description: offsets 1D 02 05 01 12 after 3B give 3D 42 45 61 72.
    let mut section = Section::little_endian();
    section.file_id(4);
    section.define(1, 20, &[[253, 4, base::UINT32], [7, 2, base::UINT16]], &[]);
    section.define(2, 20, &[[7, 2, base::UINT16]], &[]);
    let start = START - START % 256;
    section.data(1, &[Raw::U32(start + 0x3B), Raw::U16(100)]);
    for offset in [0x1D, 0x02, 0x05, 0x01, 0x12] {
        section.data_with_short_time(2, offset, &[Raw::U16(100)]);
    }
    let ride = decode_fit(&section.file(), "short.fit").expect("sound");
    let low_bits: Vec<f64> = ride.time_s.iter().map(|t| t - f64::from(start) - 631_065_600.0).collect();
    assert_eq!(low_bits, [0x3B, 0x3D, 0x42, 0x45, 0x61, 0x72].map(f64::from));
}

#[test]
fn a_file_cut_anywhere_is_refused_or_says_so() {
    let whole = ride(Section::little_endian(), 12).file();
    let sound = decode(&whole, "ride.fit").expect("sound");
    let mut records = 0;
    for length in 0..whole.len() {
        let outcome = decode(&whole[..length], "ride.fit");
        if let Ok(cut) = &outcome {
            assert!(codes(cut).contains(&"truncated"), "{length} of {} bytes passed in silence", whole.len());
            assert!(cut.len() >= records && cut.power_w[..] == sound.power_w[..cut.len()]);
            records = cut.len();
        } else {
            assert_eq!(records, 0, "{length} bytes give less than fewer bytes did");
        }
        assert_calm(outcome);
    }
    // One byte short of the checksum every record is still there.
    assert_eq!(decode(&whole[..whole.len() - 1], "ride.fit").expect("readable").len(), 12);
}

#[test]
fn a_length_that_was_never_filled_in_is_worked_around() {
    let section = ride(Section::little_endian(), 30);
    let unclosed = section.file_of_stated_length(0);
    for bytes in [&unclosed[..], &unclosed[..unclosed.len() - 2]] {
        let ride = decode_fit(bytes, "ride.fit").expect("readable");
        assert_eq!(ride.len(), 30);
        assert_eq!(codes(&ride), ["not-finalised"]);
    }
}

#[test]
fn a_wrong_checksum_is_a_finding_and_nothing_is_lost() {
    let mut bytes = ride(Section::little_endian(), 30).file();
    let last = bytes.len() - 1;
    bytes[last] ^= 0xFF;
    let ride = decode_fit(&bytes, "ride.fit").expect("readable");
    assert_eq!((ride.len(), codes(&ride)), (30, vec!["checksum-mismatch"]));
}

#[test]
fn a_hole_in_the_middle_costs_the_records_around_it_and_no_more() {
    let section = ride(Section::little_endian(), 200);
    let whole = section.file();
    let record_bytes = 1 + RECORD_FIELDS.iter().map(|f| usize::from(f[1])).sum::<usize>();
    let sound = decode_fit(&whole, "ride.fit").expect("sound");
    for hole in 1..2 * record_bytes {
        let at = whole.len() / 2;
        let bytes = [&whole[..at], &whole[at + hole..]].concat();
        let ride = decode_fit(&bytes, "holed.fit").expect("readable");
        assert_well_formed(&ride);
        assert!(codes(&ride).contains(&"truncated"), "a hole of {hole} bytes: {:?}", codes(&ride));
        // A hole shorter than two records touches three at most, and the one behind may be spent on finding the way.
        assert!(ride.len() >= 196, "a hole of {hole} bytes leaves {} of 200 records", ride.len());
        // Whatever is left at a moment is what the whole file has there: nothing is read askew.
        let askew = ride.time_s.iter().zip(&ride.power_w).filter(|(t, p)| {
            let row = (*t - START_UNIX_S) as usize;
            p.is_finite() && sound.power_w.get(row) != Some(p)
        });
        assert_eq!(askew.count(), 0, "a hole of {hole} bytes");
    }
}

#[test]
fn recordings_one_after_another_are_all_read() {
    let first = ride(Section::little_endian(), 40).file();
    let mut second = Section::big_endian();
    second.file_id(4);
    second.define(2, 20, &RECORD_FIELDS, &[]);
    (100..140).for_each(|i| second.data(2, &record(i)));
    let ride = decode_fit(&[first, second.file()].concat(), "chained.fit").expect("sound");
    assert_eq!((ride.len(), codes(&ride)), (80, vec!["several-parts"]));
    assert_eq!(ride.time_s[40], START_UNIX_S + 100.0);
}

/// Field descriptions (message 206): developer, number, base type, name, unit, native message and field.
fn describe(section: &mut Section, number: u8, base_type: u8, name: &[u8; 8], native_power: bool) {
    let fields = [
        [0, 1, base::UINT8],
        [1, 1, base::UINT8],
        [2, 1, base::UINT8],
        [3, 8, base::TEXT],
        [8, 6, base::TEXT],
        [14, 2, base::UINT16],
        [15, 1, base::UINT8],
    ];
    section.define(5, 206, &fields, &[]);
    let native = if native_power { 7 } else { 0xFF };
    let [developer, number, base_type, native] = [0, number, base_type, native].map(Raw::U8);
    section.data(5, &[developer, number, base_type, Raw::Bytes(name), Raw::Bytes(b"watts\0"), Raw::U16(20), native]);
}

#[test]
fn developer_power_never_replaces_native_power() {
    let mut section = Section::little_endian();
    section.file_id(4);
    describe(&mut section, 1, base::UINT16, b"power 2\0", true);
    section.define(1, 20, &[[253, 4, base::UINT32], [7, 2, base::UINT16]], &[[9, 3, 4], [1, 2, 0]]);
    for i in 0..5 {
        // The first developer field was never described; it must cost nothing.
        let values = [Raw::U32(START + i), Raw::U16(250), Raw::Bytes(&[1, 2, 3]), Raw::U16(999)];
        section.data(1, &values);
    }
    let ride = decode_fit(&section.file(), "two-powers.fit").expect("sound");
    assert_eq!(ride.power_w, [250.0; 5]);
    assert_eq!(ride.findings, [What::DeveloperFieldIgnored { name: "power 2".into() }]);
}

#[test]
fn developer_power_that_stands_for_the_native_one_is_used_when_there_is_none() {
    let mut section = Section::big_endian();
    section.file_id(4);
    describe(&mut section, 1, base::UINT16, b"power 2\0", true);
    section.define(1, 20, &[[253, 4, base::UINT32], [4, 1, base::UINT8]], &[[9, 3, 4], [1, 2, 0]]);
    for i in 0..5 {
        section.data(1, &[Raw::U32(START + i), Raw::U8(80), Raw::Bytes(&[1, 2, 3]), Raw::U16(300 + i as u16)]);
    }
    let ride = decode_fit(&section.file(), "extra-power.fit").expect("sound");
    assert_eq!(ride.power_w, [300.0, 301.0, 302.0, 303.0, 304.0]);
    assert_eq!(ride.findings, [What::DeveloperFieldUsed { name: "power 2".into() }]);
}

#[test]
fn a_field_whose_size_does_not_fit_its_type_is_missing_and_the_rest_is_read() {
    let mut section = Section::little_endian();
    section.file_id(4);
    section.define(1, 20, &[[253, 4, base::UINT32], [7, 3, base::UINT16], [4, 1, base::UINT8]], &[]);
    (0..4).for_each(|i| section.data(1, &[Raw::U32(START + i), Raw::Bytes(&[1, 2, 3]), Raw::U8(88)]));
    let ride = decode_fit(&section.file(), "misaligned.fit").expect("readable");
    assert_eq!(ride.cadence_rpm, [88.0; 4]);
    assert!(!Recording::has(&ride.power_w));
}

#[test]
fn invalid_values_are_missing() {
    let mut section = Section::little_endian();
    section.file_id(4);
    section.define(1, 20, &[[253, 4, base::UINT32], [7, 2, base::UINT16], [8, 3, base::BYTE]], &[]);
    section.data(1, &[Raw::U32(START), Raw::U16(0xFFFF), Raw::Bytes(&[0xFF; 3])]);
    section.data(1, &[Raw::U32(START + 1), Raw::U16(0), Raw::Bytes(&[0xE8, 0x03, 0x01])]);
    let ride = decode_fit(&section.file(), "nulls.fit").expect("readable");
    assert!(ride.power_w[0].is_nan() && ride.speed_m_s[0].is_nan() && ride.distance_m[0].is_nan());
    // 0x3E8 is 1000, so 10 m/s; 0x010 is 16, so 1 m.
    assert_eq!((ride.power_w[1], ride.speed_m_s[1], ride.distance_m[1]), (0.0, 10.0, 1.0));
}

#[test]
fn records_without_a_time_are_refused_by_their_number() {
    let mut section = Section::little_endian();
    section.file_id(4);
    section.define(1, 20, &[[7, 2, base::UINT16]], &[]);
    (0..3).for_each(|_| section.data(1, &[Raw::U16(200)]));
    let error = decode_fit(&section.file(), "timeless.fit").expect_err("no times");
    assert_eq!(error, Error::NoTimes { file: "timeless.fit".into(), records: 3 });
}

#[test]
fn files_of_other_types_are_refused_by_their_type() {
    // FIT profile: 2 settings, 5 workout, 6 course.
    for (kind, name) in [(2, "settings"), (5, "workout"), (6, "course")] {
        let mut section = Section::little_endian();
        section.file_id(kind);
        section.define(2, 20, &RECORD_FIELDS, &[]);
        section.data(2, &record(0));
        let error = decode_fit(&section.file(), "other.fit").expect_err("not an activity");
        assert!(error.to_string().contains(&format!("of type {name}, not an activity")), "{error}");
    }
}

#[test]
fn a_missing_file_a_folder_and_an_empty_file_are_errors() {
    let folder = tempfile::tempdir().expect("a folder for the test");
    assert_eq!(read(&folder.path().join("none.fit")).expect_err("absent").code(), "unreadable");
    assert_eq!(read(folder.path()).expect_err("a folder").code(), "unreadable");
    let empty = folder.path().join("empty.fit");
    std::fs::write(&empty, b"").expect("written");
    assert!(read(&empty).expect_err("empty").to_string().contains("empty.fit: not a ride file (it is empty)"));
}

#[test]
fn the_content_decides_how_a_file_is_read() {
    let folder = tempfile::tempdir().expect("a folder for the test");
    let fit = folder.path().join("ride.csv");
    std::fs::write(&fit, ride(Section::little_endian(), 9).file()).expect("written");
    assert_eq!(read(&fit).expect("FIT under another name").len(), 9);
    let csv = folder.path().join("ride.fit");
    std::fs::write(&csv, "time_s,power_w\n0,1\n1,2\n").expect("written");
    assert_eq!(read(&csv).expect("CSV under another name").len(), 2);
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn changed_bytes_never_panic_and_never_give_a_malformed_ride(
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..12),
        big_endian: bool,
    ) {
        let section = if big_endian { Section::big_endian() } else { Section::little_endian() };
        let mut bytes = ride(section, 40).file();
        for (at, byte) in changes {
            let at = at.index(bytes.len());
            bytes[at] = byte;
        }
        assert_calm(decode(&bytes, "mutant.fit"));
    }

    #[test]
    fn noise_behind_a_header_never_panics(noise in prop::collection::vec(any::<u8>(), 0..600)) {
        let mut section = Section::little_endian();
        section.file_id(4);
        section.messages.extend(noise);
        assert_calm(decode(&section.file(), "noise.fit"));
    }

    #[test]
    fn any_text_is_a_table_or_a_clear_error(text in "(time|time_s|power_w|lap|[0-9.,;\\-TZ:\"#\n])*") {
        assert_calm(parse_csv(text.as_bytes(), "any.csv"));
    }
}

#[test]
fn more_laps_or_parts_than_the_limit_are_refused_with_it() {
    let mut many_laps = ride(Section::little_endian(), 4);
    for i in 0..100_001 {
        many_laps.data(3, &[Raw::U32(START + 4 + i), Raw::U32(START + 3 + i), Raw::U32(1000)]);
    }
    let one = ride(Section::little_endian(), 2).file();
    for (bytes, words) in [
        (many_laps.file(), ["number of laps and events", "100000"]),
        (one.repeat(1001), ["number of recordings", "1000"]),
    ] {
        let message = decode(&bytes, "odd.fit").expect_err("beyond the limit").to_string();
        assert!(message.contains("odd.fit") && words.iter().all(|w| message.contains(w)), "{message}");
    }
}
