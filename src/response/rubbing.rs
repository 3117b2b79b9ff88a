//! Scraping voice coils and loose parts: what sounds far above the note that is played, in step with it.
//!
//! ```text
//! E(f) = Σ over the time at which the sweep passes f of |reply above 20·f|²        S = |Σ e²·e^{imφ}|/Σ e²,  m = 1, 2
//! ```
//!
//! e: reply above 20·f; φ: phase of the sweep when what arrives was played. A cone that moves smoothly makes harmonics of low
//! order, which fall off long before the twentieth; a coil that scrapes, a crumb in the gap, a screw that knocks makes
//! noise up to the top of the band, once or twice in each period, always at the same place of the cone. E is told against
//! the noise of the silences, and as a level re the fundamental. S, the synchrony, is 1 for clicks at one phase and near 0 for
//! noise, voices or rain, which do not keep step: both must stand out, in each repeat, over a sixth of an octave and its
//! neighbour.
//! Source: W. Klippel, "Loudspeaker Nonlinearities – Causes, Parameters, Symptoms", J. Audio Eng. Soc. 54 (October 2006) 907–939, on
//! irregular dynamics (from memory: impulsive, of high order, bound to the excursion). The measure by phase is ours.

use super::{NoiseDensity, Pattern};
use crate::math::{InverseSpectrum, Spectrum, good_length};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// High-order content against the frequency that was played.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct HighOrder {
    /// f, by sixths of an octave.
    pub hz: Vec<f64>,
    /// When the sweep passes it, s after its beginning.
    pub time_s: Vec<f64>,
    /// √E of what lies above the noise, as a ratio to the fundamental; absent where nothing does.
    pub ratio: Vec<Option<f64>>,
    /// The noise alone, as a ratio to the fundamental.
    pub floor_ratio: Vec<f64>,
    /// S, the smallest of the repeats.
    pub synchrony: Vec<f64>,
    /// Where it is rubbing.
    pub rubbing: Option<Rubbing>,
}

/// That something scrapes or knocks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rubbing {
    /// From and to.
    pub band_hz: [f64; 2],
    /// Where it is loudest.
    pub loudest_hz: f64,
    /// How loud there, a ratio to the fundamental.
    pub ratio: f64,
    /// How far above the noise there, as a ratio of amplitudes.
    pub over_noise: f64,
}

/// Content above this multiple of the note is no smooth distortion.
const ORDER: f64 = 20.0;
/// An octave of it at the least must lie in the band.
const ROOM: f64 = 2.0;
/// What is left of it where a stretch is long: a third of an octave.
const HIGHEST_SHARE: f64 = 0.8;
const STEPS_PER_OCTAVE: f64 = 6.0;
/// A stretch holds at least so many periods.
const LEAST_PERIODS: f64 = 6.0;
/// Power over that of the noise that counts as something: 2 dB. Over a sixth of an octave the noise's own power is known to a few percent, and
/// between the silences and the sweep it may differ by a decibel.
const OVER_NOISE_POWER: f64 = 1.6;
/// Synchrony that chance does not reach: so many times that of noise, and no less than this.
const TIMES_CHANCE: f64 = 4.0;
const LEAST_SYNCHRONY: f64 = 0.12;
/// Louder than this re the fundamental, or it is nothing that anybody hears: −80 dB.
const LEAST_RATIO: f64 = 1e-4;

