//! From values to mm: ranges, round ticks and their labels.
//!
//! Given finite values; gives ranges that hold all of them and labels with one number of decimals. It draws nothing.

use super::style::Style;

/// Values beyond this are not drawn: nothing in a ride is so large, and sums of them must stay finite.
const LARGEST: f64 = 1e12;

/// An interval of values, low below high.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Range {
    pub low: f64,
    pub high: f64,
}

impl Range {
    /// Smallest interval that holds every finite value; `None` when there is none.
    pub fn of(values: impl IntoIterator<Item = f64>) -> Option<Range> {
        let mut range: Option<Range> = None;
        for value in values {
            if value.is_finite() && value.abs() < LARGEST {
                range = Some(match range {
                    None => Range { low: value, high: value },
                    Some(r) => Range { low: r.low.min(value), high: r.high.max(value) },
                });
            }
        }
        range
    }

    pub fn including(self, value: f64) -> Range {
        if !value.is_finite() || value.abs() >= LARGEST {
            return self;
        }
        Range { low: self.low.min(value), high: self.high.max(value) }
    }

    pub fn span(&self) -> f64 {
        self.high - self.low
    }

    /// Room of a fraction of the span at both ends; a single value gets an interval around it.
    pub fn padded(self, fraction: f64) -> Range {
        let span = self.span();
        let smallest = 1e-9 * self.low.abs().max(self.high.abs()).max(1e-9);
        let room = if span > smallest {
            span * fraction
        } else if self.low != 0.0 {
            self.low.abs() * 0.05
        } else {
            1.0
        };
        Range { low: self.low - room, high: self.high + room }
    }
}

/// A linear map from values to mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    pub range: Range,
    /// Place of the low end, mm.
    pub from_mm: f64,
    /// Place of the high end, mm.
    pub to_mm: f64,
}

impl Scale {
    pub fn new(range: Range, from_mm: f64, to_mm: f64) -> Self {
        Scale { range, from_mm, to_mm }
    }

    pub fn at(&self, value: f64) -> f64 {
        self.from_mm + (value - self.range.low) / self.range.span() * (self.to_mm - self.from_mm)
    }
}

/// Round values on an axis with their labels.
#[derive(Debug, Clone, PartialEq)]
pub struct Ticks {
    pub values: Vec<f64>,
    pub labels: Vec<String>,
}

impl Ticks {
    /// Ticks at multiples of 1, 2, 2.5 or 5 times a power of ten, at most `most` of them and at least two where the range
    /// allows.
    pub fn new(range: Range, most: usize, style: &Style) -> Ticks {
        let most = most.max(2);
        let raw = range.span() / most as f64;
        if !(raw.is_finite() && raw > 0.0) {
            return Ticks { values: Vec::new(), labels: Vec::new() };
        }
        let mut exponent = raw.log10().floor() as i32;
        let mut step;
        loop {
            let power = 10f64.powi(exponent);
            step = [1.0, 2.0, 2.5, 5.0].into_iter().find(|m| count(range, m * power) <= most as f64);
            if step.is_some() || exponent > 400 {
                break;
            }
            exponent += 1;
        }
        // A quarter needs one decimal more than its power of ten has.
        let quarter = usize::from(step == Some(2.5));
        let step = step.map_or(range.span(), |m| m * 10f64.powi(exponent));
        let first = (range.low / step - 1e-9).ceil();
        let last = (range.high / step + 1e-9).floor();
        let values: Vec<f64> =
            (0..).map(|i| first + f64::from(i)).take_while(|n| *n <= last).take(64).map(|n| n * step).collect();
        let decimals = (-exponent + quarter as i32).max(0) as usize;
        let labels = values.iter().map(|v| if *v == 0.0 { "0".into() } else { number(*v, decimals, style) }).collect();
        Ticks { values, labels }
    }

    /// Only the ticks at whole numbers, for what is counted.
    pub fn whole(self, style: &Style) -> Ticks {
        let values: Vec<f64> = self.values.into_iter().filter(|v| (v - v.round()).abs() < 1e-9).collect();
        let labels = values.iter().map(|v| number(*v, 0, style)).collect();
        Ticks { values, labels }
    }
}

fn count(range: Range, step: f64) -> f64 {
    (range.high / step + 1e-9).floor() - (range.low / step - 1e-9).ceil() + 1.0
}

/// A number with a fixed number of decimals, a true minus sign, and the decimal sign of the style.
pub fn number(value: f64, decimals: usize, style: &Style) -> String {
    let text = if !value.is_finite() {
        return "–".into();
    } else if value.abs() >= 1e7 || decimals > 9 {
        format!("{value:.1e}")
    } else {
        format!("{value:.decimals$}")
    };
    let text = match text.strip_prefix('-') {
        Some(rest) if rest.chars().any(|c| c.is_ascii_digit() && c != '0') => format!("−{rest}"),
        Some(rest) => rest.to_string(),
        None => text,
    };
    if style.decimal_comma { text.replace('.', ",") } else { text }
}

/// A number with at most three significant digits and no zeros that say nothing: 40, 0.02, 1.25.
pub fn plain(value: f64, style: &Style) -> String {
    let text = short(value, &Style { decimal_comma: false, ..*style });
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    if style.decimal_comma { text.replace('.', ",") } else { text.to_string() }
}

/// A number with three significant digits.
pub fn short(value: f64, style: &Style) -> String {
    if value == 0.0 || !value.is_finite() {
        return number(value, 0, style);
    }
    let decimals = (2.0 - value.abs().log10().floor()).clamp(0.0, 9.0) as usize;
    number(value, decimals, style)
}

/// A difference with half its interval, to the digits that the interval leaves it: "−7.1 ± 2.1".
pub fn with_half(value: f64, half: Option<f64>, style: &Style) -> String {
    let half = half.filter(|h| *h > 0.0);
    let decimals = half.and_then(crate::uncertainty::rounding::Place::of).map_or(1, |p| p.decimals());
    let sign = if value > 0.0 { "+" } else { "" };
    let spread = half.map_or(String::new(), |h| format!(" ± {}", number(h, decimals, style)));
    format!("{sign}{}{spread}", number(value, decimals, style))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside_the_range() {
        // Worked by hand: span 0.0009 with at most five ticks gives a step of 0.0002.
        let ticks = Ticks::new(Range { low: 0.0041, high: 0.0050 }, 5, &Style::default());
        assert_eq!(ticks.labels, ["0.0042", "0.0044", "0.0046", "0.0048", "0.0050"]);
    }

    #[test]
    fn a_decimal_comma_and_a_true_minus_sign_are_written_on_request() {
        let style = Style { decimal_comma: true, ..Style::default() };
        assert_eq!(number(-1.25, 2, &style), "−1,25");
        assert_eq!(number(-0.001, 1, &Style::default()), "0.0");
    }

    #[test]
    fn absurd_ranges_give_few_ticks_and_no_panic() {
        for (low, high) in [(0.0, 0.0), (-1e300, 1e300), (1.0, 1.0 + 1e-15), (f64::NAN, 1.0), (1e11, 1.0000001e11)] {
            assert!(Ticks::new(Range { low, high }, 6, &Style::default()).labels.len() <= 64);
        }
    }

    #[test]
    fn a_range_of_one_value_is_opened_around_it() {
        let range = Range::of([5.0, f64::NAN]).unwrap().padded(0.1);
        assert!(range.low < 5.0 && range.high > 5.0);
        assert_eq!(Range::of([f64::INFINITY]), None);
    }
}
