//! What a jig's two channels hold when nothing is played: noise, and the mains' hum.
//!
//! ```text
//! N(f) = ⟨|l − H·d|²⟩ = S_ll + |H|²·S_dd − 2·Re(H̄·S_ld)
//! ```
//!
//! S: densities of load and drive channel and of both together, as [`crate::response::NoiseDensity`] scales them
//! (Welch); H: load voltage over drive voltage. Noise that comes from the source is in both channels in the ratio H and
//! harms nothing; that is why S_ld counts. Hum is no noise but a line: its amplitude is read from the spectrum of the
//! silences at the harmonics of 50 and 60 Hz, and taken out of them before the densities are.
//! Source: P. D. Welch, "The Use of Fast Fourier Transform for the Estimation of Power Spectra", IEEE Trans. Audio
//! Electroacoust. 15 (June 1967) 70–73; the lines are ours.

use super::hum::Line;
use crate::math::{Spectrum, SpectrumAt, good_length_within, mean_around};
use crate::signal::rise;
use num_complex::Complex64;
use std::f64::consts::TAU;
use std::ops::Range;

/// Noise and hum of a jig's two channels.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct PairNoise {
    step_hz: f64,
    load: Vec<f64>,
    drive: Vec<f64>,
    cross: Vec<Complex64>,
    /// The harmonics of the mains that stand out of the noise.
    pub lines: Vec<Line>,
}

/// One sample's power below which the noise of each channel can't be, its rounding.
#[derive(Debug, Clone, Copy)]
pub(super) struct LeastPower {
    pub load: f64,
    pub drive: f64,
}

/// Pieces of half a second resolve 2 Hz.
const PIECE_S: f64 = 0.5;
/// Neighbouring bins are averaged over at least this many to each side …
const REACH_BINS: usize = 5;
/// … and over this share of their frequency, a sixth of an octave in all.
const REACH_SHARE: f64 = 0.058;
/// Mains by country; they are kept to 0.2 Hz in any grid that is not failing.
const MAINS_HZ: [f64; 2] = [50.0, 60.0];
const MAINS_OFF_HZ: f64 = 0.2;
const MAINS_STEP_HZ: f64 = 0.02;
/// Strong hum tells its frequency better than that.
const FINE_STEPS: i32 = 10;
/// Hum has harmonics; beyond so many they are lost in the noise.
const HARMONICS: u32 = 20;
/// Shorter silences do not part the harmonics from what lies between them.
pub(super) const SHORTEST_FOR_LINES_S: f64 = 0.4;
/// The surroundings of a line are read so many resolutions away, beyond the window's own width of two.
const AROUND: [f64; 4] = [-8.0, -5.0, 5.0, 8.0];
/// A line stands so far above the mean of its surroundings, as power: chance does once in some thousand cases.
const STANDS_OUT: f64 = 16.0;

impl PairNoise {
    /// From the silences of both channels; `None` where there is none.
    pub fn of([load, drive]: [&[f64]; 2], silences: &[Range<usize>], rate_hz: f64, least: LeastPower) -> Option<Self> {
        let longest = silences.iter().max_by_key(|range| range.len())?.clone();
        let lines = lines([&load[longest.clone()], &drive[longest.clone()]], rate_hz);
        let quiet: Vec<[Vec<f64>; 2]> = silences
            .iter()
            .map(|range| [&load[range.clone()], &drive[range.clone()]].map(|cut| without(cut, &lines, rate_hz)))
            .collect();
        let piece = good_length_within(((PIECE_S * rate_hz) as usize).min(longest.len()));
        let window: Vec<f64> = (0..piece).map(|n| hann((n as f64 + 0.5) / piece as f64)).collect();
        let window_power: f64 = window.iter().map(|w| w * w).sum();
        let spectrum = Spectrum::new(piece);
        let bins = piece / 2 + 1;
        let (mut load, mut drive, mut cross) = (vec![0.0; bins], vec![0.0; bins], vec![Complex64::ZERO; bins]);
        let mut pieces = 0.0;
        for channels in &quiet {
            for start in (0..).step_by(piece / 2).take_while(|start| start + piece <= channels[0].len()) {
                let [l, d] =
                    [&channels[0], &channels[1]].map(|cut| spectrum.bins(&shaped(&cut[start..start + piece], &window)));
                for bin in 0..bins {
                    load[bin] += l[bin].norm_sqr();
                    drive[bin] += d[bin].norm_sqr();
                    cross[bin] += l[bin] * d[bin].conj();
                }
                pieces += 1.0;
            }
        }
        let smooth = |values: &[f64], least: f64| -> Vec<f64> {
            let means = mean_around(values, |bin| REACH_BINS.max((bin as f64 * REACH_SHARE) as usize));
            means.into_iter().map(|sum| (sum / (pieces * window_power)).max(least)).collect()
        };
        let part = |of: fn(&Complex64) -> f64| smooth(&cross.iter().map(of).collect::<Vec<_>>(), f64::MIN);
        let cross = part(|x| x.re).into_iter().zip(part(|x| x.im)).map(|(re, im)| Complex64::new(re, im)).collect();
        let (load, drive) = (smooth(&load, least.load), smooth(&drive, least.drive));
        Some(Self { step_hz: rate_hz / piece as f64, load, drive, cross, lines })
    }

