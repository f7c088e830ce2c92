//! How long a lap is: one number with its name, and the other lengths that there are, in a sentence.
//!
//! Given the loop of a result; gives words. It chooses no length.

use super::number::measured;
use super::units::Units;
use crate::solution::{CircuitResult, Measured};

/// "452.8 m by the speed channel" or "452.0 m as stated", the length that the account goes by; `None` on rollers.
pub fn named(circuit: &CircuitResult, units: Units) -> Option<String> {
    let length_m = circuit.length_m.filter(|l| l.is_finite())?;
    let name = if is_by_speed_channel(circuit) { "by the speed channel" } else { "as stated" };
    Some(format!("{} {name}", units.length(length_m)))
}

/// Every length of the lap with what it is; empty on rollers.
pub fn sentence(circuit: &CircuitResult, units: Units) -> String {
    let Some(named) = named(circuit, units) else { return String::new() };
    let mut text = vec![format!("A lap is {named}; with this length everything is computed.")];
    let seen = &circuit.length_by_positions_m;
    if seen.value.is_some_and(f64::is_finite) {
        let of = |m: Option<f64>| m.map(|m| units.length_value(m));
        let seen = Measured { value: of(seen.value), se: of(seen.se) };
        text.push(format!("Positions show {} {} (with standard error).", measured(&seen), units.length_unit()));
    }
    if let Some(stated_m) = circuit.stated_length_m.filter(|_| is_by_speed_channel(circuit)) {
        let where_it_holds = match circuit.kind.as_str() {
            "track" => {
                " on the measurement line, and a lap ridden outside it is longer by 2π times the distance between"
            }
            _ => "",
        };
        text.push(format!("The session states {}{where_it_holds}.", units.length(stated_m)));
    }
    text.join(" ")
}

fn is_by_speed_channel(circuit: &CircuitResult) -> bool {
    circuit.length_from.as_deref() != Some("stated length")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_track_has_three_lengths_and_each_is_named() {
        let circuit = CircuitResult {
            kind: "track".into(),
            length_m: Some(452.82),
            stated_length_m: Some(452.0),
            length_by_wheel_m: Some(452.82),
            length_by_positions_m: Measured { value: Some(452.0), se: Some(1.19) },
            length_from: Some("speed channel".into()),
            ..CircuitResult::default()
        };
        assert_eq!(named(&circuit, Units::Metric).as_deref(), Some("452.8 m by the speed channel"));
        assert_eq!(
            sentence(&circuit, Units::Metric),
            "A lap is 452.8 m by the speed channel; with this length everything is computed. Positions show 452.0 ± 1.2 m (with \
             standard error). The session states 452.0 m on the measurement line, and a lap ridden outside it is longer by 2π \
             times the distance between."
        );
        let stated = CircuitResult {
            length_m: Some(452.0),
            stated_length_m: Some(452.0),
            length_from: Some("stated length".into()),
            ..CircuitResult::default()
        };
        assert_eq!(
            sentence(&stated, Units::Metric),
            "A lap is 452.0 m as stated; with this length everything is computed."
        );
    }
}
