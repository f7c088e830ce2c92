//! A series as one line of blocks.
//!
//! Given times and values; gives text of a stated width in which each character is the mean over an equal share of the
//! time. A share without a value is a blank, so that a hole in the record shows as one.

const BLOCKS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];

/// A line of blocks with the range that it spans.
#[derive(Debug, Clone, PartialEq)]
pub struct Sparkline {
    pub text: String,
    /// Of the means that are drawn.
    pub low: f64,
    pub high: f64,
}

/// See the module. `None` when there is nothing to draw.
///
/// ```
/// use loopwright::report::sparkline::sparkline;
/// let line = sparkline(&[0.0, 1.0, 2.0, 3.0], &[1.0, f64::NAN, 3.0, 8.0], 4).unwrap();
/// assert_eq!((line.text.as_str(), line.low, line.high), ("▁ ▃█", 1.0, 8.0));
/// ```
pub fn sparkline(time_s: &[f64], values: &[f64], width: usize) -> Option<Sparkline> {
    let (first, last) = (*time_s.first()?, *time_s.last()?);
    let width = width.clamp(1, 400);
    let mut sums = vec![0.0; width];
    let mut counts = vec![0usize; width];
    // The last record belongs to the last share, and a single record to the first.
    let per_share = ((last - first) / width as f64).max(f64::MIN_POSITIVE);
    for (t, value) in time_s.iter().zip(values) {
        let share = (((t - first) / per_share) as usize).min(width - 1);
        if value.is_finite() {
            sums[share] += value;
            counts[share] += 1;
        }
    }
    let means: Vec<Option<f64>> =
        sums.iter().zip(&counts).map(|(sum, n)| (*n > 0).then(|| sum / *n as f64).filter(|m| m.is_finite())).collect();
    let known = || means.iter().flatten().copied();
    let (low, high) = (known().fold(f64::INFINITY, f64::min), known().fold(f64::NEG_INFINITY, f64::max));
    if low > high {
        return None;
    }
    let block = |mean: &Option<f64>| match mean {
        // A flat line stands in the middle.
        Some(_) if high <= low => BLOCKS[3],
        Some(m) => BLOCKS[(((m - low) / (high - low) * 7.999) as usize).min(7)],
        None => ' ',
    };
    Some(Sparkline { text: means.iter().map(block).collect(), low, high })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_character_is_an_equal_share_of_the_time_and_a_hole_stays_blank() {
        // Two seconds, nothing for six, two seconds: in five shares of two seconds the middle three are empty.
        let line = sparkline(&[0.0, 1.0, 8.0, 9.0, 10.0], &[5.0, 5.0, 9.0, 9.0, 9.0], 5).unwrap();
        assert_eq!(line.text, "▁   █");
    }

    #[test]
    fn a_flat_or_missing_series_needs_no_special_case_of_the_caller() {
        assert_eq!(sparkline(&[0.0, 1.0], &[2.0, 2.0], 2).unwrap().text, "▄▄");
        assert_eq!(sparkline(&[0.0, 1.0], &[f64::NAN; 2], 2), None);
        assert_eq!(sparkline(&[], &[], 2), None);
    }
}
