//! What holds for all runs: rider, loop, air, sharing, reference, rollers and set-ups.
//!
//! Given proposed runs; writes the tables of a session. It cuts laps only to find the gate.

use super::differs::{Differs, label_example, solve_table};
use super::names::SetupGuess;
use super::proposed::{Beside, Looks, Proposed, TRACK_M, venue};
use super::wording::commented;
use crate::air::standard::standard_pressure_at_elevation_pa;
use crate::circuit::{RunToCut, cut};
use crate::printable::quoted;
use crate::quantity::hpa_from_pa;
use crate::session::{Circuit, LapSource, Position, Reference};
use crate::uncertainty::serial::mean_of_known;

/// What all rides of the loop together show.
struct Found {
    gate: Option<Position>,
    length_m: f64,
}

fn found(runs: &[Proposed]) -> Option<Found> {
    let on_road: Vec<&Proposed> = runs.iter().filter(|r| r.looks == Looks::Road).collect();
    let to_cut: Vec<RunToCut> =
        on_road.iter().map(|r| RunToCut { file: &r.held.file, ride: &r.ride, source: LapSource::Auto }).collect();
    if to_cut.is_empty() {
        return None;
    }
    let cut = cut(&to_cut, &Circuit::default()).ok()?;
    Some(Found { gate: cut.gate, length_m: cut.length_m })
}

pub(super) fn write(
    out: &mut String,
    title: &str,
    runs: &[Proposed],
    beside: &Beside,
    differs: Option<Differs>,
    guess: &SetupGuess,
) {
    out.push_str(
        "# Proposed from the rides in this folder. Fill in what is marked FILL IN and check the rest; then: loopwright solve FILE\n",
    );
    out.push_str("# A session with blanks is refused, and the message names their lines.\n\n");
    out.push_str(&format!("title = {}\n", quoted(title)));
    let baseline = match guess.ids().first() {
        Some(first) => format!("baseline = {}", quoted(first)),
        None => "# baseline = \"...\"".into(),
    };
    out.push_str(&commented(&baseline, "the set-up that the others are compared with; the first when left out"));
    out.push_str("\n[rider_and_bike]\n");
    out.push_str(&commented("mass_kg = 0.0", "FILL IN: rider, bicycle, kit and bottles together in kg, as weighed"));
    out.push_str(&commented(
        "# drivetrain_efficiency = 1.0",
        "for a power meter in the hub; 0.976 for crank or pedals when left out",
    ));
    circuit(out, runs, beside);
    air(out, runs, beside);
    out.push('\n');
    out.push_str(&solve_table(differs));
    let reference = Reference::default();
    out.push_str("\n[reference]\n");
    out.push_str(&commented(
        &format!("speed_km_h = {:.1}", reference.speed_km_h),
        "watts are given at this speed; state the one you race at",
    ));
    out.push_str(&commented(&format!("# air_density_kg_m3 = {:?}", reference.air_density_kg_m3), "and in this air"));
    if runs.iter().any(|r| r.looks == Looks::Rollers) {
        rollers(out, runs);
    }
    setups(out, differs, guess);
}

fn circuit(out: &mut String, runs: &[Proposed], beside: &Beside) {
    let kind = venue(runs);
    out.push_str(&format!("\n[loop]\nkind = \"{}\"\n", kind.word()));
    match (kind, found(runs)) {
        (Looks::Road, Some(found)) => {
            if let Some(g) = found.gate {
                out.push_str(&format!(
                    "# The lap was cut where riding is steady; {:.1} m by the wheel.\n",
                    found.length_m
                ));
                out.push_str(&format!("gate = {{ lat_deg = {:.6}, lon_deg = {:.6} }}\n", g.lat_deg, g.lon_deg));
            } else {
                out.push_str(&format!("# Laps by marks or distance, {:.1} m by the wheel.\n", found.length_m));
            }
            if (TRACK_M[0]..=TRACK_M[1]).contains(&found.length_m) {
                out.push_str("# A track? Then say kind = \"track\" with length_m, the length of its measuring line.\n");
            }
        }
        (Looks::Road, None) => {
            out.push_str(
                "# No place is passed twice in one direction in all of the rides; see «loopwright inspect».\n",
            );
            out.push_str(&commented(
                "# length_m = 1250.0",
                "state it where neither positions nor lap marks show the laps",
            ));
        }
        (Looks::Track, _) => {
            let lengths: Vec<f64> = runs.iter().filter_map(|r| r.held.laps.device_lap_length_m).collect();
            let mean = lengths.iter().sum::<f64>() / lengths.len().max(1) as f64;
            out.push_str(&commented(
                "length_m = 0.0",
                &format!("FILL IN: the surveyed length; the wheel says {mean:.1}"),
            ));
            out.push_str(&commented(
                "# bend_radius_m = 22.0",
                "state it: without it the lean in the bends is left out",
            ));
            out.push_str("# transition_m = 12.0\n");
        }
        (Looks::Rollers, _) => {}
    }
    if let Some(survey) = &beside.survey {
        out.push_str(&format!("survey = {}\n", quoted(survey)));
    }
}

