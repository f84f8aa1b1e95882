//! A Kalman filter with a Rauch–Tung–Striebel smoother (Rauch, Tung and Striebel 1965, AIAA Journal 3, 1445) over two
//! states: the distance between the odometer's place and the true one, a random walk, and the driver's deviation from
//! the usual revs, which fades from moment to moment.

/// What one moment tells the smoother.
pub(super) struct Moment {
    /// Variance that the odometer's drift adds, laps squared.
    pub walk: f64,
    /// How the profile's revs change over a lap.
    pub slope: f64,
    /// Revs of the profile.
    pub level: f64,
    /// Revs above the profile at the odometer's place.
    pub seen: f64,
    /// Variance of the revs; `None` where the moment tells nothing.
    pub noise: Option<f64>,
}

/// The distance of the true place from the odometer's at one moment.
#[derive(Clone, Copy)]
pub(super) struct Offset {
    /// The distance, laps.
    pub laps: f64,
    /// Its variance, laps squared.
    pub variance: f64,
}

/// How the driver's deviation from the profile goes on from moment to moment.
pub(super) struct Mood {
    /// Share of it that is left after one moment.
    pub keep: f64,
    /// Its standard deviation, as a share of the revs.
    pub deviation: f64,
}

/// The distances, smoothed over all moments. `start_variance` is that of the first one, laps squared.
pub(super) fn smoothed(moments: &[Moment], start_variance: f64, mood: &Mood) -> Vec<Offset> {
    let (keep, variance) = (mood.keep, mood.deviation * mood.deviation);
    // Mean and covariance: (m0, m1), (p00, p01, p11), before and after each moment's revs.
    let (mut m, mut p) = ([0.0, 0.0], [start_variance, 0.0, variance]);
    let mut predicted = Vec::with_capacity(moments.len());
    let mut filtered = Vec::with_capacity(moments.len());
    for moment in moments {
        m = [m[0], keep * m[1]];
        p = [p[0] + moment.walk, keep * p[1], keep * keep * p[2] + (1.0 - keep * keep) * variance];
        predicted.push((m, p));
        if let Some(noise) = moment.noise {
            let h = [moment.slope, moment.level];
            let ph = [p[0] * h[0] + p[1] * h[1], p[1] * h[0] + p[2] * h[1]];
            let total = h[0] * ph[0] + h[1] * ph[1] + noise;
            let gain = [ph[0] / total, ph[1] / total];
            let miss = moment.seen - h[0] * m[0] - h[1] * m[1];
            m = [m[0] + gain[0] * miss, m[1] + gain[1] * miss];
            p = [p[0] - gain[0] * ph[0], p[1] - gain[0] * ph[1], p[2] - gain[1] * ph[1]];
        }
        filtered.push((m, p));
    }
    let (mut later, mut later_p) = (m, p);
    let mut offsets = vec![Offset { laps: m[0], variance: p[0] }; moments.len()];
    for n in (0..moments.len().saturating_sub(1)).rev() {
        let ((m, p), (mp, pp)) = (filtered[n], predicted[n + 1]);
        // Gain C = P Fᵀ Pp⁻¹ with F = diag(1, keep).
        let determinant = (pp[0] * pp[2] - pp[1] * pp[1]).max(f64::MIN_POSITIVE);
        let inverse = [pp[2] / determinant, -pp[1] / determinant, pp[0] / determinant];
        let pf = [[p[0], keep * p[1]], [p[1], keep * p[2]]];
        let miss = [later[0] - mp[0], later[1] - mp[1]];
        let v = [inverse[0] * miss[0] + inverse[1] * miss[1], inverse[1] * miss[0] + inverse[2] * miss[1]];
        later = [m[0] + pf[0][0] * v[0] + pf[0][1] * v[1], m[1] + pf[1][0] * v[0] + pf[1][1] * v[1]];
        let gain = pf.map(|r| [r[0] * inverse[0] + r[1] * inverse[1], r[0] * inverse[1] + r[1] * inverse[2]]);
        let d = [later_p[0] - pp[0], later_p[1] - pp[1], later_p[2] - pp[2]];
        let turn = |a: [f64; 2], b: [f64; 2]| a[0] * (d[0] * b[0] + d[1] * b[1]) + a[1] * (d[1] * b[0] + d[2] * b[1]);
        later_p = [p[0] + turn(gain[0], gain[0]), p[1] + turn(gain[0], gain[1]), p[2] + turn(gain[1], gain[1])];
        offsets[n] = Offset { laps: later[0], variance: later_p[0] };
    }
    offsets
}
