//! What is fuzzed: every reader of a file, and the whole job behind it.
//!
//! Given bytes; each target gives a word for the way it was answered, beginning with `ok` where it was accepted, and
//! checks what must hold of anything accepted.

use super::seeds;
use loopwright::air::WeatherLog;
use loopwright::analysis::inspection::inspect;
use loopwright::analysis::{Depth, RiddenSession, analyse};
use loopwright::circuit::Survey;
use loopwright::error::Error;
use loopwright::forecast::{forecast, lap_targets};
use loopwright::plan::{Plan, RiddenShape, gpx_positions};
use loopwright::plot::Style;
use loopwright::pool::{Choice, Day, pool};
use loopwright::record::{Channel, Recording, decode, parse_csv};
use loopwright::report::Units;
use loopwright::report::files::{FilesInput, files};
use loopwright::report::run_sheet::run_sheet;
use loopwright::session::Session;
use std::sync::OnceLock;

/// Longest planned day that is forecast here, s.
const LONGEST_FORECAST_S: f64 = 600.0;

/// How an input is changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Fit,
    Text,
    /// A byte, then a FIT file or a table.
    Ride,
}

pub struct Target {
    pub name: &'static str,
    pub kind: Kind,
    pub seeds: fn() -> Vec<Vec<u8>>,
    pub run: fn(&[u8]) -> String,
}

pub const TARGETS: [Target; 9] = [
    Target { name: "fit", kind: Kind::Fit, seeds: seeds::rides, run: fit },
    Target { name: "csv", kind: Kind::Text, seeds: seeds::tables, run: csv },
    Target { name: "session", kind: Kind::Text, seeds: seeds::sessions, run: session },
    Target { name: "weather", kind: Kind::Text, seeds: seeds::weather, run: weather },
    Target { name: "survey", kind: Kind::Text, seeds: seeds::surveys, run: survey },
    Target { name: "plan", kind: Kind::Text, seeds: seeds::plans, run: plan },
    Target { name: "gpx", kind: Kind::Text, seeds: seeds::tracks, run: gpx },
    Target { name: "pool", kind: Kind::Text, seeds: seeds::results, run: pooled },
    Target { name: "solve", kind: Kind::Ride, seeds: seeds::rides_to_solve, run: solve },
];

/// A refusal without its numbers and names, so that two of the same kind look the same.
fn refused(error: &Error) -> String {
    let message = error.to_string();
    let where_what: String = message.chars().filter(|c| !c.is_ascii_digit()).take(60).collect();
    format!("{} {where_what}", error.code())
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// What any recording promises.
fn check(ride: &Recording) {
    assert!(ride.time_s.iter().all(|t| t.is_finite()), "a time is not finite");
    assert!(ride.time_s.windows(2).all(|w| w[0] < w[1]), "time does not grow");
    assert!(ride.lap_marks_s.windows(2).all(|w| w[0] < w[1]), "lap marks do not grow");
    for channel in Channel::ALL {
        assert_eq!(ride.channel(channel).len(), ride.len(), "{} is of another length", channel.name());
        assert!(!ride.channel(channel).iter().any(|x| x.is_infinite()), "{} is infinite", channel.name());
    }
    assert!(ride.latitude_deg.iter().all(|x| x.is_nan() || x.abs() <= 90.0), "a latitude beyond a pole");
    assert!(ride.longitude_deg.iter().all(|x| x.is_nan() || x.abs() <= 180.0), "a longitude beyond half a turn");
}

fn described(ride: &Recording) -> String {
    check(ride);
    let held = inspect(ride, None);
    assert_eq!(held.records, ride.len());
    serde_json::to_string(&held).expect("what was found can be written");
    let codes: Vec<&str> = held.findings.iter().map(|f| f.code).collect();
    let size = ride.len().checked_ilog2().map_or(0, |n| n / 3);
    format!("ok {size} {} {} {}", held.laps.count.min(5), held.obstacles.len(), codes.join(" "))
}

fn fit(bytes: &[u8]) -> String {
    match decode(bytes, "ride.fit") {
        Ok(ride) => described(&ride),
        Err(error) => refused(&error),
    }
}

fn csv(bytes: &[u8]) -> String {
    match parse_csv(bytes, "ride.csv") {
        Ok(ride) => described(&ride),
        Err(error) => refused(&error),
    }
}

fn small_day() -> &'static [Recording] {
    static DAY: OnceLock<Vec<Recording>> = OnceLock::new();
    DAY.get_or_init(|| seeds::small_day().iter().map(|b| decode(b, "ride.fit").expect("a sound ride")).collect())
}

fn solved(inputs: &RiddenSession, depth: Depth) -> String {
    let analysis = match analyse(inputs, depth) {
        Ok(analysis) => analysis,
        Err(error) => return format!("ok but {}", refused(&error)),
    };
    let input = FilesInput {
        session: &inputs.session,
        solution: &analysis.solution,
        evidence: &analysis.evidence,
        samples: &analysis.samples,
        style: &Style::default(),
        units: Units::Metric,
    };
    let written = files(&input).expect("what was solved can be written");
    let codes: Vec<&str> = analysis.solution.findings.iter().map(|f| f.code.as_str()).collect();
    format!("ok {} files {} {}", written.len(), analysis.solution.separable, codes.join(" "))
}

