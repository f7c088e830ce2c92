//! Which number is which: the order of the parameters of a fit.
//!
//! Given what is shared and what is held; gives the column of each parameter. It holds no values.

use super::prior::Expected;
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

/// Which runs have one value of Crr or CdA together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum By {
    Day,
    Setup,
    Run,
}

impl From<Sharing> for By {
    fn from(sharing: Sharing) -> By {
        match sharing {
            Sharing::Common => By::Day,
            Sharing::PerSetup => By::Setup,
        }
    }
}

/// What a fit estimates of Crr, CdA and the air, whatever the runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Estimated {
    pub crr: By,
    pub cda: By,
    pub crr_drift: bool,
    /// Whether the height gained where no lap shows the loop is open.
    pub open_height: bool,
    /// Coefficients of the wind along the loop.
    pub along: usize,
    /// `None` where the effect of yaw is held.
    pub yaw: Option<By>,
}

/// Columns of all parameters: Crr values first, then CdA values, an optional drift of Crr, a height that is open, the wind along the loop,
/// yaw, then the runs.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Layout {
    /// Column of the Crr of each run.
    crr: Vec<usize>,
    cda: Vec<usize>,
    /// Column of the Crr of each set-up; nothing where each run has its own.
    setup_crr: Vec<usize>,
    setup_cda: Vec<usize>,
    yaw: Vec<Option<usize>>,
    /// Linear drift of Crr over the day, per hour.
    pub crr_drift: Option<usize>,
    /// Height gained in all where no lap shows the loop.
    pub open_height: Option<usize>,
    /// Coefficients of the wind along the loop.
    pub along: Range<usize>,
    /// Number of parameters that are shared between runs.
    pub shared: usize,
    pub runs: Vec<RunColumns>,
    /// Number of all parameters.
    pub len: usize,
}

/// Columns of one value for the day or each set-up, from a column on, by set-up.
fn setup_columns(by: By, setups: usize, from: usize) -> Vec<usize> {
    match by {
        By::Day => vec![from; setups],
        By::Setup => (from..from + setups).collect(),
        By::Run => Vec::new(),
    }
}

/// The same with values of runs, by run.
fn columns(by: By, setup_of_run: &[usize], from: usize) -> Vec<usize> {
    let place = |(run, setup): (usize, &usize)| match by {
        By::Day => from,
        By::Setup => from + setup,
        By::Run => from + run,
    };
    setup_of_run.iter().enumerate().map(place).collect()
}

impl Layout {
    /// `setup_of_run` is the set-up of each run of `runs`, below `setups`.
    pub fn new(setups: usize, setup_of_run: &[usize], estimated: Estimated, runs: &[Nuisances]) -> Layout {
        let count = |by: By| match by {
            By::Day => 1,
            By::Setup => setups,
            By::Run => runs.len(),
        };
        let mut next = 0;
        let mut take = |wanted: usize| {
            next += wanted;
            next - wanted
        };
        let (first_crr, first_cda) = (take(count(estimated.crr)), take(count(estimated.cda)));
        let crr_drift = estimated.crr_drift.then(|| take(1));
        let open_height = estimated.open_height.then(|| take(1));
        let first = take(estimated.along);
        let along = first..first + estimated.along;
        let yaw = match estimated.yaw {
            Some(by) => columns(by, setup_of_run, take(count(by))).into_iter().map(Some).collect(),
            None => vec![None; runs.len()],
        };
        let shared = take(0);
        let mut one = |wanted: bool| wanted.then(|| take(1));
        let runs = runs
            .iter()
            .map(|n| RunColumns {
                lag: one(n.lag),
                east: one(n.wind),
                north: one(n.wind),
                drift_east: one(n.wind && n.wind_drift),
                drift_north: one(n.wind && n.wind_drift),
            })
            .collect();
        Layout {
            crr: columns(estimated.crr, setup_of_run, first_crr),
            cda: columns(estimated.cda, setup_of_run, first_cda),
            setup_crr: setup_columns(estimated.crr, setups, first_crr),
            setup_cda: setup_columns(estimated.cda, setups, first_cda),
            yaw,
            crr_drift,
            open_height,
            along,
            shared,
            runs,
            len: next,
        }
    }

    /// Column of the Crr of each set-up; nothing where each run has its own.
    pub fn setup_crr(&self) -> &[usize] {
        &self.setup_crr
    }

    /// The same of CdA.
    pub fn setup_cda(&self) -> &[usize] {
        &self.setup_cda
    }

    /// Column of the Crr of a run.
    pub fn crr(&self, run: usize) -> usize {
        self.crr[run]
    }

    /// Column of the CdA of a run.
    pub fn cda(&self, run: usize) -> usize {
        self.cda[run]
    }

    /// Column of what yaw does to the drag of a run; `None` when held.
    pub fn yaw(&self, run: usize) -> Option<usize> {
        self.yaw[run]
    }

    /// What each parameter is; `None` for the drift of Crr.
    pub fn kinds(&self) -> Vec<Option<Expected>> {
        let mut kind = vec![None; self.len];
        self.crr.iter().for_each(|c| kind[*c] = Some(Expected::Crr));
        self.cda.iter().for_each(|c| kind[*c] = Some(Expected::Cda));
        self.open_height.iter().for_each(|c| kind[*c] = Some(Expected::OpenHeight));
        self.along.clone().for_each(|c| kind[c] = Some(Expected::WindAlong));
        self.yaw.iter().flatten().for_each(|c| kind[*c] = Some(Expected::Yaw));
        for run in &self.runs {
            let mut set = |columns: &[Option<usize>], what: Expected| {
                columns.iter().flatten().for_each(|c| kind[*c] = Some(what));
            };
            set(&[run.lag], Expected::Lag);
            set(&[run.east, run.north], Expected::Wind);
            set(&[run.drift_east, run.drift_north], Expected::WindDrift);
        }
        kind
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shared_parameters_take_one_column_and_runs_follow() {
        let n = Nuisances { lag: true, wind: true, wind_drift: false };
        let estimated = Estimated {
            crr: By::Setup,
            cda: By::Day,
            crr_drift: false,
            open_height: false,
            along: 2,
            yaw: Some(By::Day),
        };
        let l = Layout::new(3, &[2, 0], estimated, &[n, Nuisances { lag: false, ..n }]);
        assert_eq!([l.crr(0), l.crr(1)], [2, 0]);
        assert_eq!((l.setup_crr(), l.setup_cda()), ([0, 1, 2].as_slice(), [3, 3, 3].as_slice()));
        assert_eq!([l.cda(0), l.cda(1)], [3, 3]);
        assert_eq!((l.along.clone(), l.yaw(1), l.shared), (4..6, Some(6), 7));
        assert_eq!((l.runs[0].range(), l.runs[1].range()), (7..10, 10..12));
        assert!(RunColumns::default().range().is_empty());
        assert_eq!(l.len, 12);
        assert_eq!(l.kinds()[8], Some(Expected::Wind));
        let by_run = Layout::new(3, &[2, 0], Estimated { crr: By::Run, ..estimated }, &[n, n]);
        assert_eq!([by_run.crr(0), by_run.crr(1), by_run.cda(0)], [0, 1, 2]);
    }
}
