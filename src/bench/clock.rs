//! The recorder's own clock: samples read between samples.
//!
//! ```text
//! recorded[n] = y(n/(1 + d))        y(t) = Σ y[k]·sinc(t − k)·w(t − k)
//! ```
//!
//! d: how much faster the recorder's clock runs (20 ppm: 20e-6), so that a positive d makes the recording too long.
//! t in frames of the player. w: Kaiser window of `converter.rs`, 96 frames long, 130 dB: flat to 0.4557 of the sample rate.
//!
//! Source: J. O. Smith, P. Gossett, "A Flexible Sampling-Rate Conversion Method", ICASSP 1984, 19.4.1–19.4.4.

use super::converter::Kernel;
use std::f64::consts::PI;

const ATTENUATION_DB: f64 = 130.0;
const FLAT_SHARE: f64 = 0.4557;
/// Window values for each frame; linear between them the window is right to 1e-8.
const TABLE_STEPS: usize = 1024;

/// Reads a band-limited signal at any time.
pub struct Reader {
    half: usize,
    window: Vec<f64>,
}

impl Reader {
    /// With its window worked out.
    pub fn new() -> Self {
        let kernel = Kernel::new(FLAT_SHARE, 0.5, ATTENUATION_DB);
        let half = kernel.half();
        let window = (0..=half * TABLE_STEPS + 1).map(|step| kernel.window(step as f64 / TABLE_STEPS as f64)).collect();
        Self { half, window }
    }

    /// The signal at a time in frames; zero outside its samples.
    pub fn at(&self, samples: &[f64], frames: f64) -> f64 {
        let before = frames.floor();
        let part = frames - before;
        let centre = before as isize;
        let near = |index: isize| usize::try_from(index).ok().and_then(|index| samples.get(index)).copied();
        if part == 0.0 {
            return near(centre).unwrap_or(0.0);
        }
        let half = self.half as isize;
        // sin π(t − k) alternates its sign from one sample to the next: one sine serves them all.
        let sine = (PI * part).sin() / PI;
        let taps = (1 - half..=half).filter_map(|tap| {
            let distance = part - tap as f64;
            let sign = if tap % 2 == 0 { 1.0 } else { -1.0 };
            near(centre + tap).map(|sample| sample * sign * self.window_at(distance.abs()) / distance)
        });
        sine * taps.sum::<f64>()
    }

    fn window_at(&self, distance: f64) -> f64 {
        let place = distance * TABLE_STEPS as f64;
        let step = place as usize;
        let share = place - step as f64;
        self.window[step] * (1.0 - share) + self.window[step + 1] * share
    }
}

/// `frames` samples as the recorder's clock takes them.
pub fn recorded(samples: Vec<f64>, drift_ppm: f64, frames: usize) -> Vec<f64> {
    let mut samples = samples;
    if drift_ppm == 0.0 {
        samples.resize(frames, 0.0);
        return samples;
    }
    let reader = Reader::new();
    let per_frame = 1.0 / (1.0 + drift_ppm * 1e-6);
    (0..frames).map(|frame| reader.at(&samples, frame as f64 * per_frame)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    #[test]
    fn a_tone_read_between_its_samples_is_the_tone() {
        for (rate_hz, tone_hz) in [(48_000.0, 20_000.0), (48_000.0, 997.0), (44_100.0, 19_900.0), (96_000.0, 20_000.0)]
        {
            let samples: Vec<f64> = (0..4000).map(|n| (TAU * tone_hz * f64::from(n) / rate_hz).sin()).collect();
            let shifted = recorded(samples, 1234.5, 3800);
            let worst = (200..3800).map(|n| {
                let expected = (TAU * tone_hz * n as f64 / (1.0 + 1234.5e-6) / rate_hz).sin();
                (shifted[n] - expected).abs()
            });
            // -120 dB is the aim; the window is made for -130 dB, images from both sides of the band may add.
            let worst = worst.fold(0.0, f64::max);
            assert!(worst < 1e-6 && worst > 1e-16, "{tone_hz} Hz at {rate_hz} Hz: {worst:e}");
        }
    }

    /// The 1000th rising zero of the played tone is met later by a recorder whose clock is fast.
    #[test]
    fn a_fast_recorder_finds_zero_crossings_late_by_its_drift() {
        let (rate_hz, tone_hz, drift_ppm) = (48_000.0, 1_000.0, 50.0);
        let samples: Vec<f64> = (0..60_000).map(|n| (TAU * tone_hz * f64::from(n) / rate_hz).sin()).collect();
        let shifted = recorded(samples, drift_ppm, 59_000);
        let expected = 1000.0 / tone_hz * rate_hz * (1.0 + drift_ppm * 1e-6);
        let before = expected.floor() as usize;
        let (a, b) = (shifted[before], shifted[before + 1]);
        assert!(a < 0.0 && b > 0.0);
        // Linear between samples 7.5 degrees apart: the bend of the sine moves the zero by less than 1e-3 frames.
        let found = before as f64 + a / (a - b);
        assert!((found - expected).abs() < 1e-3, "{found} {expected}");
        // It was 2.4 frames that the drift moved it.
        assert!((found - 48_000.0 - 2.4).abs() < 2e-3);
    }
}
