//! A number whose distribution is a mixture of Student's t: one component for each value that a nuisance may have.
//!
//! Given weights, places, scales and degrees of freedom; gives mean, standard deviation, probabilities and quantiles. It knows
//! nothing of what was mixed over.

use super::budget::Combined;
use super::interval::Interval;
use super::student::{coverage_factor, normal_quantile, t_upper_tail};

/// One t distribution: `place` + `scale` · t(`dof`).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Component {
    pub weight: f64,
    pub place: f64,
    pub scale: f64,
    /// Infinite for a normal.
    pub dof: f64,
}

/// Neighbours whose scales differ by less than this fraction are one component: to second order nothing is lost.
const SAME_SCALE: f64 = 0.01;
/// Weights below this fraction of the whole are left out.
const NO_WEIGHT: f64 = 1e-10;
/// Beyond any degrees of freedom that change a digit.
const MANY_DOF: f64 = 1e6;
/// First search for a quantile, from the normal's, in standard deviations.
const FIRST_STEP_SDS: f64 = 0.2;
/// To which the logarithm of degrees of freedom is solved for.
const LOG_DOF_TOLERANCE: f64 = 1e-7;

/// The distribution.
#[derive(Debug, Clone, PartialEq)]
pub struct Mixture {
    components: Vec<Component>,
}

impl Mixture {
    /// Weights need not sum to one. Components should stand in the order of what was mixed over, because neighbours that are
    /// alike are taken together.
    pub fn new(components: &[Component]) -> Mixture {
        let total: f64 = components.iter().map(|c| c.weight).sum();
        let mut kept: Vec<Component> = Vec::new();
        for c in components.iter().filter(|c| c.weight >= NO_WEIGHT * total) {
            let c = Component { weight: c.weight / total, ..*c };
            match kept.last_mut().filter(|last| alike(last, &c)) {
                Some(last) => *last = together(last, &c),
                None => kept.push(c),
            }
        }
        Mixture { components: kept }
    }

    /// Not a number where there is no component.
    pub fn mean(&self) -> f64 {
        if self.components.is_empty() {
            return f64::NAN;
        }
        self.components.iter().map(|c| c.weight * c.place).sum()
    }

    /// √Σ w (scale² + (place − mean)²). As in a table of results a t counts by its scale; what its degrees of freedom add is
    /// left to the quantiles.
    pub fn standard_deviation(&self) -> f64 {
        let mean = self.mean();
        self.components.iter().map(|c| c.weight * (c.scale.powi(2) + (c.place - mean).powi(2))).sum::<f64>().sqrt()
    }

    /// P(X ≤ x).
    pub fn cdf(&self, x: f64) -> f64 {
        self.components.iter().map(|c| c.weight * t_upper_tail((c.place - x) / c.scale, c.dof)).sum()
    }

    /// P(X > x), which keeps its digits far out.
    pub fn upper_tail(&self, x: f64) -> f64 {
        self.components.iter().map(|c| c.weight * t_upper_tail((x - c.place) / c.scale, c.dof)).sum()
    }

    /// The value below which X falls with this probability, solved for to a millionth of the standard deviation.
    pub fn quantile(&self, probability: f64) -> f64 {
        if !(probability > 0.0 && probability < 1.0) {
            return f64::NAN;
        }
        let (mean, sd) = (self.mean(), self.standard_deviation());
        if sd == 0.0 || !sd.is_finite() || !mean.is_finite() {
            return if sd == 0.0 && mean.is_finite() { mean } else { f64::NAN };
        }
        // The smaller tail, so that far quantiles are as good as near ones.
        let miss = |x: f64| {
            if probability < 0.5 { self.cdf(x) - probability } else { (1.0 - probability) - self.upper_tail(x) }
        };
        let guess = mean + sd * normal_quantile(probability);
        bracketed(guess, sd, &miss).map_or(f64::NAN, |ends| root(ends, 1e-6 * sd, &miss))
    }

