//! Samples as devices store them.
//!
//! ```text
//! integer of b bits = round(x·2^(b−1)), held within its range       x = integer·2^(1−b)
//! ```
//!
//! x: sample, full scale ±1. The same scaling as in files (`files`), so that +1 is one step above the largest integer.

/// A sample as a device stores it.
pub(super) trait Stored: Copy {
    /// The nearest to `unit`, full scale ±1.
    fn from_unit(unit: f64) -> Self;
    /// Its value, full scale ±1.
    fn to_unit(self) -> f32;
}

fn integer(unit: f64, bits: u32) -> f64 {
    let full = f64::from(1u32 << (bits - 1));
    (unit * full).round().clamp(-full, full - 1.0)
}

fn unit(integer: i32, bits: u32) -> f32 {
    (f64::from(integer) / f64::from(1u32 << (bits - 1))) as f32
}

impl Stored for f32 {
    fn from_unit(unit: f64) -> Self {
        unit as f32
    }
    fn to_unit(self) -> f32 {
        self
    }
}

impl Stored for i32 {
    fn from_unit(unit: f64) -> Self {
        integer(unit, 32) as i32
    }
    fn to_unit(self) -> f32 {
        unit(self, 32)
    }
}

impl Stored for cpal::I24 {
    fn from_unit(unit: f64) -> Self {
        // Held within the range one line above, so that nothing is ever lost here.
        Self::new(integer(unit, 24) as i32).unwrap_or(Self::new_unchecked(0))
    }
    fn to_unit(self) -> f32 {
        unit(self.inner(), 24)
    }
}

impl Stored for i16 {
    fn from_unit(unit: f64) -> Self {
        integer(unit, 16) as i16
    }
    fn to_unit(self) -> f32 {
        unit(i32::from(self), 16)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn there_and_back<T: Stored>(value: f64) -> f64 {
        f64::from(T::from_unit(value).to_unit())
    }

    #[test]
    fn a_sample_survives_each_format_within_half_a_step() {
        for at in -1_000..1_000 {
            let value = f64::from(at) / 1_000.3;
            // Half a step of each format; a float has 24 bits of its own size, which also limits 32-bit integers here.
            assert!((there_and_back::<f32>(value) - value).abs() <= value.abs() * 2f64.powi(-24));
            assert!((there_and_back::<i32>(value) - value).abs() <= value.abs() * 2f64.powi(-24) + 2f64.powi(-32));
            assert!((there_and_back::<cpal::I24>(value) - value).abs() <= 2f64.powi(-24));
            assert!((there_and_back::<i16>(value) - value).abs() <= 2f64.powi(-16));
        }
    }

    #[test]
    fn full_scale_and_beyond_is_held_and_never_wraps() {
        assert_eq!(i16::from_unit(1.0), i16::MAX);
        assert_eq!(i16::from_unit(-1.5), i16::MIN);
        assert_eq!(i32::from_unit(7.0), i32::MAX);
        assert_eq!(i32::from_unit(-1.0), i32::MIN);
        assert_eq!(cpal::I24::from_unit(2.0).inner(), 8_388_607);
        assert_eq!(cpal::I24::from_unit(-2.0).inner(), -8_388_608);
        assert_eq!(i16::from_unit(0.5), 16_384);
        assert_eq!(16_384i16.to_unit(), 0.5);
    }
}
