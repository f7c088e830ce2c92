//! The Crr that a CdA goes with where the rides do not tell one from the other.
//!
//! Given the solution; gives words. It computes no CdA.

use super::number::significant;
use crate::solution::Solution;

/// "that of the rollers" or "0.0045"; `None` where CdA is known by itself or not at all.
pub fn words(solution: &Solution) -> Option<String> {
    let held =
        || solution.setups.iter().filter_map(|s| Some((s.crr_held?, s.crr_held_from.as_deref() == Some("rollers"))));
    let expected = held().find(|(_, from_rollers)| !from_rollers).map(|(crr, _)| significant(crr, 2));
    match (held().any(|(_, from_rollers)| from_rollers), expected) {
        (true, Some(expected)) => Some(format!("that of the rollers, else {expected}")),
        (true, None) => Some("that of the rollers".into()),
        (false, expected) => expected,
    }
}

/// A sentence for the page, which shows the CdA in its table.
pub fn sentence(solution: &Solution) -> Option<String> {
    let held = words(solution)?;
    Some(format!(
        "CdA is right if Crr here is {held}, which these rides do not tell: with another Crr it would be another CdA, and \
         its ± leaves that out."
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::solution::SetupResult;

    #[test]
    fn what_crr_is_held_at_and_from_where_is_said() {
        let setup = |crr: f64, from: &str| SetupResult {
            crr_held: Some(crr),
            crr_held_from: Some(from.into()),
            ..SetupResult::default()
        };
        let of = |setups: Vec<SetupResult>| words(&Solution { setups, ..Solution::default() });
        assert_eq!(of(vec![SetupResult::default()]), None);
        assert_eq!(of(vec![setup(0.0045, "expected")]).as_deref(), Some("0.0045"));
        assert_eq!(
            of(vec![setup(0.0041, "rollers"), setup(0.0033, "rollers")]).as_deref(),
            Some("that of the rollers")
        );
        let both = of(vec![setup(0.0041, "rollers"), setup(0.0045, "expected")]);
        assert_eq!(both.as_deref(), Some("that of the rollers, else 0.0045"));
    }
}
