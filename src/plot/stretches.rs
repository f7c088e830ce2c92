//! A run's series cut into what may be drawn as one line: between gaps of the record, and used or left out.
//!
//! Given the records of a run; gives ranges and series with NaN where nothing of their kind is. It draws nothing.

use crate::evidence::RunEvidence;
use std::ops::Range;

/// The parts of a run between which the record has a gap, in order; one where the run does not say.
pub fn unbroken(run: &RunEvidence) -> Vec<Range<usize>> {
    let count = run.time_s.len();
    let mut parts = Vec::new();
    let mut from = 0;
    for (index, pair) in run.stretch.windows(2).enumerate().take(count.saturating_sub(1)) {
        if pair[0] != pair[1] {
            parts.push(from..index + 1);
            from = index + 1;
        }
    }
    parts.push(from..count);
    parts
}

/// The part of a series in a range; shorter where the series ends before it.
pub fn within<'a>(values: &'a [f64], range: &Range<usize>) -> &'a [f64] {
    let end = range.end.min(values.len());
    values.get(range.start.min(end)..end).unwrap_or_default()
}

/// One series as two.
#[derive(Debug, Clone, PartialEq)]
pub struct Split {
    pub used: Vec<f64>,
    /// Keeps the records beside it, so that the line has no holes between its two inks.
    pub left_out: Vec<f64>,
}

/// Parts a series by use.
pub fn by_use(run: &RunEvidence, values: &[f64]) -> Split {
    let beside_left_out = |i: usize| {
        !used_at(run, i) || (i + 1 < values.len() && !used_at(run, i + 1)) || (i > 0 && !used_at(run, i - 1))
    };
    let pick = |keep: &dyn Fn(usize) -> bool| -> Vec<f64> {
        values.iter().enumerate().map(|(i, v)| if keep(i) { *v } else { f64::NAN }).collect()
    };
    Split { used: pick(&|i| used_at(run, i)), left_out: pick(&beside_left_out) }
}

/// Whether a record is part of a lap or window that is used.
pub fn used_at(run: &RunEvidence, index: usize) -> bool {
    run.used.get(index).copied().unwrap_or(false)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run() -> RunEvidence {
        RunEvidence {
            time_s: vec![0.0, 1.0, 2.0, 90.0, 91.0],
            used: vec![false, true, true, true, false],
            stretch: vec![0, 0, 0, 1, 1],
            ..RunEvidence::default()
        }
    }

    #[test]
    fn a_gap_parts_the_records_before_it_from_those_after_it() {
        assert_eq!(unbroken(&run()), [0..3, 3..5]);
        let whole = unbroken(&RunEvidence { stretch: Vec::new(), ..run() });
        assert_eq!((whole.len(), whole.first()), (1, Some(&(0..5))));
    }

    #[test]
    fn what_is_left_out_reaches_to_the_used_records_beside_it() {
        let split = by_use(&run(), &[1.0, 2.0, 3.0, 4.0, 5.0]);
        let known = |values: &[f64]| -> Vec<bool> { values.iter().map(|v| v.is_finite()).collect() };
        assert_eq!(known(&split.used), [false, true, true, true, false]);
        assert_eq!(known(&split.left_out), [true, true, false, true, true]);
    }
}
