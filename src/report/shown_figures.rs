//! Which figures have news for the page; the others are files beside it.
//!
//! Given the result; says yes or no by the name of a figure. It draws nothing.

use crate::solution::{RunResult, Solution};

/// See the module.
pub fn on_page(figure: &str, solution: &Solution) -> bool {
    match figure {
        "model-residual" => solution.model_check.as_ref().is_some_and(|check| check.p_value <= check.level),
        "timeline" => solution.runs.iter().any(leaves_out),
        "wind-along" => solution.findings.iter().any(|finding| finding.code == "wind-along-loop"),
        _ => true,
    }
}

/// Whether a run has laps that do not count, or not wholly.
fn leaves_out(run: &RunResult) -> bool {
    run.laps.iter().any(|lap| !lap.used || lap.share_used < 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::solution::{FindingResult, LapResult};

    #[test]
    fn a_figure_without_news_is_left_to_its_file() {
        let mut solution = Solution::default();
        let lap = LapResult { used: true, share_used: 1.0, ..LapResult::default() };
        solution.runs.push(RunResult { laps: vec![lap], ..RunResult::default() });
        assert!(on_page("budget", &solution));
        for figure in ["timeline", "wind-along", "model-residual"] {
            assert!(!on_page(figure, &solution), "{figure}");
        }
        solution.runs[0].laps[0].share_used = 0.8;
        solution.findings.push(FindingResult { code: "wind-along-loop".into(), ..FindingResult::default() });
        assert!(on_page("timeline", &solution) && on_page("wind-along", &solution));
    }
}