    /// As much probability below as above.
    pub fn interval(&self, confidence: f64) -> Interval {
        let outside = 0.5 * (1.0 - confidence);
        let low = self.quantile(outside);
        let high = match self.centre() {
            Some(centre) => 2.0 * centre - low,
            None => self.quantile(1.0 - outside),
        };
        Interval { low, high }
    }

    /// The one place of all components, about which the mixture is symmetric.
    fn centre(&self) -> Option<f64> {
        let first = self.components.first()?.place;
        self.components.iter().all(|c| c.place == first).then_some(first)
    }

    /// The t distribution that has the same half-width at `confidence` and where a tenth of that is left outside, for all that
    /// works with a standard uncertainty and degrees of freedom (adding an instrument's, smallest detectable differences).
    ///
    /// Its standard uncertainty is the scale of that t, and differs from [`Mixture::standard_deviation`].
    pub fn as_student(&self, confidence: f64) -> Combined {
        let farther = 1.0 - 0.1 * (1.0 - confidence);
        let (near, far) = (0.5 * self.interval(confidence).width(), 0.5 * self.interval(farther).width());
        if !(near > 0.0 && far.is_finite()) {
            return Combined { standard_uncertainty: near, dof: if near == 0.0 { f64::INFINITY } else { f64::NAN } };
        }
        let ratio = |dof: f64| coverage_factor(farther, dof) / coverage_factor(confidence, dof);
        let dof = if far / near <= ratio(MANY_DOF) {
            f64::INFINITY
        } else {
            // The ratio falls as degrees of freedom rise, below those of one degree to what one degree has.
            let miss = |log_dof: f64| far / near - ratio(log_dof.exp());
            let (one, many) = (0.0, MANY_DOF.ln());
            let least = miss(one);
            if least >= 0.0 { 1.0 } else { root([(one, least), (many, miss(many))], LOG_DOF_TOLERANCE, &miss).exp() }
        };
        Combined { standard_uncertainty: near / coverage_factor(confidence, dof), dof }
    }
}

fn alike(a: &Component, b: &Component) -> bool {
    (a.scale - b.scale).abs() < SAME_SCALE * a.scale
        && (a.place - b.place).abs() < SAME_SCALE * a.scale
        && (a.dof.min(MANY_DOF) - b.dof.min(MANY_DOF)).abs() < 0.1 * a.dof.min(MANY_DOF)
}

fn together(a: &Component, b: &Component) -> Component {
    let weight = a.weight + b.weight;
    let mix = |x: f64, y: f64| (a.weight * x + b.weight * y) / weight;
    Component {
        weight,
        place: mix(a.place, b.place),
        scale: mix(a.scale.powi(2), b.scale.powi(2)).sqrt(),
        dof: mix(a.dof.recip(), b.dof.recip()).recip(),
    }
}

/// Ends about a guess between which a rising function changes its sign; only the end that falls short is moved.
fn bracketed(guess: f64, sd: f64, miss: &dyn Fn(f64) -> f64) -> Option<[(f64, f64); 2]> {
    let mut step = FIRST_STEP_SDS * sd;
    let [mut low, mut high] = [guess - step, guess + step].map(|x| (x, miss(x)));
    for _ in 0..200 {
        if low.1 <= 0.0 && high.1 >= 0.0 {
            return Some([low, high]);
        }
        step *= 2.0;
        if low.1 > 0.0 {
            high = low;
            low = (low.0 - step, miss(low.0 - step));
        } else {
            low = high;
            high = (high.0 + step, miss(high.0 + step));
        }
    }
    None
}

