//! What a channel shows before anything is computed from it: clipping, held samples, an offset.
//!
//! No equation: counting. The rules are ours; each says why it is as strict as it is.

use crate::quantity::{Code, Finding, Severity, Whereabouts};
use crate::signal::Recording;
use std::ops::Range;

/// Full scale less two steps of a 16-bit converter: what a clipped converter shows.
const FULL_SCALE: f64 = 1.0 - 2.0 / 32_768.0;
/// One sample at full scale may be chance, two in a row are not.
const CLIPPED_RUN: usize = 2;
/// So many equal samples in a row, in the middle of a loud sweep, were not measured: a buffer was missing.
const HELD_RUN: usize = 32;
/// Held samples count only where the sound around them is this much larger than the format's step.
const HELD_LOUDNESS_STEPS: f64 = 200.0;
/// An offset matters little, it only costs headroom: −50 dBFS.
const OFFSET: f64 = 0.003;

/// Clipping anywhere in a channel (counted from 0).
pub fn clipping(recording: &Recording, channel: usize) -> Option<Finding> {
    let samples = &recording.channels[channel];
    let (mut clipped, mut run, mut first, mut last) = (0, 0, None, 0);
    for (frame, sample) in samples.iter().enumerate() {
        run = if sample.abs() >= FULL_SCALE { run + 1 } else { 0 };
        if run >= CLIPPED_RUN {
            clipped += if run == CLIPPED_RUN { CLIPPED_RUN } else { 1 };
            first.get_or_insert(frame);
            last = frame;
        }
    }
    let first = first?;
    let seconds = |frame| recording.rate.seconds(frame);
    Some(Finding {
        code: Code::Clipped,
        severity: Severity::Fault,
        says: format!(
            "channel {} is clipped: {clipped} samples at full scale between {:.2} s and {:.2} s",
            channel + 1,
            seconds(first),
            seconds(last)
        ),
        advice: "lower the input gain until the peak stays below −6 dBFS, and measure again".into(),
        at: Whereabouts { channel: Some(channel + 1), time_s: Some([seconds(first), seconds(last)]), band_hz: None },
    })
}

/// Flat tops below full scale: something before the converter is at its limit.
///
/// In short blocks of a sweep, of a few periods each, a sine spends 9 % of each half of its time within 1 % of its crest
/// (2·acos(0.99)/π); one that is cut by half a decibel spends 23 %.
pub fn flat_tops(recording: &Recording, channel: usize, sounding: Range<usize>) -> Option<Finding> {
    let samples = &recording.channels[channel];
    let block = (FLAT_BLOCK_S * recording.rate.hz()) as usize;
    let end = sounding.end.min(samples.len());
    let loudest = samples.iter().fold(0.0f64, |loudest, x| loudest.max(x.abs()));
    // A crest of few steps is flat by itself.
    let step = (12.0 * recording.format.rounding_power(loudest)).sqrt();
    let least = (FLAT_LEAST_SHARE * loudest).max(FLAT_STEPS * step);
    let mut flat: Vec<(usize, f64)> = Vec::new();
    let mut longest: Vec<(usize, f64)> = Vec::new();
    let mut start = sounding.start;
    while block > 0 && start + block <= end {
        match flat_crest(&samples[start..start + block]).filter(|crest| *crest > least) {
            // A limit is the same everywhere.
            Some(crest) if flat.first().is_none_or(|first| (crest / first.1 - 1.0).abs() < FLAT_SAME) => {
                flat.push((start, crest));
            }
            Some(crest) => flat = vec![(start, crest)],
            None => flat.clear(),
        }
        if flat.len() > longest.len() {
            longest.clone_from(&flat);
        }
        start += block;
    }
    if longest.len() < FLAT_BLOCKS {
        return None;
    }
    let seconds = |frame| recording.rate.seconds(frame);
    let (first, last) = (longest[0].0, longest[longest.len() - 1].0 + block);
    Some(Finding {
        code: Code::Clipped,
        severity: Severity::Fault,
        says: format!(
            "channel {} has flat tops at {:.1} dBFS from {:.2} s to {:.2} s: something before the converter is at its limit",
            channel + 1,
            20.0 * longest[0].1.log10(),
            seconds(first),
            seconds(last)
        ),
        advice: "lower the preamplifier's gain, or the drive if it is the amplifier, and measure again".into(),
        at: Whereabouts { channel: Some(channel + 1), time_s: Some([seconds(first), seconds(last)]), band_hz: None },
    })
}

