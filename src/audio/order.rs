//! What a sound card is asked to do: these samples out there, those channels kept.
//!
//! No equation: a list of wishes that has been checked.

use super::AudioError;
use crate::quantity::SampleRate;

/// Samples to play, where to play them, and what to keep of the recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Order {
    rate: SampleRate,
    play: Vec<f64>,
    channels: Channels,
}

/// Which channels of the card take part; counted from 0.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Channels {
    /// The same signal goes out on each of these.
    pub outputs: Vec<usize>,
    /// These inputs are kept, in this order.
    pub inputs: Vec<usize>,
}

/// How long the signal takes to fade when a take is stopped: too slow to click, within the 50 ms a person is promised.
/// The fade begins once the card has played what it was already given, at most two of its output buffers.
pub const FADE_OUT_S: f64 = 0.03;

impl Order {
    /// An order that a card can try to carry out.
    ///
    /// # Errors
    /// [`AudioError::NotASample`] or `TooLoud` for samples that can't be played, `NoChannels` or `ChannelTwice`.
    pub fn new(rate: SampleRate, play: Vec<f64>, channels: Channels) -> Result<Self, AudioError> {
        if let Some((frame, &found)) = play.iter().enumerate().find(|(_, sample)| !sample.is_finite()) {
            return Err(AudioError::NotASample { frame, found });
        }
        if let Some((frame, &found)) = play.iter().enumerate().find(|(_, sample)| sample.abs() > 1.0) {
            return Err(AudioError::TooLoud { frame, found });
        }
        for (side, numbers) in [("output", &channels.outputs), ("input", &channels.inputs)] {
            if numbers.is_empty() {
                return Err(AudioError::NoChannels { side });
            }
            if let Some((_, twice)) = numbers.iter().enumerate().find(|(at, number)| numbers[..*at].contains(number)) {
                return Err(AudioError::ChannelTwice { side, channel: twice + 1 });
            }
        }
        Ok(Self { rate, play, channels })
    }

    /// Frames a second.
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// The samples to play, full scale ±1.
    pub fn play(&self) -> &[f64] {
        &self.play
    }

    /// What one output plays, from 0: the samples, or nothing at all.
    pub fn signal_on(&self, output: usize) -> &[f64] {
        if self.channels.outputs.contains(&output) { &self.play } else { &[] }
    }

    /// Where they go and what is kept.
    pub fn channels(&self) -> &Channels {
        &self.channels
    }

    /// The largest magnitude among the samples; nothing louder leaves the card.
    pub fn peak(&self) -> f64 {
        self.play.iter().fold(0.0, |high, sample| high.max(sample.abs()))
    }

    /// How long the samples last.
    pub fn duration_s(&self) -> f64 {
        self.rate.seconds(self.play.len())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn order(play: Vec<f64>, outputs: &[usize], inputs: &[usize]) -> Result<Order, AudioError> {
        let channels = Channels { outputs: outputs.to_vec(), inputs: inputs.to_vec() };
        Order::new(SampleRate::new(48_000).unwrap(), play, channels)
    }

    #[test]
    fn what_no_card_could_play_is_refused_by_frame_and_value() {
        assert!(matches!(order(vec![0.0, f64::NAN], &[0], &[0]), Err(AudioError::NotASample { frame: 1, .. })));
        assert!(matches!(order(vec![0.0, 0.0, -1.01], &[0], &[0]), Err(AudioError::TooLoud { frame: 2, .. })));
        assert!(matches!(order(vec![0.5], &[], &[0]), Err(AudioError::NoChannels { side: "output" })));
        assert!(matches!(order(vec![0.5], &[0], &[]), Err(AudioError::NoChannels { side: "input" })));
        let twice = order(vec![0.5], &[0], &[1, 0, 1]);
        assert!(matches!(twice, Err(AudioError::ChannelTwice { side: "input", channel: 2 })), "{twice:?}");
    }

    #[test]
    fn the_peak_is_the_largest_magnitude_of_either_sign() {
        let order = order(vec![0.25, -0.75, 0.5, 0.0], &[1], &[0]).unwrap();
        assert_eq!(order.peak(), 0.75);
        assert_eq!(order.duration_s(), 4.0 / 48_000.0);
    }
}
