//! Where in the recording the excitation lies, found by its content.
//!
//! Streams start at unknown moments, so nothing but the sound itself says where it begins: the whole recording is
//! deconvolved by one repeat, and the offset is taken at which all repeats have their strongest arrivals together.
//!
//! ```text
//! T(o) = Σ E(o + shift)        W(o)/n(o)
//! ```
//!
//! T: energy gathered at the arrivals of all repeats if the offset is o; it decides. In a recording that broke off, or lost samples, several
//! offsets, a repeat apart, have the same T. Of these one at which the recording was begun before the sound is taken, and then the one with the
//! largest W/n: energy of those n repeats that would lie whole in the recording, since at a wrong one a repeat would have to be where
//! silence is. Ours, because it works for any signal and through any loudspeaker.

use super::deconvolve::WrappedImpulse;
use super::{Pattern, ResponseError};
use crate::math::{InverseSpectrum, Spectrum, both, good_length};
use crate::signal::Plan;
use num_complex::Complex32;
use std::cmp::Ordering;
use std::ops::Range;

/// Where the excitation lies in a recording.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Location {
    /// Frames from the start of the recording to where the first arrival of the excitation's frame 0 would be; negative
    /// where the recording began later than the excitation.
    pub offset_frames: i64,
}

/// Energy is gathered over this time, which also spans the smear of a clock that is off by some hundred ppm.
const GATHER_S: f64 = 0.002;
/// From this before the arrival …
const ARRIVAL_BEFORE_S: f64 = 0.01;
/// … to this after it lies what counts as gathered at one arrival.
const ARRIVAL_AFTER_S: f64 = 0.15;
/// A wrong excitation spreads over seconds, a right one gathers at least this share even in a lively room. Tried on
/// sweeps of other lengths and bands: none above 3 %.
const GATHERED_PERCENT: f64 = 10.0;
/// A band narrower than two octaves has no compact arrival.
const WIDE_RATIO: f64 = 4.0;
/// With all octaves alike, the bass of a room needs more time …
const OCTAVES_BEFORE_S: f64 = 0.05;
/// … to gather.
const OCTAVES_AFTER_S: f64 = 0.25;
/// Ours: a sweep half as long again gathered 8 %; a right one gathers nearly all without a room, and 82 % of a tail that takes
/// two seconds to fall by 60 dB.
const OCTAVES_PERCENT: f64 = 25.0;
/// This is judged only where the arrival stands 20 dB above the noise.
const OCTAVES_CLEAR_RATIO: f64 = 100.0;
/// The arrival must stand this far out of the noise for anything to be said about it.
const RISES_DB: f64 = 6.0;

/// Where the excitation lies in `recorded`, which is channel `channel` (counted from 0, for messages).
///
/// # Errors
/// [`ResponseError::Silent`], `TooQuiet` or `WrongExcitation` when no reply to it can be found.
pub fn locate(recorded: &[f64], channel: usize, plan: &Plan, pattern: &Pattern) -> Result<Location, ResponseError> {
    let channel = channel + 1;
    if recorded.iter().all(|&sample| sample == recorded[0]) {
        return Err(ResponseError::Silent { channel });
    }
    let rate_hz = pattern.rate_hz;
    let gather = (GATHER_S * rate_hz) as usize;
    let first_start = plan.starts.first().copied().unwrap_or(0);
    let Deconvolved { bins, inverse } = Deconvolved::of(recorded, pattern);
    let look = || {
        let samples = inverse.samples(&bins);
        let places = Places {
            gathered: moving_energy(&samples, gather),
            spacing: plan.starts.iter().map(|start| (start - first_start) as i64).collect(),
            sweep: plan.frames as i64,
            recorded: recorded.len() as i64,
            earliest: first_start as i64 - gather as i64,
        };
        let first = places.likeliest();
        (samples, first, places.heard(first).next().unwrap_or(0))
    };
    let is_wide = pattern.band_hz[1] > WIDE_RATIO * pattern.band_hz[0];
    let octaves_alike = || is_wide.then(|| OctavesAlike::of(&bins, &inverse, rate_hz));
    let ((samples, first, heard), octaves_alike) = both(look, octaves_alike);
    let repeats = arrivals_of_all(plan);
    judge(&samples, first + heard, channel, (rate_hz, repeats))?;
    if let Some(octaves_alike) = octaves_alike {
        octaves_alike.judge(first + heard, channel, (rate_hz, repeats))?;
    }
    let arrival = strongest_of(&samples, first + heard, gather as i64);
    Ok(Location { offset_frames: arrival - heard - first_start as i64 })
}

