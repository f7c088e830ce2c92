//! Whether everything that says how long a lap is says the same: wheel, positions, stated length, survey.
//!
//! Given the readings and the session; gives what must be told, or the error with both numbers where two of them cannot be of
//! one loop. It changes no length.

use crate::circuit::{LapLengths, Survey};
use crate::error::Error;
use crate::finding::{Finding, What};
use crate::session::{Session, SpeedScale, Venue};

/// Share of a track's length by which the ridden lap must differ from it before that is told.
const TOLD_LINE: f64 = 0.001;
/// Share by which a lap and a survey may differ beside the spacing of its points: tapes, wheels and lines (common practice,
/// no source).
const SURVEY_SHARE: f64 = 0.015;

/// Errors: [`Error::Inconsistent`] for lengths that cannot be those of one loop.
pub(super) fn check(
    session: &Session,
    survey: Option<&Survey>,
    lengths: &LapLengths,
    cut_length_m: f64,
) -> Result<Vec<Finding>, Error> {
    let refuse = |key: &str, message: String| Err(Error::Inconsistent { file: key.into(), line: None, message });
    if let Some([stated, seen]) = lengths.contradiction() {
        let message = format!(
            "stated {:.1} ± {:.1} m, and positions show a lap of {:.1} ± {:.1} m; correct length_m or leave it out, or state the \
             length_sd_m that it deserves",
            stated.length_m, stated.sd_m, seen.length_m, seen.sd_m
        );
        return refuse("loop.length_m", message);
    }
    if let Some(ratio) = lengths.not_one_loop()
        && let Some((wheel_m, known)) = lengths.by_wheel().zip(lengths.known())
    {
        return refuse("lap length", wrong_scale(ratio, wheel_m, known.length_m, lengths.known_by()));
    }
    let known_m = lengths.known().map_or(cut_length_m, |k| k.length_m);
    if let Some(survey) = survey {
        let gap_m = survey.widest_gap_m();
        let (shortest_m, longest_m) = (survey.reach_m(), survey.reach_m() + 2.0 * gap_m);
        let error_m = SURVEY_SHARE * known_m;
        if known_m < shortest_m - error_m || known_m > longest_m + error_m {
            let message = format!(
                "its points reach {shortest_m:.1} m, up to {gap_m:.1} m apart, and the lap is {known_m:.1} m long; survey the whole lap \
                 from the gate to the last point before it, with distances along the ridden line"
            );
            return refuse(session.circuit.survey.as_deref().unwrap_or("loop.survey"), message);
        }
    }
    let mut out = Vec::new();
    if session.solve.speed_scale == SpeedScale::AsMeasured {
        out.extend(lengths.wheel_finding(session.uncertainty.speed_fraction).map(Finding::of_session));
    }
    out.extend(lengths.odd_wheels().into_iter().map(|(k, what)| Finding::of_run(k, what)));
    if let Some((stated, ridden_m)) = lengths.stated.zip(lengths.by_wheel())
        && session.circuit.kind == Venue::Track
        && out.is_empty()
        && (ridden_m / stated.length_m - 1.0).abs() > TOLD_LINE
    {
        out.push(Finding::of_session(What::RiddenLength { stated_m: stated.length_m, ridden_m }));
    }
    Ok(out)
}

/// Two lengths of which no wheel size can be the reason.
fn wrong_scale(ratio: f64, wheel_m: f64, known_m: f64, by: &str) -> String {
    let near = |of: f64| (ratio / of - 1.0).abs() < 0.12;
    let cause = if near(3.6) {
        "as when km/h stand in a column of m/s"
    } else if near(crate::quantity::m_s_from_km_h(1.0)) {
        "as when m/s are read as km/h"
    } else if near(2.2369) {
        "as when miles an hour stand in a column of m/s"
    } else if near(0.62137) {
        "as when miles an hour are taken for km/h"
    } else if near(1.60934) {
        "as when km/h are taken for miles an hour"
    } else if near(2.0) {
        "as with a lap mark at every second pass of the line"
    } else if near(0.5) {
        "as with a lap mark twice in a lap"
    } else {
        "further than a wheel size can be off"
    };
    format!(
        "{wheel_m:.1} m by the speed channel and {known_m:.1} m by {by}, {ratio:.2} times as much, {cause}; correct the unit or the \
         wheel size in the file, or length_m"
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::LengthReading;

    fn session(circuit: &str) -> Session {
        let text = format!(
            "[rider_and_bike]\nmass_kg = 85.0\n[loop]\n{circuit}\n[[setup]]\nid = \"a\"\n[[run]]\nfile = \"a.fit\"\nsetup = \"a\"\n"
        );
        Session::from_toml(&text, "session.toml").expect("a sound session")
    }

    fn lengths(wheel_m: f64, positions_m: f64) -> LapLengths {
        let by_positions = Some(LengthReading { length_m: positions_m, sd_m: 2.5 });
        LapLengths { by_wheel_m: vec![Some(wheel_m)], by_positions, stated: None }
    }

    #[test]
    fn a_unit_that_was_mistaken_is_named_with_both_lengths() {
        for (factor, word) in
            [(3.6, "km/h stand"), (0.621, "miles an hour are"), (2.2369, "miles an hour stand"), (1.3, "further")]
        {
            let refused = check(&session(""), None, &lengths(1220.0 * factor, 1220.0), 1220.0).unwrap_err().to_string();
            assert!(refused.contains(word) && refused.contains("1220.0 m"), "{refused}");
        }
    }

    #[test]
    fn a_survey_of_another_length_is_refused_from_two_per_cent_on() {
        let survey = |length_m: f64| {
            let rows =
                (0..50).map(|i| format!("{},0.0", f64::from(i) * length_m / 50.0)).collect::<Vec<_>>().join("\n");
            Survey::parse(&format!("distance_m,elevation_m\n{rows}\n"), "s.csv", 0.02).expect("a sound survey")
        };
        for (length_m, sound) in
            [(1000.0, true), (1008.0, true), (985.0, true), (1060.0, false), (930.0, false), (500.0, false)]
        {
            let said = check(&session("survey = \"s.csv\""), Some(&survey(length_m)), &lengths(1000.0, 1000.0), 1000.0);
            assert_eq!(said.is_ok(), sound, "{length_m}: {said:?}");
            assert!(said.err().is_none_or(|e| e.to_string().starts_with("s.csv: its points reach")));
        }
    }
}
