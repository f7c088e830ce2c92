//! The figures of a single file that nobody has solved: its time line and, where laps show by positions, its map.
//!
//! Given an inspection; hands its series to the figures of the report. It draws nothing itself.

use super::figure::Figure;
use super::{Style, map, timeline};
use crate::analysis::inspection::Inspection;
use crate::evidence::Evidence;
use crate::solution::{RunResult, SetupResult, Solution};

/// See the module.
pub fn draw(held: &Inspection, style: &Style) -> Vec<Figure> {
    let solution = Solution {
        setups: vec![SetupResult { id: held.file.clone(), label: held.file.clone(), ..SetupResult::default() }],
        runs: vec![RunResult { file: held.file.clone(), setup: held.file.clone(), ..RunResult::default() }],
        ..Solution::default()
    };
    let evidence = Evidence {
        runs: vec![held.drawn.run.clone()],
        reference_line: held.drawn.line.clone(),
        // Laps are looked for by positions alone here.
        line_by_compass: true,
        ..Evidence::default()
    };
    [timeline::draw, map::draw].iter().filter_map(|draw| draw(&solution, &evidence, style)).collect()
}