/// A session solved with two small rides, whatever files it names.
fn session(bytes: &[u8]) -> String {
    let session = match Session::from_toml(&text(bytes), "session.toml") {
        Ok(session) => session,
        Err(error) => return refused(&error),
    };
    if session.runs.len() > 8 {
        return "ok many runs".into();
    }
    let recordings = session.runs.iter().zip(small_day().iter().cycle()).map(|(_, ride)| ride.clone()).collect();
    let survey = session.circuit.survey.is_some().then(|| {
        Survey::parse(&text(&seeds::surveys()[1]), "survey.csv", session.circuit.survey_sd_m.unwrap_or(0.02))
            .expect("a sound survey")
    });
    solved(&RiddenSession { session, recordings, weather: None, survey }, Depth { budget: true, draws: 0 })
}

fn weather(bytes: &[u8]) -> String {
    match WeatherLog::parse(&text(bytes), "weather.csv") {
        Ok(log) => {
            let covers = log.check_covers(1_780_300_000.0, 1_780_304_000.0).is_ok();
            let at: Vec<bool> = [0.0, 1_780_300_900.0, 1e300, f64::NAN].map(|t| log.at(t).is_some()).to_vec();
            format!("ok {covers} {at:?}")
        }
        Err(error) => refused(&error),
    }
}

fn survey(bytes: &[u8]) -> String {
    match Survey::parse(&text(bytes), "survey.csv", 0.02) {
        Ok(survey) => {
            for length_m in [80.0, 410.0, 100.5, 200_000.0] {
                let heights = survey.heights(length_m, [0.0, 0.25, 0.999_999, 1.0].into_iter());
                assert!(heights.iter().all(|h| h.is_finite()), "a height is not finite");
            }
            format!("ok {}", survey.reach_m().log10().round())
        }
        Err(error) => refused(&error),
    }
}

fn plan(bytes: &[u8]) -> String {
    let plan = match Plan::from_toml(&text(bytes), "plan.toml") {
        Ok(plan) => plan,
        Err(error) => return refused(&error),
    };
    // A forecast of a long day takes seconds, which is no fault.
    let day_s: f64 = (0..plan.order.len()).map(|run| plan.nominal_duration_s(run)).sum();
    if day_s > LONGEST_FORECAST_S {
        return "ok long".into();
    }
    match forecast(&plan) {
        Ok(forecast) => {
            serde_json::to_string(&forecast).expect("a forecast can be written");
            let _ =
                loopwright::report::forecast::forecast_text(&plan, &forecast, 80, loopwright::report::Units::Metric);
            run_sheet(&plan, &lap_targets(&plan), Units::Metric).expect("a sheet can be written");
            "ok".into()
        }
        Err(error) => format!("ok but {}", refused(&error)),
    }
}

fn gpx(bytes: &[u8]) -> String {
    match gpx_positions(&text(bytes), "loop.gpx") {
        Ok(positions) => match RiddenShape::of(&positions) {
            Ok(shape) => {
                assert!(shape.length_m().is_finite());
                "ok".into()
            }
            Err(reason) => format!("ok but {}", reason.chars().filter(|c| !c.is_ascii_digit()).collect::<String>()),
        },
        Err(error) => refused(&error),
    }
}

/// A changed result pooled with a sound one of another day.
fn pooled(bytes: &[u8]) -> String {
    static SOUND: OnceLock<Vec<Day>> = OnceLock::new();
    let sound = SOUND.get_or_init(|| Day::read("sound.json", &seeds::result(4)).expect("a sound result"));
    let changed = match Day::read("changed.json", bytes) {
        Ok(days) => days,
        Err(error) => return refused(&error),
    };
    let days: Vec<Day> = changed.into_iter().chain(sound.iter().cloned()).collect();
    match pool(&days, &Choice::default()) {
        Ok(result) => {
            serde_json::to_string(&result).expect("a pooled result can be written");
            loopwright::report::pooled::summary(&result, 80, Units::Metric);
            format!("ok {} {}", result.contrasts.len().min(3), result.findings.len().min(5))
        }
        Err(error) => refused(&error),
    }
}

/// Ways a ride is taken by [`solve`].
pub const RIDE_KINDS: u8 = 5;

/// A sound ride and a changed one solved together, or the changed one by itself.
fn solve(bytes: &[u8]) -> String {
    let Some((&kind, ride)) = bytes.split_first() else { return "nothing".into() };
    let changed = match decode(ride, "changed") {
        Ok(ride) => ride,
        Err(error) => return refused(&error),
    };
    let head =
        "[rider_and_bike]\nmass_kg = 85.0\n[air]\ntemperature_c = 18.0\npressure_hpa = 1000.0\nhumidity_pct = 60.0\n";
    let (venue, two_runs) = match kind % RIDE_KINDS {
        0 => ("", true),
        1 => ("[loop]\nkind = \"road\"\nlength_m = 420.0\n", true),
        2 => ("[loop]\nkind = \"track\"\nlength_m = 420.0\nbend_radius_m = 30.0\n", true),
        3 => ("[loop]\nkind = \"rollers\"\n", false),
        _ => ("[solve]\ncda = \"common\"\n", false),
    };
    let mut toml = format!("{head}{venue}[[setup]]\nid = \"a\"\n[[run]]\nfile = \"changed\"\nsetup = \"a\"\n");
    let mut recordings = vec![changed];
    if two_runs {
        toml.push_str("[[setup]]\nid = \"b\"\n[[run]]\nfile = \"sound\"\nsetup = \"b\"\n");
        recordings.push(small_day()[0].clone());
    }
    let session = Session::from_toml(&toml, "session.toml").expect("the session is sound");
    solved(&RiddenSession { session, recordings, weather: None, survey: None }, Depth { budget: !two_runs, draws: 0 })
}
