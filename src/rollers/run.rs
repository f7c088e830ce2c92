//! One run on rollers from recording to Crr.
//!
//! Given a recording, rider, rollers and, if stated, a window and an air temperature; gives a [`RollerRun`]. It
//! compares nothing with anything.

use super::account::{self, DrumInputs, Step, WindowSums};
use super::steady::{self, BLOCK_S, Block};
use super::warm_up::{self, WarmUp};
use super::window::{self, Refusal, TRIM_S};
use super::{SHORTEST_WINDOW_S, practice, scatter};
use crate::error::Error;
use crate::evidence::WarmUpEvidence;
use crate::finding::What;
use crate::record::Recording;
use crate::session::{RiderAndBike, Rollers};
use crate::uncertainty::serial::mean_of_known;

/// Shortest window that a user may state, s: less cannot be cut into enough batches for a standard error.
const SHORTEST_STATED_S: f64 = 75.0;

/// A window in seconds from the first record.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StatedWindow {
    pub from_s: f64,
    pub to_s: f64,
}

/// What the tester may state for a run.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Choice {
    /// Of the air; the mean of the device when left out.
    pub temperature_c: Option<f64>,
    /// Found when left out.
    pub window: Option<StatedWindow>,
}

/// The result of one run.
#[derive(Debug, Clone)]
pub struct RollerRun {
    /// On the flat, at the reference temperature.
    pub crr_flat: f64,
    /// On the drums, as ridden.
    pub crr_drum: f64,
    /// Standard error of `crr_flat` from the scatter within the window.
    pub se_scatter: f64,
    /// Degrees of freedom of `se_scatter`.
    pub dof: f64,
    /// Mean over the window of what is left of the warm-up, as a standard uncertainty of `crr_flat`: its size is that
    /// of an error known to be there and not corrected for.
    pub se_warm_up: f64,
    pub window_from_s: f64,
    pub window_to_s: f64,
    /// Of the warm-up; `None` when none shows above the noise.
    pub time_constant_s: Option<f64>,
    pub mean_speed_m_s: f64,
    pub mean_power_w: f64,
    /// Cadence over speed, turns for each metre.
    pub gear: Option<f64>,
    /// What was recorded in the window; with altered inputs, `inputs.crr_flat(&sums)` is the Crr under those.
    pub sums: WindowSums,
    pub inputs: DrumInputs,
    /// For the figure; the caller sets `run` and `setup`.
    pub evidence: WarmUpEvidence,
    pub findings: Vec<What>,
}

/// Crr from one recording on rollers.
///
/// Errors: [`Error::NoChannel`] without power or speed, [`Error::NoSteadyWindow`] where the warm-up never ends or the
/// ride is too short, [`Error::Inconsistent`] for a stated window outside the ride or impossible rollers.
pub fn analyse(
    recording: &Recording,
    rider: &RiderAndBike,
    rollers: &Rollers,
    choice: &Choice,
) -> Result<RollerRun, Error> {
    let temperature_c = choice.temperature_c.or_else(|| mean_of_known(&recording.temperature_c));
    let inputs = DrumInputs::new(rider, rollers, temperature_c);
    let steps = account::steps(recording)?;
    let blocks = steady::blocks(&steps, &inputs)?;
    let stretch = &blocks[steady::steady_stretch(&blocks)];
    let time_s: Vec<f64> = stretch.iter().map(Block::middle_s).collect();
    let crr: Vec<f64> = stretch.iter().map(|b| b.crr_drum).collect();
    let warm_up = warm_up::fit(&time_s, &crr, BLOCK_S);
    let found = match choice.window {
        Some(stated) => stated_window(stated, &steps, recording)?,
        None => found_window(stretch, &warm_up, &steps, recording)?,
    };
    let inside: Vec<Block> =
        stretch.iter().filter(|b| (found.from_s..found.to_s).contains(&b.middle_s())).copied().collect();
    let left = window::remaining(&warm_up, &inside);
    let mut findings = notes(&inputs, &found, &warm_up, left);
    findings.extend(practice::within_run(found.steps, recording));
    let to_flat = inputs.flat_over_drum();
    let value = balance(found.steps, &inputs)?;
    findings.extend(disagreement(&value.scatter, to_flat));
    Ok(RollerRun {
        crr_flat: value.crr_drum * to_flat,
        crr_drum: value.crr_drum,
        se_scatter: value.scatter.standard_error() * to_flat,
        dof: value.scatter.dof,
        se_warm_up: left.abs() * to_flat,
        window_from_s: found.from_s,
        window_to_s: found.to_s,
        time_constant_s: warm_up.decay.map(|d| d.time_constant_s),
        mean_speed_m_s: value.sums.distance_m / value.sums.duration_s,
        mean_power_w: value.sums.energy_j / value.sums.duration_s,
        gear: practice::gear(found.steps, recording),
        sums: value.sums,
        evidence: shown(&steps, &inputs, &warm_up, &found, value.crr_drum)?,
        inputs,
        findings,
    })
}

