//! The interface's cables: what leaves its output, and how a voltage becomes samples.
//!
//! ```text
//! arrived = y·H·e^{−jω(t_l − t_0)}        looped = x·H_conv
//! ```
//!
//! y, x: spectra of a voltage and of the output; H: what the way adds; t_l: latency, t_0: the silent lead before the
//! first played frame, s; H_conv: both converters (`converter.rs`). Derivation: the delay theorem.

use super::colour::high_pass;
use super::converter::Converter;
use crate::math::{InverseSpectrum, Spectrum, good_length};
use crate::quantity::SampleRate;
use num_complex::Complex64;
use std::f64::consts::TAU;

/// Silence that the interface's AC coupling dies away in: 2 s are 19 time constants of 1.5 Hz.
pub const COUPLING_TAIL_S: f64 = 2.0;
/// Frames beyond the end that the ringing of converters and of fractional delays needs.
pub const MARGIN: usize = 4096;
/// Silence before the first played frame, where the converters' ringing begins.
pub const LEAD: usize = 512;

/// From an output to an input.
pub struct Line<'a> {
    /// Frames a second.
    pub rate: SampleRate,
    /// Both converters.
    pub converter: &'a Converter,
    /// AC coupling of the output.
    pub output_high_pass_hz: f64,
    /// From the first played frame to the first recorded one.
    pub latency_s: f64,
}

impl Line<'_> {
    /// What leaves the output, full scale ±1: [`LEAD`] frames of silence, then `play`, clipped and AC-coupled.
    pub fn output(&self, play: &[f64], total: usize) -> Vec<f64> {
        self.output_through(play, total, 0.0, |_| Complex64::ONE)
    }

    /// The same behind something linear that delays by `delay_s` at most (its ringing aside).
    pub fn output_through(
        &self,
        play: &[f64],
        total: usize,
        delay_s: f64,
        between: impl Fn(f64) -> Complex64,
    ) -> Vec<f64> {
        let mut clipped = vec![0.0; LEAD];
        clipped.extend(play.iter().take(total - LEAD).map(|sample| sample.clamp(-1.0, 1.0)));
        let length = good_length(total + self.rate.frames(COUPLING_TAIL_S + delay_s));
        let mut bins = Spectrum::new(length).bins(&clipped);
        let step_hz = self.rate.hz() / length as f64;
        for (bin, value) in bins.iter_mut().enumerate() {
            let hz = bin as f64 * step_hz;
            *value *= high_pass(self.output_high_pass_hz, hz) * between(hz);
        }
        let mut samples = InverseSpectrum::new(length).samples(&bins);
        samples.truncate(total);
        samples
    }

    /// Spectrum of the output after both converters.
    pub fn looped(&self, output: &[f64], length: usize) -> Vec<Complex64> {
        let half = self.converter.combined();
        let mut both = vec![0.0; length];
        for (frame, &value) in half.iter().enumerate() {
            both[frame] = value;
            both[(length - frame) % length] = value;
        }
        let spectrum = Spectrum::new(length);
        let converters = spectrum.bins(&both);
        let mut bins = spectrum.bins(output);
        bins.iter_mut().zip(converters).for_each(|(bin, converter)| *bin *= converter);
        bins
    }

    /// Samples of a spectrum after its own response and the latency, without the lead.
    pub fn arrived(&self, mut bins: Vec<Complex64>, total: usize, response: impl Fn(f64) -> Complex64) -> Vec<f64> {
        let length = 2 * (bins.len() - 1);
        let step_hz = self.rate.hz() / length as f64;
        let late_s = self.latency_s - self.rate.seconds(LEAD);
        for (bin, value) in bins.iter_mut().enumerate() {
            let hz = bin as f64 * step_hz;
            let late = Complex64::cis(-TAU * hz * late_s);
            *value *= response(hz) * late;
        }
        let mut samples = InverseSpectrum::new(length).samples(&bins);
        samples.truncate(total);
        samples
    }
}
