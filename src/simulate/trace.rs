//! A simulated ride as it truly was, at every step of the integration.
//!
//! Given step by step; gives chainage, speed and work at any time, and the time of any chainage. It is what the
//! sensors look at, and holds no error of any sensor.

/// Times count from the start of the ride, s.
#[derive(Debug, Clone, Default)]
pub(super) struct Trace {
    pub(super) step_s: f64,
    pub(super) chainage_m: Vec<f64>,
    pub(super) speed_m_s: Vec<f64>,
    /// Work at the pedals since the start, J.
    pub(super) work_j: Vec<f64>,
}

impl Trace {
    pub(super) fn push(&mut self, chainage_m: f64, speed_m_s: f64, work_j: f64) {
        self.chainage_m.push(chainage_m);
        self.speed_m_s.push(speed_m_s);
        self.work_j.push(work_j);
    }

    pub(super) fn duration_s(&self) -> f64 {
        self.chainage_m.len().saturating_sub(1) as f64 * self.step_s
    }

    pub(super) fn chainage_at(&self, time_s: f64) -> f64 {
        self.value(&self.chainage_m, time_s)
    }

    pub(super) fn speed_at(&self, time_s: f64) -> f64 {
        self.value(&self.speed_m_s, time_s)
    }

    pub(super) fn work_at(&self, time_s: f64) -> f64 {
        self.value(&self.work_j, time_s)
    }

    /// Linear between steps, held at both ends.
    fn value(&self, column: &[f64], time_s: f64) -> f64 {
        let Some(last) = column.len().checked_sub(1) else {
            return f64::NAN;
        };
        let place = (time_s / self.step_s).clamp(0.0, last as f64);
        let i = (place as usize).min(last);
        let next = (i + 1).min(last);
        column[i] + (place - i as f64) * (column[next] - column[i])
    }

    /// When each multiple of a length past an offset is reached for the first time, from the first one ahead.
    pub(super) fn passes(&self, offset_m: f64, every_m: f64) -> Vec<f64> {
        let mut times = Vec::new();
        let Some(&start) = self.chainage_m.first() else {
            return times;
        };
        let mut count = ((start - offset_m) / every_m).ceil();
        for (i, pair) in self.chainage_m.windows(2).enumerate() {
            while offset_m + count * every_m <= pair[1] {
                let mark = offset_m + count * every_m;
                let share =
                    if pair[1] > pair[0] { ((mark - pair[0]) / (pair[1] - pair[0])).clamp(0.0, 1.0) } else { 0.0 };
                times.push((i as f64 + share) * self.step_s);
                count += 1.0;
            }
        }
        times
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_are_passed_when_a_steady_rider_reaches_them() {
        let mut trace = Trace { step_s: 0.01, ..Trace::default() };
        for i in 0..=1000 {
            trace.push(-20.0 + 0.1 * f64::from(i), 10.0, 2.0 * f64::from(i));
        }
        let passes = trace.passes(0.0, 30.0);
        let expected = [2.0, 5.0, 8.0]; // 20, 50 and 80 m at 10 m/s
        assert_eq!(passes.len(), 3);
        assert!(passes.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-9), "{passes:?}");
        assert!((trace.work_at(3.005) - 601.0).abs() < 1e-9);
        assert_eq!(trace.chainage_at(99.0), 80.0);
    }
}
