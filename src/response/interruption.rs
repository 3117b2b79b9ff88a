//! Moments in a sweep that no response explains: lost samples, or a sound that is not ours.
//!
//! ```text
//! r = y − x∗h        h: the impulse response without all that lies far from its arrival
//! ```
//!
//! A steady system leaves noise, late reverberation and harmonics in r, which change slowly. A moment at which r rises
//! far above its neighbourhood was an event. Where samples were lost, r is the difference of two sweeps that pass the
//! same frequency, and so it sounds at the sweep's own frequency of that moment; a door or a voice does not.
//! Ours, because a single sweep without time marks has no other witness.

use super::deconvolve::{Deconvolution, WrappedImpulse};
use crate::math::{InverseSpectrum, Spectrum, good_length};
use num_complex::{Complex32, Complex64};
use std::ops::Range;

/// A moment that the response does not explain.
#[derive(Debug, Clone, PartialEq)]
pub struct Interruption {
    /// Frames of the piece, from the first to the last one that shows it.
    pub frames: Range<usize>,
    /// What it was.
    pub cause: Cause,
}

/// What broke into a sweep.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cause {
    /// Samples are missing, or were replaced by silence.
    LostSamples,
    /// Another sound.
    Noise,
}

/// r is looked at in windows of this length.
const WINDOW_S: f64 = 0.005;
/// An event stands this far (15 dB) above what is usual on both sides; noise in a window scatters by 1 dB …
const ABOVE_USUAL: f64 = 30.0;
/// … and is no weaker than 30 dB below the reply itself: less does no harm that counts, and a driver's own noises stay below.
const ABOVE_REPLY: f64 = 1e-3;
/// The neighbourhood: so many windows to each side, 300 ms, of which the quiet quarter is what is usual …
const NEIGHBOURS: usize = 60;
const USUAL_SHARE: f64 = 0.25;
/// … when there are at least so many, 50 ms.
const LEAST_NEIGHBOURS: usize = 10;
/// What counts as the system's own answer reaches this far before the arrival …
const KEPT_BEFORE_S: f64 = 0.03;
/// … and after it: a room's modes ring on for so long before they are weaker than what counts as an event.
const KEPT_AFTER_S: f64 = 0.5;
/// Of what lost samples leave, at least a quarter lies within a third of an octave around the sweep's frequency …
const OWN_SHARE: f64 = 0.25;
/// … and more than chance puts there.
const ABOVE_CHANCE: f64 = 1.2;
const OWN_RATIO: f64 = 1.26;

/// The worst moment of one repeat, which lies `before` frames into `piece` and has the impulse response `impulse`, with the strongest arrival at `peak`.
/// `None` where everything is explained, and for anything but a sweep.
pub fn interruption(
    deconvolution: &Deconvolution,
    piece: &[f64],
    impulse: &WrappedImpulse,
    before: usize,
    peak: i64,
) -> Option<Interruption> {
    let pattern = deconvolution.pattern();
    let rate_constant = pattern.rate_constant_s? * pattern.rate_hz;
    let left = unexplained(deconvolution, impulse, peak);
    let window = (WINDOW_S * pattern.rate_hz).max(8.0) as usize;
    fn energies<T: Copy + Into<f64>>(samples: &[T], window: usize) -> Vec<f64> {
        samples.chunks_exact(window).map(|chunk| chunk.iter().map(|&x| x.into().powi(2)).sum()).collect()
    }
    // Frame of the piece at which a frequency of the sweep is heard.
    let heard_at = |hz: f64| peak as f64 + rate_constant * (hz / pattern.played_hz[0]).ln();
    let windows = |frame: f64| (frame.max(before as f64) / window as f64) as usize;
    let inside = windows(heard_at(pattern.band_hz[0])) + 1..windows(heard_at(pattern.band_hz[1]));
    let hz_at = |frame: usize| pattern.played_hz[0] * ((frame as f64 - peak as f64) / rate_constant).exp();
    let left_energies =
        over_periods(&energies(&left[..piece.len()], window), window as f64 / pattern.rate_hz, |index| {
            hz_at(index * window)
        });
    let reply = energies(piece, window);
    let inside = inside.start.min(left_energies.len())..inside.end.min(left_energies.len());
    let events: Vec<(usize, f64)> = inside
        .clone()
        .filter_map(|index| {
            let usual = usual_energy(&left_energies, inside.clone(), index)?;
            let near = index.saturating_sub(NEIGHBOURS)..(index + NEIGHBOURS + 1).min(reply.len());
            let above = left_energies[index] / usual.max(f64::MIN_POSITIVE);
            let strong = || left_energies[index] > ABOVE_REPLY * quantile(&reply[near], 0.5);
            (above > ABOVE_USUAL && strong()).then_some((index, left_energies[index]))
        })
        .collect();
    let worst = events.iter().copied().reduce(|a, b| if b.1 > a.1 { b } else { a })?.0;
    // The windows around the worst one that belong to the same event.
    let belongs = |index: usize| events.iter().any(|event| event.0.abs_diff(index) <= 1);
    let first = (inside.start..=worst).rev().take_while(|&index| belongs(index)).last().unwrap_or(worst);
    let last = (worst..inside.end).take_while(|&index| belongs(index)).last().unwrap_or(worst);
    let frames = first * window..((last + 1) * window).min(piece.len());
    let own_hz = [hz_at(frames.start) / OWN_RATIO, hz_at(frames.end) * OWN_RATIO];
    let event: Vec<f64> = left[frames.clone()].iter().map(|&x| x.into()).collect();
    let own = share_within(&event, own_hz, pattern.rate_hz);
    // White noise has its share there too, and a large one in the treble.
    let chance = ((own_hz[1] - own_hz[0]) / pattern.band_hz[1]).min(1.0);
    let least = OWN_SHARE.max(ABOVE_CHANCE * chance);
    Some(Interruption { frames, cause: if own > least { Cause::LostSamples } else { Cause::Noise } })
}