/// The series of the figure: Crr on the drums at every step in which the wheel turned.
fn shown(
    steps: &[Step],
    inputs: &DrumInputs,
    warm_up: &WarmUp,
    found: &Found,
    mean_crr: f64,
) -> Result<WarmUpEvidence, Error> {
    let turning: Vec<&Step> = steps.iter().filter(|s| s.sums.distance_m > s.sums.duration_s).collect();
    let time_s: Vec<f64> = turning.iter().map(|s| 0.5 * (s.from_s + s.to_s)).collect();
    Ok(WarmUpEvidence {
        crr: turning.iter().map(|s| inputs.crr_drum(&s.sums)).collect::<Result<_, _>>()?,
        decay: warm_up.decay.map(|d| time_s.iter().map(|t| d.at(*t)).collect()).unwrap_or_default(),
        time_s,
        window_from_s: found.from_s,
        window_to_s: found.to_s,
        mean_crr,
        ..WarmUpEvidence::default()
    })
}

/// A window as steps of the ride.
struct Found<'a> {
    steps: &'a [Step],
    from_s: f64,
    to_s: f64,
    /// Whether the warm-up was over by the rule; true for a stated window, which is the tester's own judgement.
    settled: bool,
}

fn stated_window<'a>(stated: StatedWindow, steps: &'a [Step], recording: &Recording) -> Result<Found<'a>, Error> {
    let StatedWindow { from_s, to_s } = stated;
    let inside = between(steps, from_s, to_s);
    let recorded_s: f64 = inside.iter().map(|s| s.sums.duration_s).sum();
    let distance_m: f64 = inside.iter().map(|s| s.sums.distance_m).sum();
    let in_order = from_s.is_finite() && to_s.is_finite();
    if !in_order || recorded_s < SHORTEST_STATED_S || distance_m <= recorded_s {
        return Err(Error::Inconsistent {
            file: recording.provenance.file.clone(),
            line: None,
            message: format!(
                "the stated window from {from_s:.0} to {to_s:.0} s holds {recorded_s:.0} s of riding with power and \
                 speed, at least {SHORTEST_STATED_S:.0} s are needed; the ride lasts {:.0} s",
                steps.last().map_or(0.0, |s| s.to_s)
            ),
        });
    }
    Ok(Found { steps: inside, from_s, to_s, settled: true })
}

fn found_window<'a>(
    stretch: &[Block],
    warm_up: &WarmUp,
    steps: &'a [Step],
    recording: &Recording,
) -> Result<Found<'a>, Error> {
    let window = window::choose(stretch, warm_up).map_err(|r| refusal(r, warm_up, recording))?;
    let (first, last) = (window.blocks.start, window.blocks.end.saturating_sub(1));
    let edge = |block: usize, past: u64| stretch.get(block).map_or(0.0, |b| (b.number + past) as f64 * BLOCK_S);
    let inside = trimmed(between(steps, edge(first, 0), edge(last, 1)));
    let from_s = inside.first().map_or(0.0, |s| s.from_s);
    let to_s = inside.last().map_or(0.0, |s| s.to_s);
    Ok(Found { steps: inside, from_s, to_s, settled: window.settled })
}

/// Steps that lie within two times.
fn between(steps: &[Step], from_s: f64, to_s: f64) -> &[Step] {
    let first = steps.partition_point(|s| s.from_s < from_s);
    let end = steps.partition_point(|s| s.to_s <= to_s).max(first);
    &steps[first..end]
}

