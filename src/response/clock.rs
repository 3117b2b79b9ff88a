//! Whether the recorder's clock runs as the player's does.
//!
//! ```text
//! y_rec(t) = y(t/(1 + δ))        δ = (distance recorded − distance played)/(distance played)
//! ```
//!
//! δ is positive when the recording is too long: the recorder's clock is fast. Two sounds that were equal when played
//! stay equal on any steady clock, the stretch included; their distance is the lag that turns one into the other. It
//! is the slope of the phase of their cross spectrum, weighted by what the noise leaves of each bin:
//!
//! ```text
//! arg(W₂·W₁*) = −2πf·lag        σ² = N·S/2·(1/|W₁|² + 1/|W₂|²)
//! ```
//!
//! Source: C. H. Knapp, G. C. Carter, "The Generalized Correlation Method for Estimation of Time Delay", IEEE Trans.
//! Acoust. Speech Signal Process. 24 (August 1976) 320–327.

use super::noise::NoiseDensity;
use crate::math::{InverseSpectrum, Spectrum, good_length, weighted_line};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// The clocks' difference and how it was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drift {
    /// δ.
    pub ratio: f64,
    /// Its standard uncertainty.
    pub u_ratio: f64,
    /// What told it.
    pub told_by: ToldBy,
}

/// What told the drift.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ToldBy {
    /// The time marks before and after.
    Marks,
    /// The distance of the repeats.
    Repeats,
    /// The sweep's own shape: what a minimum-phase system would not do to it.
    Sweep,
}

/// A lag in frames, and its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lag {
    /// How much later the second sound is than the first.
    pub frames: f64,
    /// Standard uncertainty.
    pub u_frames: f64,
    /// How alike the two are, 0 to 1: their normalised correlation.
    pub likeness_ratio: f64,
}

/// Bins whose phase the noise moves by more than this tell nothing: a phase that wraps is no phase.
const WORST_PHASE_RAD: f64 = 0.5;
/// Below this likeness two sounds are not the same one.
const LEAST_LIKENESS: f64 = 0.5;

/// How much later the sound in `second` is than that in `first`, both pieces of one recording of equal length.
///
/// `band_hz` is where the sound lies, `noise` that of the recording. `None` when the two are not alike or drown in noise.
pub fn lag(first: &[f64], second: &[f64], rate_hz: f64, band_hz: [f64; 2], noise: &NoiseDensity) -> Option<Lag> {
    let length = good_length(first.len() + second.len());
    let forward = Spectrum::new(length);
    let (one, two) = (forward.bins(first), forward.bins(second));
    let bins = (band_hz[0] / rate_hz * length as f64).ceil() as usize
        ..((band_hz[1] / rate_hz * length as f64) as usize).min(length / 2);
    let mut cross = vec![Complex64::ZERO; one.len()];
    let (mut power_one, mut power_two) = (0.0, 0.0);
    for bin in bins.clone() {
        cross[bin] = two[bin] * one[bin].conj();
        power_one += one[bin].norm_sqr();
        power_two += two[bin].norm_sqr();
    }
    let (whole, peak) = highest(&InverseSpectrum::new(length).samples(&cross));
    // Each bin but the ends stands for two, and the inverse divides by N.
    let likeness_ratio = 0.5 * peak * length as f64 / (power_one * power_two).sqrt();
    if likeness_ratio.is_nan() || likeness_ratio < LEAST_LIKENESS {
        return None;
    }
    let frames_of_noise = first.len() as f64;
    let points = bins.filter_map(|bin| {
        let turn_rad = TAU * bin as f64 / length as f64;
        let phase_rad = (cross[bin] * Complex64::cis(turn_rad * whole as f64)).arg();
        let density = noise.at(bin as f64 * rate_hz / length as f64);
        let variance = 0.5 * frames_of_noise * density * (one[bin].norm_sqr().recip() + two[bin].norm_sqr().recip());
        (variance < WORST_PHASE_RAD * WORST_PHASE_RAD).then_some((-turn_rad, phase_rad, 1.0 / variance))
    });
    let fit = weighted_line(points)?;
    // Padding repeats each piece of information length/frames times over.
    let padded = length as f64 / frames_of_noise;
    let variance = fit.variance_ratio * padded * fit.residual_ratio.max(1.0);
    Some(Lag { frames: whole as f64 + fit.slope_ratio, u_frames: variance.sqrt(), likeness_ratio })
}

