//! Means of set-ups on rollers and their scatter: within the windows, and between runs where a set-up was repeated.
//!
//! Given the Crr of each run with its error from within its window; gives means and standard errors of any sum or
//! difference of them. It knows nothing of the measuring chain.

use crate::compare::anova::Group;
use crate::uncertainty::budget::{Combined, welch_satterthwaite};

/// One run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RunValue {
    pub setup: usize,
    pub crr: f64,
    /// From within the window alone.
    pub within: Combined,
}

/// The runs of a venue.
#[derive(Debug, Clone, PartialEq)]
pub struct Repeats {
    runs: Vec<RunValue>,
    /// Standard deviation of one run about the mean of its set-up, pooled over the set-ups, with runs less set-ups as
    /// degrees of freedom; `None` when no set-up was repeated.
    pub between: Option<Combined>,
    confidence: f64,
}

impl Repeats {
    pub fn new(runs: Vec<RunValue>, setups: usize, confidence: f64) -> Repeats {
        let groups = (0..setups).map(|s| {
            let readings: Vec<f64> = runs.iter().filter(|r| r.setup == s).map(|r| r.crr).collect();
            Group::of(&readings)
        });
        let (mut squares, mut dof) = (0.0, 0.0);
        for group in groups.filter(|g| g.count > 1) {
            let more = group.count as f64 - 1.0;
            squares += more * group.sd.powi(2);
            dof += more;
        }
        let between = (dof > 0.0).then(|| Combined { standard_uncertainty: (squares / dof).sqrt(), dof });
        Repeats { runs, between, confidence }
    }

    fn of(&self, setup: usize) -> impl Iterator<Item = &RunValue> {
        self.runs.iter().filter(move |r| r.setup == setup)
    }

    fn count(&self, setup: usize) -> f64 {
        self.of(setup).count() as f64
    }

    /// Plain mean of the runs of a set-up: weights by window would trust errors that are not the largest ones.
    pub fn mean(&self, setup: usize) -> f64 {
        self.of(setup).map(|r| r.crr).sum::<f64>() / self.count(setup)
    }

    /// Standard error of the sum or difference of the means of some set-ups.
    ///
    /// Of what the windows say, √Σ(uₖ/n)², and what the repeats say, s √Σ(1/n), the one that makes the wider interval is
    /// taken: repeats see what no window can (the wheel mounted again, pressure, the gauge), and few of them may agree by
    /// chance, which their t quantile allows for.
    pub fn scatter(&self, setups: &[usize]) -> Combined {
        let parts: Vec<Combined> = setups
            .iter()
            .flat_map(|s| self.of(*s).map(|r| (r.within, self.count(*s))))
            .map(|(within, n)| Combined { standard_uncertainty: within.standard_uncertainty / n, ..within })
            .collect();
        let within = welch_satterthwaite(&parts);
        let Some(between) = self.between else { return within };
        let share: f64 = setups.iter().map(|s| 1.0 / self.count(*s)).sum();
        let repeats = Combined { standard_uncertainty: between.standard_uncertainty * share.sqrt(), dof: between.dof };
        if repeats.expanded(self.confidence) > within.expanded(self.confidence) { repeats } else { within }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(setup: usize, crr: f64) -> RunValue {
        RunValue { setup, crr, within: Combined { standard_uncertainty: 1e-5, dof: 20.0 } }
    }

    #[test]
    fn one_run_each_leaves_only_the_windows() {
        let two = Repeats::new(vec![run(0, 0.0034), run(1, 0.0031)], 2, 0.95);
        assert_eq!(two.between, None);
        // Two equal errors: √2 times one, on 2 · 20 degrees of freedom (GUM G.2b by hand).
        let scatter = two.scatter(&[0, 1]);
        assert!((scatter.standard_uncertainty - 1.414_213_562e-5).abs() < 1e-13 && (scatter.dof - 40.0).abs() < 1e-9);
    }

    #[test]
    fn repeats_that_scatter_more_than_their_windows_decide() {
        // By hand: deviations ±2e-4 and ±1e-4, squares 2·4e-8 + 2·1e-8 = 1e-7 on 4 − 2 degrees of freedom.
        let runs = vec![run(0, 0.0036), run(1, 0.0030), run(1, 0.0032), run(0, 0.0032)];
        let repeats = Repeats::new(runs, 2, 0.95);
        let between = repeats.between.unwrap();
        assert!((between.standard_uncertainty - 5e-8_f64.sqrt()).abs() < 1e-15);
        assert_eq!(between.dof, 2.0);
        assert!((repeats.mean(0) - 0.0034).abs() < 1e-15 && (repeats.mean(1) - 0.0031).abs() < 1e-15);
        // Mean of two runs: variance halved; difference of two such means: once the variance of a run.
        let scatter = repeats.scatter(&[0, 1]);
        assert!((scatter.standard_uncertainty - 5e-8_f64.sqrt()).abs() < 1e-15);
        assert_eq!(scatter.dof, 2.0);
    }

    #[test]
    fn repeats_that_agree_by_chance_do_not_shrink_the_interval_below_the_windows() {
        let runs = vec![run(0, 0.0034), run(0, 0.0034 + 1e-9)];
        let repeats = Repeats::new(runs, 1, 0.95);
        assert!((repeats.scatter(&[0]).standard_uncertainty - 1e-5 / 2.0_f64.sqrt()).abs() < 1e-12);
    }
}
