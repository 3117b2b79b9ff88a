//! Systems with a closed form, and recordings of them: made sample by sample, with nothing of the analysis.
#![allow(dead_code, missing_docs)] // each test file uses its part
#![allow(clippy::unwrap_used)] // a test that can't go on may stop

use boxwright::quantity::SampleRate;
use boxwright::signal::{Excitation, Recording, SampleFormat};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// Second-order sections in a row: `(b₀ + b₁z⁻¹ + b₂z⁻²)/(1 + a₁z⁻¹ + a₂z⁻²)`.
pub struct Filter {
    pub name: &'static str,
    sections: Vec<[f64; 5]>,
}

/// The bilinear transform of an analogue second-order section, s = (1 − z⁻¹)/(1 + z⁻¹)/tan(πf₀/f_s).
/// Source: A. V. Oppenheim, R. W. Schafer, "Discrete-Time Signal Processing", section 7.1.
fn bilinear(numerator: [f64; 3], denominator: [f64; 3], corner_hz: f64, rate_hz: f64) -> [f64; 5] {
    let k = 1.0 / (std::f64::consts::PI * corner_hz / rate_hz).tan();
    let expand =
        |c: [f64; 3]| [c[0] * k * k + c[1] * k + c[2], 2.0 * (c[2] - c[0] * k * k), c[0] * k * k - c[1] * k + c[2]];
    let (b, a) = (expand(numerator), expand(denominator));
    [b[0] / a[0], b[1] / a[0], b[2] / a[0], a[1] / a[0], a[2] / a[0]]
}

impl Filter {
    pub fn flat() -> Self {
        Self { name: "flat", sections: vec![[0.5, 0.0, 0.0, 0.0, 0.0]] }
    }

    /// A small closed box (90 Hz, Q 0.9) with a bump at 3 kHz and a treble that falls from 14 kHz.
    pub fn satellite(rate_hz: f64) -> Self {
        Self {
            name: "satellite",
            sections: vec![
                bilinear([1.0, 0.0, 0.0], [1.0, 1.0 / 0.9, 1.0], 90.0, rate_hz),
                bilinear([1.0, 1.0, 1.0], [1.0, 0.6, 1.0], 3_000.0, rate_hz),
                bilinear([0.0, 0.0, 0.4], [1.0, 1.4, 1.0], 14_000.0, rate_hz),
            ],
        }
    }

    /// A subwoofer: a closed box (25 Hz, Q 0.7) and a low-pass of two Butterworth filters at 200 Hz.
    pub fn subwoofer(rate_hz: f64) -> Self {
        let low_pass = bilinear([0.0, 0.0, 1.0], [1.0, 2f64.sqrt(), 1.0], 200.0, rate_hz);
        let closed_box = bilinear([1.0, 0.0, 0.0], [1.0, 2f64.sqrt(), 1.0], 25.0, rate_hz);
        Self { name: "subwoofer", sections: vec![closed_box, low_pass, low_pass] }
    }

    /// Falls by 40 dB at both ends of the band, with a narrow notch and a narrow peak.
    pub fn resonant(rate_hz: f64) -> Self {
        Self {
            name: "resonant",
            sections: vec![
                bilinear([1.0, 0.0, 0.0], [1.0, 1.2, 1.0], 200.0, rate_hz),
                bilinear([1.0, 0.05, 1.0], [1.0, 0.5, 1.0], 1_000.0, rate_hz),
                bilinear([1.0, 1.5, 1.0], [1.0, 0.1, 1.0], 2_500.0, rate_hz),
                bilinear([0.0, 0.0, 0.03], [1.0, 1.0, 1.0], 8_000.0, rate_hz),
            ],
        }
    }

    /// The sum of two ways over a fourth-order crossover of two Butterworth filters each: an all-pass of second order.
    /// Source: S. H. Linkwitz, "Active Crossover Networks for Noncoincident Drivers", J. Audio Eng. Soc. 24 (1976) 2–8.
    pub fn two_way(corner_hz: f64, rate_hz: f64) -> Self {
        let root = 2f64.sqrt();
        let mut whole = Self::satellite(rate_hz);
        whole.name = "two-way";
        whole.sections.push(bilinear([1.0, -root, 1.0], [1.0, root, 1.0], corner_hz, rate_hz));
        whole
    }

    /// Closed form at a frequency.
    pub fn response(&self, hz: f64, rate_hz: f64) -> Complex64 {
        let z = Complex64::cis(-TAU * hz / rate_hz);
        self.sections
            .iter()
            .map(|[b0, b1, b2, a1, a2]| (b0 + b1 * z + b2 * z * z) / (1.0 + a1 * z + a2 * z * z))
            .product()
    }

    /// Sample by sample, direct form I.
    pub fn run(&self, samples: &[f64]) -> Vec<f64> {
        let mut out = samples.to_vec();
        for [b0, b1, b2, a1, a2] in &self.sections {
            let (mut x1, mut x2, mut y1, mut y2) = (0.0, 0.0, 0.0, 0.0);
            for x in &mut out {
                let y = b0 * *x + b1 * x1 + b2 * x2 - a1 * y1 - a2 * y2;
                (x2, x1, y2, y1) = (x1, *x, y1, y);
                *x = y;
            }
        }
        out
    }
}

/// An excitation played through a filter and a delay of whole frames.
pub struct Playing<'a> {
    pub excitation: &'a Excitation,
    pub filter: &'a Filter,
    pub delay_frames: usize,
}

