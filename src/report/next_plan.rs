//! The plan of a next day, filled in from a result: the same set-ups with their values, on the same loop at the same speeds.
//!
//! Given session and solution; gives the text of a plan file. What a result does not tell has the value that was expected of it,
//! and says so.

use super::number::significant;
use super::verdict::name_of;
use crate::printable::quoted;
use crate::quantity::km_h_from_m_s;
use crate::rollers::practice::wanted_duration_s;
use crate::session::{Reference, RiderAndBike, Rollers, Session, Sharing, Uncertainty};
use crate::solution::{LapResult, RunResult, SetupResult, Solution};
use crate::uncertainty::serial::mean_of_known;
use crate::wording::on_one_line;
use serde::Serialize;

/// File name among the results.
pub const NAME: &str = "next-plan.toml";
/// More classes of planned speed than this are noise.
const MOST_SPEEDS: usize = 4;
/// Of values, which are guesses for the next day.
const DIGITS: i32 = 4;

/// Tables that a plan takes from a session as they are.
#[derive(Serialize)]
struct Tables<'a> {
    rider_and_bike: &'a RiderAndBike,
    reference: &'a Reference,
    #[serde(skip_serializing_if = "Option::is_none")]
    rollers: Option<&'a Rollers>,
    uncertainty: &'a Uncertainty,
}

/// See the module; `None` for a result without runs, and where a table cannot be written.
pub fn next_plan(session: &Session, solution: &Solution) -> Option<String> {
    let (on_loop, on_rollers) = by_venue(solution);
    if solution.setups.is_empty() || (on_loop.is_empty() && on_rollers.is_empty()) {
        return None;
    }
    let title = on_one_line(solution.title.trim());
    let mut out = format!(
        "# The next day, with what was found on this one: {NAME} is made anew with every result, so copy it before you change it.\n\
         # Then: loopwright plan {NAME}\n\
         title = {}\n",
        quoted(&if title.is_empty() { "The next day".into() } else { format!("After: {title}") })
    );
    out.push_str(&format!("baseline = {}\n", quoted(&solution.baseline)));
    let ids: Vec<String> = solution.setups.iter().map(|s| quoted(&s.id)).collect();
    let there_and_back = || ids.iter().chain(ids.iter().rev()).cloned().collect::<Vec<_>>();
    let both = !on_loop.is_empty() && !on_rollers.is_empty();
    let order = if both { [there_and_back(), there_and_back()].concat() } else { there_and_back() };
    out.push_str(&format!("order = [{}]   # every set-up twice, there and back\n", order.join(", ")));
    let kind = if on_loop.is_empty() { "rollers" } else { solution.circuit.kind.as_str() };
    if both {
        let on = [vec![quoted("rollers"); 2 * ids.len()], vec![quoted(kind); 2 * ids.len()]].concat();
        out.push_str(&format!("on = [{}]\n", on.join(", ")));
    }
    if !on_loop.is_empty() {
        out.push_str(&format!(
            "laps_per_run = {}\n",
            median(on_loop.iter().map(|run| run.laps.len()).collect()).max(1)
        ));
    }
    let speeds = speeds(&on_loop, &on_rollers);
    let note = if speeds.len() == 1 && !on_loop.is_empty() {
        "   # one speed tells differences; a second one, lap by lap, would tell CdA and Crr too"
    } else if speeds.len() > 1 {
        "   # means of the laps as ridden, with the change of speed in them"
    } else {
        ""
    };
    let speeds: Vec<String> = speeds.iter().map(|v| format!("{v:.1}")).collect();
    out.push_str(&format!("speeds_km_h = [{}]{note}\n", speeds.join(", ")));
    if !on_rollers.is_empty() {
        let windows = on_rollers.iter().filter_map(|run| run.window.as_ref());
        let speed = mean_of_known(windows.map(|w| km_h_from_m_s(w.mean_speed_m_s)));
        out.extend(speed.map(|v| format!("rollers_speed_km_h = {v:.1}\n")));
        out.push_str(&format!("run_duration_s = {:.0}.0\n", run_duration_s(&on_rollers)));
    }
    out.push_str("# target.power_w = 3.0   # the difference that you want to find\n\n");
    out.push_str(&circuit(session, solution, kind));
    out.push_str(&air(session, &on_loop, &on_rollers));
    out.push_str(&format!(
        "[solve]\ncda = {}\ncrr = {}\n\n",
        serde_json::to_string(&session.solve.cda).ok()?,
        serde_json::to_string(&session.solve.crr).ok()?
    ));
    let tables = Tables {
        rider_and_bike: &session.rider_and_bike,
        reference: &session.reference,
        rollers: (!on_rollers.is_empty()).then_some(&session.rollers),
        uncertainty: &session.uncertainty,
    };
    out.push_str(&toml::to_string(&tables).ok()?);
    for setup in &solution.setups {
        out.push_str(&of_setup(session, solution, setup, !on_rollers.is_empty() && !on_loop.is_empty())?);
    }
    Some(out)
}