/// Bisection, shortened by false position where that moves both ends (Illinois rule; from memory).
fn root([mut low, mut high]: [(f64, f64); 2], tolerance: f64, miss: &dyn Fn(f64) -> f64) -> f64 {
    let mut last_side = 0;
    for round in 0..200 {
        if high.0 - low.0 <= tolerance || low.1 == high.1 {
            break;
        }
        let secant = high.0 - high.1 * (high.0 - low.0) / (high.1 - low.1);
        let inside = secant > low.0 && secant < high.0 && round % 4 != 3;
        let x = if inside { secant } else { 0.5 * (low.0 + high.0) };
        let y = miss(x);
        if y == 0.0 || (x - low.0).min(high.0 - x) <= 0.01 * tolerance {
            return x;
        }
        if y < 0.0 {
            low = (x, y);
            high.1 *= if last_side == -1 { 0.5 } else { 1.0 };
            last_side = -1;
        } else {
            high = (x, y);
            low.1 *= if last_side == 1 { 0.5 } else { 1.0 };
            last_side = 1;
        }
    }
    0.5 * (low.0 + high.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn part(weight: f64, place: f64, scale: f64, dof: f64) -> Component {
        Component { weight, place, scale, dof }
    }

    #[test]
    fn a_single_component_is_students_t() {
        // Definition; the quantile 2.262157 for 9 degrees of freedom stands in every table.
        let one = Mixture::new(&[part(3.0, 1.0, 2.0, 9.0)]);
        assert!((one.quantile(0.975) - (1.0 + 2.0 * 2.262_157)).abs() < 1e-5);
        assert!((one.quantile(0.025) - (1.0 - 2.0 * 2.262_157)).abs() < 1e-5);
        let back = one.as_student(0.95);
        assert!(
            (back.standard_uncertainty / 2.0 - 1.0).abs() < 1e-4 && (back.dof / 9.0 - 1.0).abs() < 1e-3,
            "{back:?}"
        );
    }

    #[test]
    fn quantile_and_probability_undo_each_other_in_both_tails() {
        let mix =
            Mixture::new(&[part(0.5, 0.0, 1.0, f64::INFINITY), part(0.3, 0.4, 3.0, 7.0), part(0.2, -1.0, 20.0, 2.0)]);
        for tail in [1e-4, 0.01, 0.2, 0.5] {
            assert!((mix.cdf(mix.quantile(tail)) / tail - 1.0).abs() < 1e-4, "{tail}");
            assert!((mix.upper_tail(mix.quantile(1.0 - tail)) / tail - 1.0).abs() < 1e-4, "{tail}");
        }
        // By hand: mean 0.12 − 0.2, and p of zero from the three tails.
        assert!((mix.mean() + 0.08).abs() < 1e-12);
        let below = 0.5 * 0.5 + 0.3 * t_upper_tail(0.4 / 3.0, 7.0) + 0.2 * (1.0 - t_upper_tail(0.05, 2.0));
        assert!((mix.cdf(0.0) - below).abs() < 1e-12 && (mix.upper_tail(0.0) - (1.0 - below)).abs() < 1e-12);
    }

    #[test]
    fn taking_neighbours_together_changes_no_digit_that_is_printed() {
        let many: Vec<Component> =
            (0..400).map(|i| part(1.0 + f64::from(i), 0.0, 1.0 + f64::from(i) / 1000.0, 12.0)).collect();
        let merged = Mixture::new(&many);
        assert!(merged.components.len() < 60);
        let exact = |x: f64| many.iter().map(|c| c.weight * t_upper_tail(x / c.scale, c.dof)).sum::<f64>() / 80_200.0;
        assert!((merged.upper_tail(2.5) / exact(2.5) - 1.0).abs() < 2e-4);
    }

    #[test]
    fn nothing_but_a_value_has_no_width_and_the_unknown_stays_unknown() {
        let exact = Mixture::new(&[part(1.0, 4.0, 0.0, 5.0)]);
        assert_eq!((exact.quantile(0.3), exact.as_student(0.95).standard_uncertainty), (4.0, 0.0));
        assert!(Mixture::new(&[part(1.0, f64::NAN, 1.0, 5.0)]).quantile(0.3).is_nan());
        assert!(Mixture::new(&[]).quantile(0.3).is_nan() && Mixture::new(&[]).mean().is_nan());
    }
}
