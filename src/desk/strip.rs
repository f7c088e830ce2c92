//! Small drawings of series: the speed and power of a ride or lap, and elevations along the loop.
//!
//! Given numbers; gives points of polylines in a box of stated size. It knows no page and no colour.

use serde::Serialize;

/// A line as the `points` of an SVG polyline; several where there are holes.
#[derive(Debug, Clone, PartialEq, Serialize, Default)]
pub struct Strip {
    pub lines: Vec<String>,
    pub low: f64,
    pub high: f64,
}

/// Width and height of the box, and the range of values that fills it; found when left out.
#[derive(Debug, Clone, Copy)]
pub struct Frame {
    pub width: f64,
    pub height: f64,
    pub from: f64,
    pub to: f64,
    pub range: Option<[f64; 2]>,
}

/// Means of a series over equal shares of the abscissa.
///
/// `None` where nothing is known.
pub fn strip(at: &[f64], values: &[f64], shares: usize, frame: &Frame) -> Option<Strip> {
    let span = frame.to - frame.from;
    if span.is_nan() || span <= 0.0 || shares == 0 {
        return None;
    }
    let mut sums = vec![(0.0, 0usize); shares];
    for (x, value) in at.iter().zip(values) {
        let place = (x - frame.from) / span;
        if value.is_finite() && (0.0..=1.0).contains(&place) {
            let sum = &mut sums[((place * shares as f64) as usize).min(shares - 1)];
            *sum = (sum.0 + value, sum.1 + 1);
        }
    }
    let means: Vec<Option<f64>> = sums.iter().map(|(sum, n)| (*n > 0).then(|| sum / *n as f64)).collect();
    let known = || means.iter().flatten().copied();
    let (low, high) = (known().fold(f64::INFINITY, f64::min), known().fold(f64::NEG_INFINITY, f64::max));
    if low > high {
        return None;
    }
    let [bottom, top] = frame.range.unwrap_or([low, high]);
    let per_unit = if top > bottom { (frame.height - 4.0) / (top - bottom) } else { 0.0 };
    let mut lines = Vec::new();
    let mut line = String::new();
    for (i, mean) in means.iter().enumerate() {
        match mean {
            Some(mean) => {
                let x = (i as f64 + 0.5) / shares as f64 * frame.width;
                let y =
                    if per_unit > 0.0 { frame.height - 2.0 - (mean - bottom) * per_unit } else { frame.height / 2.0 };
                line.push_str(&format!("{x:.1},{y:.1} "));
            }
            None if !line.is_empty() => lines.push(std::mem::take(&mut line)),
            None => {}
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    Some(Strip { lines, low, high })
}

#[cfg(test)]
mod tests {
    use super::*;

    const FRAME: Frame = Frame { width: 100.0, height: 24.0, from: 0.0, to: 4.0, range: None };

    #[test]
    fn a_line_breaks_where_nothing_is_known_and_keeps_to_its_box() {
        let drawn = strip(&[0.5, 1.5, 2.5, 3.5], &[1.0, f64::NAN, 3.0, 2.0], 4, &FRAME).unwrap();
        assert_eq!((drawn.low, drawn.high), (1.0, 3.0));
        assert_eq!(drawn.lines, ["12.5,22.0 ", "62.5,2.0 87.5,12.0 "]);
    }

    #[test]
    fn nothing_known_gives_nothing() {
        assert_eq!(strip(&[1.0], &[f64::NAN], 4, &FRAME), None);
        assert_eq!(strip(&[], &[], 4, &Frame { to: 0.0, ..FRAME }), None);
    }
}
