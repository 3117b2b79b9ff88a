//! The first reflection, seen in the energy-time curve.
//!
//! ```text
//! E(t) = 20·log₁₀(e(t)/e_max)
//! ```
//!
//! e: envelope of the impulse response with the bass taken out, which rings over everything. A loudspeaker's own sound
//! dies away without coming back; the first time it rises again by [`RISE_DB`] or more to above [`LOWEST_DB`], somebody
//! else is speaking: floor, table, wall. Its start is the moment before it rises.
//! Source: R. C. Heyser, "Acoustical Measurements by Time Delay Spectrometry", J. Audio Eng. Soc. 15 (October 1967)
//! 370–382, for the energy-time curve; the rule is ours.

use super::Pattern;
use super::deconvolve::WrappedImpulse;
use crate::math::{Spectrum, envelope, mean_around};

/// The energy-time curve around the arrival, and what it shows.
#[derive(Debug, Clone, PartialEq)]
pub struct EnergyTime {
    /// Time after the arrival of the first value, s.
    pub first_s: f64,
    /// Between two values, s.
    pub step_s: f64,
    /// dB re its maximum.
    pub level_db: Vec<f64>,
    /// The first reflection, where one can be seen.
    pub reflection: Option<Reflection>,
}

/// A sound that comes after the first one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reflection {
    /// When it begins, s after the arrival.
    pub starts_s: f64,
    /// When it is loudest.
    pub peak_s: f64,
    /// How loud, dB re the direct sound.
    pub level_db: f64,
}

/// A reflection rises at least this much above the quietest moment before it.
const RISE_DB: f64 = 6.0;
/// Nothing quieter than this against the direct sound matters: it moves a response by 0.3 dB at most.
const LOWEST_DB: f64 = -30.0;
/// Noise makes small hills; a reflection stands this far out of it.
const ABOVE_NOISE_DB: f64 = 12.0;
/// Earlier than this a second arrival is the loudspeaker's own edge or second driver.
const EARLIEST_S: f64 = 0.0015;
/// Below this the bass is taken out, where the band reaches higher.
const CORNER_HZ: f64 = 1_000.0;
/// The curve is smoothed over this time, a few periods of the corner's upper octaves.
const SMOOTH_S: f64 = 0.000_2;
/// A reflection begins where the curve is still this far below its peak.
const ONSET_DB: f64 = 15.0;
/// The curve begins this long before the arrival.
const BEFORE_S: f64 = 0.005;
/// The direct sound's maximum lies within this after the arrival.
const DIRECT_S: f64 = 0.001;

/// The energy-time curve from shortly before the arrival to `longest_s` after it.
pub fn energy_time(impulse: &WrappedImpulse, arrival_frames: f64, longest_s: f64, pattern: &Pattern) -> EnergyTime {
    let rate_hz = pattern.rate_hz;
    let before = (BEFORE_S * rate_hz) as usize;
    let frames = before + (longest_s * rate_hz) as usize;
    let length = crate::math::good_length(2 * frames);
    let corner_hz = CORNER_HZ.min((pattern.band_hz[0] * pattern.band_hz[1]).sqrt());
    let mut bins = Spectrum::new(length).bins(&impulse.cut(arrival_frames.round() as i64 - before as i64, frames));
    for (bin, value) in bins.iter_mut().enumerate() {
        let ratio = bin as f64 * rate_hz / length as f64 / corner_hz;
        // A second-order high-pass magnitude without phase, so that nothing moves in time.
        *value *= ratio * ratio / (1.0 + ratio * ratio);
    }
    let squares: Vec<f64> = envelope(&bins, length)[..frames].iter().map(|e| e * e).collect();
    let reach = (0.5 * SMOOTH_S * rate_hz).max(0.15 / corner_hz * rate_hz) as usize;
    // Twice over half the width: a triangle, which has no flat top.
    let half = reach.div_ceil(2);
    let smooth = mean_around(&mean_around(&squares, |_| half), |_| half);
    let direct = before + (DIRECT_S.max(1.0 / corner_hz) * rate_hz) as usize;
    let loudest = smooth[..direct.min(frames)].iter().copied().fold(f64::MIN_POSITIVE, f64::max);
    let level_db: Vec<f64> = smooth.iter().map(|e| 10.0 * (e / loudest).max(1e-20).log10()).collect();
    let step_s = 1.0 / rate_hz;
    let reflection = first_reflection(&level_db, before, step_s);
    EnergyTime { first_s: -(before as f64) * step_s, step_s, level_db, reflection }
}

fn first_reflection(level_db: &[f64], before: usize, step_s: f64) -> Option<Reflection> {
    let earliest = before + (EARLIEST_S / step_s) as usize;
    let tail = &level_db[level_db.len() - level_db.len() / 8..];
    let noise_db = 10.0 * (tail.iter().map(|db| 10f64.powf(db / 10.0)).sum::<f64>() / tail.len().max(1) as f64).log10();
    let least_db = LOWEST_DB.max(noise_db + ABOVE_NOISE_DB);
    let mut quietest = (before, f64::MAX);
    let mut index = before;
    while index < level_db.len() {
        let now_db = level_db[index];
        if now_db < quietest.1 {
            quietest = (index, now_db);
        }
        if index >= earliest && now_db >= least_db && now_db >= quietest.1 + RISE_DB {
            let peak = (index..level_db.len()).take_while(|&n| n == index || level_db[n] >= level_db[n - 1]).last()?;
            let seconds = |n: usize| (n - before) as f64 * step_s;
            // Where it comes out of what was there before.
            let below = |&n: &usize| level_db[n] <= quietest.1.max(level_db[peak] - ONSET_DB);
            let start = (quietest.0..peak).rev().find(below).unwrap_or(quietest.0);
            return Some(Reflection { starts_s: seconds(start), peak_s: seconds(peak), level_db: level_db[peak] });
        }
        index += 1;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The floor's echo comes (√(d² + 4h²) − d)/c after the direct sound: the geometry of Struck and Temme, eq. 15
    /// (quoted in public texts). d = 1 m, h = 1 m, c = 343.2 m/s: 3.6015 ms.
    #[test]
    fn the_floors_echo_is_found_where_geometry_puts_it() {
        let rate_hz = 48_000.0;
        let delay_s = (5f64.sqrt() - 1.0) / 343.2;
        let mut samples = vec![0.0; 65_536];
        // A direct sound that decays as a treble driver does, and its copy at a third.
        for n in 0..200 {
            let own = (-(n as f64) / 8.0).exp() * (0.9 * n as f64).cos();
            samples[1_000 + n] += own;
            samples[1_000 + n + (delay_s * rate_hz).round() as usize] += 0.33 * own;
        }
        let pattern = Pattern {
            samples: vec![1.0],
            rate_hz,
            band_hz: [20.0, 20_000.0],
            played_hz: [14.0, 22_000.0],
            rate_constant_s: None,
        };
        let impulse = WrappedImpulse { samples, bins: Vec::new() };
        let curve = energy_time(&impulse, 1_000.0, 0.05, &pattern);
        let found = curve.reflection.unwrap();
        // 0.2 ms: the width of the smoothing.
        assert!((found.peak_s - delay_s).abs() < 2e-4, "{found:?}");
        assert!(found.starts_s < delay_s && found.starts_s > delay_s - 1e-3, "{found:?}");
        // 1 dB: a third is −9.6 dB.
        assert!((found.level_db + 9.63).abs() < 1.0, "{found:?}");
    }
}