/// Index of the highest value, negative in the second half, and the value.
fn highest(correlation: &[f64]) -> (i64, f64) {
    let (index, peak) = correlation.iter().copied().enumerate().fold((0, 0.0), |a, b| if b.1 > a.1 { b } else { a });
    let count = correlation.len() as i64;
    let index = index as i64;
    (if index > count / 2 { index - count } else { index }, peak)
}

/// A piece of a recording around a sound, with room on both sides; `None` where the recording does not reach.
pub(super) fn around(recorded: &[f64], start: i64, frames: usize, room: Room) -> Option<&[f64]> {
    let first = start - room.before as i64;
    let last = start + (frames + room.after) as i64;
    (first >= 0 && last <= recorded.len() as i64).then(|| &recorded[first as usize..last as usize])
}

/// Frames left around a sound.
#[derive(Debug, Clone, Copy)]
pub(super) struct Room {
    /// In front of it.
    pub before: usize,
    /// Behind it.
    pub after: usize,
}

/// The drift that two equal sounds tell, `played` frames apart when played.
pub(super) fn drift_between(
    recorded: &[f64],
    starts: [i64; 2],
    frames: usize,
    hearing: &Hearing<'_>,
) -> Option<(f64, f64)> {
    let room = Room { before: hearing.frames(0.05), after: hearing.frames(0.2) };
    let first = around(recorded, starts[0], frames, room)?;
    let second = around(recorded, starts[1], frames, room)?;
    let lag = lag(first, second, hearing.rate_hz, hearing.band_hz, hearing.noise)?;
    let played = (starts[1] - starts[0]) as f64;
    Some((lag.frames / played, lag.u_frames / played))
}

/// In which band, rate and noise sounds are compared.
pub(super) struct Hearing<'a> {
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// Where the sounds lie.
    pub band_hz: [f64; 2],
    /// The recording's noise.
    pub noise: &'a NoiseDensity,
}

impl Hearing<'_> {
    fn frames(&self, duration_s: f64) -> usize {
        (duration_s * self.rate_hz) as usize
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::Random;
    use crate::quantity::SampleRate;
    use crate::signal::Mark;

    /// The lag of a mark in noise scatters as the phase noise says, and no more.
    #[test]
    fn a_lag_is_found_within_its_own_uncertainty() {
        let mark =
            Mark { rate: SampleRate::new(48_000).unwrap(), band_hz: [20.0, 20_000.0], duration_s: 0.25 }.samples();
        let mut random = Random::new(11);
        let noise_power = 1e-4;
        let white = NoiseDensity::white(noise_power);
        let mut spread = 0.0;
        let runs = 60;
        for run in 0..runs {
            let shift = 30 + run;
            let mut piece = |at: usize| {
                let mut piece = vec![0.0; 24_000];
                piece[at..at + mark.len()].copy_from_slice(&mark);
                piece.iter_mut().for_each(|x| *x += noise_power.sqrt() * random.normal());
                piece
            };
            let (first, second) = (piece(1_000), piece(1_000 + shift));
            let found = lag(&first, &second, 48_000.0, [20.0, 20_000.0], &white).unwrap();
            spread += ((found.frames - shift as f64) / found.u_frames).powi(2) / runs as f64;
        }
        // χ² of 60 over 60: 0.55 to 1.6 holds 99.9 %.
        assert!((0.55..1.6).contains(&spread), "{spread}");
    }

    #[test]
    fn two_different_sounds_have_no_lag() {
        let mut random = Random::new(2);
        let mut piece = || (0..10_000).map(|_| random.normal()).collect::<Vec<f64>>();
        let (first, second) = (piece(), piece());
        assert!(lag(&first, &second, 48_000.0, [20.0, 20_000.0], &NoiseDensity::white(1e-9)).is_none());
    }
}
