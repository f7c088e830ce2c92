//! The sentence of each finding: what was seen, the limit or likely cause, and what to do next.
//!
//! Given a finding; gives the text as it stands in report and `solution.json`.

use super::slip::short_p;
use super::{What, order, sharing};
use crate::quantity::km_h_from_m_s;
use crate::wording::{capitalised, counted, counted_as};

/// What the rides cannot show while each of several set-ups was ridden once.
fn one_run_each(runs: usize) -> &'static str {
    match runs {
        0 | 1 => "",
        _ => {
            " Nor can runs be held against each other: a mass that is wrong, or files of two set-ups that were exchanged, would not show in them."
        }
    }
}

impl What {
    /// What was seen, the limit or likely cause, and what to do next.
    pub fn message(&self) -> String {
        match self {
            What::Truncated { records, missing_bytes } => format!("The file is {missing_bytes} bytes shorter than it says, as when recording is cut off; its {records} records are used. Copy the file from the device again if you can."),
            What::ChecksumMismatch { part } => format!("The checksum of part {part} of the file is wrong: bytes were changed on the way. What decodes is used; copy the file again if you can."),
            What::Undecodable { count, reason } => format!("{} not be decoded ({reason}); the rest of the file is read.", counted_as(*count, "message could", "messages could")),
            What::SeveralParts { parts } => format!("{parts} recordings stand one after another in this file; all are read, the breaks between them are kept as gaps."),
            What::OtherSportsLeftOut { records } => format!("{records} records of other sports are left out; only cycling is used."),
            What::RecordsWithoutTime { count } => format!("{} no time; it cannot be placed and is left out.", counted_as(*count, "record carries", "records carry")),
            What::RepeatedTimes { count } => format!("{} the time of the one before; both are merged, the first value of each channel is kept.", counted_as(*count, "record repeats", "records repeat")),
            What::OutOfOrder { count } => format!("{} back in time, as when a clock is corrected on the way; left out.", counted_as(*count, "record goes", "records go")),
            What::TimeJump { count, largest_s, dropped } => format!("Time jumps by {largest_s:.0} s ({} in all); the ride is split there, nothing is filled in, and {} left out for an impossible time.", counted(*count, "jump"), counted_as(*dropped, "record is", "records are")),
            What::DeveloperFieldIgnored { name } => format!("An extra power field named «{name}» is in the file and is not used: extra fields never replace the native one."),
            What::DeveloperFieldUsed { name } => format!("The file has no native power; the extra field «{name}», which declares itself to be power, is used. Check that it is the meter you mean."),
            What::NotFinalised { part } => format!("Part {part} of the file was never closed by the device, so nothing tells whether its end is missing; everything found in it is read."),
            What::Damaged { part, lost_bytes } => format!("{lost_bytes} bytes in part {part} of the file cannot be understood and are lost; the records around them are used. Copy the file from the device again if you can."),
            What::DoubtfulRecords { count } => format!("{} directly before damaged bytes; values there are not certain and are taken as missing.", counted_as(*count, "record stands", "records stand")),
            What::StrayBytes { bytes } => format!("{} to no recording; passed over.", counted_as(*bytes, "byte of the file belongs", "bytes of the file belong")),
            What::OtherFileLeftOut { kind } => format!("A part of the file is of type {kind}, not an activity, and is left out."),
            What::NotCycling { sport } => format!("The file says its sport is {sport} and names no cycling; it is read as if it were cycling. Check that it is the right file."),
            What::ImpossiblePositions { count } => format!("{} off the globe; taken as missing.", counted_as(*count, "position lies", "positions lie")),
            What::ClockNotSet => "Times do not count from a known moment, so a weather log or a second device cannot be matched to this ride.".into(),
            What::ColumnsIgnored { names } => format!("Columns not used: {}.", names.join(", ")),
            What::ChannelsJoined { file, channels, .. } if channels.is_empty() => format!("Nothing is taken from {file}: it holds no channel that could help. Check that it is the right file."),
            What::ChannelsJoined { file, channels, matched, total } => format!("Taken from {file} instead of the main file: {}; {matched} of {total} records have a value close enough in time.", channels.join(", ")),
            What::InSecondFile { file, what } => format!("In {file}: {}", what.message()),
            What::PowerAllZero { records } => format!("Power is zero in all {records} records; the meter was not connected or not turned."),
            What::SpeedFromDistance => "There is no speed channel; speed is the change of distance over time, which is noisier.".into(),
            What::SpeedDistanceMismatch { ratio } => format!("The speed channel integrates to {:.2} % {} than the distance channel. One of them has a wrong wheel circumference or comes from satellites, and CdA moves by about three times that. Measure the roll-out and correct the one that is wrong.", (ratio - 1.0).abs() * 100.0, if *ratio < 1.0 { "less" } else { "more" }),
            What::Gaps { count, longest_s } => format!("The record has {}, the longest {longest_s:.0} s; the steps of laps in which they fall are not used.", counted(*count, "gap")),
            What::NotMoving => "Positions stand still while the wheel turns: rollers or a trainer. For rollers say on = \"rollers\" in the run.".into(),
            What::GateFar { distance_m } => format!("The stated gate is {distance_m:.0} m from the route; check its coordinates."),
            What::CutMoved { distance_m } => {
                format!("Speed changes at the stated gate or lap mark, where a sensor that averages over a second errs; laps are cut {distance_m:.0} m from it, where riding is steady. Laps keep their numbers.")
            }
            What::ReferenceNotRidden { reference_km_h, slowest_km_h, fastest_km_h } => {
                let as_m_s = km_h_from_m_s(*reference_km_h);
                let hint = if (*slowest_km_h..=*fastest_km_h).contains(&as_m_s) { format!(" {reference_km_h} m/s would be {as_m_s:.0} km/h.") } else { String::new() };
                format!("Watts are given at {reference_km_h} km/h, and laps were ridden at {slowest_km_h:.0} to {fastest_km_h:.0} km/h. They rest on the model outside what was ridden; state speed_km_h under [reference] near the speeds of the laps.{hint}")
            }
            What::SpeedChangesWithin { laps, of } => format!("In {laps} of {of} laps the rider goes from one planned speed to another within the lap. They are used, but tell CdA and Crr less well than laps of one speed. Set [loop] gate to where speed was changed, or change it at the gate."),
            What::OneLapMoves { lap, of, power_w, without_w, hangs } => format!("Lap {lap} moves {of} most: {power_w:+.1} W with it, {without_w:+.1} W without{}. Look at what happened in this lap; more laps make the answer firm.", if *hangs { ", which may be chance" } else { "" }),
            What::PositionsUnreachable { count, farthest_m, first_s } => format!("{} up to {} from where the bicycle can have been (the first at {first_s:.0} s); not used, while power and speed of those seconds are.", counted_as(*count, "position lies", "positions lie"), distance(*farthest_m)),
            What::PositionsPoor { spread_m } => format!("Positions lie {spread_m:.0} m from their own average in the middle, as under a roof, and are not used. Laps and headings are those of the lap marks and the stated bends."),
            What::BendsContradicted { radius_m, transition_m, seen_radius_m, seen_transition_m } => format!("Bends of {radius_m:.1} m radius{} are stated, and positions show {seen_radius_m:.1} m with transitions of {seen_transition_m:.0} m. The line by positions is used; check bend_radius_m and transition_m, or leave them out.", transition_m.map(|t| format!(" with transitions of {t:.0} m")).unwrap_or_default()),
            What::NotTwoBends => "Bends of a track are stated, but positions show no lap of two equal bends and two straights. The line by positions is used; leave bend_radius_m out, or check that the ride is of this track.".into(),
            What::BearingContradicted { stated_deg, seen_deg } => format!("home_straight_bearing_deg = {stated_deg:.0}, and positions show {seen_deg:.0}°, which is used. State the direction of travel, clockwise from north."),
            What::WindWithoutCompass => "Nobody says which way the track lies, so the fitted wind has no compass direction. It is given along the home straight, positive as a tail wind there, and across it, positive from left to right. State home_straight_bearing_deg or record positions.".into(),
            What::LapMarksOdd { extra, missing_after } => format!("The lap marks do not all lie a lap apart:{}{}{} laps at these places are not used, and the numbers of laps count every mark.", if extra.is_empty() { String::new() } else { format!(" mark {} is pressed in the middle of a lap", numbers(extra)) }, if extra.is_empty() || missing_after.is_empty() { "" } else { ", and" }, if missing_after.is_empty() { ";".to_string() } else { format!(" after mark {} one is missing;", numbers(missing_after)) }),
            What::RiddenLength { stated_m, ridden_m } => { let out_m = (ridden_m - stated_m) / std::f64::consts::TAU; format!("A lap was {ridden_m:.1} m by the speed channel, which is taken for the ridden line. The stated {stated_m:.1} m hold on the measurement line; if speeds are right, laps were ridden {:.2} m {} it.", out_m.abs(), if out_m >= 0.0 { "outside" } else { "inside" }) }
            What::SpeedScaleOff { wheel_m, known_m, sd_m, by } => format!("A lap is {wheel_m:.1} m by the speed channel and {known_m:.1} ± {sd_m:.1} m by {by}: speeds are {:.1} % too {}. A wrong wheel size does that, and CdA moves by about three times as much. Measure the roll-out and correct the file, or say speed_scale = \"calibrate\" under [solve], which brings speeds to the known length.", 100.0 * (wheel_m / known_m - 1.0).abs(), if wheel_m > known_m { "high" } else { "low" }),
            What::WheelDiffers { wheel_m, usual_m } => format!("By the speed channel a lap of this run is {wheel_m:.1} m, {:+.1} % against {usual_m:.1} m in the others. Another wheel size in the device, a tyre of another height, or another line does that. A difference of speed like that passes for one between set-ups; check the roll-out of each tyre.", 100.0 * (wheel_m / usual_m - 1.0)),
            What::SpeedCalibrated { factor, relative_u, known_m, by } => format!("Speeds are multiplied by {factor:.4} ± {relative_u:.4}, with which a lap has the {known_m:.1} m that it has by {by}. This error stands in the budget for that of the speed scale."),
            What::RunLeftOut { reason } => format!("This run cannot be used and the others are solved without it: {reason}."),
            What::DeviceLaps { count } => format!("Laps are cut at the {count} lap marks of the device."),
            What::LapsByDistance { length_m, last_off_m } => format!("Laps are cut every {length_m:.1} m of recorded distance from the first record on, taken to lie at the line. That drifts with the line ridden and the wheel size: the last lap lies some {last_off_m:.0} m off by what is usually open of that length alone. Lap marks at the line, or positions, would be better."),
            What::BendsUnknown { track: true } => "The bends of the track are not known, so the lean in them is left out. On a 250 m track that alone put Crr 10 to 50 % too high and CdA 4 to 15 % too low in simulations, which no interval here shows. State bend_radius_m and transition_m under [loop].".into(),
            What::BendsUnknown { track: false } => "Without positions the bends of the loop are not known, so the lean in them and the wind are left out. In tight bends Crr comes out too high. Record positions.".into(),
            What::LapsLeftOut { used, total, reasons } => format!("{used} of {total} laps are used; left out: {reasons}."),
            What::PressureAssumed { pressure_hpa, elevation_m } => match elevation_m {
                Some(z) => format!("No air pressure was stated; {pressure_hpa:.1} hPa is that of the standard atmosphere at {z:.0} m. Real weather differs by up to 3 %, and CdA with it: note the station pressure."),
                None => format!("No air pressure and no elevation is known; {pressure_hpa:.1} hPa at sea level is assumed. State pressure_hpa."),
            },
            What::PressureOdd { pressure_hpa, standard_hpa, elevation_m } => format!("The stated {pressure_hpa:.1} hPa is {:.0} hPa {} the standard atmosphere at {elevation_m:.0} m{}. Density, and CdA with it, is wrong by {:.1} % then. Station pressure is what a barometer shows at the place itself; weather reports give it reduced to sea level.", (pressure_hpa - standard_hpa).abs(), if pressure_hpa > standard_hpa { "above" } else { "below" }, if pressure_hpa > standard_hpa { ", as if reduced to sea level" } else { ", further than weather takes it" }, 100.0 * (pressure_hpa / standard_hpa - 1.0).abs()),
            What::TemperatureAssumed { temperature_c, from_device } => if *from_device {
                format!("Air temperature is the mean of the device, {temperature_c:.1} °C; a device in the sun reads high. State temperature_c from a shaded thermometer.")
            } else {
                format!("No air temperature is known; {temperature_c:.1} °C is assumed. State temperature_c.")
            },
            What::HumidityAssumed { humidity_pct } => format!("No humidity was stated; {humidity_pct:.0} % is assumed (its effect on density is small)."),
            What::NotSeparable { reason, next } => format!("CdA and Crr cannot be told apart: {reason}. {next}"),
            What::WeakInstruments { first_stage_f } => format!("Lap speeds do not fall into clearly separate classes, so CdA and Crr rest chiefly on what is expected of CdA. Their intervals are as wide as that (first-stage F {first_stage_f:.1}, at least 10 wanted). Ride alternate laps at two clearly different speeds."),
            What::Gusty { difference_crr, standard_error } => format!("Gusts moved the speed: least squares and the planned-speed estimate differ by {difference_crr:+.5} in Crr. That is more than twice {standard_error:.5}. The planned-speed estimate is reported; a calmer day would be better."),
            What::LagLarge { lag_s } => format!("Speed runs {lag_s:.2} s behind power, more than the 1.5 s that sensors usually show; check that both come from one device."),
            What::LagAtBound { lag_s } => format!("The delay between power and speed sits on its bound of {lag_s:.1} s; the channels may come from different clocks."),
            What::NotConverged { iterations } => format!("The solver stopped after {iterations} steps without settling; the best point is given, treat it with care."),
            What::WindAlongLoop { least, least_at_m, most, most_at_m } => format!("The wind is not the same along the loop: {least:.1} of its mean at {least_at_m:.0} m, {most:.1} at {most_at_m:.0} m. That is in the solution; an open loop would tell Crr better."),
            What::SharingContradicted { quantity, p_value, differences } => sharing::contradicted(quantity, *p_value, differences),
            What::Misfit(misfit) => misfit.message(),
            What::YawWithoutShelter => "Drag against yaw is estimated while the wind is held the same along the loop: trees or houses would pass for yaw. Leave along_loop under [wind] at \"estimate\", or set yaw under [solve] to \"none\" or to a value.".into(),
            What::RestsOnExpectation { of, quantities, next } => format!("More than half of the uncertainty of {} is what was expected beforehand, above all of {of}. The rides told less. {next}", crate::wording::listed(quantities)),
            What::FewLaps { laps } => format!("Only {laps} laps are used, so intervals are wide. They rest in part on a model of the scatter within laps, which cannot see a position that changes from lap to lap."),
            What::LapsDiffer { name, by_laps, within } => format!("Laps differ more than the scatter within them explains. The standard error of {name} is {} by the laps and {} by the scatter within them. Something changed from lap to lap, such as position, line, traffic or slow gusts; the interval goes by the laps alone.", two_digits(*by_laps), two_digits(*within)),
            What::OrderConfounded { orders } => order::confounded(orders),
            What::WindDrifted { change_m_s } => format!("The wind changed by {change_m_s:.1} m/s during the run and is modelled as drifting linearly."),
            What::DriftConfounded { setup, baseline, order, inflation, better } => format!("In the order {order} the drift of Crr through the day looks like the difference of {setup} and {baseline}. Fitting it makes the standard error of that difference {}; the interval says so. Ride {better}, which keeps the two apart.", if *inflation < 1000.0 { format!("{inflation:.1} times as large") } else { "grow without limit".into() }),
            What::BootstrapDisagrees { quantity, of, cluster_se, bootstrap_se } => format!("Drawing whole laps again gives {quantity} of {of} a standard error of {}, the scatter of the laps by itself {}. {}.", two_digits(*bootstrap_se), two_digits(*cluster_se), if bootstrap_se > cluster_se { "Laps are few, or one odd lap carries the result. Look at the lap residuals; more laps make it firm" } else { "Laps of one run are more alike than laps of different runs. Something may have changed between runs, such as pressure or wind" }),
            What::BootstrapNotDone { reason } => format!("Laps could not be drawn again ({reason}), so there is no second opinion on the standard errors."),
            What::NoLoadDragAssumed => "The no-load drag of the drums was not stated and is taken as zero; Crr is too high by it. Spin the drums with a coast-down and state it.".into(),
            What::WarmUp { window_start_s, time_constant_s } => match time_constant_s {
                Some(tau) => format!("Warm-up seen with a time constant of {tau:.0} s; the window starts at {window_start_s:.0} s."),
                None => format!("The window starts at {window_start_s:.0} s."),
            },
            What::RollerPractice { what } | What::DrumsOdd { what } => what.clone(),
            What::RollerRunLeftOut { reason } => format!("This run is not used; the other runs of its set-up are. {reason}."),
            What::RollerAssumptions { drum_diameter_m, drum_spacing_m, drum_over_flat, conversion_fraction, rear_weight_fraction, front_driven } => format!("Crr on the flat rests on the drums as they are under [rollers]: check them. They are {:.1} mm in diameter, on which Crr is {drum_over_flat:.2} times that on the flat; this conversion was made for car tyres on large drums, is taken to be right within {:.0} % (common practice, no source), and scales values and differences alike. Their axles are {:.0} mm apart, {:.0} % of the weight is on the rear wheel, and the front drum {}. What is not stated has its usual value; the interval holds for stated ones.", 1000.0 * drum_diameter_m, 100.0 * conversion_fraction, 1000.0 * drum_spacing_m, 100.0 * rear_weight_fraction, if *front_driven { "is turned by a belt" } else { "stands still" }),
            What::NoRepeats { runs, fraction } => format!("No set-up was ridden twice on the rollers ({}), so what changes from run to run could not be seen. A wheel mounted again or a pressure set anew changes Crr; the intervals suppose {:.1} % of it (run_to_run_fraction under [uncertainty]; common practice, no source).{} Ride each set-up at least twice, A B B A.", counted(*runs, "run"), 100.0 * fraction, one_run_each(*runs)),
            What::RunToRunSupposed { repeats, setups, fraction, of } => {
                let told = match repeats {
                    0 => "No set-up was ridden twice, so nothing tells".to_string(),
                    some => format!("{} little of", counted_as(*some, "run ridden again tells", "runs ridden again tell")),
                };
                format!("{told} what changes from run to run. The intervals suppose that it is {:.1} % of {of} (run_to_run_fraction under [uncertainty]).{} Every further run of a set-up narrows them.", 100.0 * fraction, if *repeats == 0 { one_run_each(*setups) } else { "" })
            }
            What::SurfaceLoss { on, setup, crr, half_width, rolling_power_w } => format!("Crr of {setup} on the {} is that on rollers {crr:+.5}{} ({rolling_power_w:+.1} W at the reference). That is the loss of the road surface and of the tyre's casing on it, as far as the conversion from drum to flat holds.", on, half_width.map(|h| format!(" ± {h:.5}")).unwrap_or_default()),
            What::VenuesDisagree { on, setup, baseline, q, p_value } => format!("{} and rollers disagree on {setup} against {baseline} (Q {q:.1}, p {p_value:.3}). The combined interval is that of two results that differ by more than their errors. Look at both; the cause is worth finding.", capitalised(on)),
            What::OneVenueOnly { setup, venue } => format!("{setup} was ridden on the {} only; its result stands with that venue, and nothing of it is combined.", venue),
            What::PressuresDiffer { on, setup, gap_kpa } => format!("{setup} had tyre pressures {gap_kpa:.0} kPa apart on {} and rollers, so the difference in Crr between the two is that of pressure too.", on),
            What::Slip(slip) => slip.message(),
            What::ResultsDisagree { setup, baseline, quantity, q, dof, p_value } => format!("The results disagree on {setup} less {baseline} in {quantity} by more than their own errors allow. By Cochran's test that is Q {q:.1} on {dof:.0} degrees of freedom, p {}. The mean given is that of days that differ (DerSimonian–Laird) and its interval is wider; the cause is worth finding: pressure, temperature, road, position.", short_p(*p_value)),
            What::CurvesDisagree { factor, quantity, p_value } => format!("The results disagree on the curve of {quantity} over {factor} by more than its own errors allow (p {}). The curve given has errors as large as that disagreement; the cause is worth finding: road, temperature, load, gauge.", short_p(*p_value)),
            What::CurveNotPooled { factor, why } => format!("No curve over {factor} is brought together: {why}."),
            What::OneResultOnly { setup, baseline, result } => format!("{setup} less {baseline} is in {result} only and is not pooled."),
            What::NothingToPool { setup, baseline } => format!("{setup} less {baseline} is in several results, but no two of them have measured the same quantity of it (values that are shared or not known do not count), so nothing is pooled."),
            What::ResultNotPooled { result } => format!("Nothing of {result} is pooled: no other result has one of its differences. Look whether its set-ups have the same ids as those of the others."),
            What::LabelsDiffer { setup, labels } => format!("The set-up «{setup}» is called {} in different results; it is pooled as one, so check that it is one.", labels.join(" and ")),
            What::ReferencesDiffer { results } => format!("The watts of {} are at another reference (speed, mass or air density) than those of the first result and are left out; Crr and CdA are not touched. Solve those sessions again with the same [reference] to pool watts.", results.join(", ")),
            What::RollingOnly { setup, baseline, results } => format!("For {setup} less {baseline} the watts of {} hold rolling alone, those of the other results air too; they are not the same quantity and are left out.", results.join(", ")),
            What::MonteCarloDiffers { count, of, largest } => format!("For {count} of {of} results the interval from random draws of the inputs differs from the reported one, most for {largest}. By more than the numerical tolerance they are apart: an input does not act in proportion there, or scatter with few degrees of freedom has longer tails than the effective degrees of freedom say. Quote the interval of the draws."),
            What::DrawsFailed { failed, draws } => format!("{failed} of {draws} random draws of the inputs had no answer and are left out of their intervals."),
            What::TooFewDraws { count, of, wanted } => format!("For {count} of {of} results the draws are too few to tell whether their interval is the reported one; about {wanted} would tell."),
            What::NearTolerance { count, of } => format!("For {count} of {of} results the interval from random draws and the reported one differ by about as much as still counts as the same; more draws would hardly tell."),
        }
    }
}

/// Numbers in a row.
fn numbers(all: &[usize]) -> String {
    all.iter().map(usize::to_string).collect::<Vec<_>>().join(", ")
}

/// Metres, or kilometres where there are many.
fn distance(m: f64) -> String {
    if m < 2000.0 { format!("{m:.0} m") } else { format!("{:.0} km", m / 1000.0) }
}

/// A small number with two significant digits and without an exponent.
fn two_digits(x: f64) -> String {
    let decimals = if x > 0.0 && x < 1.0 { (1.0 - x.log10().floor()).min(12.0) as usize } else { 1 };
    format!("{x:.decimals$}")
}
