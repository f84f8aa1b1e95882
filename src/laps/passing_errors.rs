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
pub(super) struct PassingErrors {
    /// In deviations of each one's own place, so that neighbours are alike by a correlation.
    own: Vec<f64>,
    /// One lap in those deviations.
    unit: Vec<f64>,
    /// Sum of the deviations' logarithms.
    logarithms: f64,
    /// The least that the squares of the errors add up to.
    floor: f64,
}

impl PassingErrors {
    /// Errors in deviations of each one's own place, and how uncertain these places are.
    pub(super) fn new(own: Vec<f64>, places: &[PlaceDoubt]) -> Self {
        let unit: Vec<f64> = places.iter().map(|place| place.lap).collect();
        let floor = unit.iter().map(|u| (LEAST_SCATTER * u).powi(2)).sum();
        Self { own, unit, logarithms: places.iter().map(|place| place.logarithm).sum(), floor }
    }

    /// Log-likelihood of the errors, up to a constant. Those of neighbouring passings are alike to an unknown degree:
    /// each degree is tried, and their likelihoods added.
    pub(super) fn log_likelihood(&self) -> f64 {
        let gamma = ln_gamma(self.degrees());
        let likelihoods = ALIKE.map(|alike| gamma + self.innovations(alike));
        let best = likelihoods.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        best + likelihoods.iter().map(|l| (l - best).exp()).sum::<f64>().ln()
    }

    /// Half the degrees of freedom of the errors about their mean.
    fn degrees(&self) -> f64 {
        0.5 * (self.own.len() as f64 - 1.0)
    }

    /// Log-likelihood of errors of which each is `alike` times the one before and something new, with an unknown mean
    /// and an unknown common factor on their variances; without the logarithm of the gamma function of
    /// [`PassingErrors::degrees`], which does not depend on it.
    fn innovations(&self, alike: f64) -> f64 {
        let fresh = 1.0 - alike * alike;
        // Sums over what is new in each error (e) and in each mean (m).
        let (e, m) = (self.own[0], self.unit[0]);
        let (mut ee, mut em, mut mm) = (e * e * fresh, e * m * fresh, m * m * fresh);
        for (own, unit) in self.own.windows(2).zip(self.unit.windows(2)) {
            let (e, m) = (own[1] - alike * own[0], unit[1] - alike * unit[0]);
            ee += e * e;
            em += e * m;
            mm += m * m;
        }
        let n = self.own.len() as f64;
        let squares = ((ee - em * em / mm.max(f64::MIN_POSITIVE)) / fresh).max(0.0) + self.floor;
        let degrees = self.degrees();
        let logarithms = self.logarithms + 0.5 * (n - 1.0) * fresh.ln();
        -degrees * (std::f64::consts::PI * squares).ln() - logarithms - 0.5 * (mm / fresh).ln()
    }
}