/// A whole recording deconvolved by one repeat, only to be looked for: in single precision, whose rounding lies 120 dB below the arrival.
struct Deconvolved {
    /// The spectrum of its impulse response.
    bins: Vec<Complex32>,
    inverse: InverseSpectrum<f32>,
}

impl Deconvolved {
    fn of(recorded: &[f64], pattern: &Pattern) -> Self {
        let length = good_length(recorded.len() + pattern.samples.len());
        let (forward, inverse) = (Spectrum::single(length), InverseSpectrum::single(length));
        let (mut bins, played) = both(|| forward.bins(recorded), || forward.bins(&pattern.samples));
        let power = |bin: usize| f64::from(played[bin].norm_sqr());
        pattern.each_limited(played.len(), power, |bin, limit| {
            let limit = Complex32::new(limit.re as f32, limit.im as f32);
            let limited = bins[bin] * played[bin].conj() * limit / played[bin].norm_sqr();
            bins[bin] = if limit == Complex32::ZERO { limit } else { limited };
        });
        Self { bins, inverse }
    }
}

/// Repeats in a recording, for any place of the first one.
struct Places {
    /// Energy around each index of the impulse response.
    gathered: Vec<f64>,
    /// From the first repeat to each of them.
    spacing: Vec<i64>,
    /// Frames of a sweep, and of the recording.
    sweep: i64,
    recorded: i64,
    /// From here on the first sweep lies where a recording that was begun before the sound has it.
    earliest: i64,
}

/// Offsets that gather so much of the most that any gathers explain the arrivals as well; the rest is noise.
const AS_LIKELY: f64 = 0.97;

impl Places {
    /// Where the first repeat arrives; before the recording, where it began later.
    fn likeliest(&self) -> i64 {
        let last = self.spacing.last().copied().unwrap_or(0);
        let firsts = 1 - self.sweep - last..self.recorded;
        let together = self.together(firsts.clone());
        let most = together.iter().copied().fold(0.0, f64::max);
        let likely = firsts.zip(together).filter(|&(_, together)| together >= AS_LIKELY * most);
        let likely = likely.map(|(first, together)| (self.likelihood(first, together), first));
        likely.max_by(|(a, _), (b, _)| a.partial_cmp(b).unwrap_or(Ordering::Equal)).map_or(0, |(_, first)| first)
    }

    /// From the first repeat to each that sounds within the recording, if the first one arrives at `first`.
    fn heard(&self, first: i64) -> impl Iterator<Item = i64> {
        self.spacing.iter().copied().filter(move |shift| (1 - self.sweep..self.recorded).contains(&(first + shift)))
    }

    fn energy(&self, arrival: i64) -> f64 {
        self.gathered[arrival.rem_euclid(self.gathered.len() as i64) as usize]
    }

    /// What was gathered at the arrivals of all repeats, for each place of the first one.
    fn together(&self, firsts: Range<i64>) -> Vec<f64> {
        let mut together = vec![0.0; (firsts.end - firsts.start) as usize];
        // Negative times lie at the end.
        let stretches = [(1 - self.sweep..0, self.gathered.len() as i64), (0..self.recorded, 0)];
        for shift in &self.spacing {
            for (arrivals, wrapped) in &stretches {
                // Arrivals of this repeat that belong to one of the places.
                let from = arrivals.start.max(firsts.start + shift);
                let count = (arrivals.end.min(firsts.end + shift) - from).max(0) as usize;
                let (place, index) = ((from - shift - firsts.start) as usize, (from + wrapped) as usize);
                let gathered = &self.gathered[index..index + count];
                together[place..place + count].iter_mut().zip(gathered).for_each(|(sum, energy)| *sum += energy);
            }
        }
        together
    }

    /// What decides between offsets that gather alike, first things first: begun before the sound; mean energy of the repeats that
    /// lie whole in the recording; and what was gathered.
    fn likelihood(&self, first: i64, together: f64) -> (bool, f64, f64) {
        let whole = self.heard(first).map(|shift| first + shift);
        let whole = whole.filter(|&begins| begins >= 0 && begins + self.sweep <= self.recorded);
        let (energy, count) = whole.fold((0.0, 0), |(energy, count), begins| (energy + self.energy(begins), count + 1));
        (first >= self.earliest, energy / f64::from(count.max(1)), together)
    }
}

/// How many times the energy of one arrival the excitation brings in all: its repeats, and its marks, which a sweep's
/// deconvolution spreads over seconds; they have a sweep's energy by time and octave.
fn arrivals_of_all(plan: &Plan) -> f64 {
    let marks = (plan.mark_starts.len() * plan.mark_frames) as f64 / plan.frames.max(1) as f64;
    plan.starts.len().max(1) as f64 + marks
}