/// The crest of a block whose both halves spend too long near it.
fn flat_crest(block: &[f64]) -> Option<f64> {
    let crest = block.iter().fold(0.0f64, |crest, x| crest.max(x.abs()));
    let share = |sign: f64| {
        let half: Vec<f64> = block.iter().map(|x| sign * x).filter(|x| *x > 0.0).collect();
        let top = half.iter().copied().fold(0.0f64, f64::max);
        (half.iter().filter(|x| **x > 0.99 * top).count() as f64 / half.len().max(1) as f64, half.len())
    };
    let [(up, rising), (down, falling)] = [share(1.0), share(-1.0)];
    // Both halves are there: the block holds whole periods, and no offset makes a top.
    let balanced = rising.min(falling) * 3 > block.len();
    (balanced && up.max(down) > FLAT_SHARE).then_some(crest)
}

/// Blocks of 20 ms hold a period of 50 Hz; below, a top would be cut in two and look flat.
const FLAT_BLOCK_S: f64 = 0.02;
/// The last of n steps takes 2/(π·√n) of each half of a sine: 16 % of 16 steps, 8 % of 64.
const FLAT_STEPS: f64 = 64.0;
/// Half a decibel off a crest makes 23 %, a whole sine 9 %.
const FLAT_SHARE: f64 = 0.2;
/// So many blocks in a row at one limit, within 1 %, are no chance.
const FLAT_BLOCKS: usize = 10;
const FLAT_SAME: f64 = 0.01;
/// What lies far below the loudest sample is noise or a dying room.
const FLAT_LEAST_SHARE: f64 = 0.3;

/// Stretches of equal samples in the middle of a sound, which `sounding` names.
pub fn held_samples(recording: &Recording, channel: usize, sounding: Range<usize>) -> Option<Finding> {
    let samples = &recording.channels[channel];
    let step = recording.format.rounding_power(1.0).sqrt() * 12f64.sqrt();
    let end = sounding.end.min(samples.len());
    let mut runs = Vec::new();
    let mut start = sounding.start.min(end);
    for frame in start + 1..=end {
        if frame == end || samples[frame] != samples[start] {
            if frame - start >= HELD_RUN && is_loud_around(samples, start..frame, step) {
                runs.push(start..frame);
            }
            start = frame;
        }
    }
    let first = runs.first()?;
    let seconds = |frame| recording.rate.seconds(frame);
    let frames: usize = runs.iter().map(Range::len).sum();
    Some(Finding {
        code: Code::Dropout,
        severity: Severity::Fault,
        says: format!(
            "channel {} stands still for {frames} samples in {} {}, first at {:.3} s: buffers were lost",
            channel + 1,
            runs.len(),
            if runs.len() == 1 { "place" } else { "places" },
            seconds(first.start)
        ),
        advice: "close other programs, use a larger buffer, and measure again".into(),
        at: Whereabouts {
            channel: Some(channel + 1),
            time_s: Some([seconds(first.start), seconds(runs[runs.len() - 1].end)]),
            band_hz: None,
        },
    })
}

/// Whether the sound just outside a run is far above the format's own step.
fn is_loud_around(samples: &[f64], run: Range<usize>, step: f64) -> bool {
    let near = HELD_RUN;
    let outside = samples[run.start.saturating_sub(near)..run.start]
        .iter()
        .chain(&samples[run.end..(run.end + near).min(samples.len())]);
    let (sum, count) = outside.fold((0.0, 0.0), |(sum, count), x| (sum + x * x, count + 1.0));
    let at_rest = samples[run.start].abs();
    count > 0.0 && (sum / f64::max(count, 1.0)).sqrt() > HELD_LOUDNESS_STEPS * step + 3.0 * at_rest
}