fn by_venue(solution: &Solution) -> (Vec<&RunResult>, Vec<&RunResult>) {
    solution.runs.iter().partition(|run| run.venue != "rollers")
}

/// As ridden, but long enough for the warm-up that was seen and five steady minutes after it.
fn run_duration_s(on_rollers: &[&RunResult]) -> f64 {
    let ridden_s = on_rollers.iter().map(|run| run.duration_s).fold(0.0, f64::max);
    let warm_up_s = on_rollers.iter().filter_map(|run| run.window.as_ref()?.time_constant_s).fold(0.0, f64::max);
    ridden_s.floor().max(wanted_duration_s(warm_up_s))
}

fn median(mut all: Vec<usize>) -> usize {
    all.sort_unstable();
    all.get(all.len() / 2).copied().unwrap_or(0)
}

/// Mean speed of each class of the laps that are used, km/h; that of the rollers where there are no laps.
fn speeds(on_loop: &[&RunResult], on_rollers: &[&RunResult]) -> Vec<f64> {
    let used = || on_loop.iter().flat_map(|run| &run.laps).filter(|lap| lap.used);
    let of = |wanted: &dyn Fn(&LapResult) -> bool| {
        mean_of_known(used().filter(|l| wanted(l)).map(|l| km_h_from_m_s(l.mean_speed_m_s)))
    };
    let classes = used().filter_map(|lap| lap.planned_speed_class).max().unwrap_or(0);
    let by_class: Vec<f64> = match classes {
        1..=MOST_SPEEDS => (1..=classes).filter_map(|c| of(&|lap| lap.planned_speed_class == Some(c))).collect(),
        _ => of(&|_| true).into_iter().collect(),
    };
    if by_class.is_empty() {
        let windows = on_rollers.iter().filter_map(|run| run.window.as_ref());
        return mean_of_known(windows.map(|w| km_h_from_m_s(w.mean_speed_m_s))).into_iter().collect();
    }
    by_class
}

fn circuit(session: &Session, solution: &Solution, kind: &str) -> String {
    let mut out = format!("[loop]\nkind = {}\n", quoted(kind));
    let circuit = &solution.circuit;
    if let Some(length_m) = circuit.stated_length_m.or(circuit.length_m).filter(|l| l.is_finite()) {
        out.push_str(&format!("length_m = {length_m:.1}\n"));
    }
    for (key, value) in [
        ("bend_radius_m", session.circuit.bend_radius_m),
        ("transition_m", session.circuit.transition_m),
        ("home_straight_bearing_deg", session.circuit.home_straight_bearing_deg),
    ] {
        out.extend(value.map(|v| format!("{key} = {v:?}\n")));
    }
    if kind == "track" {
        out.push_str(&format!("positions = {}\n", circuit.gate.is_some()));
    }
    let heights = || circuit.profile.iter().map(|p| p.elevation_m).filter(|h| h.is_finite());
    if let Some((low, high)) = heights().reduce(f64::min).zip(heights().reduce(f64::max)).filter(|_| kind == "road") {
        out.push_str(&format!("elevation_amplitude_m = {:.1}\n", 0.5 * (high - low)));
    }
    out.push('\n');
    out
}

