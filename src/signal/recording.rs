//! What came back: samples of one or more channels.
//!
//! No equation beyond the step of the number format: an integer format of b bits has steps of 2^(1−b), and rounding
//! to them adds a noise power of step²/12 (B. Widrow, I. Kollár, "Quantization Noise", Cambridge 2008, chapter 1).

use crate::quantity::SampleRate;

/// Samples of one or more channels, full scale ±1, and how finely they were stored.
#[derive(Debug, Clone, PartialEq)]
pub struct Recording {
    /// Frames a second.
    pub rate: SampleRate,
    /// One list of samples for each channel, all of one length.
    pub channels: Vec<Vec<f64>>,
    /// How the samples were stored.
    pub format: SampleFormat,
}

/// How samples are stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SampleFormat {
    /// 16-bit integers.
    Pcm16,
    /// 24-bit integers.
    Pcm24,
    /// 32-bit integers.
    Pcm32,
    /// 32-bit floating point.
    Float32,
    /// 64-bit floating point.
    Float64,
}

impl Recording {
    /// Frames in each channel.
    pub fn frames(&self) -> usize {
        self.channels.first().map_or(0, Vec::len)
    }

    /// How long it lasts.
    pub fn duration_s(&self) -> f64 {
        self.rate.seconds(self.frames())
    }
}

impl SampleFormat {
    /// Bits of one sample.
    pub fn bits(self) -> u16 {
        match self {
            Self::Pcm16 => 16,
            Self::Pcm24 => 24,
            Self::Pcm32 | Self::Float32 => 32,
            Self::Float64 => 64,
        }
    }

    /// Rounding noise of one sample whose size is about `sample_rms`, as a power.
    ///
    /// An integer format has the same everywhere; a float carries 24 or 53 bits of each sample's own size.
    pub fn rounding_power(self, sample_rms: f64) -> f64 {
        let step = match self {
            Self::Pcm16 => 2f64.powi(-15),
            Self::Pcm24 => 2f64.powi(-23),
            Self::Pcm32 => 2f64.powi(-31),
            Self::Float32 => 2f64.powi(-23) * sample_rms,
            Self::Float64 => 2f64.powi(-52) * sample_rms,
        };
        step * step / 12.0
    }
}
