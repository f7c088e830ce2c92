//! Which number is which: the order of the parameters of a fit.
//!
//! Given what is shared and what is held; gives the column of each parameter. It holds no values.

use crate::session::Sharing;
use std::ops::Range;

/// What a run's nuisance parameters are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Nuisances {
    pub lag: bool,
    pub wind: bool,
    pub wind_drift: bool,
}

/// Columns of one run's nuisance parameters; `None` when held.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct RunColumns {
    pub lag: Option<usize>,
    pub east: Option<usize>,
    pub north: Option<usize>,
    pub drift_east: Option<usize>,
    pub drift_north: Option<usize>,
}

impl RunColumns {
    /// All columns of the run, which follow each other; empty when all are held.
    pub fn range(&self) -> Range<usize> {
        let all = || [self.lag, self.east, self.north, self.drift_east, self.drift_north].into_iter().flatten();
        all().min().zip(all().max()).map_or(0..0, |(first, last)| first..last + 1)
    }
}

/// Columns of all parameters: Crr values first, then CdA values, an optional drift of Crr, then the runs.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Layout {
    /// Column of the Crr of each set-up.
    pub crr: Vec<usize>,
    /// Column of the CdA of each set-up.
    pub cda: Vec<usize>,
    /// Linear drift of Crr over the day, per hour.
    pub crr_drift: Option<usize>,
    /// Number of linear parameters.
    pub linear: usize,
    pub runs: Vec<RunColumns>,
    /// Number of all parameters.
    pub len: usize,
}

impl Layout {
    pub fn new(setups: usize, crr: Sharing, cda: Sharing, crr_drift: bool, runs: &[Nuisances]) -> Layout {
        let columns = |sharing: Sharing, from: usize| -> Vec<usize> {
            (0..setups).map(|s| from + if sharing == Sharing::PerSetup { s } else { 0 }).collect()
        };
        let crr = columns(crr, 0);
        let cda = columns(cda, crr.last().map_or(0, |c| c + 1));
        let mut next = cda.last().map_or(0, |c| c + 1);
        let mut take = |wanted: bool| {
            wanted.then(|| {
                next += 1;
                next - 1
            })
        };
        let crr_drift = take(crr_drift);
        let linear = crr_drift.map_or_else(|| cda.last().map_or(0, |c| c + 1), |c| c + 1);
        let runs = runs
            .iter()
            .map(|n| RunColumns {
                lag: take(n.lag),
                east: take(n.wind),
                north: take(n.wind),
                drift_east: take(n.wind && n.wind_drift),
                drift_north: take(n.wind && n.wind_drift),
            })
            .collect();
        Layout { crr, cda, crr_drift, linear, runs, len: next }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shared_parameters_take_one_column_and_runs_follow() {
        let n = Nuisances { lag: true, wind: true, wind_drift: false };
        let l = Layout::new(3, Sharing::PerSetup, Sharing::Common, false, &[n, Nuisances { lag: false, ..n }]);
        assert_eq!(l.crr, [0, 1, 2]);
        assert_eq!(l.cda, [3, 3, 3]);
        assert_eq!(l.linear, 4);
        assert_eq!(l.runs[1].east, Some(7));
        assert_eq!((l.runs[0].range(), l.runs[1].range()), (4..7, 7..9));
        assert!(RunColumns::default().range().is_empty());
        assert_eq!(l.len, 9);
    }
}
