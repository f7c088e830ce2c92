//! What is known of a parameter before the rides are looked at, as one more row of the equations.
//!
//! Given a parameter's value and the variance σ² of a row of the account; gives the precision of the row, σ²/sd², and its pull
//! towards what is expected. σ² is the long-run variance of a row, because rows of a lap hang together: with that of a
//! single row the laps would be believed too much against what is expected.

/// Least Crr at which the logarithm is taken.
const LEAST_VALUE: f64 = 1e-4;
/// Least slope of the pull towards an expected logarithm, as a share of its precision.
const LEAST_SLOPE: f64 = 0.25;

/// Expectation of one parameter.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Prior {
    /// Nothing is expected.
    #[default]
    None,
    Normal {
        mean: f64,
        sd: f64,
    },
    /// The logarithm is normal.
    LogNormal {
        median: f64,
        log_sd: f64,
    },
}

impl Prior {
    /// Standard deviation of the row at a value, in the parameter's unit.
    pub fn sd_at(self, value: f64) -> Option<f64> {
        match self {
            Prior::None => None,
            Prior::Normal { sd, .. } => Some(sd),
            Prior::LogNormal { log_sd, .. } => Some(log_sd * value.max(LEAST_VALUE)),
        }
    }

    /// σ²/sd²; 0 where nothing is expected.
    pub fn precision(self, value: f64, row_variance: f64) -> f64 {
        self.sd_at(value).map_or(0.0, |sd| row_variance / (sd * sd))
    }

    /// Precision times what is missing to the expected value.
    pub fn pull(self, value: f64, row_variance: f64) -> f64 {
        let missing = match self {
            Prior::None => return 0.0,
            Prior::Normal { mean, .. } => mean - value,
            Prior::LogNormal { median, .. } => {
                let value = value.max(LEAST_VALUE);
                value * (median / value).ln()
            }
        };
        self.precision(value, row_variance) * missing
    }

    /// −d(pull)/dx; far above an expected logarithm, where that turns, a part of the precision, so that steps still lead back.
    pub fn slope(self, value: f64, row_variance: f64) -> f64 {
        let share = match self {
            Prior::LogNormal { median, .. } => (1.0 + (median / value.max(LEAST_VALUE)).ln()).max(LEAST_SLOPE),
            Prior::None | Prior::Normal { .. } => 1.0,
        };
        share * self.precision(value, row_variance)
    }

    /// Square of the row's residual in units of a row of the account.
    pub fn cost(self, value: f64, row_variance: f64) -> f64 {
        let deviation = match self {
            Prior::None => return 0.0,
            Prior::Normal { mean, sd } => (value - mean) / sd,
            Prior::LogNormal { median, log_sd } => (value.max(LEAST_VALUE) / median).ln() / log_sd,
        };
        row_variance * deviation * deviation
    }
}

/// What a prior is of: one line of the budget each.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Expected {
    Cda,
    Crr,
    Lag,
    Wind,
    WindDrift,
    WindAlong,
    Yaw,
    OpenHeight,
}

impl Expected {
    pub const ALL: [Expected; 8] = [
        Expected::Cda,
        Expected::Crr,
        Expected::Lag,
        Expected::Wind,
        Expected::WindDrift,
        Expected::WindAlong,
        Expected::Yaw,
        Expected::OpenHeight,
    ];

    /// Name of the budget line.
    pub fn line(self) -> &'static str {
        match self {
            Expected::Cda => "CdA left open",
            Expected::Crr => "Crr left open",
            Expected::Lag => "delay left open",
            Expected::Wind => "wind left open",
            Expected::WindDrift => "change of wind left open",
            Expected::WindAlong => "wind along the loop left open",
            Expected::Yaw => "yaw left open",
            Expected::OpenHeight => "height that no lap shows",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_pull_is_the_slope_of_the_cost() {
        // Vouched for by central differences: d(cost)/dx = −2 pull.
        for prior in [Prior::Normal { mean: 0.28, sd: 0.06 }, Prior::LogNormal { median: 0.0045, log_sd: 0.4 }] {
            for value in [0.002, 0.0045, 0.3] {
                let step = 1e-6 * value;
                let slope = (prior.cost(value + step, 1e-3) - prior.cost(value - step, 1e-3)) / (2.0 * step);
                let pull = prior.pull(value, 1e-3);
                assert!((slope + 2.0 * pull).abs() < 1e-6 * (1.0 + pull.abs()), "{slope} {pull}");
                let fall = (prior.pull(value - step, 1e-3) - prior.pull(value + step, 1e-3)) / (2.0 * step);
                let turns = matches!(prior, Prior::LogNormal { median, .. } if value > median);
                let expected = prior.slope(value, 1e-3);
                assert!(turns || (fall - expected).abs() < 1e-6 * expected, "{fall} {expected}");
            }
        }
        assert_eq!(Prior::None.pull(1.0, 1.0), 0.0);
    }
}
