//! What a CdA that is another at each planned speed would do to the account: the form of an effect that the fit leaves out.
//!
//! Given a solved loop; gives columns to test. It estimates nothing.
//!
//! With CdA (1 + κ_c) at planned speed c, 0 at the fastest, the derivative by κ_c is that of CdA times CdA in laps of that speed.
//! A rider who sits up in slow laps does that, but also a zero of the power meter that is off or a fixed loss of the chain: with one
//! CdA and one Crr drag is a straight line in the square of speed, and these bend it. Two speeds lie on one line whatever is
//! wrong, so there is nothing to ask of them.

use crate::solve::design::{Column, LapBlock};
use crate::solve::solved::Solved;
use crate::solve::speed_class::SpeedClasses;
use crate::uncertainty::rows::Rows;

/// Fewest planned speeds that show a bend.
const FEWEST_SPEEDS: usize = 3;

/// One column for each planned speed but the fastest, with steps that are not judged left out; `None` with fewer than three.
pub fn columns(solved: &Solved, parameters: &[f64], classes: &SpeedClasses, is_kept: &[bool]) -> Option<Rows> {
    if classes.count < FEWEST_SPEEDS {
        return None;
    }
    let problem = &solved.problem;
    let of_own = |(g, block): (usize, &LapBlock)| -> Option<LapBlock> {
        let cda = problem.layout.cda(problem.laps[g].run);
        let drag = block.column(cda)?;
        let values = drag.iter().zip(is_kept).map(|(b, kept)| if *kept { parameters[cda] * b } else { 0.0 }).collect();
        let parameter = classes.of_lap[g];
        let is_fastest = parameter + 1 == classes.count;
        let columns = if is_fastest { Vec::new() } else { vec![Column { parameter, values }] };
        Some(LapBlock { residual: Vec::new(), columns })
    };
    let blocks: Vec<LapBlock> = solved.z.iter().enumerate().map(of_own).collect::<Option<_>>()?;
    Some(problem.projected(&blocks, classes.count - 1))
}
