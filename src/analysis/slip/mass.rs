//! Masses that are hard to believe by themselves or beside each other.
//!
//! Given a session; gives findings. What the rides say of a mass is told elsewhere.

use crate::finding::{Finding, Slip, What};
use crate::session::Session;
use crate::session::credible::CREDIBLE_KG;

/// Clothes, bottles and another bicycle make no more than this between runs, kg (common practice, no source).
const BETWEEN_RUNS_KG: f64 = 4.0;

/// A mass that holds for the whole session is told once.
pub(super) fn check(session: &Session) -> Vec<Finding> {
    let masses: Vec<f64> = session.runs.iter().map(|run| session.rider_of(run).mass_kg).collect();
    let mut sorted = masses.clone();
    sorted.sort_by(f64::total_cmp);
    let Some(&usual) = sorted.get((sorted.len().max(1) - 1) / 2) else { return Vec::new() };
    let mut out = Vec::new();
    if !CREDIBLE_KG.contains(&usual) {
        out.push(Finding::of_session(What::Slip(Slip::MassOdd { mass_kg: usual, others_kg: None })));
    }
    let unlike = masses.iter().enumerate().filter(|(_, m)| (*m - usual).abs() > BETWEEN_RUNS_KG);
    out.extend(
        unlike.map(|(k, &mass_kg)| Finding::of_run(k, What::Slip(Slip::MassOdd { mass_kg, others_kg: Some(usual) }))),
    );
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(masses: &[f64]) -> Vec<Finding> {
        let mut text = "[rider_and_bike]\nmass_kg = 86.0\n[[setup]]\nid = \"a\"\n".to_string();
        for (k, m) in masses.iter().enumerate() {
            text.push_str(&format!("[[run]]\nfile = \"{k}.fit\"\nsetup = \"a\"\nmass_kg = {m:?}\n"));
        }
        check(&Session::from_toml(&text, "s.toml").expect("a session"))
    }

    #[test]
    fn exchanged_digits_and_pounds_are_told_and_a_bottle_is_not() {
        assert!(told(&[86.3, 85.1, 88.9]).is_empty());
        let odd = |mass_kg, others_kg| What::Slip(Slip::MassOdd { mass_kg, others_kg });
        assert_eq!(told(&[86.3, 68.3, 86.0]), [Finding::of_run(1, odd(68.3, Some(86.0)))]);
        assert_eq!(told(&[174.8, 174.8]), [Finding::of_session(odd(174.8, None))]);
        let message = odd(174.8, None).message();
        // 174.8 lb · 0.45359237 kg = 79.29 kg.
        assert!(message.contains("174.8 lb would be 79.3 kg"), "{message}");
    }
}
