//! Files from real devices, whole and damaged, read through the folder that `LOOPWRIGHT_RIDES` names.
//!
//! Record counts and sums come from an independent, openly licensed FIT reader in another language, run over the
//! same files; where it gives up, from a raw walk through the bytes. Expected faults are those of the table that
//! describes the files. Positions are counted, never printed.

use std::path::PathBuf;

use loopwright::error::Error;
use loopwright::record::{Channel, Recording, read};

/// What a file must give.
struct Expected {
    file: &'static str,
    /// Distinct moments among the records.
    moments: usize,
    power: Column,
    speed: Column,
    distance: Column,
    positions: usize,
    /// Codes of the findings, sorted.
    findings: &'static [&'static str],
}

/// Values present in a column, and their sum in the unit of the recording.
struct Column {
    count: usize,
    sum: f64,
}

const fn column(count: usize, sum: f64) -> Column {
    Column { count, sum }
}

const ABSENT: Column = column(0, 0.0);

/// The rides folder, or `None` after saying that the test is skipped.
fn rides() -> Option<PathBuf> {
    let folder = std::env::var_os("LOOPWRIGHT_RIDES").map(PathBuf::from);
    if folder.is_none() {
        println!("skipped: LOOPWRIGHT_RIDES is not set");
    }
    folder
}

fn codes(ride: &Recording) -> Vec<&'static str> {
    let mut codes: Vec<_> = ride.findings.iter().map(|f| f.code()).collect();
    codes.sort_unstable();
    codes.dedup();
    codes
}

fn check(folder: &std::path::Path, expected: &Expected) {
    let file = expected.file;
    let ride = read(&folder.join(format!("{file}.fit"))).unwrap_or_else(|e| panic!("{file}: {e}"));
    assert_eq!(ride.len(), expected.moments, "{file}: moments");
    assert!(ride.time_s.is_sorted_by(|a, b| a < b), "{file}: time must increase");
    let columns =
        [(Channel::Power, &expected.power), (Channel::Speed, &expected.speed), (Channel::Distance, &expected.distance)];
    for (channel, expected) in columns {
        let values: Vec<f64> = ride.channel(channel).iter().copied().filter(|x| x.is_finite()).collect();
        let name = channel.name();
        assert_eq!(values.len(), expected.count, "{file}: values of {name}");
        // The sums are printed to a thousandth.
        let sum: f64 = values.iter().sum();
        assert!((sum - expected.sum).abs() < 1e-3, "{file}: sum of {name} is {sum}, not {}", expected.sum);
    }
    let positions = ride.latitude_deg.iter().filter(|x| x.is_finite()).count();
    assert_eq!(positions, expected.positions, "{file}: positions");
    assert_eq!(codes(&ride), expected.findings, "{file}: findings");
}

const SOUND: [Expected; 8] = [
    Expected {
        file: "real/course-day-1",
        moments: 5048,
        power: column(5043, 1_085_352.0),
        speed: column(5048, 36_523.9),
        distance: column(5048, 85_896_373.45),
        positions: 5048,
        findings: &[],
    },
    Expected {
        file: "real/course-day-2",
        moments: 5051,
        power: column(5048, 1_032_233.0),
        speed: column(5051, 35_194.643),
        distance: column(5051, 81_602_599.03),
        positions: 5051,
        findings: &[],
    },
    Expected {
        file: "real/group-loop",
        moments: 2866,
        power: column(2866, 854_753.0),
        speed: column(2866, 30_736.414),
        distance: column(2866, 44_066_534.35),
        positions: 2866,
        findings: &[],
    },
    Expected {
        file: "real/hill-repeats",
        moments: 12_226,
        power: column(12_210, 1_481_537.0),
        speed: column(12_225, 75_989.031),
        distance: column(12_226, 476_660_982.6),
        positions: 12_117,
        findings: &[],
    },
    Expected {
        file: "real/long-loop",
        moments: 8959,
        power: column(8958, 1_928_209.0),
        speed: column(8959, 79_903.151),
        distance: column(8959, 371_270_748.13),
        positions: 8959,
        findings: &[],
    },
    Expected {
        file: "real/out-and-back",
        moments: 8815,
        power: column(8813, 1_221_595.0),
        speed: column(8815, 65_170.126),
        distance: column(8815, 303_738_667.94),
        positions: 8815,
        findings: &[],
    },
    Expected {
        file: "real/power-no-positions",
        moments: 5148,
        power: column(5148, 1_402_999.0),
        speed: column(5148, 40_584.295),
        distance: column(5148, 110_337_675.33),
        positions: 0,
        findings: &[],
    },
    Expected {
        file: "real/rollers",
        moments: 1815,
        power: column(1814, 549_472.0),
        speed: column(1814, 25_442.335),
        distance: column(1814, 22_105_453.86),
        positions: 1814,
        findings: &[],
    },
];