/// A constant that the interface adds, from the silences.
pub fn offset(recording: &Recording, channel: usize, silences: &[Range<usize>]) -> Option<Finding> {
    let samples = &recording.channels[channel];
    let quiet =
        silences.iter().flat_map(|range| &samples[range.start.min(samples.len())..range.end.min(samples.len())]);
    let (sum, count) = quiet.fold((0.0, 0.0), |(sum, count), x| (sum + x, count + 1.0));
    let mean = sum / f64::max(count, 1.0);
    (mean.abs() >= OFFSET).then(|| Finding {
        code: Code::DcOffset,
        severity: Severity::Note,
        says: format!(
            "channel {} has a constant offset of {:.1} % of full scale; it was taken off",
            channel + 1,
            100.0 * mean
        ),
        advice: "nothing needs doing; it costs headroom".into(),
        at: Whereabouts { channel: Some(channel + 1), ..Whereabouts::default() },
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::SampleRate;
    use crate::signal::SampleFormat;

    fn recording(samples: Vec<f64>) -> Recording {
        Recording { rate: SampleRate::new(48_000).unwrap(), channels: vec![samples], format: SampleFormat::Pcm16 }
    }

    fn sine(amplitude: f64) -> Vec<f64> {
        (0..48_000).map(|n| amplitude * (f64::from(n) * 0.05).sin()).collect()
    }

    #[test]
    fn a_clipped_sine_is_clipped_and_a_loud_one_is_not() {
        assert_eq!(clipping(&recording(sine(0.999)), 0), None);
        let clipped = sine(1.1).into_iter().map(|x| x.clamp(-1.0, 32_767.0 / 32_768.0)).collect();
        assert_eq!(clipping(&recording(clipped), 0).unwrap().code, Code::Clipped);
    }

    /// A sweep from 50 Hz to 10 kHz in two seconds through a limiter at two thirds of its crest, and the sweep itself.
    #[test]
    fn a_limiter_before_the_converter_is_found_and_a_sweep_is_none() {
        let sweep: Vec<f64> = (0..96_000)
            .map(|n| {
                let place = f64::from(n) / 96_000.0;
                0.3 * (std::f64::consts::TAU * 50.0 * 2.0 / 200f64.ln() * 200f64.powf(place)).sin()
            })
            .collect();
        assert_eq!(flat_tops(&recording(sweep.clone()), 0, 0..96_000), None);
        // 80 dB quieter it has three steps of 16 bits to each side.
        let stepped = sweep.iter().map(|x| (1e-4 / 0.3 * x * 32_768.0).round() / 32_768.0).collect();
        assert_eq!(flat_tops(&recording(stepped), 0, 0..96_000), None);
        let limited = sweep.iter().map(|x| x.clamp(-0.2, 0.2)).collect();
        let found = flat_tops(&recording(limited), 0, 0..96_000).unwrap();
        assert_eq!(found.code, Code::Clipped);
        assert!(found.says.contains("-14.0 dBFS"), "{}", found.says);
    }

    #[test]
    fn a_gap_in_a_loud_sound_is_a_dropout_and_a_soft_start_is_none() {
        let mut gap = sine(0.1);
        gap[20_000..20_064].fill(0.0);
        let found = held_samples(&recording(gap), 0, 0..48_000).unwrap();
        assert_eq!(found.at.time_s, Some([20_000.0 / 48_000.0, 20_064.0 / 48_000.0]));
        // A sound that is rounded to steps of 16 bits while it is soft stands still for a long time, legally.
        let soft: Vec<f64> =
            sine(1.0).iter().enumerate().map(|(n, x)| (x * n as f64 * 1e-9 * 32_768.0).round() / 32_768.0).collect();
        assert_eq!(held_samples(&recording(soft), 0, 0..48_000), None);
    }

    #[test]
    fn an_offset_is_told_from_the_silences() {
        let found = offset(&recording(vec![0.01; 1_000]), 0, std::slice::from_ref(&(0..1_000))).unwrap();
        assert!(found.says.contains("1.0 %"), "{}", found.says);
        assert_eq!(offset(&recording(vec![0.001; 1_000]), 0, std::slice::from_ref(&(0..1_000))), None);
    }
}
