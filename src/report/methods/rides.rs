//! Paragraphs on what was ridden, how it was cut into laps, and which laps count.
//!
//! Given session and solution; gives words.

use super::super::number::{counted, listed, measured};
use super::super::sources::Source;
use super::super::units::Units;
use super::super::{lap_length, laps_left_out};
use super::paragraph::{Paragraph, cite};
use super::ridden::{has_code, has_geometry, has_loops, has_venue, loop_runs};
use crate::circuit::SpeedDelay;
use crate::session::{LapSource, Session, Venue};
use crate::solution::Solution;
use crate::solve::prior::Expected;
use crate::wording::venue_name;

pub(super) fn rides(session: &Session, solution: &Solution, units: Units) -> Option<Paragraph> {
    let mut venues = Vec::new();
    for (venue, words) in
        [(Venue::Road, "a closed loop on the road"), (Venue::Track, "a track"), (Venue::Rollers, "twin-drum rollers")]
    {
        if has_venue(session, venue) {
            venues.push(words.to_string());
        }
    }
    let runs = counted(session.runs.len(), "run");
    let setups = counted(session.setups.len(), "set-up");
    let mut text = vec![format!("{runs} of {setups} on {}.", listed(&venues))];
    if has_loops(session) {
        text.push(lap_length::sentence(&solution.circuit, units));
    }
    Paragraph::new("Rides", &text, &[])
}

pub(super) fn laps(session: &Session, solution: &Solution) -> Option<Paragraph> {
    if !has_loops(session) {
        return None;
    }
    let mut sources = Vec::new();
    let mut text = vec![cutting(session)];
    text.push(place_of_the_cut(session, solution));
    let known = solution.circuit.speed_age_s.value.is_some();
    let delay = format!("{} s", measured(&solution.circuit.speed_age_s).replace('-', "−"));
    if has_geometry(session) {
        text.push(if known {
            format!(
                "The place along the lap is the distance of the speed channel, tied to the lap marks. The speed delay is taken as \
                 {delay}, with which the laps repeat best."
            )
        } else {
            "The place along the lap is the distance of the speed channel.".into()
        });
    } else {
        sources.push(Source::DurbinKoopman);
        text.push(format!(
            "Where there are positions, the place along the lap is the distance of the speed channel, whose start and scale are \
             tied to all positions of a stretch of laps together; a slow drift from lap to lap is added where they ask \
             for one {}. No single position is followed.",
            cite(Source::DurbinKoopman)
        ));
        if known {
            text.push(format!(
                "The speed delay, by how much the speed reading is older than the position, is {delay} (with standard error): so \
                 say the positions or lap marks of all runs together with what sensors usually show, {} ± {} s. It places \
                 the laps; the lag of speed behind power is solved for by itself.",
                SpeedDelay::USUAL.mean_s,
                SpeedDelay::USUAL.sd_s
            ));
        }
    }
    let steps = solution.circuit.profile.len().saturating_sub(1);
    if steps > 0 {
        let hairpin = if has_geometry(session) { "" } else { "; no step begins or ends in a bend tighter than 16 m" };
        text.push(format!(
            "Each lap is cut into the same {} of the {}{hairpin}.",
            counted(steps, "step"),
            venue_name(&solution.circuit.kind)
        ));
    }
    text.push(laps_left_out::sentence(solution));
    text.push(
        "A gap in the record, a stop, braking, power or speed that is missing or stuck, or a stay off the line costs the steps \
         that it touches, widened until riding is normal again; the lap counts with the others as long as half of them are \
         sound. A lap is left out when it is 3 % longer or shorter than usual, when speed is changing at the line while other \
         laps are steady there, when one of its steps gains or loses energy that no other lap does (braking, a push, a \
         draft), or when its misclosure stands out from those of the others by five robust standard deviations, more being \
         allowed to fast laps. What a lap would do to the result is never looked at."
            .into(),
    );
    let partly = solution.runs.iter().flat_map(|run| &run.laps).filter(|lap| lap.used && lap.share_used < 1.0).count();
    if partly > 0 {
        text.push(format!("So {} with a part of {} steps.", counts(partly), if partly == 1 { "its" } else { "their" }));
    }
    let open = Expected::OpenHeight.line();
    if has_code(solution, "steps-unshown")
        && let Some(line) = solution.budget.iter().find(|line| line.source == open)
    {
        text.push(format!(
            "Some steps are used in no lap. The height gained across them is not known and is taken to be 0 ± {:.1} m, a slope of \
             2 %, in the line «{open}» of the budget; it is in Crr and hardly in CdA or differences.",
            line.standard_uncertainty
        ));
    }
    if session.runs.iter().any(|run| !run.leave_out.is_empty() || !run.keep.is_empty()) {
        text.push("Some laps were left out or kept by the tester's own statement.".into());
    }
    text.push(
        "Laps that are not used stay in the tables, in the data and, where they can be drawn, in the figures.".into(),
    );
    Paragraph::new("Laps", &text, &sources)
}

fn counts(laps: usize) -> String {
    format!("{} {}", counted(laps, "lap"), if laps == 1 { "counts" } else { "count" })
}

fn cutting(session: &Session) -> String {
    let device = loop_runs(session).filter(|run| run.laps == LapSource::Device).count();
    let marks = "the lap marks of the device";
    match device {
        n if n > 0 && n == loop_runs(session).count() => format!("Laps begin at {marks}."),
        0 if has_geometry(session) => format!(
            "Laps begin at {marks} where these are regular, else at passes of a gate where there are positions, else by distance."
        ),
        0 => format!(
            "Laps begin at passes of a gate where there are positions, else at {marks} where these are regular, else by \
             the stated length."
        ),
        n => format!("Laps begin at {marks} in {}, else at passes of a gate.", counted(n, "run")),
    }
}

fn place_of_the_cut(session: &Session, solution: &Solution) -> String {
    let moved = has_code(solution, "cut-moved");
    let why = "because a speed that is changing at the line reads wrong by more than a lap may misclose";
    match (solution.circuit.gate.is_some(), session.circuit.gate.is_some()) {
        (true, false) if loop_runs(session).all(|run| run.laps == LapSource::Device) => String::new(),
        (true, false) => format!(
            "{}: among the places that give the most whole laps, one that riders pass at a steady speed and where \
             lap speeds differ most, {why}.",
            if has_geometry(session) { "A gate that serves is found" } else { "The gate was found" }
        ),
        (true, true) if moved => format!(
            "The cut was moved from the stated gate to the next place that riders pass at a steady speed, {why}; the \
             findings say how far."
        ),
        (true, true) => "The cut is at the stated gate, which riders pass at a steady speed.".into(),
        (false, _) if moved => format!(
            "The cut was moved from the line to a place that riders pass at a steady speed, {why}; the findings say how \
             far."
        ),
        (false, _) => String::new(),
    }
}