/// Those of the events, by repeat, that are not the sweep's own: what all of several repeats show at one and the same place comes with it, as no door
/// or lost buffer keeps such time.
pub fn foreign(events: Vec<(usize, Interruption)>, repeats: usize) -> Vec<(usize, Interruption)> {
    let latest = events.iter().map(|(_, event)| event.frames.start).max();
    let earliest = events.iter().map(|(_, event)| event.frames.end).min();
    let comes_with_the_sweep = events.len() > 1 && events.len() == repeats && latest < earliest;
    if comes_with_the_sweep { Vec::new() } else { events }
}

/// Means of the energies over a period of what is heard there: the halves of a slow wave are no events.
fn over_periods(energies: &[f64], window_s: f64, heard_hz: impl Fn(usize) -> f64) -> Vec<f64> {
    let mean = |index: usize| {
        // What is heard before a sweep has no lowest frequency.
        let reach = (0.5 / (heard_hz(index) * window_s)).min(energies.len() as f64) as usize;
        let around = index.saturating_sub(reach)..(index + reach + 1).min(energies.len());
        energies[around.clone()].iter().sum::<f64>() / around.len() as f64
    };
    (0..energies.len()).map(mean).collect()
}

/// r, band limited as the impulse response is; in single precision, since events lie no deeper than 30 dB below the reply.
fn unexplained(deconvolution: &Deconvolution, impulse: &WrappedImpulse, peak: i64) -> Vec<f32> {
    let length = deconvolution.length();
    let (before, after) = (KEPT_BEFORE_S * deconvolution.rate_hz(), KEPT_AFTER_S * deconvolution.rate_hz());
    let mut left = Spectrum::single(length).bins(&impulse.around(peak, [before, after]));
    let single = |value: &Complex64| Complex32::new(value.re as f32, value.im as f32);
    for ((left, all), played) in left.iter_mut().zip(&impulse.bins).zip(deconvolution.played()) {
        *left = (single(all) - *left) * single(played);
    }
    InverseSpectrum::single(length).samples(&left)
}

/// How much of the energy of `samples` lies within a band.
fn share_within(samples: &[f64], band_hz: [f64; 2], rate_hz: f64) -> f64 {
    // Padded to 10 Hz at least, so that a short event at a low frequency has bins there.
    let length = good_length(samples.len().max((0.1 * rate_hz) as usize));
    let (mut within, mut all) = (0.0, f64::MIN_POSITIVE);
    for (bin, value) in Spectrum::new(length).bins(samples).iter().enumerate() {
        // A window of n frames blurs by rate/n.
        let blur_hz = rate_hz / samples.len() as f64;
        let hz = bin as f64 * rate_hz / length as f64;
        let power = value.norm_sqr();
        all += power;
        within += if (band_hz[0] - blur_hz..=band_hz[1] + blur_hz).contains(&hz) { power } else { 0.0 };
    }
    within / all
}

/// What is usual around a window: the louder of both sides, so that what only rises or falls is no event. `None` next to
/// an end, where one side is missing.
fn usual_energy(energies: &[f64], inside: Range<usize>, index: usize) -> Option<f64> {
    let left = index.saturating_sub(NEIGHBOURS).max(inside.start)..index;
    let right = index + 1..(index + 1 + NEIGHBOURS).min(inside.end);
    let told = left.len() >= LEAST_NEIGHBOURS && right.len() >= LEAST_NEIGHBOURS;
    told.then(|| quantile(&energies[left], USUAL_SHARE).max(quantile(&energies[right], USUAL_SHARE)))
}