const HOSTILE: [Expected; 15] = [
    Expected {
        file: "hostile/big-endian-power",
        moments: 13_471,
        power: column(13_346, 1_369_714.0),
        speed: column(13_426, 79_387.978),
        distance: column(13_425, 532_758_773.0),
        positions: 13_348,
        findings: &[],
    },
    // 4376 records over all parts, of which two repeat a time.
    Expected {
        file: "hostile/chained-5",
        moments: 4374,
        power: ABSENT,
        speed: column(112, 105.763),
        distance: column(164, 217_170.0),
        positions: 0,
        findings: &["not-cycling", "repeated-times", "several-parts"],
    },
    Expected {
        file: "hostile/chained-7",
        moments: 7515,
        power: ABSENT,
        speed: ABSENT,
        distance: column(7515, 0.0),
        positions: 0,
        findings: &["not-cycling", "several-parts"],
    },
    Expected {
        file: "hostile/compressed-timestamps",
        moments: 1816,
        power: ABSENT,
        speed: column(1815, 4_239.626),
        distance: column(1816, 15_685_392.53),
        positions: 1785,
        findings: &[],
    },
    Expected {
        file: "hostile/developer-power-beside-native",
        moments: 7898,
        power: column(7898, 1_198_721.0),
        speed: column(7898, 80_771.82),
        distance: column(7898, 320_574_380.0),
        positions: 7898,
        findings: &["developer-field-ignored", "virtual-ride"],
    },
    // 9522 records in pairs of one second: one with the position, one with the sensors.
    Expected {
        file: "hostile/duplicated-times",
        moments: 4802,
        power: ABSENT,
        speed: column(4801, 35_218.061),
        distance: column(4802, 85_080_831.38),
        positions: 4720,
        findings: &["repeated-times"],
    },
    Expected {
        file: "hostile/irregular-no-power",
        moments: 3095,
        power: ABSENT,
        speed: column(3095, 24_808.934),
        distance: column(3095, 140_843_779.05),
        positions: 2962,
        findings: &["repeated-times"],
    },
    Expected {
        file: "hostile/long-gaps",
        moments: 4564,
        power: column(1153, 128_920.0),
        speed: column(4564, 9_169.499),
        distance: column(4564, 34_932_219.25),
        positions: 4564,
        findings: &["repeated-times"],
    },
    Expected {
        file: "hostile/misaligned-fields",
        moments: 11_272,
        power: ABSENT,
        speed: column(11_239, 32_062.321),
        distance: column(11_272, 183_291_424.38),
        positions: 10_305,
        findings: &[],
    },
    // The independent reader's records from the bicycle session's start to its end; 4043 less 1567 are left out.
    Expected {
        file: "hostile/multisport",
        moments: 1567,
        power: ABSENT,
        speed: column(1566, 13_338.212),
        distance: column(1567, 11_586_979.62),
        positions: 1567,
        findings: &["other-sports-left-out"],
    },
    Expected {
        file: "hostile/null-compressed-speed",
        moments: 1808,
        power: column(1808, 222_139.0),
        speed: column(1808, 13_398.404),
        distance: column(1808, 12_954_637.43),
        positions: 1808,
        findings: &["virtual-ride"],
    },
    // The independent reader gives up here; these are from the raw walk.
    Expected {
        file: "hostile/odd-developer-fields",
        moments: 3262,
        power: column(3262, 579_168.0),
        speed: column(3262, 28_453.475),
        distance: column(3262, 43_114_439.64),
        positions: 3262,
        findings: &["developer-field-ignored", "repeated-times", "virtual-ride"],
    },
    Expected {
        file: "hostile/power-no-speed",
        moments: 5769,
        power: column(5769, 1_048_192.0),
        speed: ABSENT,
        distance: column(5769, 0.0),
        positions: 0,
        findings: &["ridden-indoors"],
    },
    // 14391 records, of which eight repeat a time.
    Expected {
        file: "hostile/truncated-zero-power",
        moments: 14_383,
        power: column(14_383, 0.0),
        speed: column(14_383, 111_533.959),
        distance: column(14_383, 809_153_698.27),
        positions: 14_383,
        findings: &["checksum-mismatch", "power-all-zero", "repeated-times", "truncated"],
    },
    Expected {
        file: "hostile/unterminated",
        moments: 7225,
        power: ABSENT,
        speed: column(7225, 42_662.556),
        distance: column(7225, 158_319_901.69),
        positions: 7225,
        findings: &["checksum-mismatch", "truncated"],
    },
];

#[test]
fn sound_rides_of_real_devices_are_read_whole_and_without_complaint() {
    let Some(folder) = rides() else { return };
    SOUND.iter().for_each(|expected| check(&folder, expected));
}

#[test]
fn damaged_and_odd_files_give_what_is_sound_and_say_what_is_not() {
    let Some(folder) = rides() else { return };
    HOSTILE.iter().for_each(|expected| check(&folder, expected));
}

