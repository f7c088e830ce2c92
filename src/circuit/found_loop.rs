//! Cutting rides into laps at equal steps of chainage.
//!
//! Given rides and what the session says of the loop; finds passes and line, and gives laps with the instants of their
//! step edges for any speed delay. A run that has no laps carries the reason; only where no run has any is
//! that an error.

use super::changing_speed;
use super::gate::Track;
use super::lap::{LapCut, RunToCut, edges};
use super::lap_length::{LapLengths, LengthReading};
use super::lap_marks::has_regular_marks;
use super::lap_sequence::{Placing, RunLaps};
use super::line_of_loop::{LineOfLoop, line_of_loop};
use super::mapped_length::Mapped;
use super::passes::{Passed, RunPasses, all_passes, loop_length, no_laps};
use super::placed_rides::placed;
use super::speed_delay::{DelayEvidence, SpeedDelay};
use super::steady_cut::steady_offset;
use super::track::StatedBends;
use crate::error::Error;
use crate::finding::{Finding, What};
use crate::sample::mark_samples;
use crate::session::{Circuit, LapSource, Venue};

/// The loop of some runs: passes and line are found, and laps can be placed along it.
pub struct FoundLoop<'a> {
    runs: &'a [RunToCut<'a>],
    tracks: Vec<Track>,
    run_laps: Vec<RunLaps<'a>>,
    offset: f64,
    /// Whether the line is that of stated bends and only lap marks tie the rides to it.
    by_marks_to_stated_bends: bool,
    /// Laps of no run yet, and of the lengths the stated one.
    cut: LapCut,
}

impl<'a> FoundLoop<'a> {
    /// Errors: [`Error::NoLaps`] when no run has a way to tell its laps, [`Error::TooLarge`] when they are countless.
    pub fn new(runs: &'a [RunToCut<'a>], circuit: &Circuit) -> Result<FoundLoop<'a>, Error> {
        let mut findings = Vec::new();
        let places = placed(runs, &mut findings);
        let has_geometry = circuit.has_known_bends();
        let by_gate: Vec<bool> = runs
            .iter()
            .zip(&places.moving)
            .map(|(r, &m)| m && r.source == LapSource::Auto && !(has_geometry && has_regular_marks(r.ride)))
            .collect();
        let Passed { gate, passes, refused } = all_passes(runs, &places, &by_gate, circuit, &mut findings)?;
        let length_m = loop_length(runs, &passes)
            .or(circuit.length_m)
            .ok_or_else(|| no_laps(runs, "the place is not passed twice in one direction"))?;
        let found = line_of_loop(runs, &places.tracks, &passes, circuit, length_m, &mut findings);
        let LineOfLoop { line, fixed_on, bends, has_bearings } = found;
        if line.is_none() {
            findings.push(Finding::of_session(What::BendsUnknown { track: circuit.kind == Venue::Track }));
        }
        let offset = steady_offset(runs, &passes, length_m, line.as_ref());
        if offset != 0.0 {
            findings.push(Finding::of_session(What::CutMoved { distance_m: (offset * length_m).abs() }));
        }
        let run_laps: Vec<RunLaps> = (0..runs.len())
            .map(|k| RunLaps::new(&runs[k], &places.tracks[k], &passes[k], fixed_on.as_ref(), length_m))
            .collect();
        let reasons = (0..runs.len())
            .map(|k| {
                mark_samples(runs[k].ride, |i| {
                    !by_gate[k] || places.tracks[k].place.get(i).is_some_and(|p| p.is_known())
                })
            })
            .collect();
        let cut_line = line.as_ref().map(|l| l.rotated(offset * length_m));
        let cut = LapCut {
            length_m,
            edge: edges(length_m, if has_geometry { None } else { cut_line.as_ref() }),
            line: cut_line,
            bends: bends.map(|bends| StatedBends { offset, ..bends }),
            has_bearings,
            gate: gate.zip(places.plane).map(|(g, p)| p.position(g.at)),
            runs: Vec::new(),
            refused,
            lengths: LapLengths { stated: LengthReading::stated(circuit), ..LapLengths::default() },
            reasons,
            findings,
        };
        let tied_by_places = passes.iter().any(RunPasses::are_of_gate);
        let by_marks_to_stated_bends = has_geometry && !tied_by_places;
        Ok(FoundLoop { runs, tracks: places.tracks, run_laps, offset, by_marks_to_stated_bends, cut })
    }

    /// Why runs have no laps at all, where they have none.
    pub fn refused(&self) -> &[Option<Error>] {
        &self.cut.refused
    }

    pub fn lap_count(&self) -> usize {
        self.run_laps.iter().map(RunLaps::lap_count).sum()
    }

    /// Whether only lap marks tie the rides to a line of stated bends: a thumb or a strip is no judge of how old the speed
    /// reading is, but the account then is.
    pub fn delay_hangs_on_the_bends(&self) -> bool {
        self.by_marks_to_stated_bends
    }

    /// The speed delay by positions or lap marks of all runs; `None` where there are neither.
    pub fn speed_delay(&self) -> Option<SpeedDelay> {
        let evidence: Vec<DelayEvidence> = self.run_laps.iter().flat_map(RunLaps::delay_evidence).collect();
        (!evidence.is_empty()).then(|| SpeedDelay::shared(&evidence))
    }

    /// The readings of the length of a lap, for some speed delay, s.
    pub fn lengths(&self, delay_s: f64) -> LapLengths {
        let mut mapped = Mapped::new(self.cut.length_m);
        for (run_laps, track) in self.run_laps.iter().zip(&self.tracks) {
            run_laps.map(delay_s, track, &mut mapped);
        }
        LapLengths {
            by_wheel_m: self.run_laps.iter().map(|s| s.lap_by_wheel_m(delay_s)).collect(),
            by_positions: mapped.length(),
            stated: self.cut.lengths.stated,
        }
    }

    /// The laps for some speed delay, s. A lap is used as long as half of its steps are sound, and
    /// [`Lap::step_reason`](super::Lap::step_reason) says which are not.
    pub fn cut(&self, delay_s: f64) -> LapCut {
        let mut out = self.cut.clone();
        let placing = Placing { edge: &self.cut.edge, offset: self.offset, delay_s };
        let runs = self.run_laps.iter().zip(&self.cut.reasons);
        out.runs = runs.map(|(run, reasons)| run.placed(&placing, reasons)).collect();
        out.findings.extend(changing_speed::mark(self.runs, &mut out.runs));
        out
    }
}

/// Cuts all runs of one loop, and reads the length of a lap.
///
/// Errors: those of [`FoundLoop::new`].
pub fn cut(runs: &[RunToCut], circuit: &Circuit) -> Result<LapCut, Error> {
    let found = FoundLoop::new(runs, circuit)?;
    let delay_s = found.speed_delay().unwrap_or(SpeedDelay::USUAL).mean_s;
    let mut out = found.cut(delay_s);
    out.take_lengths(found.lengths(delay_s));
    Ok(out)
}
