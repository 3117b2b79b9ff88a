//! Whether the level held still: between the marks, from repeat to repeat, and between marks and sweeps.
//!
//! ```text
//! L_s(b) = 10·log₁₀ Σ_b |B·Y_s·X_s*/|X_s|²|²        Δ = median over b of L_s(b) − L_r(b)
//! ```
//!
//! s, r: two sounds of the excitation; b: thirds of an octave; from the impulse response around the arrival that a sound tells alone ([`super::continuity`]).
//! A steady system has one response, whatever plays it: marks pass its band downwards in a quarter of a second, sweeps upwards in seconds. If the last
//! mark is louder than the first one, the level moved in between, and the sweep's treble moved against its bass; if marks and sweeps agree
//! in one band and not in another, the gain follows the sound: automatic gain, a gate, a limiter. Loopback and reply are compared by their
//! difference, so that a volume that is moved is none of the reply's.
//! Tried with `examples/damage_table` on 400 clean captures: none was accused by it.
//! Ours, because nothing else in a capture is played twice.

use super::continuity::{FirstSound, Played, Sounds};
use super::{Deconvolution, NoiseDensity, Pattern};
use crate::math::{Spectrum, median};
use std::ops::Range;

/// How the level differs between the sounds, dB; absent where the two can't be compared.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct LevelSteps {
    /// Last mark over first mark.
    pub marks: Option<LevelStep>,
    /// The repeat that is furthest from the first one, over it.
    pub repeats: Option<LevelStep>,
    /// Where marks and sweeps differ most against the rest of the band: from, to and by how much.
    pub by_band: Option<([f64; 2], LevelStep)>,
}

/// A difference of levels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct LevelStep {
    pub gain_db: f64,
    /// Standard uncertainty from the silences' noise.
    pub u_db: f64,
}

impl LevelStep {
    /// Whether it is more than `least_db` and stands out of its doubt.
    pub fn exceeds(&self, least_db: f64) -> bool {
        self.gain_db.abs() > least_db + SIGNIFICANT * self.u_db
    }
}

const SIGNIFICANT: f64 = 4.0;
/// Bands hold at least so many periods of the shortest piece that is compared.
const PERIODS: f64 = 6.0;
const SHORTEST_S: f64 = 0.2;
/// Of the ramps at both ends of a mark, a tenth of it each, the outer half is left out: little is played there.
const RAMP_SHARE: f64 = 0.05;
const BAND_RATIO: f64 = 1.259_921_049_894_873;
/// A band whose noise is less than 20 dB below the sound tells nothing.
const LEAST_SNR: f64 = 100.0;

/// What the sounds of a channel tell, and its noise.
#[derive(Clone, Copy)]
pub(super) struct Channel<'a> {
    pub sounds: &'a [FirstSound],
    pub noise: Option<&'a NoiseDensity>,
}

/// Compares the sounds of the `reply`, less what the `loopback` does.
pub(super) fn level_steps(reply: Channel<'_>, loopback: Option<Channel<'_>>, sounds: &Sounds) -> LevelSteps {
    let pattern = sounds.sweep.pattern();
    let Some(bands_hz) = bands_hz(pattern) else { return LevelSteps::default() };
    let heard = |played: Played| -> Vec<Vec<Level>> {
        let Some(weakness) = weakness(sounds.deconvolution(played), &bands_hz) else { return Vec::new() };
        let of = |channel: Channel<'_>| -> Vec<Vec<Level>> {
            let sounds = channel.sounds.iter().filter(|sound| sound.played == played);
            sounds.map(|sound| levels(sound, channel.noise, &weakness, pattern.rate_hz, &bands_hz)).collect()
        };
        match loopback.map(of) {
            // Each sound over itself, if both channels hold all of them.
            Some(loopback) => of(reply).iter().zip(&loopback).map(|(one, other)| minus(one, other)).collect(),
            None => of(reply),
        }
    };
    let (sweeps, marks) = (heard(Played::Sweep), heard(Played::Mark));
    let over = |one: &[Level], other: &[Level]| middle(&minus(one, other));
    let repeats = sweeps.iter().skip(1).filter_map(|sweep| over(sweep, &sweeps[0]));
    let by_band = match (marks.as_slice(), sweeps.as_slice()) {
        ([first, .., last], [sweep, ..]) => by_band(&mean([first, last]), sweep, &bands_hz),
        _ => None,
    };
    LevelSteps {
        marks: match marks.as_slice() {
            [first, .., last] => over(last, first),
            _ => None,
        },
        repeats: repeats.max_by(|a, b| a.gain_db.abs().total_cmp(&b.gain_db.abs())),
        by_band,
    }
}