#[test]
fn short_times_of_a_device_are_right() {
    let Some(folder) = rides() else { return };
    let ride = read(&folder.join("hostile/compressed-timestamps.fit")).expect("readable");
    // 1816 records every 4 s; first and last FIT time 971850095 and 971857355 by the independent reader.
    assert_eq!(ride.time_s[0], 971_850_095.0 + 631_065_600.0);
    assert_eq!(ride.time_s[ride.len() - 1], 971_857_355.0 + 631_065_600.0);
    assert!(ride.time_s.windows(2).all(|w| w[1] - w[0] == 4.0));
}

#[test]
fn a_jump_of_sixty_four_years_is_said_and_spans_nothing() {
    let Some(folder) = rides() else { return };
    let ride = read(&folder.join("hostile/time-jump-64-years.fit")).expect("readable");
    for code in ["damaged", "repeated-times", "time-jump", "truncated"] {
        assert!(codes(&ride).contains(&code), "{code} is not said");
    }
    // Bytes are missing in many places; up to the first of them there are 236 moments, and the session message
    // says that the ride took 3558 s.
    assert!(ride.len() > 236);
    assert!(ride.time_s[ride.len() - 1] - ride.time_s[0] <= 3558.0);
    // A record decoded askew would show as a distance that falls or leaps; the fastest speed read is 5 m/s.
    let distance: Vec<_> = ride.time_s.iter().zip(&ride.distance_m).filter(|(_, d)| d.is_finite()).collect();
    for pair in distance.windows(2) {
        let (step_s, step_m) = (pair[1].0 - pair[0].0, pair[1].1 - pair[0].1);
        assert!((0.0..=10.0 * step_s).contains(&step_m), "{step_m} m in {step_s} s");
    }
}

#[test]
fn what_is_not_an_activity_is_refused_by_the_type_of_the_file() {
    let Some(folder) = rides() else { return };
    for (file, kind) in [("course-file", "course"), ("no-timestamps", "course"), ("settings-file", "settings")] {
        let error = read(&folder.join(format!("hostile/{file}.fit"))).expect_err(file);
        assert!(matches!(error, Error::NotARide { .. }), "{error}");
        assert!(error.to_string().contains(&format!("{file}.fit: not a ride file (a FIT file of type {kind}")));
    }
}

#[test]
fn no_hostile_file_is_without_an_expectation() {
    let Some(folder) = rides() else { return };
    let apart = ["time-jump-64-years", "course-file", "no-timestamps", "settings-file"];
    let mut expected: Vec<String> = HOSTILE
        .iter()
        .map(|e| e.file.trim_start_matches("hostile/"))
        .chain(apart)
        .map(|f| format!("{f}.fit"))
        .collect();
    let entries = std::fs::read_dir(folder.join("hostile")).expect("the folder").flatten();
    let mut there: Vec<String> = entries.map(|e| e.file_name().to_string_lossy().into_owned()).collect();
    expected.sort();
    there.sort();
    assert_eq!(there, expected);
}

#[test]
fn gaps_of_minutes_are_left_open() {
    let Some(folder) = rides() else { return };
    // Longest steps by the independent reader.
    for (file, longest_s) in [("irregular-no-power", 385.0), ("long-gaps", 2642.0)] {
        let ride = read(&folder.join(format!("hostile/{file}.fit"))).expect(file);
        let longest = ride.time_s.windows(2).map(|w| w[1] - w[0]).fold(0.0, f64::max);
        assert_eq!(longest, longest_s, "{file}");
        assert!(!ride.pauses_s.is_empty());
    }
}

#[test]
fn laps_of_a_device_keep_their_thousandths() {
    let Some(folder) = rides() else { return };
    let ride = read(&folder.join("real/long-loop.fit")).expect("readable");
    // Elapsed times in the lap messages 2407.910, 621.000, 2397.998, 658.002, 2591.998 s after the first start.
    let ends_s = [2407.910, 3028.910, 5426.908, 6084.910, 8676.908];
    let start_s = 1_033_050_092.0 + 631_065_600.0;
    assert!(ride.lap_marks_s.len() >= ends_s.len());
    for (mark, end_s) in ride.lap_marks_s.iter().zip(ends_s) {
        assert!((mark - start_s - end_s).abs() < 1e-6);
    }
}

#[test]
fn pauses_of_a_device_are_those_of_its_timer_events() {
    let Some(folder) = rides() else { return };
    let ride = read(&folder.join("real/rollers.fit")).expect("readable");
    // Stop and start events at FIT times 918513987 and 918514099, 918514695 and 918514770.
    let pauses: Vec<_> = ride.pauses_s.iter().map(|p| (p.from_s - 631_065_600.0, p.to_s - 631_065_600.0)).collect();
    assert_eq!(pauses, [(918_513_987.0, 918_514_099.0), (918_514_695.0, 918_514_770.0)]);
}
