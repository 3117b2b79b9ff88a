//! What a sound card is asked to do: these samples out there, those channels kept.
//!
//! No equation: a list of wishes that has been checked.

use super::AudioError;
use crate::quantity::SampleRate;
use std::borrow::Cow;
use std::ops::Range;

/// Samples to play, where to play them, and what to keep of the recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Order {
    rate: SampleRate,
    play: Vec<f64>,
    channels: Channels,
    marks: Option<MarksApart>,
}

/// Which channels of the card take part; counted from 0.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Channels {
    /// The same signal goes out on each of these.
    pub outputs: Vec<usize>,
    /// These inputs are kept, in this order.
    pub inputs: Vec<usize>,
}

/// Time marks that sound from one output of their own, and from no other.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MarksApart {
    /// The output, from 0; it may be one of the others too.
    pub output: usize,
    /// Where they lie among the samples.
    pub spans: Vec<Range<usize>>,
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
        Ok(Self { rate, play, channels, marks: None })
    }

    /// The same, but what lies in the marks' spans goes to their output and nowhere else, and all the rest as before.
    #[must_use]
    pub fn with_marks_apart(self, marks: MarksApart) -> Self {
        Self { marks: Some(marks), ..self }
    }

    /// Frames a second.
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// The samples to play, full scale ±1.
    pub fn play(&self) -> &[f64] {
        &self.play
    }

    /// What one output plays, from 0: the samples, those within or without the marks alone, or nothing at all.
    pub fn signal_on(&self, output: usize) -> Cow<'_, [f64]> {
        let has_rest = self.channels.outputs.contains(&output);
        let has_marks = self.marks.as_ref().map_or(has_rest, |marks| marks.output == output);
        if has_rest == has_marks {
            return Cow::Borrowed(if has_rest { &self.play } else { &[] });
        }
        let sounds = |frame: usize| if self.is_mark(frame) { has_marks } else { has_rest };
        self.play.iter().enumerate().map(|(frame, &sample)| if sounds(frame) { sample } else { 0.0 }).collect()
    }

    /// Whether a frame of the samples belongs to marks that have an output of their own.
    pub fn is_mark(&self, frame: usize) -> bool {
        self.marks.as_ref().is_some_and(|marks| marks.spans.iter().any(|span| span.contains(&frame)))
    }

    /// The marks that have an output of their own.
    pub fn marks_apart(&self) -> Option<&MarksApart> {
        self.marks.as_ref()
    }

    /// All channels that a card must have: those of the order, and the marks' output.
    pub fn needed_channels(&self) -> Channels {
        let mut needed = self.channels.clone();
        needed.outputs.extend(
            self.marks.iter().map(|marks| marks.output).filter(|output| !self.channels.outputs.contains(output)),
        );
        needed
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
    fn marks_apart_sound_from_their_output_and_all_else_from_the_others() {
        let apart = |outputs: &[usize], output| {
            let marks = MarksApart { output, spans: vec![1..3, 5..6] };
            order(vec![0.1, 0.2, 0.3, 0.4, 0.5, 0.6], outputs, &[0]).unwrap().with_marks_apart(marks)
        };
        let (rest, marks) = ([0.1, 0.0, 0.0, 0.4, 0.5, 0.0], [0.0, 0.2, 0.3, 0.0, 0.0, 0.6]);
        let elsewhere = apart(&[1, 2], 0);
        assert_eq!([0, 1, 2].map(|output| elsewhere.signal_on(output).into_owned()), [marks, rest, rest]);
        assert!(elsewhere.signal_on(3).is_empty());
        assert_eq!(elsewhere.needed_channels().outputs, [1, 2, 0]);
        let among = apart(&[0, 1], 0);
        assert_eq!(among.signal_on(0), among.play());
        assert_eq!((among.signal_on(1).as_ref(), among.needed_channels().outputs), (&rest[..], vec![0, 1]));
    }

    #[test]
    fn the_peak_is_the_largest_magnitude_of_either_sign() {
        let order = order(vec![0.25, -0.75, 0.5, 0.0], &[1], &[0]).unwrap();
        assert_eq!(order.peak(), 0.75);
        assert_eq!(order.duration_s(), 4.0 / 48_000.0);
    }
}
