//! Adjusting p-values for having asked several questions.
//!
//! Given the p-values of one family; gives adjusted ones in the same order. It never decides.

/// Holm's step-down adjustment: p̃₍ᵢ₎ = max_{j ≤ i} min(1, (m − j + 1) p₍ⱼ₎), m the number of p-values.
///
/// Valid whatever the dependence between the tests. A p-value that is not a number stays so and does not count in m.
/// Source: Holm 1979, Scand. J. Stat. 6:65.
///
/// ```
/// let adjusted = loopwright::compare::multiplicity::holm(&[0.01, 0.04, 0.03, 0.005]);
/// assert_eq!(adjusted, [0.03, 0.06, 0.06, 0.02]);
/// ```
pub fn holm(p_values: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..p_values.len()).filter(|i| !p_values[*i].is_nan()).collect();
    order.sort_by(|a, b| p_values[*a].total_cmp(&p_values[*b]));
    let mut adjusted = p_values.to_vec();
    let mut largest: f64 = 0.0;
    for (rank, index) in order.iter().enumerate() {
        largest = largest.max(((order.len() - rank) as f64 * p_values[*index]).min(1.0));
        adjusted[*index] = largest;
    }
    adjusted
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_missing_p_value_is_left_missing_and_does_not_cost_the_others() {
        // Definition: with one p-value missing the family has two members.
        let adjusted = holm(&[0.02, f64::NAN, 0.01]);
        assert_eq!((adjusted[0], adjusted[2]), (0.02, 0.02));
        assert!(adjusted[1].is_nan());
        assert!(holm(&[]).is_empty());
    }

    #[test]
    fn no_adjusted_p_value_exceeds_one() {
        assert_eq!(holm(&[0.9, 0.8, 0.7]), [1.0, 1.0, 1.0]);
    }
}
