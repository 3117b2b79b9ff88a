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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::Random;

    /// Mean square of what rounding takes, over samples of normal distribution and the size given.
    fn lost_power(sample_rms: f64, rounded: impl Fn(f64) -> f64) -> f64 {
        let mut random = Random::new(2);
        let count = 20_000;
        (0..count).map(|_| sample_rms * random.normal()).map(|x| (rounded(x) - x).powi(2)).sum::<f64>()
            / f64::from(count)
    }

    #[test]
    fn rounding_noise_is_what_rounding_takes_away() {
        for (format, bits) in [(SampleFormat::Pcm16, 16), (SampleFormat::Pcm24, 24), (SampleFormat::Pcm32, 32)] {
            let steps = 2f64.powi(bits - 1);
            let found = lost_power(0.1, |x| (x * steps).round() / steps) / format.rounding_power(0.1);
            // 4 %: five standard errors of 20,000 uniform squares, √(4/5/20,000).
            assert!((found - 1.0).abs() < 0.04, "{bits}: {found}");
            assert_eq!(i32::from(format.bits()), bits);
        }
        for sample_rms in [1e-3, 0.17, 0.25] {
            let found =
                lost_power(sample_rms, |x| f64::from(x as f32)) / SampleFormat::Float32.rounding_power(sample_rms);
            // The step of a float doubles with the sample's size: the mean of its square lies within 1/4 and 1 of that of
            // a step of 2⁻²³ of the sample.
            assert!((0.25..=1.0).contains(&found), "{sample_rms}: {found}");
        }
        // 29 bits less in the mantissa.
        let ratio = SampleFormat::Float32.rounding_power(0.1) / SampleFormat::Float64.rounding_power(0.1);
        assert_eq!(ratio, 2f64.powi(58));
    }
}
