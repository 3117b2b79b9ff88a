//! What rings late: resonances of cone, box or grille, each with frequency, decay and level.
//!
//! ```text
//! e(t) ∝ exp((−σ + 2πi·(f_r − f))·t)        Q = π·f_r/σ        T₆₀ = 3·ln 10/σ
//! ```
//!
//! e: complex envelope of a burst (`burst_decay.rs`) where it is longest, after the bell has gone; a straight line through its
//! logarithm has the slope −σ, one through its phase 2π·(f_r − f). The level is that line's at the arrival, re the
//! burst's maximum: how loud the resonance is beside all that sounds there.
//! Ours; the decay as a straight line of levels as in ISO 3382-1.

use super::burst_decay::{BurstDecay, Bursts};
use crate::math::{PlaneFit, unwrapped, weighted_plane};
use crate::quantity::db_from_amplitude;
use num_complex::Complex64;
use std::f64::consts::{LN_10, PI, TAU};

/// A resonance that goes on after the sound.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ringing {
    /// f_r.
    pub hz: f64,
    /// Its standard uncertainty.
    pub u_hz: f64,
    /// Q.
    pub q: f64,
    /// Its standard uncertainty.
    pub u_q: f64,
    /// Level at the arrival, dB re the burst's maximum there.
    pub level_db: f64,
}

impl Ringing {
    /// T₆₀, s.
    pub fn decay_s(&self) -> f64 {
        3.0 * LN_10 * self.q / (PI * self.hz)
    }
}

/// Where the bell has gone, periods.
const FROM_PERIODS: f64 = 5.0;
/// A burst that is still above [`LEAST_DB`] so late is long …
const LATE_PERIODS: f64 = 8.0;
/// … which a Q of 6 is.
const LEAST_DB: f64 = -36.0;
/// Over noise.
const ABOVE_NOISE_DB: f64 = 12.0;
/// The line needs so many periods.
const LEAST_SPAN: f64 = 3.0;
/// What follows no line is no single resonance.
const MOST_LEFT_DB: f64 = 1.5;
const STEP_PERIODS: f64 = 0.25;
/// Two ridges nearer than this are one: a sixth of an octave.
const APART: f64 = 1.122;

/// The resonances that stand up in `map`, which was made of `bursts`, by frequency.
pub(super) fn ringing(bursts: &Bursts, map: &BurstDecay, density: impl Fn(f64) -> f64) -> Vec<Ringing> {
    let hz = &map.hz;
    let late = map.periods.iter().position(|periods| *periods >= LATE_PERIODS).unwrap_or(usize::MAX);
    let levels: Vec<f64> = map
        .level_db
        .iter()
        .zip(&map.floor_db)
        .map(|(levels, floor_db)| levels.get(late).copied().filter(|level| *level > floor_db + ABOVE_NOISE_DB))
        .map(|level| level.unwrap_or(f64::NEG_INFINITY))
        .collect();
    let is_ridge = |place: &usize| {
        let level = levels[*place];
        let neighbour = |n: Option<usize>| n.and_then(|n| levels.get(n)).copied().unwrap_or(f64::NEG_INFINITY);
        level >= LEAST_DB && level > neighbour(place.checked_sub(1)) && level >= neighbour(place.checked_add(1))
    };
    let mut found: Vec<Ringing> =
        (0..hz.len()).filter(is_ridge).filter_map(|place| resonance(bursts, hz[place], density(hz[place]))).collect();
    found.sort_by(|a, b| a.hz.total_cmp(&b.hz));
    found.dedup_by(|later, kept| {
        let same = later.hz / kept.hz < APART;
        if same && later.level_db > kept.level_db {
            *kept = *later;
        }
        same
    });
    found
}

