//! Columns as smooth functions of time: cubic Hermite pieces through the records.
//!
//! Given times and values; gives values and slopes at any time. It never looks outside the record: times before
//! the first or after the last record get the end value.

/// A quantity known at instants, between them a cubic with central-difference slopes.
#[derive(Debug, Clone, Default)]
pub struct Sampled {
    time_s: Vec<f64>,
    value: Vec<f64>,
    slope: Vec<f64>,
}

/// A running sum with known rate at the records; between them a cubic Hermite piece, so that value and rate are
/// continuous.
#[derive(Debug, Clone, Default)]
pub struct Cumulative {
    time_s: Vec<f64>,
    total: Vec<f64>,
    rate: Vec<f64>,
}

/// Piece of a record that holds a time.
struct Piece {
    index: usize,
    width_s: f64,
    /// Position in the piece, 0 to 1.
    x: f64,
}

fn piece(time_s: &[f64], t: f64) -> Option<Piece> {
    if time_s.len() < 2 {
        return None;
    }
    let i = time_s.partition_point(|&s| s <= t).clamp(1, time_s.len() - 1) - 1;
    let width_s = time_s[i + 1] - time_s[i];
    Some(Piece { index: i, width_s, x: ((t - time_s[i]) / width_s).clamp(0.0, 1.0) })
}

/// Cubic Hermite value (Fritsch & Carlson 1980, SIAM J. Numer. Anal. 17:238, eq. 2).
fn hermite(p: &Piece, a: f64, b: f64, slope_a: f64, slope_b: f64) -> f64 {
    let (x, y) = (p.x, 1.0 - p.x);
    a * (1.0 + 2.0 * x) * y * y + b * x * x * (3.0 - 2.0 * x) + p.width_s * (slope_a * x * y * y - slope_b * x * x * y)
}

/// Derivative of the same.
fn hermite_slope(p: &Piece, a: f64, b: f64, slope_a: f64, slope_b: f64) -> f64 {
    let x = p.x;
    6.0 * x * (1.0 - x) * (b - a) / p.width_s + slope_a * (1.0 - x) * (1.0 - 3.0 * x) + slope_b * x * (3.0 * x - 2.0)
}

impl Sampled {
    /// Missing values make the neighbouring pieces missing.
    pub fn new(time_s: &[f64], value: &[f64]) -> Self {
        let n = time_s.len();
        let mut slope = vec![0.0; n];
        for (i, slope) in slope.iter_mut().enumerate() {
            let (a, b) = (i.saturating_sub(1), (i + 1).min(n - 1));
            if b > a {
                let d = (value[b] - value[a]) / (time_s[b] - time_s[a]);
                *slope = if d.is_finite() { d } else { 0.0 };
            }
        }
        Sampled { time_s: time_s.to_vec(), value: value.to_vec(), slope }
    }

    pub fn at(&self, t: f64) -> f64 {
        match piece(&self.time_s, t) {
            Some(p) => {
                let i = p.index;
                hermite(&p, self.value[i], self.value[i + 1], self.slope[i], self.slope[i + 1])
            }
            None => self.value.first().copied().unwrap_or(f64::NAN),
        }
    }

    /// Integral over one piece, exact for the cubic.
    fn integral(&self, i: usize) -> f64 {
        let w = self.time_s[i + 1] - self.time_s[i];
        0.5 * w * (self.value[i] + self.value[i + 1]) + w * w / 12.0 * (self.slope[i] - self.slope[i + 1])
    }
}

impl Cumulative {
    /// Distance: the exact integral of the speed curve; nothing is added across a break or a missing value.
    pub fn of_speed(time_s: &[f64], speed: &Sampled, stretch: &[usize]) -> Self {
        let n = time_s.len();
        let mut total = vec![0.0; n];
        for i in 1..n {
            let d = if stretch[i] == stretch[i - 1] { speed.integral(i - 1) } else { 0.0 };
            total[i] = total[i - 1] + if d.is_finite() { d.max(0.0) } else { 0.0 };
        }
        let rate = speed.value.iter().map(|v| if v.is_finite() { *v } else { 0.0 }).collect();
        Cumulative { time_s: time_s.to_vec(), total, rate }
    }

    /// Work: a power record is the mean of the second before it, so a one-second record adds exactly its own
    /// value; of a longer interval the rest is bridged linearly from the record before.
    pub fn of_power(time_s: &[f64], power_w: &[f64], stretch: &[usize]) -> Self {
        let n = time_s.len();
        let mut total = vec![0.0; n];
        let mut mean = vec![0.0; n];
        for i in 1..n {
            let dt = time_s[i] - time_s[i - 1];
            let own = dt.min(1.0);
            let bridged = if dt > own { 0.5 * (power_w[i - 1] + power_w[i]) * (dt - own) } else { 0.0 };
            let w = power_w[i] * own + bridged;
            let w = if stretch[i] == stretch[i - 1] && w.is_finite() { w } else { 0.0 };
            total[i] = total[i - 1] + w;
            mean[i] = w / dt;
        }
        let rate = (0..n)
            .map(|i| match i {
                0 => mean.get(1).copied().unwrap_or(0.0),
                _ if i + 1 == n => mean[i],
                _ => {
                    // The parabola through the three totals around the record.
                    let (a, b) = (time_s[i] - time_s[i - 1], time_s[i + 1] - time_s[i]);
                    (mean[i] * b + mean[i + 1] * a) / (a + b)
                }
            })
            .collect();
        Cumulative { time_s: time_s.to_vec(), total, rate }
    }

    pub fn at(&self, t: f64) -> f64 {
        match piece(&self.time_s, t) {
            Some(p) => {
                let i = p.index;
                hermite(&p, self.total[i], self.total[i + 1], self.rate[i], self.rate[i + 1])
            }
            None => 0.0,
        }
    }

    /// Rate of growth at a time.
    pub fn rate_at(&self, t: f64) -> f64 {
        match piece(&self.time_s, t) {
            Some(p) => {
                let i = p.index;
                hermite_slope(&p, self.total[i], self.total[i + 1], self.rate[i], self.rate[i + 1])
            }
            None => 0.0,
        }
    }

    /// Totals at the records.
    pub fn totals(&self) -> &[f64] {
        &self.total
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_parabola_of_speed_integrates_exactly_away_from_the_ends() {
        // v = t²: central differences give the exact slope inside, so ∫ from 1 to 4 = 21 by calculus.
        let t: Vec<f64> = (0..6).map(f64::from).collect();
        let v: Vec<f64> = t.iter().map(|x| x * x).collect();
        let s = Sampled::new(&t, &v);
        let d = Cumulative::of_speed(&t, &s, &[0; 6]);
        assert!((d.at(4.0) - d.at(1.0) - 21.0).abs() < 1e-12);
    }

    #[test]
    fn one_second_power_adds_its_own_joules_and_the_rate_is_the_slope_of_the_total() {
        let t: Vec<f64> = (0..5).map(f64::from).collect();
        let e = Cumulative::of_power(&t, &[100.0, 200.0, 300.0, 100.0, 50.0], &[0; 5]);
        assert_eq!(e.totals(), [0.0, 200.0, 500.0, 600.0, 650.0]);
        for x in [0.3, 1.5, 2.2, 3.9] {
            let numeric = (e.at(x + 1e-6) - e.at(x - 1e-6)) / 2e-6;
            assert!((numeric - e.rate_at(x)).abs() < 1e-3);
        }
    }
}
