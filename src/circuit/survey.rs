//! A surveyed profile of the loop: heights at distances from the gate.
//!
//! Given CSV text with `distance_m,elevation_m`; gives heights at any chainage, closed at the gate.

use crate::error::Error;
use crate::printable::excerpt;
use crate::record::{NO_HEADING, QUOTED, lacks_heading, plain_reason};

/// Surveyed heights, closed: the height after a whole lap is that of the gate again.
#[derive(Debug, Clone, PartialEq)]
pub struct Survey {
    distance_m: Vec<f64>,
    elevation_m: Vec<f64>,
    /// Standard deviation of each height, m.
    pub sd_m: f64,
}

impl Survey {
    /// Reads a survey. Errors: [`Error::BadLine`] with the line, [`Error::Inconsistent`] for fewer than 4 points.
    pub fn parse(text: &str, file: &str, sd_m: f64) -> Result<Survey, Error> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let bad = |line: usize, message: String| Error::BadLine { file: file.to_string(), line, message };
        let mut reader =
            csv::ReaderBuilder::new().trim(csv::Trim::All).comment(Some(b'#')).from_reader(text.as_bytes());
        let headers = reader.headers().map_err(|e| bad(1, plain_reason(&e)))?.clone();
        if lacks_heading(&headers) {
            return Err(bad(1, format!("{NO_HEADING}: distance_m,elevation_m")));
        }
        let column = |name: &str| {
            headers.iter().position(|h| h == name).ok_or_else(|| {
                bad(1, format!("no column «{name}»; a survey has the columns distance_m,elevation_m, parted by commas"))
            })
        };
        let (at, height) = (column("distance_m")?, column("elevation_m")?);
        let mut survey = Survey { distance_m: Vec::new(), elevation_m: Vec::new(), sd_m };
        for record in reader.records() {
            let record = record.map_err(|e| bad(e.position().map_or(1, |p| p.line() as usize), plain_reason(&e)))?;
            let line = record.position().map_or(0, |p| p.line() as usize);
            let number = |i: usize, low: f64, high: f64| -> Result<f64, Error> {
                let text = record.get(i).unwrap_or("");
                match text.parse::<f64>() {
                    Ok(x) if x >= low && x <= high => Ok(x),
                    _ => Err(bad(
                        line,
                        format!(
                            "«{}» is not a number of metres between {low} and {high}, written with a decimal point",
                            excerpt(text, 2 * QUOTED)
                        ),
                    )),
                }
            };
            let (d, z) = (number(at, 0.0, 1e6)?, number(height, -500.0, 9000.0)?);
            if survey.distance_m.last().is_some_and(|last| d <= *last) {
                return Err(bad(
                    line,
                    format!("distance {d} m does not grow; sort the survey by distance from the gate"),
                ));
            }
            survey.distance_m.push(d);
            survey.elevation_m.push(z);
        }
        if survey.distance_m.len() < 4 {
            return Err(Error::Inconsistent {
                file: file.to_string(),
                line: None,
                message: format!(
                    "{} surveyed points are too few; at least 4 round the loop are needed",
                    survey.distance_m.len()
                ),
            });
        }
        Ok(survey)
    }

    /// Height above the gate at fractions of the lap, with the closing error spread evenly.
    ///
    /// `length_m` is the lap; survey distances are taken as they stand and the last point joins the first.
    pub fn heights(&self, length_m: f64, fractions: impl Iterator<Item = f64>) -> Vec<f64> {
        let base = self.at(0.0, length_m);
        fractions.map(|f| self.at(f * length_m, length_m) - base).collect()
    }

    fn at(&self, chainage_m: f64, length_m: f64) -> f64 {
        let n = self.distance_m.partition_point(|d| *d < length_m).max(1);
        let s = chainage_m.rem_euclid(length_m);
        let i = self.distance_m[..n].partition_point(|d| *d <= s);
        let (a, b) = (if i == 0 { n - 1 } else { i - 1 }, if i == n { 0 } else { i });
        let (mut from, mut to) = (self.distance_m[a], self.distance_m[b]);
        if i == 0 {
            from -= length_m;
        }
        if i == n {
            to += length_m;
        }
        let f = if to > from { (s - from) / (to - from) } else { 0.0 };
        self.elevation_m[a] + f * (self.elevation_m[b] - self.elevation_m[a])
    }

    /// Largest distance between two points that follow each other, m.
    pub fn widest_gap_m(&self) -> f64 {
        self.distance_m.windows(2).map(|w| w[1] - w[0]).fold(0.0, f64::max)
    }

    /// Distance of the last surveyed point, m.
    pub fn reach_m(&self) -> f64 {
        self.distance_m.last().copied().unwrap_or(0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn heights_are_linear_between_points_and_close_at_the_gate() {
        let s = Survey::parse("distance_m,elevation_m\n0,10\n25,11\n50,12\n75,11\n", "s.csv", 0.02).unwrap();
        let h = s.heights(100.0, [0.0, 0.125, 0.5, 0.875, 1.0].into_iter());
        assert_eq!(h, [0.0, 0.5, 2.0, 0.5, 0.0]);
    }

    #[test]
    fn a_survey_that_goes_back_is_refused_with_its_line() {
        let e = Survey::parse("distance_m,elevation_m\n0,1\n10,1\n5,1\n", "s.csv", 0.02).unwrap_err();
        assert!(e.to_string().starts_with("s.csv:4: distance 5 m does not grow"), "{e}");
    }
}