    /// N at a frequency, for a ratio of load to drive.
    pub fn density(&self, hz: f64, ratio: Complex64) -> f64 {
        let bin = ((hz / self.step_hz).round() as usize).min(self.load.len() - 1);
        let shared = 2.0 * (ratio.conj() * self.cross[bin]).re;
        (self.load[bin] + ratio.norm_sqr() * self.drive[bin] - shared).max(0.0)
    }
}

/// The harmonics of the mains in a stretch of silence of both channels.
fn lines(silence: [&[f64]; 2], rate_hz: f64) -> Vec<Line> {
    let frames = silence[0].len();
    let duration_s = frames as f64 / rate_hz;
    if duration_s < SHORTEST_FOR_LINES_S {
        return Vec::new();
    }
    let spectra = silence.map(|cut| LineReader::new(cut, rate_hz));
    let mut found = Vec::new();
    for mains_hz in MAINS_HZ {
        let steps = (MAINS_OFF_HZ / MAINS_STEP_HZ).round() as i32;
        let strength = |hz: &f64| -> f64 {
            let of_harmonic =
                |n| spectra.iter().map(|spectrum| spectrum.amplitude(f64::from(n) * hz).norm_sqr()).sum::<f64>();
            (1..=HARMONICS / 2).map(of_harmonic).sum()
        };
        let candidates = (-steps..=steps).map(|step| mains_hz + f64::from(step) * MAINS_STEP_HZ);
        let strongest = |candidates: &mut dyn Iterator<Item = f64>| {
            candidates.map(|hz| (hz, strength(&hz))).max_by(|a, b| a.1.total_cmp(&b.1)).map_or(mains_hz, |best| best.0)
        };
        let about_hz = strongest(&mut { candidates });
        let fine = |step: i32| about_hz + f64::from(step) * MAINS_STEP_HZ / f64::from(FINE_STEPS);
        let exact_hz = strongest(&mut (-FINE_STEPS..=FINE_STEPS).map(fine));
        for hz in (1..=HARMONICS).map(|n| f64::from(n) * exact_hz).filter(|hz| *hz < 0.4 * rate_hz) {
            let stands_out = |spectrum: &LineReader| {
                spectrum.amplitude(hz).norm_sqr() > STANDS_OUT * spectrum.around(hz, duration_s)
            };
            if spectra.iter().any(stands_out) {
                let [load, drive] = [0, 1].map(|channel| spectra[channel].amplitude(hz));
                found.push(Line { hz, mains_hz: exact_hz, load, drive, left_ratio: 1.0 });
            }
        }
    }
    found
}

/// Reads complex amplitudes of sines from a Hann-windowed stretch.
pub(super) struct LineReader {
    spectrum: SpectrumAt,
    window_sum: f64,
}

impl LineReader {
    pub(super) fn new(cut: &[f64], rate_hz: f64) -> Self {
        let window: Vec<f64> = (0..cut.len()).map(|n| hann((n as f64 + 0.5) / cut.len() as f64)).collect();
        Self { spectrum: SpectrumAt::new(&shaped(cut, &window), rate_hz, 0.0), window_sum: window.iter().sum() }
    }

    pub(super) fn amplitude(&self, hz: f64) -> Complex64 {
        2.0 * self.spectrum.at(hz) / self.window_sum
    }

    /// Mean square of the amplitudes around a line, in a stretch of this length.
    pub(super) fn around(&self, hz: f64, duration_s: f64) -> f64 {
        let square = |off: &f64| self.amplitude(hz + off / duration_s).norm_sqr();
        AROUND.iter().map(square).sum::<f64>() / AROUND.len() as f64
    }
}