/// Refuses what is no compact arrival.
fn judge(deconvolved: &[f32], best: i64, channel: usize, (rate_hz, repeats): (f64, f64)) -> Result<(), ResponseError> {
    let frames = ((ARRIVAL_BEFORE_S + ARRIVAL_AFTER_S) * rate_hz) as usize;
    let near = energy_from(deconvolved, best - (ARRIVAL_BEFORE_S * rate_hz) as i64, frames);
    let Energies { total, noise, pieces } = Energies::of(deconvolved, frames);
    let found_db = 10.0 * (near / noise).log10();
    if found_db < RISES_DB {
        return Err(ResponseError::TooQuiet { channel, found_db, needed_db: RISES_DB });
    }
    let noise_total = noise * pieces as f64;
    let arrivals = (near - noise) * repeats;
    let found_percent = 100.0 * arrivals / (total - noise_total).max(arrivals);
    if found_percent < GATHERED_PERCENT {
        return Err(ResponseError::WrongExcitation { channel, found_percent, needed_percent: GATHERED_PERCENT });
    }
    Ok(())
}

/// The impulse response with all octaves alike.
struct OctavesAlike {
    samples: Vec<f32>,
    frames: usize,
    energies: Energies,
}

impl OctavesAlike {
    fn of(bins: &[Complex32], inverse: &InverseSpectrum<f32>, rate_hz: f64) -> Self {
        // 1/√f in amplitude.
        let pink = bins.iter().enumerate().map(|(bin, value)| value / (bin.max(1) as f32).sqrt());
        let samples = inverse.samples(&pink.collect::<Vec<Complex32>>());
        let frames = (((OCTAVES_BEFORE_S + OCTAVES_AFTER_S) * rate_hz) as usize).min(samples.len());
        let energies = Energies::of(&samples, frames);
        Self { samples, frames, energies }
    }

    /// Refuses a sweep of another length, whose top octave alone is compact.
    fn judge(&self, best: i64, channel: usize, (rate_hz, repeats): (f64, f64)) -> Result<(), ResponseError> {
        let near = energy_from(&self.samples, best - (OCTAVES_BEFORE_S * rate_hz) as i64, self.frames);
        let Energies { total, noise, .. } = self.energies;
        // In noise the octaves say little: the bass scatters most and weighs most.
        if near < OCTAVES_CLEAR_RATIO * noise {
            return Ok(());
        }
        let arrivals = near * repeats;
        let found_percent = 100.0 * arrivals / total.max(arrivals);
        if found_percent < OCTAVES_PERCENT {
            return Err(ResponseError::WrongExcitation { channel, found_percent, needed_percent: OCTAVES_PERCENT });
        }
        Ok(())
    }
}

/// Energies of the pieces of an impulse response.
struct Energies {
    total: f64,
    /// Of the piece that is louder than a quarter of them: the quietest quarter of the time holds noise alone.
    noise: f64,
    pieces: usize,
}

impl Energies {
    fn of(samples: &[f32], frames: usize) -> Self {
        let mut all: Vec<f64> = samples.chunks(frames).map(energy).collect();
        all.sort_by(f64::total_cmp);
        Self { total: all.iter().sum(), noise: all[all.len() / 4].max(f64::MIN_POSITIVE), pieces: all.len() }
    }
}

fn energy(samples: &[f32]) -> f64 {
    samples.iter().map(|&x| f64::from(x).powi(2)).sum()
}

/// Energy of so many samples from an index that may be negative, wrapping around.
fn energy_from(samples: &[f32], first: i64, frames: usize) -> f64 {
    let first = first.rem_euclid(samples.len() as i64) as usize;
    let (end, rest) = ((first + frames).min(samples.len()), (first + frames).saturating_sub(samples.len()));
    energy(&samples[first..end]) + energy(&samples[..rest.min(samples.len())])
}

/// Energy around each index, over `frames` frames, wrapping around.
fn moving_energy(samples: &[f32], frames: usize) -> Vec<f64> {
    let count = samples.len();
    let half = (frames / 2).min((count - 1) / 2);
    let square = |index: usize| f64::from(samples[index]).powi(2);
    let mut energy: f64 = (0..2 * half + 1).map(|n| square((count + n - half) % count)).sum();
    // What leaves lies `half` before the middle, what comes `half` and one after it; both wrap around.
    let (mut leaves, mut comes) = ((count - half) % count, (half + 1) % count);
    let next = |index: usize| if index + 1 == count { 0 } else { index + 1 };
    (0..count)
        .map(|_| {
            let now = energy;
            energy += square(comes) - square(leaves);
            (leaves, comes) = (next(leaves), next(comes));
            now.max(0.0)
        })
        .collect()
}

