//! How one stream is to be opened: rate, channels, sample format, buffer.
//!
//! The buffer is long, because delay costs a measurement nothing and a short one loses samples on a busy machine:
//!
//! ```text
//! output: the power of two at or above 0.085 s · rate     input: twice that
//! ```
//!
//! Ours: on a virtual card with both cores busy 370 takes of 370 were whole with 4,096 frames at 48 kHz (0.085 s) or more, 22 of 76 with
//! 512. The output has the shorter one, because what it holds can't be taken back when somebody asks for silence.

use super::listing::Found;
use crate::audio::{AudioError, Order, Route, Side};
use crate::quantity::SampleRate;
use crate::signal::SampleFormat as Recorded;
use cpal::{SampleFormat, StreamConfig, SupportedBufferSize, SupportedStreamConfigRange};

/// Sample formats that can be used, best first: a float needs no scaling, then the finest integers.
pub(super) const FORMATS: [SampleFormat; 4] =
    [SampleFormat::F32, SampleFormat::I32, SampleFormat::I24, SampleFormat::I16];

const OUTPUT_BUFFER_S: f64 = 0.085;

/// One stream to be opened.
#[derive(Clone)]
pub(super) struct Setup {
    pub(super) device: cpal::Device,
    pub(super) name: String,
    pub(super) side: Side,
    pub(super) format: SampleFormat,
    pub(super) config: StreamConfig,
}

impl Setup {
    /// How `found` is opened for this order.
    pub(super) fn new(found: &Found, side: Side, order: &Order) -> Result<Self, AudioError> {
        let channels = order.needed_channels();
        let wanted = match side {
            Side::Output => channels.outputs,
            Side::Input => channels.inputs,
        };
        found.facts.check(side, order.rate(), &wanted)?;
        let needed = wanted.iter().max().map_or(1, |highest| highest + 1);
        // The sound system mixes one channel into two and two into one; a stream of two it leaves alone.
        let needed = if found.facts.route == Route::ThroughSoundSystem { needed.max(2) } else { needed };
        let range = best(found.offered(side), order.rate(), needed).ok_or_else(|| AudioError::Format {
            device: found.facts.name.clone(),
            side,
            rate_hz: order.rate().whole_hz(),
        })?;
        let frames = clamped(buffer_frames(order.rate(), side), *range.buffer_size());
        let config = StreamConfig {
            channels: range.channels(),
            sample_rate: order.rate().whole_hz(),
            buffer_size: cpal::BufferSize::Fixed(frames),
        };
        let (device, name, format) = (found.device.clone(), found.facts.name.clone(), range.sample_format());
        Ok(Self { device, name, side, format, config })
    }
}

/// The offer with enough channels (as few as possible), then with the best format.
fn best(
    offered: &[SupportedStreamConfigRange],
    rate: SampleRate,
    needed: usize,
) -> Option<&SupportedStreamConfigRange> {
    let rank = |range: &&SupportedStreamConfigRange| {
        let missing = needed.saturating_sub(usize::from(range.channels()));
        let format = FORMATS.iter().position(|format| *format == range.sample_format());
        (missing, range.channels(), format.unwrap_or(FORMATS.len()))
    };
    let has_rate = |range: &&SupportedStreamConfigRange| {
        (range.min_sample_rate()..=range.max_sample_rate()).contains(&rate.whole_hz())
    };
    offered.iter().filter(has_rate).min_by_key(rank)
}

fn buffer_frames(rate: SampleRate, side: Side) -> u32 {
    let output = u32::try_from(rate.frames(OUTPUT_BUFFER_S)).unwrap_or(u32::MAX / 4).next_power_of_two();
    match side {
        Side::Output => output,
        Side::Input => 2 * output,
    }
}

fn clamped(frames: u32, supported: SupportedBufferSize) -> u32 {
    match supported {
        SupportedBufferSize::Range { min, max } if min <= max => frames.clamp(min, max),
        _ => frames,
    }
}

/// The same format under the name that recordings use.
pub(super) fn as_recorded(format: SampleFormat) -> Option<Recorded> {
    match format {
        SampleFormat::F32 => Some(Recorded::Float32),
        SampleFormat::I32 => Some(Recorded::Pcm32),
        SampleFormat::I24 => Some(Recorded::Pcm24),
        SampleFormat::I16 => Some(Recorded::Pcm16),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn offer(channels: u16, format: SampleFormat) -> SupportedStreamConfigRange {
        let buffer = SupportedBufferSize::Range { min: 64, max: 2_048 };
        SupportedStreamConfigRange::new(channels, 44_100, 48_000, buffer, format)
    }

    #[test]
    fn the_fewest_channels_that_suffice_are_opened_in_the_best_format() {
        let offered = [
            offer(1, SampleFormat::F32),
            offer(2, SampleFormat::I16),
            offer(2, SampleFormat::I32),
            offer(8, SampleFormat::F32),
        ];
        let rate = SampleRate::new(48_000).unwrap();
        let chosen = |needed| best(&offered, rate, needed).map(|range| (range.channels(), range.sample_format()));
        assert_eq!(chosen(1), Some((1, SampleFormat::F32)));
        assert_eq!(chosen(2), Some((2, SampleFormat::I32)));
        assert_eq!(chosen(3), Some((8, SampleFormat::F32)));
        assert!(best(&offered, SampleRate::new(96_000).unwrap(), 1).is_none());
    }

    #[test]
    fn buffers_last_at_least_85_ms_and_stay_within_what_the_device_has() {
        for (hz, frames) in [(44_100, 4_096), (48_000, 4_096), (96_000, 8_192), (192_000, 16_384)] {
            let rate = SampleRate::new(hz).unwrap();
            assert_eq!(buffer_frames(rate, Side::Output), frames);
            assert_eq!(buffer_frames(rate, Side::Input), 2 * frames);
        }
        assert_eq!(clamped(4_096, *offer(2, SampleFormat::F32).buffer_size()), 2_048);
        assert_eq!(clamped(16, *offer(2, SampleFormat::F32).buffer_size()), 64);
        assert_eq!(clamped(4_096, SupportedBufferSize::Unknown), 4_096);
    }
}