/// The high-order content of the reply to a sweep; `None` for any other excitation, or where no band is left for it.
///
/// `repeats`: each repeat's reply, in which the first frame of the sweep arrives at `arrival_frames`; `noise`: of the reply's channel;
/// `rounding_power`: of one sample of its format, which a slow sweep without noise leaves in the lowest of its frequencies.
pub(super) fn high_order(
    repeats: &[Vec<f64>],
    arrival_frames: f64,
    pattern: &Pattern,
    noise: &NoiseDensity,
    rounding_power: f64,
) -> Option<HighOrder> {
    let rate_constant_s = pattern.rate_constant_s?;
    let highest_hz = pattern.band_hz[1].min(0.45 * pattern.rate_hz);
    let last_hz = highest_hz / (ORDER * ROOM);
    let steps = ((last_hz / pattern.band_hz[0]).log2() * STEPS_PER_OCTAVE).floor();
    if steps < 2.0 {
        return None;
    }
    let look = Look { arrival_frames, pattern, rate_constant_s, highest_hz, noise, rounding_power };
    let mut found = HighOrder::default();
    let mut over = Vec::new();
    for step in 0..=steps as usize {
        let hz = pattern.band_hz[0] * (step as f64 / STEPS_PER_OCTAVE).exp2();
        let seen: Vec<Seen> = repeats.iter().filter_map(|reply| look.at(reply, hz)).collect();
        let Some(first) = seen.first() else { continue };
        // What is not in every repeat was a noise from outside.
        let power = seen.iter().map(|seen| seen.power).fold(f64::MAX, f64::min);
        let synchrony = seen.iter().map(|seen| seen.synchrony / seen.chance.max(LEAST_SYNCHRONY / TIMES_CHANCE));
        let in_step = synchrony.fold(f64::MAX, f64::min) >= TIMES_CHANCE;
        let excess = power - first.noise;
        found.hz.push(hz);
        found.time_s.push(look.time_s(hz));
        found.ratio.push((power > OVER_NOISE_POWER * first.noise).then(|| (excess / first.fundamental).sqrt()));
        found.floor_ratio.push((first.noise / first.fundamental).sqrt());
        found.synchrony.push(seen.iter().map(|seen| seen.synchrony).fold(f64::MAX, f64::min));
        over.push((power > OVER_NOISE_POWER * first.noise && in_step).then_some(excess / first.noise));
    }
    found.rubbing = rubbing(&found, &over);
    Some(found)
}

/// The stretch of neighbours that stand out, around the loudest.
fn rubbing(found: &HighOrder, over: &[Option<f64>]) -> Option<Rubbing> {
    let stands_out = |at: usize| over[at].is_some() && found.ratio[at].is_some_and(|ratio| ratio > LEAST_RATIO);
    let has_neighbour = |at: usize| (at > 0 && stands_out(at - 1)) || (at + 1 < over.len() && stands_out(at + 1));
    let loudest = (0..over.len())
        .filter(|&at| stands_out(at) && has_neighbour(at))
        .max_by(|&a, &b| over[a].unwrap_or(0.0).total_cmp(&over[b].unwrap_or(0.0)))?;
    let mut ends = [loudest; 2];
    while ends[0] > 0 && stands_out(ends[0] - 1) {
        ends[0] -= 1;
    }
    while ends[1] + 1 < over.len() && stands_out(ends[1] + 1) {
        ends[1] += 1;
    }
    Some(Rubbing {
        band_hz: ends.map(|at| found.hz[at]),
        loudest_hz: found.hz[loudest],
        ratio: found.ratio[loudest]?,
        over_noise: over[loudest]?.sqrt(),
    })
}

struct Look<'a> {
    arrival_frames: f64,
    pattern: &'a Pattern,
    rate_constant_s: f64,
    highest_hz: f64,
    noise: &'a NoiseDensity,
    rounding_power: f64,
}

/// A stretch of one repeat.
struct Seen {
    /// Mean square above 20·f.
    power: f64,
    /// That of the noise.
    noise: f64,
    /// Mean square of the fundamental.
    fundamental: f64,
    synchrony: f64,
    /// What the synchrony of noise is.
    chance: f64,
}

