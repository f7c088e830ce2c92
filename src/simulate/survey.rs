//! The levelling of a course, as a tester would write it down.
//!
//! Given the course, the error of the levelling and the seed; gives the text of the survey.

use super::chance::{Purpose, normal, stream};
use crate::plan::Course;

/// Points of a levelled survey lie this far apart, m.
const SURVEY_STEP_M: f64 = 10.0;

/// Heights above the gate every ten metres, with the error of a levelling.
pub(super) fn survey(course: &Course, sd_m: f64, seed: u64) -> String {
    let mut random = stream(seed, 0, Purpose::Survey);
    let count = (course.length_m / SURVEY_STEP_M).floor() as usize;
    let mut text = String::from("distance_m,elevation_m\n");
    for i in 0..=count {
        let s = i as f64 * course.length_m / count.max(1) as f64;
        let height = course.at(s).elevation_m - course.at(0.0).elevation_m + sd_m * normal(&mut random);
        text.push_str(&format!("{s:.2},{height:.3}\n"));
    }
    text
}
