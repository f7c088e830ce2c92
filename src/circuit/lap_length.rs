//! How long a lap is: by the wheel, by positions and as stated, three readings of one thing.
//!
//! Given the readings with their errors; gives what is known without the wheel, and what must be told where they differ by
//! more than their errors. It changes no reading.

use crate::finding::What;
use crate::session::Circuit;

/// Share by which lengths may differ before they are not taken for those of one loop: no wheel size is that far off.
pub const SAME_LOOP: f64 = 0.15;
/// Differences in units of their standard error from which they are told, and from which two lengths that have no wheel in
/// them contradict each other.
const TOLD: f64 = 2.0;
const CONTRADICTED: f64 = 4.0;
/// Share by which the wheel of one run may differ from those of the others before that is told: with another line of 0.3 m
/// a lap is 2 m longer.
const SAME_WHEEL: f64 = 0.006;

/// A length with its standard deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LengthReading {
    pub length_m: f64,
    pub sd_m: f64,
}

impl LengthReading {
    /// The stated length of a loop.
    pub fn stated(circuit: &Circuit) -> Option<LengthReading> {
        let (length_m, sd_m) = circuit.length_m.zip(circuit.length_sd_or_usual_m())?;
        Some(LengthReading { length_m, sd_m })
    }
}

/// What is known of the length of a lap.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LapLengths {
    /// Mean lap of each run by its speed channel; `None` where laps are counted by it or there is none.
    pub by_wheel_m: Vec<Option<f64>>,
    pub by_positions: Option<LengthReading>,
    pub stated: Option<LengthReading>,
}

impl LapLengths {
    /// Without the wheel: positions and stated length by inverse variance.
    pub fn known(&self) -> Option<LengthReading> {
        let mut all = [self.by_positions, self.stated].into_iter().flatten();
        let first = all.next()?;
        Some(all.fold(first, |a, b| {
            let (wa, wb) = (a.sd_m.powi(-2), b.sd_m.powi(-2));
            LengthReading { length_m: (wa * a.length_m + wb * b.length_m) / (wa + wb), sd_m: (wa + wb).powf(-0.5) }
        }))
    }

    /// The middle one of the runs.
    pub fn by_wheel(&self) -> Option<f64> {
        let mut all: Vec<f64> = self.by_wheel_m.iter().flatten().copied().collect();
        all.sort_by(f64::total_cmp);
        all.get(all.len() / 2).copied()
    }

    /// Stated length and positions where they cannot be of one loop.
    pub fn contradiction(&self) -> Option<[LengthReading; 2]> {
        let (stated, seen) = self.stated.zip(self.by_positions)?;
        let error_m = CONTRADICTED * stated.sd_m.hypot(seen.sd_m);
        ((stated.length_m - seen.length_m).abs() > error_m).then_some([stated, seen])
    }

    /// What is not the length of one loop by more than any wheel is off: the wheel's lap over the known one.
    pub fn not_one_loop(&self) -> Option<f64> {
        let ratio = self.by_wheel()? / self.known()?.length_m;
        (ratio.ln().abs() > (1.0 + SAME_LOOP).ln()).then_some(ratio)
    }

    /// The wheel against the rest, for a scale of speed that is known to a relative `speed_u`; nothing where the rest contradict
    /// each other, so that no length is known.
    pub fn wheel_finding(&self, speed_u: f64) -> Option<What> {
        if self.contradiction().is_some() {
            return None;
        }
        let (wheel_m, known) = (self.by_wheel()?, self.known()?);
        let error_m = TOLD * known.sd_m.hypot(speed_u * wheel_m);
        ((wheel_m - known.length_m).abs() > error_m).then(|| What::SpeedScaleOff {
            wheel_m,
            known_m: known.length_m,
            sd_m: known.sd_m,
            by: self.known_by(),
        })
    }

    /// Where the known length comes from.
    pub fn known_by(&self) -> &'static str {
        match (self.by_positions, self.stated) {
            (Some(_), Some(_)) => "positions and the stated length",
            (Some(_), None) => "positions",
            _ => "the stated length",
        }
    }

    /// Runs whose wheel measures another lap than most.
    pub fn odd_wheels(&self) -> Vec<(usize, What)> {
        let Some(usual_m) = self.by_wheel() else { return Vec::new() };
        let off = |m: f64| (m / usual_m - 1.0).abs() > SAME_WHEEL;
        let runs = self.by_wheel_m.iter().enumerate();
        runs.filter_map(|(k, m)| m.filter(|m| off(*m)).map(|wheel_m| (k, What::WheelDiffers { wheel_m, usual_m })))
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const POSITIONS: LengthReading = LengthReading { length_m: 1000.0, sd_m: 2.0 };

    fn wheel(m: f64) -> LapLengths {
        LapLengths { by_wheel_m: vec![Some(m); 3], by_positions: Some(POSITIONS), stated: None }
    }

    #[test]
    fn a_wheel_is_told_from_twice_the_error_on_and_refused_where_no_wheel_can_be() {
        // 2 · √(2² + 3²) = 7.2 m.
        for (m, told, refused) in [
            (1000.0, false, false),
            (1007.0, false, false),
            (1008.0, true, false),
            (980.0, true, false),
            (900.0, true, false),
            (3600.0, true, true),
            (800.0, true, true),
        ] {
            assert_eq!(wheel(m).wheel_finding(0.003).is_some(), told, "{m}");
            assert_eq!(wheel(m).not_one_loop().is_some(), refused, "{m}");
        }
    }

    #[test]
    fn two_readings_weigh_by_their_errors_and_contradict_each_other_from_four_of_them_on() {
        let with = |length_m| LapLengths { stated: Some(LengthReading { length_m, sd_m: 1.0 }), ..wheel(1000.0) };
        // By hand: (1000/4 + 1005/1) / (1/4 + 1).
        let known = with(1005.0).known().unwrap();
        assert!((known.length_m - 1004.0).abs() < 1e-9 && (known.sd_m - 0.8f64.sqrt()).abs() < 1e-12);
        // 4 · √5 = 8.9 m.
        assert!(with(1008.0).contradiction().is_none() && with(1010.0).contradiction().is_some());
    }

    #[test]
    fn one_wheel_among_others_is_named() {
        let mut all = wheel(1000.0);
        all.by_wheel_m[1] = Some(1009.0);
        assert!(matches!(all.odd_wheels()[..], [(1, What::WheelDiffers { .. })]));
        all.by_wheel_m[1] = Some(1005.0);
        assert!(all.odd_wheels().is_empty());
    }
}
