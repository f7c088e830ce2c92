//! Laps brought together by set-up, or by planned speed where there is one set-up: the mean at every step edge with a band of
//! two standard errors.
//!
//! Given laps at their step edges; gives lines to draw. It leaves no lap out that is used.

use super::figure::names;
use super::scale::{Range, number};
use super::style::{Identity, Style};
use crate::evidence::{Evidence, LapEvidence};
use crate::solution::Solution;
use crate::wording::counted;

/// Laps that belong together.
pub struct Group<'a> {
    pub name: String,
    pub identity: Identity,
    pub laps: Vec<&'a LapEvidence>,
}

/// A mean with its band.
pub struct MeanLine {
    pub x: Vec<f64>,
    pub mean: Vec<f64>,
    pub low: Vec<f64>,
    pub high: Vec<f64>,
}

/// Half-width of the band in standard errors.
const BAND: f64 = 2.0;

/// Used laps by set-up; of one set-up by planned speed, where it has several.
pub fn groups<'a>(solution: &Solution, evidence: &'a Evidence, style: &Style) -> Vec<Group<'a>> {
    let names = names(solution);
    let one_set_up = names.len() < 2;
    let mut groups: Vec<(usize, Group)> = Vec::new();
    for (r, run) in evidence.runs.iter().enumerate() {
        for lap in run.laps.iter().filter(|lap| lap.used) {
            let told = solution.runs.get(r).and_then(|run| run.laps.iter().find(|l| l.lap == lap.lap));
            let class = told.and_then(|l| l.planned_speed_class).unwrap_or(1);
            let place = if one_set_up { class.saturating_sub(1) } else { run.setup };
            match groups.iter_mut().find(|(at, _)| *at == place) {
                Some((_, group)) => group.laps.push(lap),
                None => {
                    let name = names.get(run.setup).cloned().unwrap_or_else(|| format!("run {}", r + 1));
                    groups.push((place, Group { name, identity: style.identity(place), laps: vec![lap] }));
                }
            }
        }
    }
    groups.sort_by_key(|(place, _)| *place);
    let several = groups.len() > 1;
    let mut groups: Vec<Group> = groups.into_iter().map(|(_, group)| group).collect();
    if one_set_up && several {
        for group in &mut groups {
            let speeds = group.laps.iter().map(|lap| lap.mean_speed_m_s).filter(|v| v.is_finite());
            let mean = speeds.sum::<f64>() / group.laps.len().max(1) as f64;
            let speed = number(style.units.speed_value(mean), 1, style);
            group.name = format!("{} near {speed} {}", counted(group.laps.len(), "lap"), style.units.speed_unit());
        }
    }
    groups
}

/// The mean of the laps that have the most common number of edges; `None` for fewer than one.
pub fn mean<'a>(laps: &[&'a LapEvidence], of: fn(&'a LapEvidence) -> &'a [f64], scale: f64) -> Option<MeanLine> {
    let first = laps.first()?;
    let alike: Vec<&[f64]> =
        laps.iter().filter(|lap| lap.chainage_m.len() == first.chainage_m.len()).map(|lap| of(lap)).collect();
    let count = alike.iter().map(|values| values.len()).min()?.min(first.chainage_m.len());
    let n = alike.len() as f64;
    let mut line = MeanLine { x: Vec::new(), mean: Vec::new(), low: Vec::new(), high: Vec::new() };
    for edge in 0..count {
        let values = alike.iter().map(|values| values[edge] * scale);
        let mean = values.clone().sum::<f64>() / n;
        let square = values.map(|v| (v - mean).powi(2)).sum::<f64>();
        let half = if alike.len() > 1 { BAND * (square / (n - 1.0) / n).sqrt() } else { 0.0 };
        line.x.push(first.chainage_m[edge]);
        line.mean.push(mean);
        line.low.push(mean - half);
        line.high.push(mean + half);
    }
    Some(line)
}

/// A range that holds the bands whole and all but the outermost twentieth of the single values.
pub fn range(lines: &[&MeanLine], singles: impl Iterator<Item = f64>) -> Option<Range> {
    let mut singles: Vec<f64> = singles.filter(|v| v.is_finite()).collect();
    singles.sort_by(f64::total_cmp);
    let cut = singles.len() / 40;
    let inner = singles.get(cut..singles.len() - cut).unwrap_or_default().iter().copied();
    Range::of(lines.iter().flat_map(|l| l.low.iter().chain(&l.high).copied()).chain(inner))
}