/// The value below which a share of the values lies.
fn quantile(values: &[f64], share: f64) -> f64 {
    let mut values = values.to_vec();
    let place = (share * values.len() as f64) as usize;
    if place < values.len() { *values.select_nth_unstable_by(place, f64::total_cmp).1 } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::Random;
    use crate::quantity::SampleRate;
    use crate::response::Pattern;
    use crate::signal::{Marks, Sequence, SweepSettings};

    /// A one-second sweep through 10 frames of delay, in noise 60 dB below it.
    fn found(change: impl Fn(&mut Vec<f64>)) -> Option<Interruption> {
        let rate = SampleRate::new(48_000).unwrap();
        let sweep = SweepSettings { rate, from_hz: 20.0, to_hz: 20_000.0, lowest_hz: None, duration_s: 1.0 };
        let sequence = Sequence { sweep, level_dbfs: 0.0, repeats: 1, marks: Marks::None, pause_s: 0.5 };
        let pattern = Pattern::of(&sequence.excitation().unwrap()).unwrap();
        let mut random = Random::new(6);
        let mut piece = vec![0.0; 2_410];
        piece.extend_from_slice(&pattern.samples);
        piece.resize(90_000, 0.0);
        piece.iter_mut().for_each(|x| *x += 1e-3 * random.normal());
        change(&mut piece);
        found_in(&pattern, &piece)
    }

    fn found_in(pattern: &Pattern, piece: &[f64]) -> Option<Interruption> {
        let deconvolution = Deconvolution::new(pattern, piece.len());
        interruption(&deconvolution, piece, &deconvolution.impulse_of(piece), 2_400, 2_410)
    }

    /// A mean over a period without an end is the mean of all.
    #[test]
    fn before_a_sweep_no_frequency_is_heard() {
        assert_eq!(over_periods(&[1.0, 2.0, 6.0], WINDOW_S, |_| 0.0), [3.0; 3]);
    }

    #[test]
    fn what_comes_at_one_place_of_each_sweep_is_its_own() {
        let at =
            |number: usize, first: usize| (number, Interruption { frames: first..first + 100, cause: Cause::Noise });
        assert_eq!(foreign(vec![at(0, 500), at(1, 550)], 2), Vec::new());
        for kept in [vec![at(0, 500), at(1, 700)], vec![at(0, 500)], vec![at(0, 500), at(2, 500)]] {
            assert_eq!(foreign(kept.clone(), 3), kept);
        }
        assert_eq!(foreign(vec![at(0, 500)], 1).len(), 1);
    }

    #[test]
    fn a_steady_system_leaves_nothing_to_explain() {
        assert_eq!(found(|_| ()), None);
    }

    /// A mode of a room at 62 Hz that takes 1.1 s to fall by 60 dB, twice as strong as the direct sound at its frequency, through a sweep of 4 s: a
    /// recursive filter of two poles, none of it from this project's own bench.
    #[test]
    fn a_rooms_mode_that_rings_on_is_no_interruption() {
        let rate = SampleRate::new(48_000).unwrap();
        let sweep = SweepSettings { rate, from_hz: 20.0, to_hz: 20_000.0, lowest_hz: None, duration_s: 4.0 };
        let sequence = Sequence { sweep, level_dbfs: 0.0, repeats: 1, marks: Marks::None, pause_s: 0.5 };
        let pattern = Pattern::of(&sequence.excitation().unwrap()).unwrap();
        let mut played = vec![0.0; 2_410];
        played.extend_from_slice(&pattern.samples);
        played.resize(played.len() + 90_000, 0.0);
        let (radius, turn) = ((-6.908 / 1.1 / 48_000.0f64).exp(), std::f64::consts::TAU * 62.0 / 48_000.0);
        let (mut one, mut two) = (0.0, 0.0);
        let mut random = Random::new(6);
        let mut heard = |x: &f64| {
            // The peak of the filter is 1/((1 − r)·|1 − r·e^{−2iω}|), about 1/(2·(1 − r)·sin ω).
            let next = 4.0 * (1.0 - radius) * turn.sin() * x + 2.0 * radius * turn.cos() * one - radius * radius * two;
            (one, two) = (next, one);
            x + next + 1e-4 * random.normal()
        };
        let piece: Vec<f64> = played.iter().map(&mut heard).collect();
        assert_eq!(found_in(&pattern, &piece), None);
    }

    #[test]
    fn lost_samples_and_a_noise_are_told_apart_and_placed() {
        for at in [12_000, 26_000, 45_000] {
            let lost = found(|piece| drop(piece.drain(at..at + 100))).unwrap();
            assert_eq!(lost.cause, Cause::LostSamples, "{at}");
            // 20 ms: the response resolves the sweep's frequency no better.
            assert!(lost.frames.start < at + 960 && lost.frames.end + 960 > at, "{at}: {lost:?}");
            let noisy = found(|piece| {
                let mut random = Random::new(1);
                piece[at..at + 1_000].iter_mut().for_each(|x| *x += 0.5 * random.normal());
            })
            .unwrap();
            assert_eq!(noisy.cause, Cause::Noise, "{at}");
            assert!(noisy.frames.start < at + 960 && noisy.frames.end + 960 > at + 1_000, "{at}: {noisy:?}");
        }
    }
}