/// The steps less the few at both ends that make the end speeds most alike, so that neither the unknown inertia of the
/// drums nor a delay between power and speed enters the account.
fn trimmed(steps: &[Step]) -> &[Step] {
    let (Some(first), Some(last)) = (steps.first(), steps.last()) else { return steps };
    let ends = steps.iter().enumerate().filter(|(_, s)| s.to_s >= last.to_s - 0.5 * TRIM_S);
    let starts = steps.iter().enumerate().take_while(|(_, s)| s.from_s <= first.from_s + 0.5 * TRIM_S);
    let gap = |(start, end): &((usize, &Step), (usize, &Step))| (end.1.to_m_s - start.1.from_m_s).abs();
    let pairs = starts.flat_map(|start| ends.clone().map(move |end| (start, end)));
    match pairs.filter(|(s, e)| s.0 <= e.0).min_by(|a, b| gap(a).total_cmp(&gap(b))) {
        Some((start, end)) => &steps[start.0..=end.0],
        None => steps,
    }
}

/// Crr over some steps and the standard error of it.
struct Value {
    sums: WindowSums,
    crr_drum: f64,
    scatter: scatter::Scatter,
}

fn balance(steps: &[Step], inputs: &DrumInputs) -> Result<Value, Error> {
    let mut sums = WindowSums::default();
    steps.iter().for_each(|s| sums.add(&s.sums));
    let crr_drum = inputs.crr_drum(&sums)?;
    let load_n = inputs.load_sum_n()?;
    // Residual energy of a step over the mean load and distance of one: its mean is an error of Crr.
    let mean_work = load_n * sums.distance_m / steps.len().max(1) as f64;
    let residual = |s: &Step| (inputs.tyre_energy_j(&s.sums) - crr_drum * load_n * s.sums.distance_m) / mean_work;
    let residuals: Vec<f64> = steps.iter().map(residual).collect();
    let spacing_s = sums.duration_s / steps.len().max(1) as f64;
    let scatter = scatter::scatter_of_mean(&residuals, spacing_s).ok_or_else(|| Error::Numerical {
        stage: "rollers",
        message: format!("{} records in the window are too few for a standard error; record every second", steps.len()),
    })?;
    Ok(Value { sums, crr_drum, scatter })
}

/// A finding where the two standard errors differ by more than a factor of two, which twelve batches rarely do by chance.
fn disagreement(scatter: &scatter::Scatter, to_flat: f64) -> Option<What> {
    let (one, other) = (to_flat * scatter.newey_west, to_flat * scatter.batch_means);
    (one.max(other) > 2.0 * one.min(other)).then(|| What::RollerPractice {
        what: format!(
            "The standard error of Crr is {one:.6} from autocovariances and {other:.6} from batches of the window, more \
             than twice apart; the larger is used. A longer window would settle it."
        ),
    })
}

fn notes(inputs: &DrumInputs, found: &Found, warm_up: &WarmUp, left: f64) -> Vec<What> {
    let mut findings = Vec::new();
    if inputs.rollers.no_load_power_w_at_40_km_h.is_none() {
        findings.push(What::NoLoadDragAssumed);
    }
    let time_constant_s = warm_up.decay.map(|d| d.time_constant_s);
    findings.push(What::WarmUp { window_start_s: found.from_s, time_constant_s });
    if !found.settled {
        findings.push(What::RollerPractice {
            what: format!(
                "The warm-up is not quite over, and what is left of it is carried as uncertainty. On average {:.6} of Crr on the \
                 drums would still die away within the window; warm up longer.",
                left.abs()
            ),
        });
    }
    if inputs.rollers.temperature_coefficient_per_c != 0.0 && inputs.temperature_c.is_none() {
        findings.push(What::RollerPractice {
            what: "No temperature is known, so Crr is not brought to the reference temperature; state temperature_c."
                .into(),
        });
    }
    findings
}

fn refusal(refusal: Refusal, warm_up: &WarmUp, recording: &Recording) -> Error {
    let file = recording.provenance.file.clone();
    let (reason, next) = match refusal {
        Refusal::TooShort { steady_s } => (
            format!("only {steady_s:.0} s were ridden at one speed"),
            "ride at one speed without stopping: a quarter of an hour to warm up and five minutes to measure".into(),
        ),
        Refusal::StillWarming { share } => (
            format!("Crr still drifts by {:.1} % in the last minutes", 100.0 * share),
            match warm_up.decay {
                Some(d) if d.time_constant_s < 1200.0 => format!(
                    "warm-up takes about {:.0} min here (four time constants), ride five more after it",
                    (practice::WARM_UP_TIMES * d.time_constant_s / 60.0).ceil()
                ),
                _ => "look for a rubbing brake, a slow leak or a drifting power meter, or state the window".into(),
            },
        ),
    };
    Error::NoSteadyWindow { file, needed_s: SHORTEST_WINDOW_S, reason, next }
}

#[cfg(test)]
#[path = "run_tests.rs"]
mod tests;