impl Playing<'_> {
    pub fn reply(&self) -> Vec<f64> {
        let mut late = vec![0.0; self.delay_frames];
        late.extend(self.filter.run(&self.excitation.samples));
        late
    }
}

pub fn rounded(samples: &[f64], bits: i32) -> Vec<f64> {
    let steps = 2f64.powi(bits - 1);
    samples.iter().map(|x| (x * steps).round() / steps).collect()
}

pub fn recording(channels: Vec<Vec<f64>>, format: SampleFormat) -> Recording {
    Recording { rate: SampleRate::new(48_000).unwrap(), channels, format }
}

/// Normal noise by the polar method of Marsaglia on a linear congruential generator (constants of Knuth's MMIX): not the
/// library's own.
pub struct Noise(u64);

impl Noise {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x2545_f491_4f6c_dd1d) ^ 0x1234_5678_9abc_def1)
    }

    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn normal(&mut self) -> f64 {
        loop {
            let (u, v) = (2.0 * self.uniform() - 1.0, 2.0 * self.uniform() - 1.0);
            let s = u * u + v * v;
            if s > 0.0 && s < 1.0 {
                return u * (-2.0 * s.ln() / s).sqrt();
            }
        }
    }

    pub fn added(&mut self, samples: &[f64], rms: f64) -> Vec<f64> {
        samples.iter().map(|x| x + rms * self.normal()).collect()
    }
}

/// The samples on a grid `over` times as fine, by their own Fourier series; a power of two of them.
fn finer(samples: &[f64], over: usize) -> Vec<f64> {
    let frames = samples.len().next_power_of_two();
    let mut planner = realfft::RealFftPlanner::<f64>::new();
    let mut input = samples.to_vec();
    input.resize(frames, 0.0);
    let forward = planner.plan_fft_forward(frames);
    let mut bins = forward.make_output_vec();
    forward.process(&mut input, &mut bins).unwrap();
    bins.resize(frames * over / 2 + 1, Complex64::ZERO);
    let inverse = planner.plan_fft_inverse(frames * over);
    let mut fine = inverse.make_output_vec();
    inverse.process(&mut bins, &mut fine).unwrap();
    fine.iter_mut().for_each(|x| *x /= frames as f64);
    fine
}

/// The samples, later by frames and fractions of them, by their own Fourier series; so many frames are added.
pub fn delayed(samples: &[f64], delay_frames: f64) -> Vec<f64> {
    let kept = samples.len() + delay_frames.ceil() as usize;
    let frames = (kept + 1_000).next_power_of_two();
    let mut input = samples.to_vec();
    input.resize(frames, 0.0);
    let mut planner = realfft::RealFftPlanner::<f64>::new();
    let forward = planner.plan_fft_forward(frames);
    let mut bins = forward.make_output_vec();
    forward.process(&mut input, &mut bins).unwrap();
    for (bin, value) in bins.iter_mut().enumerate() {
        *value *= Complex64::cis(-TAU * bin as f64 * delay_frames / frames as f64) / frames as f64;
    }
    bins[frames / 2].im = 0.0;
    let inverse = planner.plan_fft_inverse(frames);
    let mut late = inverse.make_output_vec();
    inverse.process(&mut bins, &mut late).unwrap();
    late.truncate(kept);
    late
}

/// A bend without memory, in continuous time as it were: on a grid eight times as fine, so that what it makes above half
/// the sample rate does not fold back, and taken down again.
pub fn bent(samples: &[f64], bend: impl Fn(f64) -> f64) -> Vec<f64> {
    let over = 8;
    let mut fine = finer(samples, over);
    fine.iter_mut().for_each(|x| *x = bend(*x));
    let frames = fine.len() / over;
    let mut planner = realfft::RealFftPlanner::<f64>::new();
    let forward = planner.plan_fft_forward(fine.len());
    let mut bins = forward.make_output_vec();
    forward.process(&mut fine, &mut bins).unwrap();
    bins.truncate(frames / 2 + 1);
    bins[frames / 2].im = 0.0;
    let inverse = planner.plan_fft_inverse(frames);
    let mut out = inverse.make_output_vec();
    inverse.process(&mut bins, &mut out).unwrap();
    out.truncate(samples.len());
    out.iter().map(|x| x / (frames * over) as f64).collect()
}

/// A recording by a clock that is `ppm` fast, by an independent method: the signal's own Fourier series is summed at the
/// drifted moments, through a grid sixteen times as fine and cubic interpolation (Lagrange, four points).
pub fn drifted(samples: &[f64], ppm: f64) -> Vec<f64> {
    let over = 16;
    let fine = finer(samples, over);
    let recorded = (samples.len() as f64 * (1.0 + 1e-6 * ppm)) as usize;
    (0..recorded)
        .map(|n| {
            let place = n as f64 / (1.0 + 1e-6 * ppm) * over as f64;
            let (whole, x) = (place.floor() as usize, place.fract());
            let at = |k: usize| fine[(whole + k + fine.len() - 1) % fine.len()];
            let [a, b, c, d] = [at(0), at(1), at(2), at(3)];
            -a * x * (x - 1.0) * (x - 2.0) / 6.0 + b * (x + 1.0) * (x - 1.0) * (x - 2.0) / 2.0
                - c * (x + 1.0) * x * (x - 2.0) / 2.0
                + d * (x + 1.0) * x * (x - 1.0) / 6.0
        })
        .collect()
}