impl Look<'_> {
    fn time_s(&self, hz: f64) -> f64 {
        self.rate_constant_s * (hz / self.pattern.played_hz[0]).ln()
    }

    /// Phase of the sweep, rad, a time after its beginning.
    fn phase_rad(&self, time_s: f64) -> f64 {
        TAU * self.pattern.played_hz[0] * self.rate_constant_s * (time_s / self.rate_constant_s).exp()
    }

    fn at(&self, reply: &[f64], hz: f64) -> Option<Seen> {
        let rate_hz = self.pattern.rate_hz;
        let half_s =
            (self.rate_constant_s * std::f64::consts::LN_2 / (2.0 * STEPS_PER_OCTAVE)).max(0.5 * LEAST_PERIODS / hz);
        let middle = self.arrival_frames + self.time_s(hz) * rate_hz;
        let (first, frames) = ((middle - half_s * rate_hz).round() as i64, (2.0 * half_s * rate_hz) as usize);
        if first < 0 || first as usize + frames > reply.len() || frames < 64 {
            return None;
        }
        let first = first as usize;
        let length = good_length(frames);
        let window: Vec<f64> = (0..frames).map(|n| blackman((n as f64 + 0.5) / frames as f64)).collect();
        let windowed: Vec<f64> = reply[first..first + frames].iter().zip(&window).map(|(x, w)| x * w).collect();
        let window_power: f64 = window.iter().map(|w| w * w).sum::<f64>();
        let bins = Spectrum::new(length).bins(&windowed);
        let bin_hz = rate_hz / length as f64;
        // Parseval: the mean square of the stretch under its window, from the bins of a band.
        let power_of = |from_hz: f64, to_hz: f64| {
            let band = (from_hz / bin_hz).ceil() as usize..=((to_hz / bin_hz) as usize).min(bins.len() - 1);
            2.0 * bins[band].iter().map(|bin| bin.norm_sqr()).sum::<f64>() / length as f64 / window_power
        };
        let widened = half_s / self.rate_constant_s;
        let from_hz = ORDER * hz * widened.exp();
        // A short sweep passes much of its band within a few periods of its bass.
        if from_hz > HIGHEST_SHARE * self.highest_hz {
            return None;
        }
        let noise: f64 = {
            let band = (from_hz / bin_hz).ceil() as usize..=(self.highest_hz / bin_hz) as usize;
            2.0 * band.map(|bin| self.noise.at(bin as f64 * bin_hz)).sum::<f64>() / length as f64
        };
        let inside = |bin: usize| (from_hz..=self.highest_hz).contains(&(bin as f64 * bin_hz));
        let above: Vec<Complex64> =
            bins.iter().enumerate().map(|(n, bin)| if inside(n) { *bin } else { Complex64::ZERO }).collect();
        let squares: Vec<f64> = InverseSpectrum::new(length).samples(&above).iter().map(|x| x * x).collect();
        let total: f64 = squares[..frames].iter().sum();
        // From frame to frame the sweep's phase grows by the same factor.
        let mut phase_rad = self.phase_rad((first as f64 - self.arrival_frames) / rate_hz);
        let growth = (self.rate_constant_s * rate_hz).recip().exp();
        let mut moments = [Complex64::ZERO; 2];
        for square in &squares[..frames] {
            let turn = Complex64::cis(phase_rad);
            moments[0] += square * turn;
            moments[1] += square * turn * turn;
            phase_rad *= growth;
        }
        let synchrony = moments.iter().map(|moment| moment.norm()).fold(0.0, f64::max) / total.max(f64::MIN_POSITIVE);
        // Squares of noise in so wide a band: as many independent ones as twice band times time, under the window.
        let effective_s = window_power / rate_hz;
        let independent = ((self.highest_hz - from_hz) * effective_s).max(1.0);
        Some(Seen {
            power: power_of(from_hz, self.highest_hz),
            noise: noise.max(self.rounding_power).max(f64::MIN_POSITIVE),
            fundamental: power_of(hz / 1.5, hz * 1.5).max(f64::MIN_POSITIVE),
            synchrony,
            chance: independent.sqrt().recip(),
        })
    }
}