/// The mean of 1/|X|² over each band, per frame of the sound; `None` where nothing of the kind is played.
fn weakness(played: Option<&Deconvolution>, bands_hz: &[[f64; 2]]) -> Option<Vec<f64>> {
    let played = played?;
    let (length, rate_hz) = (played.length(), played.rate_hz());
    let of_band = |band_hz: &[f64; 2]| {
        let range = bins_of(*band_hz, length, rate_hz);
        let powers = played.played()[range.clone()].iter().map(|bin| bin.norm_sqr().max(f64::MIN_POSITIVE));
        powers.map(f64::recip).sum::<f64>() / range.len() as f64
    };
    Some(bands_hz.iter().map(of_band).collect())
}

fn bins_of([from_hz, to_hz]: [f64; 2], length: usize, rate_hz: f64) -> Range<usize> {
    let bin = |hz: f64| ((hz * length as f64 / rate_hz).round() as usize).min(length / 2);
    bin(from_hz)..bin(to_hz).max(bin(from_hz) + 1)
}

/// Ends of the thirds of an octave in which marks and sweeps can be compared.
fn bands_hz(pattern: &Pattern) -> Option<Vec<[f64; 2]>> {
    let [from_hz, to_hz] = pattern.band_hz;
    let ramp = (to_hz / from_hz).powf(RAMP_SHARE);
    let lowest_hz = (from_hz * ramp).max(PERIODS / SHORTEST_S);
    let highest_hz = to_hz / ramp;
    let mut bands = Vec::new();
    let mut hz = lowest_hz;
    while hz * BAND_RATIO <= highest_hz {
        bands.push([hz, hz * BAND_RATIO]);
        hz *= BAND_RATIO;
    }
    (bands.len() >= 3).then_some(bands)
}

/// The level of a band, dB, and the square of its standard uncertainty; infinite where noise covers it.
#[derive(Debug, Clone, Copy)]
struct Level {
    db: f64,
    variance_db: f64,
}

/// The levels that one sound alone tells.
fn levels(
    sound: &FirstSound,
    noise: Option<&NoiseDensity>,
    weakness: &[f64],
    rate_hz: f64,
    bands_hz: &[[f64; 2]],
) -> Vec<Level> {
    let frames = sound.whole.len() as f64;
    let length = crate::math::good_length(2 * sound.whole.len());
    let bins = Spectrum::new(length).bins(&sound.whole);
    let level = |(&band_hz, weakness): (&[f64; 2], &f64)| {
        let [from_hz, to_hz] = band_hz;
        let range = bins_of(band_hz, length, rate_hz);
        let power = bins[range.clone()].iter().map(|bin| bin.norm_sqr()).sum::<f64>() / range.len() as f64;
        let noise = noise.map_or(0.0, |noise| noise.at((from_hz * to_hz).sqrt())) * weakness * frames;
        if power > LEAST_SNR * noise && power > 0.0 {
            // One value for each 1/T of the band, of which half lies along the signal.
            let cells = ((to_hz - from_hz) * frames / rate_hz).max(1.0);
            let u_db = 20.0 / std::f64::consts::LN_10 * (0.5 * noise / power / cells).sqrt();
            Level { db: 10.0 * power.log10(), variance_db: u_db * u_db }
        } else {
            Level { db: 0.0, variance_db: f64::INFINITY }
        }
    };
    bands_hz.iter().zip(weakness).map(level).collect()
}

fn minus(one: &[Level], other: &[Level]) -> Vec<Level> {
    let less = |(one, other): (&Level, &Level)| Level {
        db: one.db - other.db,
        variance_db: one.variance_db + other.variance_db,
    };
    one.iter().zip(other).map(less).collect()
}

fn mean([one, other]: [&[Level]; 2]) -> Vec<Level> {
    let mean = |(one, other): (&Level, &Level)| Level {
        db: 0.5 * (one.db + other.db),
        variance_db: 0.25 * (one.variance_db + other.variance_db),
    };
    one.iter().zip(other).map(mean).collect()
}

/// The median of the bands that tell, with the doubt of a band that is as sure as most.
fn middle(levels: &[Level]) -> Option<LevelStep> {
    let told: Vec<&Level> = levels.iter().filter(|level| level.variance_db.is_finite()).collect();
    (told.len() >= 3).then_some(())?;
    let gain_db = median(told.iter().map(|level| level.db).collect())?;
    let variance_db = median(told.iter().map(|level| level.variance_db).collect())?;
    // The median of n values is known π/2 times as badly as their mean.
    let u_db = (variance_db * std::f64::consts::FRAC_PI_2 / told.len() as f64).sqrt();
    Some(LevelStep { gain_db, u_db })
}