/// The resonance whose ridge lies at `hz`.
fn resonance(bursts: &Bursts, hz: f64, density: f64) -> Option<Ringing> {
    let least = 10f64.powf(ABOVE_NOISE_DB / 20.0) * bursts.noise(hz, density);
    let steps = ((bursts.shown_periods(hz) - FROM_PERIODS) / STEP_PERIODS).floor() as usize;
    let periods: Vec<f64> = (0..=steps).map(|n| FROM_PERIODS + STEP_PERIODS * n as f64).collect();
    let envelope: Vec<Complex64> = bursts.envelope(hz, periods.iter().copied());
    let end = envelope.iter().position(|e| e.norm() < least).unwrap_or(envelope.len());
    let span = STEP_PERIODS * end.saturating_sub(1) as f64;
    if span < LEAST_SPAN {
        return None;
    }
    let times_s: Vec<f64> = periods[..end].iter().map(|periods| periods / hz).collect();
    let logarithms: Vec<f64> = envelope[..end].iter().map(|e| e.norm().ln()).collect();
    let turned = unwrapped(envelope[..end].iter().map(|e| e.arg()));
    // Noise counts against what is left: power as its weight.
    let weights: Vec<f64> = envelope[..end].iter().map(|e| e.norm_sqr()).collect();
    let line = |values: &[f64]| {
        let row = |((time_s, value), weight): ((&f64, &f64), &f64)| (vec![1.0, *time_s], *value, *weight);
        weighted_plane(&times_s.iter().zip(values).zip(&weights).map(row).collect::<Vec<_>>())
    };
    let (level, phase): (PlaneFit, PlaneFit) = (line(&logarithms)?, line(&turned)?);
    let (sigma, resonance_hz) = (-level.values[1], hz + phase.values[1] / TAU);
    let [left_level, left_phase] = [&level, &phase].map(|fit| fit.residual_ratio.sqrt());
    if sigma <= 0.0 || left_level > MOST_LEFT_DB * LN_10 / 20.0 || (resonance_hz / hz).ln().abs() > APART.ln() {
        return None;
    }
    // The scatter of the times as the weights see them, and values about two periods apart are independent.
    let total: f64 = weights.iter().sum();
    let mean_s = times_s.iter().zip(&weights).map(|(t, w)| t * w).sum::<f64>() / total;
    let scatter_s = (times_s.iter().zip(&weights).map(|(t, w)| w * (t - mean_s).powi(2)).sum::<f64>() / total).sqrt();
    let independent = (span / 2.0).max(2.0).sqrt();
    let q = PI * resonance_hz / sigma;
    Some(Ringing {
        hz: resonance_hz,
        u_hz: left_phase / (TAU * scatter_s * independent),
        q,
        u_q: q / sigma * left_level / (scatter_s * independent),
        level_db: db_from_amplitude(level.values[0].exp() / bursts.loudest(hz)),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::response::burst_decay::burst_decay;
    use crate::response::{Gate, ImpulseResponse};

    fn listed(bursts: &Bursts, hz: &[f64]) -> Vec<Ringing> {
        ringing(bursts, &burst_decay(bursts, hz, |_| 1e-24), |_| 1e-24)
    }

    fn impulse(sample: impl Fn(f64) -> f64) -> ImpulseResponse {
        let samples = (0..9_600).map(|n| sample((f64::from(n) - 480.0) / 48_000.0)).collect();
        ImpulseResponse { samples, arrival_index: 480.0 }
    }

    /// A click, which is louder than all, with two resonances: each is found with its frequency and decay within 2 %.
    #[test]
    fn each_resonance_is_found_with_its_frequency_decay_and_level() {
        let both = [(820.0, 18.0, 0.02), (4_100.0, 30.0, 0.05)];
        let rings = |time_s: f64| {
            let one = |(hz, q, size): (f64, f64, f64)| size * (-PI * hz / q * time_s).exp() * (TAU * hz * time_s).cos();
            if time_s < 0.0 { 0.0 } else { f64::from(u8::from(time_s == 0.0)) + both.map(one).iter().sum::<f64>() }
        };
        let hz: Vec<f64> = (0..120).map(|n| 400.0 * (f64::from(n) / 24.0).exp2()).collect();
        let bursts = Bursts::new(&impulse(rings), 48_000.0, Gate::around(100.0, 4_800.0), 400.0);
        let found = listed(&bursts, &hz);
        assert_eq!(found.len(), 2, "{found:?}");
        for (found, (hz, q, _)) in found.iter().zip(both) {
            assert!((found.hz / hz - 1.0).abs() < 0.002 && (found.q / q - 1.0).abs() < 0.02, "{found:?}");
            assert!((found.decay_s() - 2.2 * q / hz).abs() < 0.01 * q / hz, "T60 = 2.2·Q/f, common practice");
        }
        // A click alone rings nowhere.
        let click = impulse(|time_s| f64::from(u8::from(time_s == 0.0)));
        let quiet = Bursts::new(&click, 48_000.0, Gate::around(100.0, 4_800.0), 400.0);
        assert_eq!(listed(&quiet, &hz), []);
    }
}
