//! How likely the distances of a list's passings from their common place are, whatever the common scatter of them all
//! is: Student's t for an unknown noise level (formula from memory), with neighbours that are alike.

use statrs::function::gamma::ln_gamma;

/// Least scatter of a passing's place, share of a lap: a decimetre or so, the least that the pattern can resolve.
pub(super) const LEAST_SCATTER: f64 = 0.000_6;
/// Correlations of neighbouring errors that are tried.
const ALIKE: [f64; 5] = [0.0, 0.4, 0.7, 0.9, 0.98];

/// How uncertain a place is, worked out once for each.
#[derive(Debug, Clone, Copy)]
pub(super) struct PlaceDoubt {
    /// Its standard deviation, share of a lap.
    pub deviation: f64,
    /// One lap in those deviations.
    lap: f64,
    /// Natural logarithm of the deviation.
    logarithm: f64,
}

impl PlaceDoubt {
    /// Of a place with this variance by the smoother's account, laps squared.
    pub(super) fn new(variance: f64) -> Self {
        let deviation = (variance + LEAST_SCATTER * LEAST_SCATTER).sqrt();
        Self { deviation, lap: 1.0 / deviation, logarithm: deviation.ln() }
    }
}

/// The errors of passings.
#[derive(Default)]
pub(super) struct PassingErrors {
    /// In deviations of each one's own place, so that neighbours are alike by a correlation.
    own: Vec<f64>,
    /// One lap in those deviations.
    unit: Vec<f64>,
    /// Sum of the deviations' logarithms.
    logarithms: f64,
    /// The least that the squares of the errors add up to.
    floor: f64,
    /// Half the degrees of freedom of the errors about their mean, and the logarithm of the gamma function of that.
    degrees: f64,
    gamma: f64,
}

impl PassingErrors {
    /// Takes other errors, in deviations of each one's own place, and how uncertain these places are.
    pub(super) fn set(&mut self, own: impl Iterator<Item = f64>, places: &[PlaceDoubt]) {
        self.own.clear();
        self.own.extend(own);
        self.unit.clear();
        self.unit.extend(places.iter().map(|place| place.lap));
        self.floor = self.unit.iter().map(|u| (LEAST_SCATTER * u).powi(2)).sum();
        self.logarithms = places.iter().map(|place| place.logarithm).sum();
        let degrees = 0.5 * (self.own.len() as f64 - 1.0);
        if degrees != self.degrees {
            (self.degrees, self.gamma) = (degrees, ln_gamma(degrees));
        }
    }

    /// The errors, in deviations of each one's own place.
    pub(super) fn own(&self) -> &[f64] {
        &self.own
    }

    /// Holds the errors to so many deviations.
    pub(super) fn clip(&mut self, most: f64) {
        self.own.iter_mut().for_each(|own| *own = own.clamp(-most, most));
    }

    /// Log-likelihood of the errors, up to a constant. Those of neighbouring passings are alike to an unknown degree:
    /// each degree is tried, and their likelihoods added.
    pub(super) fn log_likelihood(&self) -> f64 {
        let squares = Neighbours::of(&self.own, &self.own);
        let products = Neighbours::of(&self.own, &self.unit);
        let units = Neighbours::of(&self.unit, &self.unit);
        let likelihoods = ALIKE.map(|alike| self.innovations(alike, &squares, &products, &units));
        let best = likelihoods.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        self.gamma + best + likelihoods.iter().map(|l| (l - best).exp()).sum::<f64>().ln()
    }

    /// Log-likelihood of errors of which each is `alike` times the one before and something new, with an unknown mean
    /// and an unknown common factor on their variances; without the logarithm of the gamma function of the degrees of
    /// freedom, which does not depend on it. `squares`, `products` and `units` are those of errors, of errors and means,
    /// and of means.
    fn innovations(&self, alike: f64, squares: &Neighbours, products: &Neighbours, units: &Neighbours) -> f64 {
        let fresh = 1.0 - alike * alike;
        let [ee, em, mm] = [squares, products, units].map(|sums| sums.fresh(alike));
        let n = self.own.len() as f64;
        let squares = ((ee - em * em / mm.max(f64::MIN_POSITIVE)) / fresh).max(0.0) + self.floor;
        let logarithms = self.logarithms + 0.5 * (n - 1.0) * fresh.ln();
        -self.degrees * (std::f64::consts::PI * squares).ln() - logarithms - 0.5 * (mm / fresh).ln()
    }
}

/// Sums of the products of two series, from which follow those of what is new in each value, however alike a value is
/// to the one before.
struct Neighbours {
    /// The product of the first values.
    first: f64,
    /// Of all values after the first, of these with the ones before them both ways, and of those before alone.
    now: f64,
    across: f64,
    before: f64,
}

impl Neighbours {
    fn of(one: &[f64], other: &[f64]) -> Self {
        let mut sums = Self { first: one[0] * other[0], now: 0.0, across: 0.0, before: 0.0 };
        for (a, b) in one.windows(2).zip(other.windows(2)) {
            sums.now += a[1] * b[1];
            sums.across += a[1] * b[0] + a[0] * b[1];
            sums.before += a[0] * b[0];
        }
        sums
    }

    /// The sum of the products of what is new in both, where each value is `alike` times the one before and something
    /// new.
    fn fresh(&self, alike: f64) -> f64 {
        let square = alike * alike;
        self.first * (1.0 - square) + self.now - alike * self.across + square * self.before
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_new_is_summed_as_value_by_value() {
        let (one, other) = ([3.0, 2.5, -1.0, 4.0], [1.0, -2.0, 0.5, 0.25]);
        for alike in ALIKE {
            let fresh = |v: &[f64; 4]| [v[1] - alike * v[0], v[2] - alike * v[1], v[3] - alike * v[2]];
            let after: f64 = fresh(&one).iter().zip(fresh(&other)).map(|(a, b)| a * b).sum();
            let expected = one[0] * other[0] * (1.0 - alike * alike) + after;
            assert!((Neighbours::of(&one, &other).fresh(alike) - expected).abs() < 1e-12);
        }
    }
}