/// The band in which marks and sweep differ most from what they differ by elsewhere: three neighbours agree about it.
fn by_band(marks: &[Level], sweep: &[Level], bands_hz: &[[f64; 2]]) -> Option<([f64; 2], LevelStep)> {
    let differences = minus(sweep, marks);
    let usual = middle(&differences)?;
    let least = |three: &[Level]| -> Option<LevelStep> {
        if three.iter().any(|level| level.variance_db.is_infinite()) {
            return None;
        }
        let off: Vec<f64> = three.iter().map(|level| level.db - usual.gain_db).collect();
        let same = off.iter().all(|db| *db > 0.0) || off.iter().all(|db| *db < 0.0);
        let smallest = off.iter().copied().min_by(|a, b| a.abs().total_cmp(&b.abs()))?;
        let u_db = three.iter().map(|level| level.variance_db).fold(0.0, f64::max).sqrt();
        same.then_some(LevelStep { gain_db: smallest, u_db: u_db.hypot(usual.u_db) })
    };
    let worst = differences
        .windows(3)
        .enumerate()
        .filter_map(|(at, three)| Some((at, least(three)?)))
        .max_by(|a, b| a.1.gain_db.abs().total_cmp(&b.1.gain_db.abs()))?;
    Some(([bands_hz[worst.0][0], bands_hz[worst.0 + 2][1]], worst.1))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::Random;
    use crate::quantity::SampleRate;
    use crate::response::MarksPath;
    use crate::signal::{Marks, Plan, Sequence, SweepSettings};

    fn told(change: impl Fn(usize, &Plan) -> f64) -> LevelSteps {
        let rate = SampleRate::new(48_000).unwrap();
        let sweep = SweepSettings { rate, from_hz: 50.0, to_hz: 18_000.0, lowest_hz: None, duration_s: 1.0 };
        let sequence = Sequence { sweep, level_dbfs: -6.0, repeats: 2, marks: Marks::BeforeAndAfter, pause_s: 0.5 };
        let excitation = sequence.excitation().unwrap();
        let pattern = Pattern::of(&excitation).unwrap();
        let mut random = Random::new(3);
        let samples: Vec<f64> = excitation
            .samples
            .iter()
            .enumerate()
            .map(|(frame, x)| 10f64.powf(change(frame, &excitation.plan) / 20.0) * x + 1e-4 * random.normal())
            .collect();
        let noise = NoiseDensity::white(1e-8);
        let sounds = Sounds::of(&excitation, &pattern, MarksPath::Shared, 0);
        level_steps(Channel { sounds: &sounds.first(&samples, 0), noise: Some(&noise) }, None, &sounds)
    }

    #[test]
    fn a_steady_level_is_steady() {
        let found = told(|_, _| 0.0);
        // 0.02 dB: the noise is 70 dB below.
        assert!(found.marks.unwrap().gain_db.abs() < 0.02 && found.repeats.unwrap().gain_db.abs() < 0.02, "{found:?}");
        assert!(found.by_band.is_none_or(|(_, step)| !step.exceeds(0.3)), "{found:?}");
    }

    /// Levels that are put in: −0.8 dB from the second sweep on, and −1.5 dB in the last mark.
    #[test]
    fn steps_of_known_size_are_told_where_they_are() {
        let found = told(|frame, plan| match frame {
            frame if frame >= plan.mark_starts[1] => -1.5,
            frame if frame >= plan.starts[1] => -0.8,
            _ => 0.0,
        });
        // 0.02 dB: the noise.
        assert!((found.repeats.unwrap().gain_db + 0.8).abs() < 0.02, "{found:?}");
        assert!((found.marks.unwrap().gain_db + 1.5).abs() < 0.02, "{found:?}");
    }

    /// A gain that rises by 3 dB an octave of time in the middle of each sweep, and is 0 dB in the marks.
    #[test]
    fn a_gain_that_follows_the_sound_is_told_by_band() {
        let found = told(|frame, plan| {
            let inside = plan.starts.iter().find(|&&start| (start..start + plan.frames).contains(&frame));
            inside.map_or(0.0, |start| 6.0 * (frame - start) as f64 / plan.frames as f64)
        });
        // Half of the 6 dB at most, against the middle of the band; the marks leave out its ends.
        assert!(found.by_band.unwrap().1.exceeds(0.8), "{found:?}");
    }
}