/// A stretch of silence without its lines, whose phase is read anew in each stretch.
fn without(cut: &[f64], lines: &[Line], rate_hz: f64) -> Vec<f64> {
    let mut left = cut.to_vec();
    if lines.is_empty() || (cut.len() as f64) < SHORTEST_FOR_LINES_S * rate_hz {
        return left;
    }
    let spectrum = LineReader::new(cut, rate_hz);
    for line in lines {
        let amplitude = spectrum.amplitude(line.hz);
        let step = Complex64::cis(TAU * line.hz / rate_hz);
        let mut turning = amplitude;
        for sample in &mut left {
            *sample -= turning.re;
            turning *= step;
        }
    }
    left
}

fn shaped(cut: &[f64], window: &[f64]) -> Vec<f64> {
    let mean = cut.iter().sum::<f64>() / cut.len() as f64;
    cut.iter().zip(window).map(|(x, w)| (x - mean) * w).collect()
}

fn hann(ratio: f64) -> f64 {
    rise(2.0 * ratio.min(1.0 - ratio))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::Random;

    const RATE_HZ: f64 = 48_000.0;
    const NO_ROUNDING: LeastPower = LeastPower { load: 0.0, drive: 0.0 };

    /// Independent noise adds; noise of the source, in both channels in the ratio H, is none.
    #[test]
    fn noise_of_the_channels_counts_and_noise_of_the_source_does_not() {
        let mut random = Random::new(3);
        let mut noise = |rms: f64| -> Vec<f64> { (0..120_000).map(|_| rms * random.normal()).collect() };
        let (own_load, own_drive, source) = (noise(1e-3), noise(2e-3), noise(0.1));
        let silences = [0..48_000, 50_000..120_000];
        let alone = PairNoise::of([&own_load, &own_drive], &silences, RATE_HZ, NO_ROUNDING).unwrap();
        let ratio = Complex64::new(0.3, -0.4);
        // 1e-6 + 0.25·4e-6; 10 %: three standard errors of some 17 bins of 4 independent pieces.
        let mean = (10..100).map(|n| alone.density(200.0 * f64::from(n), ratio)).sum::<f64>() / 90.0;
        assert!((mean / 2e-6 - 1.0).abs() < 0.1, "{mean:e}");
        let add = |own: &[f64], gain: f64| own.iter().zip(&source).map(|(x, s)| x + gain * s).collect::<Vec<f64>>();
        let both =
            PairNoise::of([&add(&own_load, 0.5), &add(&own_drive, 1.0)], &silences, RATE_HZ, NO_ROUNDING).unwrap();
        let mean = (10..100).map(|n| both.density(200.0 * f64::from(n), 0.5.into())).sum::<f64>() / 90.0;
        assert!((mean / 2e-6 - 1.0).abs() < 0.1, "{mean:e}");
        assert!(both.density(1_000.0, 0.0.into()) > 2e-3 && both.lines.len() <= 1, "{:?}", both.lines);
    }

    #[test]
    fn hum_is_read_as_lines_and_is_not_counted_as_noise_beside_them() {
        let mut random = Random::new(4);
        let hum = |n: usize, hz: f64, peak: f64| peak * (TAU * hz * n as f64 / RATE_HZ + 1.0).cos();
        let mut channel = |gain: f64| -> Vec<f64> {
            (0..120_000)
                .map(|n| gain * (hum(n, 50.06, 0.01) + hum(n, 150.18, 0.002)) + 1e-5 * random.normal())
                .collect()
        };
        let (load, drive) = (channel(1.0), channel(0.1));
        let noise = PairNoise::of([&load, &drive], &[0..46_000, 60_000..120_000], RATE_HZ, NO_ROUNDING).unwrap();
        let hz: Vec<f64> = noise.lines.iter().map(|line| line.hz.round()).collect();
        assert!(hz.starts_with(&[50.0, 150.0]) && hz.len() <= 3, "{hz:?}");
        for (line, peak) in noise.lines.iter().zip([0.01, 0.002]) {
            // 1 %: the frequency is known to 0.01 Hz, the window is 0.8 Hz wide.
            assert!((line.load.norm() / peak - 1.0).abs() < 0.01, "{line:?}");
            assert!((line.drive / line.load - 0.1).norm() < 0.01, "{line:?}");
        }
        // What is left of hum 60 dB above the noise is less than twice the noise.
        let left = noise.density(50.0, 0.0.into());
        assert!((0.5e-10..2e-10).contains(&left), "{left:e}");
    }
}