/// Blackman's window; its side lobes are 58 dB down and fall fast.
fn blackman(place: f64) -> f64 {
    let cosine = (TAU * place).cos();
    // cos 2x = 2·cos² x − 1.
    0.42 - 0.5 * cosine + 0.08 * (2.0 * cosine * cosine - 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::Random;
    use crate::quantity::SampleRate;
    use crate::signal::{Marks, Sequence, SweepSettings};

    const ARRIVAL: usize = 2_400;

    fn pattern() -> Pattern {
        let rate = SampleRate::new(48_000).unwrap();
        let sweep = SweepSettings { rate, from_hz: 20.0, to_hz: 20_000.0, lowest_hz: None, duration_s: 3.0 };
        Pattern::of(
            &Sequence { sweep, level_dbfs: -6.0, repeats: 1, marks: Marks::None, pause_s: 0.5 }.excitation().unwrap(),
        )
        .unwrap()
    }

    const NOISE_RMS: f64 = 1e-4;

    /// The sweep itself with a smooth bend (orders 2 to 5), noise, and clicks of noise where the phase is near a quarter turn and the
    /// frequency between the two.
    fn reply(pattern: &Pattern, rub_rms: f64, rubbing_hz: [f64; 2], seed: u64) -> Vec<f64> {
        let mut random = Random::new(seed);
        let mut all: Vec<f64> =
            (0..ARRIVAL + pattern.samples.len() + 24_000).map(|_| NOISE_RMS * random.normal()).collect();
        let rate_constant_s = pattern.rate_constant_s.unwrap();
        for (n, x) in pattern.samples.iter().enumerate() {
            let time_s = n as f64 / 48_000.0;
            let hz = pattern.played_hz[0] * (time_s / rate_constant_s).exp();
            let phase = TAU * hz * rate_constant_s;
            let bent = if hz < 1_000.0 { 0.05 * x * x + 0.05 * x.powi(3) + 0.02 * x.powi(5) } else { 0.0 };
            let touches = phase.sin() > 0.8 && (rubbing_hz[0]..rubbing_hz[1]).contains(&hz);
            all[ARRIVAL + n] += x + bent + if touches { rub_rms * random.normal() } else { 0.0 };
        }
        all
    }

    fn seen(rub_rms: f64, seed: u64) -> HighOrder {
        let pattern = pattern();
        let repeats =
            [reply(&pattern, rub_rms, [60.0, 180.0], seed), reply(&pattern, rub_rms, [60.0, 180.0], seed + 1_000)];
        high_order(&repeats, ARRIVAL as f64, &pattern, &NoiseDensity::white(NOISE_RMS * NOISE_RMS), 0.0).unwrap()
    }

    #[test]
    fn noise_in_step_with_the_cone_is_found_where_it_is_and_as_loud_as_it_is() {
        let found = seen(2e-3, 1);
        let rubbing = found.rubbing.unwrap();
        // A sixth of an octave and the reach of a stretch.
        assert!(
            (48.0..=67.0).contains(&rubbing.band_hz[0]) && (159.0..=225.0).contains(&rubbing.band_hz[1]),
            "{rubbing:?}"
        );
        // Clicks of 2e-3 during 20.5 % of the time (sin φ > 0.8), the share of them that lies between 20·f and 20 kHz, over 0.354 rms.
        let share = (20_000.0 - 20.0 * rubbing.loudest_hz * 1.07) / 24_000.0;
        let expected = 2e-3 * (0.2048 * share).sqrt() / (0.5 / std::f64::consts::SQRT_2);
        assert!((rubbing.ratio / expected - 1.0).abs() < 0.2, "{} {expected}", rubbing.ratio);
        // Noise of 1e-4 against the same.
        let over = 2e-3 * 0.2048f64.sqrt() / 1e-4;
        assert!((rubbing.over_noise / over - 1.0).abs() < 0.2, "{} {over}", rubbing.over_noise);
    }

    #[test]
    fn smooth_distortion_and_noise_alone_are_no_rubbing() {
        for seed in 0..20 {
            assert_eq!(seen(0.0, 10 + seed).rubbing, None, "{seed}");
        }
    }

    /// Rain, or a voice, while the sweep passes: loud, but not in step.
    #[test]
    fn noise_that_does_not_keep_step_is_no_rubbing() {
        let pattern = pattern();
        let mut repeats = [reply(&pattern, 0.0, [0.0; 2], 3), reply(&pattern, 0.0, [0.0; 2], 4)];
        let mut random = Random::new(9);
        repeats
            .iter_mut()
            .for_each(|reply| reply[30_000..80_000].iter_mut().for_each(|x| *x += 1e-3 * random.normal()));
        let found =
            high_order(&repeats, ARRIVAL as f64, &pattern, &NoiseDensity::white(NOISE_RMS * NOISE_RMS), 0.0).unwrap();
        assert!(found.ratio.iter().any(Option::is_some) && found.rubbing.is_none(), "{found:?}");
    }
}
