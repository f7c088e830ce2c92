//! Errors and intervals of one quantity over many days.

use loopwright::solution::Estimate;

/// Errors and intervals of one quantity over many days.
#[derive(Default)]
pub struct Tally {
    pub error: Vec<f64>,
    pub se: Vec<f64>,
    inside: Vec<bool>,
    width: Vec<f64>,
}

impl Tally {
    pub fn add(&mut self, e: &Estimate, truth: f64) {
        let (Some(value), Some(se), Some(low), Some(high)) = (e.value, e.se, e.low, e.high) else { return };
        self.error.push(value - truth);
        self.se.push(se);
        self.inside.push(low <= truth && truth <= high);
        self.width.push(0.5 * (high - low));
    }

    pub fn share_inside(&self) -> f64 {
        self.inside.iter().filter(|held| **held).count() as f64 / self.inside.len() as f64
    }

    /// How the tenth with the smallest standard errors fares. A standard error of a dozen laps is itself uncertain by a
    /// quarter, and errors hardly depend on which one chance reports: small ones are too small, large ones too large.
    pub fn smallest_tenth(&self, name: &str) -> String {
        let mut order: Vec<usize> = (0..self.se.len()).collect();
        order.sort_by(|a, b| self.se[*a].total_cmp(&self.se[*b]));
        order.truncate((self.se.len() / 10).max(1));
        let n = order.len() as f64;
        let rms = (order.iter().map(|&i| self.error[i].powi(2)).sum::<f64>() / n).sqrt();
        let rms_of_all = (self.error.iter().map(|e| e * e).sum::<f64>() / self.error.len() as f64).sqrt();
        let inside = order.iter().filter(|&&i| self.inside[i]).count() as f64 / n;
        let z = (0..self.se.len()).map(|i| (self.error[i] / self.se[i]).abs());
        let beyond = |limit: f64| z.clone().filter(|z| *z > limit).count();
        format!(
            "{name:22} smallest tenth of se: rms error {:.2} of all, inside {:.1} %; errors beyond 3, 3.5, 4 se: {}, {}, {}",
            rms / rms_of_all,
            100.0 * inside,
            beyond(3.0),
            beyond(3.5),
            beyond(4.0)
        )
    }

    /// What no honest estimator would show, beyond the chance of this many days: a bias of over half a standard error, or
    /// intervals that hold less than 88 % of the time.
    pub fn fault(&self) -> Option<String> {
        let n = self.error.len() as f64;
        let bias = self.error.iter().sum::<f64>() / self.se.iter().sum::<f64>();
        let inside = self.share_inside();
        let chance = 3.0 * (0.95 * 0.05 / n).sqrt();
        (bias.abs() > 0.5 || inside < 0.88 - chance).then(|| format!("bias {bias:+.2} se, {inside:.3} inside"))
    }

    pub fn line(&self, name: &str) -> String {
        let n = self.error.len() as f64;
        let mean = self.error.iter().sum::<f64>() / n;
        let rms = (self.error.iter().map(|e| e * e).sum::<f64>() / n).sqrt();
        let sd = (rms * rms - mean * mean).sqrt();
        let se = self.se.iter().sum::<f64>() / n;
        let rms_se = (self.se.iter().map(|e| e * e).sum::<f64>() / n).sqrt();
        format!(
            "{name:22} n {n:4} bias {mean:+.6} ± {:.6} ({:+.2} se)  rms {rms:.6}  mean se {se:.6}  sd/rms-se {:.3}  inside {:.1} %",
            sd / n.sqrt(),
            mean / se,
            sd / rms_se,
            100.0 * self.share_inside()
        )
    }

    /// Cells of a table: share that holds, bias in standard errors, root-mean-square error, mean half-width.
    pub fn cells(&self, decimals: usize) -> String {
        if self.error.is_empty() {
            return "– | – | – | –".into();
        }
        let n = self.error.len() as f64;
        let bias = self.error.iter().sum::<f64>() / self.se.iter().sum::<f64>();
        let rms = (self.error.iter().map(|e| e * e).sum::<f64>() / n).sqrt();
        let width = self.width.iter().sum::<f64>() / n;
        format!("{:.1} | {bias:+.2} | {rms:.decimals$} | {width:.decimals$}", 100.0 * self.share_inside())
    }
}