/// The index of the largest magnitude within `reach` of `around`.
pub(super) fn strongest(impulse: &WrappedImpulse, around: i64, reach: i64) -> i64 {
    highest((around - reach..=around + reach).map(|index| (index, impulse.at(index).abs())), around)
}

fn strongest_of(samples: &[f32], around: i64, reach: i64) -> i64 {
    let at = |index: i64| f64::from(samples[index.rem_euclid(samples.len() as i64) as usize].abs());
    highest((around - reach..=around + reach).map(|index| (index, at(index))), around)
}

fn highest(values: impl Iterator<Item = (i64, f64)>, otherwise: i64) -> i64 {
    values.fold((otherwise, 0.0), |a, b| if b.1 > a.1 { b } else { a }).0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::Random;
    use crate::quantity::SampleRate;
    use crate::signal::{Marks, Sequence, SweepSettings};

    /// The slow twin: each window added up by itself.
    #[test]
    fn the_moving_energy_is_the_sum_over_each_window() {
        let mut random = Random::new(3);
        let samples: Vec<f32> = (0..50).map(|_| random.normal() as f32).collect();
        for frames in [1usize, 6, 7, 500] {
            let half = (frames / 2).min(24) as i64;
            for (index, found) in moving_energy(&samples, frames).iter().enumerate() {
                let slow: f64 = (-half..=half)
                    .map(|n| f64::from(samples[(index as i64 + n).rem_euclid(50) as usize]).powi(2))
                    .sum();
                // 1e-12: some hundred additions of values of order one.
                assert!((found - slow).abs() < 1e-12, "{frames} {index}");
            }
        }
    }

    #[test]
    fn an_excitation_is_found_where_it_was_put_even_before_the_recording_began() {
        let rate = SampleRate::new(48_000).unwrap();
        let sweep = SweepSettings { rate, from_hz: 20.0, to_hz: 20_000.0, lowest_hz: None, duration_s: 0.5 };
        let sequence = Sequence { sweep, level_dbfs: 0.0, repeats: 2, marks: Marks::None, pause_s: 0.5 };
        let excitation = sequence.excitation().unwrap();
        let pattern = Pattern::of(&excitation).unwrap();
        let mut late = vec![0.0; 1_234];
        late.extend_from_slice(&excitation.samples);
        assert_eq!(locate(&late, 0, &excitation.plan, &pattern).unwrap().offset_frames, 1_234);
        let early = &excitation.samples[30_000..];
        assert_eq!(locate(early, 0, &excitation.plan, &pattern).unwrap().offset_frames, -30_000);
        // Begun within the first sweep: its arrival is at a negative time.
        let within = &excitation.samples[50_000..];
        assert_eq!(locate(within, 0, &excitation.plan, &pattern).unwrap().offset_frames, -50_000);
        assert_eq!(locate(&[0.0; 9], 0, &excitation.plan, &pattern), Err(ResponseError::Silent { channel: 1 }));
    }

    /// However late a recording hears the first sweep, wherever after one of the repeats it ends, and in noise.
    #[test]
    fn a_recording_that_broke_off_is_placed_by_the_repeats_it_has() {
        let rate = SampleRate::new(48_000).unwrap();
        let sweep = SweepSettings { rate, from_hz: 50.0, to_hz: 20_000.0, lowest_hz: None, duration_s: 0.5 };
        let mut random = Random::new(11);
        for marks in [Marks::None, Marks::BeforeAndAfter] {
            let sequence = Sequence { sweep, level_dbfs: 0.0, repeats: 4, marks, pause_s: 0.5 };
            let excitation = sequence.excitation().unwrap();
            let (pattern, plan) = (Pattern::of(&excitation).unwrap(), &excitation.plan);
            for late in [0, 20_000, 60_000, 300_000] {
                for whole in 1..=4 {
                    for beyond in [100, 9_000, 21_000] {
                        let mut recorded = vec![0.0; late];
                        recorded.extend_from_slice(&excitation.samples);
                        recorded.truncate(late + plan.starts[whole - 1] + plan.frames + beyond);
                        recorded.iter_mut().for_each(|sample| *sample += 0.01 * random.normal());
                        let found = locate(&recorded, 0, plan, &pattern).unwrap();
                        assert_eq!(found.offset_frames, late as i64, "{marks:?}, {whole} whole, {beyond} frames more");
                    }
                }
            }
        }
    }
}
