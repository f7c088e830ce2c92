//! What a wind whose direction changes along the loop would do to the account: the form of an effect that the fit leaves out.
//!
//! Given a solved loop; gives columns to test, and the turn that coefficients mean. It estimates nothing.
//!
//! With the wind of a run turned by θ(x) = Σ_k (a_k cos 2πkx + b_k sin 2πkx), k = 1, 2, the drag changes to first order by
//!
//! ```text
//! ∂/∂θ = −W_north ∂/∂W_east + W_east ∂/∂W_north
//! ```
//!
//! which are the columns of the run's wind.

use crate::solve::design::{Column, LapBlock};
use crate::solve::solved::Solved;
use crate::uncertainty::rows::Rows;
use std::f64::consts::TAU;

/// Pairs of cosine and sine.
const WAVES: usize = 2;

/// cos and sin at a place of the lap, 0 to 1.
fn waves(place: f64) -> impl Iterator<Item = f64> {
    (1..=WAVES).flat_map(move |k| [(TAU * k as f64 * place).cos(), (TAU * k as f64 * place).sin()])
}

/// Columns of the coefficients at the planned speeds, with steps that are not judged left out; `None` where no wind was fitted.
pub fn columns(solved: &Solved, parameters: &[f64], place: &[f64], is_kept: &[bool]) -> Option<Rows> {
    let problem = &solved.problem;
    let turned = |g: usize, block: &LapBlock| -> Option<LapBlock> {
        let run = &problem.layout.runs[problem.laps[g].run];
        let (east, north) = run.east.zip(run.north)?;
        let (by_east, by_north) = block.column(east).zip(block.column(north))?;
        let turn = |j: usize| parameters[east] * by_north[j] - parameters[north] * by_east[j];
        let mut values: Vec<Vec<f64>> = vec![Vec::new(); 2 * WAVES];
        for (j, place) in place.iter().enumerate() {
            for (column, wave) in values.iter_mut().zip(waves(*place)) {
                column.push(if is_kept[j] { wave * turn(j) } else { 0.0 });
            }
        }
        let columns = values.into_iter().enumerate().map(|(parameter, values)| Column { parameter, values }).collect();
        Some(LapBlock { residual: Vec::new(), columns })
    };
    let blocks: Vec<LapBlock> =
        solved.z.iter().enumerate().map(|(g, block)| turned(g, block)).collect::<Option<_>>()?;
    Some(problem.projected(&blocks, 2 * WAVES))
}

/// Largest turn to either side, rad.
pub fn largest(coefficients: &[f64], place: &[f64]) -> f64 {
    let turn = |place: f64| coefficients.iter().zip(waves(place)).map(|(c, w)| c * w).sum::<f64>();
    place.iter().map(|p| turn(*p).abs()).fold(0.0, f64::max)
}
