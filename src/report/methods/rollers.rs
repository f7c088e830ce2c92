//! Paragraphs on rollers and on what loop and rollers say together.
//!
//! Given session and solution; gives words.

use super::super::number::{percent, significant};
use super::super::sources::Source;
use super::paragraph::{Paragraph, cite};
use super::ridden::has_venue;
use crate::session::{Session, Venue};
use crate::solution::Solution;
use crate::wording::{capitalised, venue_name};

pub(super) fn rollers(session: &Session) -> Option<Paragraph> {
    if !has_venue(session, Venue::Rollers) {
        return None;
    }
    let rollers = &session.rollers;
    let mut sources = vec![Source::UnR117];
    let mut text = vec![
        "On the rollers there is no air drag and no slope: the work that reaches the drums is taken by the tyres, the \
         bearings and the drums. Crr on the drums is what tyres take of it, over load times distance, in a window of steady \
         speed."
            .to_string(),
    ];
    let stated = session.runs.iter().filter(|run| run.window_s.is_some()).count();
    if stated < session.runs.iter().filter(|run| session.venue_of(run) == Venue::Rollers).count() {
        text.push(
            "The window runs to the end of the steady stretch and begins where what is left of the warm-up, an exponential \
             decay fitted to Crr in blocks of ten seconds, is on average below the noise of the window's mean and no trend \
             shows; its ends are trimmed to like speeds, so that neither the inertia of the drums nor a lag between power \
             and speed enters. What is left of the decay is carried as uncertainty, not corrected; a \
             run too short for that rule counts while no more than 2 % of Crr is left, and the findings say so."
                .into(),
        );
    }
    if stated > 0 {
        text.push("The window was stated by the tester where the session says so.".into());
    }
    text.push(format!(
        "The rear wheel stands between two drums of {} m in diameter, {} m from axle to axle; the front wheel {}.",
        significant(rollers.drum_diameter_m, 4),
        significant(rollers.drum_spacing_m, 4),
        if rollers.front_driven { "turns a third drum over a belt" } else { "stands still" },
    ));
    text.push(format!(
        "Crr on the drums is taken to a flat road by √(R/(R + r)), R the radius of drum and r that of tyre, the flat limit \
         of the conversion in {}; that was made for car tyres on far larger drums. It is a factor, so its uncertainty, in the \
         budget as \"drum-to-flat conversion\", scales differences between set-ups as it scales values.",
        Source::UnR117.cited()
    ));
    text.push(match rollers.no_load_power_w_at_40_km_h {
        Some(watts) => {
            format!("The drums alone take {} W at 40 km/h, as stated, in proportion to speed.", significant(watts, 3))
        }
        None => "The no-load drag of the drums was not stated and is taken as zero.".into(),
    });
    if rollers.temperature_coefficient_per_c != 0.0 {
        sources.push(Source::Iso28580);
        text.push(format!(
            "Crr is corrected to {} °C with {} per °C, as stated, in the form of {}.",
            significant(rollers.reference_temperature_c, 3),
            significant(rollers.temperature_coefficient_per_c, 3),
            Source::Iso28580.cited()
        ));
    }
    text.push(format!(
        "The run counts as one reading, not the seconds of it: runs of one set-up differ by what their windows leave open and by \
         what changes from run to run (a wheel mounted again, pressure). That is a fraction of Crr which was supposed to be \
         about {} before the runs were looked at (half a Student's t with 3 degrees of freedom of that scale), was judged by \
         the scatter of the runs, and is averaged over in every value, difference and interval.",
        percent(session.uncertainty.run_to_run(Venue::Rollers))
    ));
    Paragraph::new("Rollers", &text, &sources)
}

pub(super) fn together(session: &Session, solution: &Solution) -> Option<Paragraph> {
    let venues = solution.venues.as_ref()?;
    let on = venue_name(&solution.circuit.kind);
    let mut sources = Vec::new();
    let mut text = vec![format!(
        "{} and rollers are solved apart. The table of set-ups shows the {on}, because rollers do not show CdA; nothing is \
             averaged there.",
        capitalised(on)
    )];
    if !venues.combined.is_empty() {
        sources.extend([Source::Welch, Source::Meier, Source::DerSimonianLaird]);
        text.push(format!(
            "A difference in Crr that both have measured is brought together as the mean weighted by inverse variance {} \
             while the two agree (Cochran's Q, judged by {} at the level of {}), else as a random-effects mean {}. What the instruments \
             have in common is taken off before and put back after, because it can neither average out nor make them \
             disagree.",
            cite(Source::Meier),
            Source::Welch.cited(),
            percent(1.0 - session.solve.confidence),
            cite(Source::DerSimonianLaird),
        ));
    }
    if !venues.surface_loss.is_empty() {
        text.push(format!(
            "Crr on the {on} less Crr on the rollers is what the surface, and the casing on it, cost, as far as the \
                 conversion from drum to flat holds."
        ));
    }
    Paragraph::new(
        if on == "track" { "Track and rollers together" } else { "Loop and rollers together" },
        &text,
        &sources,
    )
}