/// Air as it was on the mean, and the wind where the rides told one.
fn air(session: &Session, on_loop: &[&RunResult], on_rollers: &[&RunResult]) -> String {
    let mut out = String::from("[air]\n");
    let runs = || on_loop.iter().chain(on_rollers);
    let temperature = mean_of_known(runs().filter_map(|run| run.temperature_c)).map(|t| ("temperature_c", t));
    let pressure = session.air.pressure_hpa.map(|p| ("pressure_hpa", p));
    let humidity = session.air.humidity_pct.map(|h| ("humidity_pct", h));
    for (key, value) in [temperature, pressure, humidity].into_iter().flatten() {
        out.push_str(&format!("{key} = {value:.1}\n"));
    }
    out.push('\n');
    let told = || on_loop.iter().filter(|run| run.wind.is_told());
    let wind = mean_of_known(told().filter_map(|run| run.wind.speed_m_s)).zip(told().find_map(|run| run.wind.from_deg));
    if let Some((speed_m_s, from_deg)) = wind {
        out.push_str(&format!("[wind]\nspeed_m_s = {speed_m_s:.1}\nfrom_deg = {from_deg:.0}.0\n\n"));
    }
    out
}

/// A set-up with the values that were found, else those that were expected.
fn of_setup(session: &Session, solution: &Solution, setup: &SetupResult, both: bool) -> Option<String> {
    // What all set-ups share has one value, that of the baseline.
    let baseline = solution.setups.iter().find(|s| s.id == solution.baseline).unwrap_or(setup);
    let of = |sharing: Sharing| if sharing == Sharing::Common { baseline } else { setup };
    let (air, rolling) = (of(session.solve.cda), of(session.solve.crr));
    let seen_on_rollers = |id: &str| {
        let venue = solution.venues.iter().flat_map(|v| &v.results).find(|v| v.venue == "rollers")?;
        venue.setups.iter().find(|s| s.id == id)?.crr.value
    };
    // A set-up that rollers have not seen differs there from the baseline as it does on the loop.
    let by_difference = || {
        let contrast = solution.contrasts.iter().find(|c| c.setup == rolling.id)?;
        Some(seen_on_rollers(&solution.baseline)? + contrast.crr.value?)
    };
    let on_rollers = || seen_on_rollers(&rolling.id).or_else(by_difference);
    let held = air.cda_m2_with_crr_held.and_then(|e| e.value);
    let found = |value: Option<f64>, expected: f64| match value.filter(|v| v.is_finite() && *v > 0.0) {
        Some(v) => significant(v, DIGITS),
        None => format!("{expected:?}   # not told by this day: what was expected"),
    };
    let mut out =
        format!("\n[[setup]]\nid = {}\nlabel = {}\n", quoted(&setup.id), quoted(&name_of(solution, &setup.id)));
    out.push_str(&format!("cda_m2 = {}\n", found(air.cda_m2.value.or(held), session.expected.cda_m2)));
    out.push_str(&format!("crr = {}\n", found(rolling.crr.value.or_else(on_rollers), session.expected.crr)));
    if let Some(crr) = on_rollers().filter(|_| both) {
        out.push_str(&format!("crr_rollers = {}\n", significant(crr, DIGITS)));
    }
    let factors = session.setups.iter().find(|s| s.id == setup.id).map(|s| &s.factors).filter(|f| !f.is_empty());
    if let Some(factors) = factors {
        let all = factors.iter().map(|(key, level)| Some(format!("{} = {}", key, toml::Value::try_from(level).ok()?)));
        out.push_str(&format!("factors = {{ {} }}\n", all.collect::<Option<Vec<_>>>()?.join(", ")));
    }
    Some(out)
}
