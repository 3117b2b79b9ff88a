//! How much each point of a curve counts.
//!
//! ```text
//! residual rᵢ = √aᵢ·(Z_model − Zᵢ)/σᵢ          aᵢ = min(1, Δfᵢ/resolution)
//! ```
//!
//! σᵢ: the point's own noise, ohm, for real and imaginary part alike; a curve without it gets σᵢ = |Zᵢ|, and its true
//! noise from what the model leaves. Δfᵢ: half the distance between a point's neighbours; noise of points closer than
//! the resolution is the same noise, so that such a point counts only in part.
//!
//! A noise that was worked out from the measured Zᵢ carries that point's own error: behind a sense resistor σ grows
//! with |Z| to the power p = 1 to 2, so that a point which chance made low would count too much. Therefore σ is taken
//! at the model's |Z| once there is a model: `σᵢ·(|Z_model|/|Zᵢ|)^p`, p = d ln σ/d ln |Z| from the curve itself.
//! Derivation: ours.

use crate::impedance::Impedance;
use crate::math::weighted_plane;
use num_complex::Complex64;

/// How much each point counts.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Weighting {
    /// σᵢ.
    pub(crate) sigma_ohm: Vec<f64>,
    /// aᵢ.
    pub(crate) share: Vec<f64>,
    /// Where the σᵢ come from.
    pub(crate) noise: Noise,
}

/// Where the noise is known from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Noise {
    /// The curve tells it.
    Known,
    /// Nothing does: the σ are the |Z|, and one factor is missing.
    Unknown,
}

/// A point's noise relative to |Z| counts as at least this part of the median: no point is trusted without bound.
const LEAST_NOISE: f64 = 0.03;

impl Weighting {
    /// What a curve says of itself.
    pub(crate) fn of(curve: &Impedance) -> Self {
        let share = shares(curve.hz(), curve.resolution_hz());
        let magnitude = curve.magnitude_ohm();
        let relative = curve.u_noise_ohm().map(|u| {
            let mut relative: Vec<f64> =
                u.iter().zip(&magnitude).map(|(u, ohm)| u / ohm.max(f64::MIN_POSITIVE)).collect();
            relative.sort_by(f64::total_cmp);
            relative[relative.len() / 2]
        });
        match (curve.u_noise_ohm(), relative) {
            (Some(u), Some(median)) if median > 0.0 => {
                let least = |ohm: f64| LEAST_NOISE * median * ohm;
                let sigma_ohm = u.iter().zip(&magnitude).map(|(u, ohm)| u.max(least(*ohm))).collect();
                Self { sigma_ohm, share, noise: Noise::Known }
            }
            _ => Self { sigma_ohm: magnitude, share, noise: Noise::Unknown },
        }
    }

    /// The same with the noise that the points would have on the model.
    pub(crate) fn on_model(&self, measured: &[Complex64], model: &[Complex64]) -> Self {
        let exponents = noise_exponents(&self.sigma_ohm, measured);
        let sigma_ohm = (0..measured.len())
            .map(|at| {
                // A model that is off by more than half says nothing about noise.
                let ratio = (model[at].norm() / measured[at].norm()).clamp(0.5, 2.0);
                self.sigma_ohm[at] * ratio.powf(exponents[at])
            })
            .collect();
        Self { sigma_ohm, ..self.clone() }
    }

    /// How many independent real numbers the curve holds.
    pub(crate) fn numbers(&self) -> f64 {
        2.0 * self.share.iter().sum::<f64>()
    }
}

/// p at each point: the slope of a parabola of ln σ over ln |Z|, beside one over ln(index) that takes what frequency does.
fn noise_exponents(sigma_ohm: &[f64], measured: &[Complex64]) -> Vec<f64> {
    let logs: Vec<f64> = measured.iter().map(|z| z.norm().ln()).collect();
    let count = logs.len() as f64;
    let mean = logs.iter().sum::<f64>() / count;
    let rows: Vec<(Vec<f64>, f64, f64)> = (0..logs.len())
        .map(|at| {
            let (place, log) = (at as f64 / count - 0.5, logs[at] - mean);
            (vec![1.0, log, log * log, place, place * place], sigma_ohm[at].ln(), 1.0)
        })
        .collect();
    let slope = |log: f64, values: &[f64]| (values[1] + 2.0 * values[2] * (log - mean)).clamp(0.0, 2.0);
    weighted_plane(&rows)
        .map_or_else(|| vec![0.0; logs.len()], |plane| logs.iter().map(|&log| slope(log, &plane.values)).collect())
}

/// aᵢ.
pub(crate) fn shares(hz: &[f64], resolution_hz: Option<f64>) -> Vec<f64> {
    let Some(resolution_hz) = resolution_hz else {
        return vec![1.0; hz.len()];
    };
    let last = hz.len() - 1;
    (0..hz.len())
        .map(|at| {
            let (left, right) = (at.saturating_sub(1), (at + 1).min(last));
            let spacing_hz = if left == right { resolution_hz } else { (hz[right] - hz[left]) / (right - left) as f64 };
            (spacing_hz / resolution_hz).min(1.0)
        })
        .collect()
}
