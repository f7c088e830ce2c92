//! Standard error of a window's Crr from the scatter of its steps, respecting that neighbours are alike.
//!
//! Given the residual energies of the steps in order; gives the standard error of their mean by two methods. It
//! never decides what the window is.

/// Length of a batch is at least this, so that it spans several turns of a rider's attention, s
/// (common practice, no source).
const SHORTEST_BATCH_S: f64 = 15.0;
/// Fewer batches say nothing about their scatter, more would make them needlessly short.
const FEWEST_BATCHES: usize = 5;
const MOST_BATCHES: usize = 20;

/// Standard error of a mean by Newey–West and by batch means.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scatter {
    pub newey_west: f64,
    pub batch_means: f64,
    /// Batches less one.
    pub dof: f64,
}

impl Scatter {
    /// The larger of the two: both are low when the correlation outlasts their reach.
    pub fn standard_error(&self) -> f64 {
        self.newey_west.max(self.batch_means)
    }
}

/// Scatter of the mean of a series whose neighbours stand `spacing_s` apart, or `None` where it is too short to be cut
/// into batches.
pub fn scatter_of_mean(series: &[f64], spacing_s: f64) -> Option<Scatter> {
    let batches =
        ((series.len() as f64 * spacing_s / SHORTEST_BATCH_S) as usize).min(series.len() / 2).min(MOST_BATCHES);
    if batches < FEWEST_BATCHES {
        return None;
    }
    let lags = ((SHORTEST_BATCH_S / spacing_s).ceil() as usize).clamp(1, series.len() / 8);
    Some(Scatter {
        newey_west: newey_west_of_mean(series, lags),
        batch_means: batch_means(series, batches),
        dof: batches as f64 - 1.0,
    })
}

fn mean(series: &[f64]) -> f64 {
    series.iter().sum::<f64>() / series.len() as f64
}

/// √((γ₀ + 2 Σ (1 − l/(L+1)) γ_l)/n) (Newey & West 1987, Econometrica 55:703).
fn newey_west_of_mean(series: &[f64], lags: usize) -> f64 {
    let centre = mean(series);
    let covariance = |lag: usize| -> f64 {
        let later = series.iter().skip(lag);
        series.iter().zip(later).map(|(a, b)| (a - centre) * (b - centre)).sum::<f64>() / series.len() as f64
    };
    let weighted: f64 = (1..=lags).map(|lag| (1.0 - lag as f64 / (lags as f64 + 1.0)) * covariance(lag)).sum();
    ((covariance(0) + 2.0 * weighted).max(0.0) / series.len() as f64).sqrt()
}

/// Standard error from the scatter of the means of equal batches.
fn batch_means(series: &[f64], batches: usize) -> f64 {
    let means: Vec<f64> = series.chunks_exact(series.len() / batches).take(batches).map(mean).collect();
    let centre = mean(&means);
    let squares: f64 = means.iter().map(|m| (m - centre).powi(2)).sum();
    (squares / (batches as f64 - 1.0) / batches as f64).sqrt()
}