fn air(out: &mut String, runs: &[Proposed], beside: &Beside) {
    out.push_str("\n[air]\n");
    if let Some(log) = &beside.weather {
        out.push_str(&format!("log = {}\n", quoted(log)));
    }
    // The room of the rollers is not the road.
    let main = venue(runs);
    let here = |r: &&Proposed| (r.looks == Looks::Rollers) == (main == Looks::Rollers);
    match mean_of_known(runs.iter().filter(here).filter_map(|r| r.temperature_c)).filter(|_| beside.weather.is_none()) {
        Some(t) => out.push_str(&commented(
            &format!("# temperature_c = {t:.1}"),
            "mean of the device, which reads high in the sun; better from the shade",
        )),
        None => out.push_str(&commented("# temperature_c = 18.0", "in the shade")),
    }
    match mean_of_known(runs.iter().filter(here).filter_map(|r| r.elevation_m)) {
        Some(z) => {
            let standard = hpa_from_pa(standard_pressure_at_elevation_pa(z));
            out.push_str(&commented(
                &format!("# pressure_hpa = {standard:.0}.0"),
                &format!("station pressure, not reduced to sea level; this is the standard atmosphere at {z:.0} m"),
            ));
        }
        None => out.push_str(&commented("# pressure_hpa = 1000.0", "station pressure, not reduced to sea level")),
    }
    out.push_str("# humidity_pct = 60.0\n");
    out.push_str(
        "# A run that was ridden in other air may say so itself: air = { temperature_c = 21.0 } in its [[run]].\n",
    );
}

fn rollers(out: &mut String, runs: &[Proposed]) {
    out.push_str("\n[rollers]\n");
    out.push_str(&commented(
        "drum_diameter_m = 0.0",
        "FILL IN: the diameter of the drums, not their radius; 0.11 is usual",
    ));
    out.push_str(&commented("# drum_spacing_m = 0.27", "between the axles of the drums under the rear wheel"));
    out.push_str(&commented("# no_load_power_w_at_40_km_h = 5.0", "of the empty drums"));
    let drums = runs.iter().filter(|r| r.looks == Looks::Rollers);
    let room = mean_of_known(drums.filter_map(|r| r.temperature_c));
    let (value, seen) = (room.unwrap_or(20.0), if room.is_some() { "; the device says this" } else { "" });
    out.push_str(&commented(
        &format!("# air = {{ temperature_c = {value:.1} }}"),
        &format!("of the room, where it is not that of [air]{seen}"),
    ));
}

fn setups(out: &mut String, differs: Option<Differs>, guess: &SetupGuess) {
    let label = commented("label = \"\"", &label_example(differs));
    let ids = guess.ids();
    if ids.is_empty() {
        out.push_str("\n# One block for each set-up that was ridden.\n[[setup]]\n");
        out.push_str(&commented("id = \"\"", "FILL IN: a short name, such as \"old\""));
        out.push_str(&label);
    } else {
        out.push_str("\n# Read from the names of the files: check them.\n");
    }
    for id in &ids {
        out.push_str(&format!("[[setup]]\nid = {}\n{label}\n", quoted(id)));
    }
    out.push_str(if ids.is_empty() { "\n" } else { "" });
    out.push_str("# For another set-up copy this block and take the marks off:\n# [[setup]]\n# id = \"new\"\n# label = \"...\"\n# factors = { tyre = \"amber\", pressure_kpa = 620.0 }   # in a sweep of kinds or quantities: on every set-up or on none\n");
}
