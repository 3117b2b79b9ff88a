//! Frequencies at which a curve is given.

use super::QuantityError;

/// Frequencies in hertz: at least one, finite, positive, strictly rising.
#[derive(Debug, Clone, PartialEq)]
pub struct FrequencyGrid(Vec<f64>);

/// The grid of result curves has this many points an octave unless another number is asked for.
pub const POINTS_PER_OCTAVE: u32 = 48;

/// Twenty octaves of a thousand points, both ends included; nobody hears or reads more.
const MOST_POINTS: usize = 20_001;

impl FrequencyGrid {
    /// A grid from frequencies.
    ///
    /// # Errors
    /// [`QuantityError::NotRising`] at the first point that breaks the rule, or `Empty`.
    pub fn new(frequencies_hz: Vec<f64>) -> Result<Self, QuantityError> {
        let mut before_hz = 0.0;
        for (point, &hz) in frequencies_hz.iter().enumerate() {
            if !(hz.is_finite() && hz > before_hz) {
                return Err(QuantityError::NotRising { point, hz, before_hz });
            }
            before_hz = hz;
        }
        if frequencies_hz.is_empty() { Err(QuantityError::Empty) } else { Ok(Self(frequencies_hz)) }
    }

    /// 1000·2^(k/n) Hz for all whole k from the lowest to the highest frequency, both included.
    ///
    /// # Errors
    /// [`QuantityError::Empty`] when no point falls between them, `TooManyPoints` beyond twenty octaves of a thousand.
    pub fn of_octave_fractions(band_hz: [f64; 2], points_per_octave: u32) -> Result<Self, QuantityError> {
        let per_octave = f64::from(points_per_octave.max(1));
        // A thousandth of a step of slack: 20 kHz written as 19999.999 still counts as reached.
        let slack = 1e-3;
        let index = |hz: f64| per_octave * (hz / 1000.0).log2();
        let usable = band_hz[0] > 0.0 && band_hz[1] >= band_hz[0] && band_hz[1].is_finite();
        if !usable {
            return Err(QuantityError::Empty);
        }
        let first = (index(band_hz[0]) - slack).ceil() as i64;
        let last = (index(band_hz[1]) + slack).floor() as i64;
        let points = usize::try_from(last - first + 1).unwrap_or(0);
        if points > MOST_POINTS {
            return Err(QuantityError::TooManyPoints { points, most: MOST_POINTS });
        }
        Self::new((first..=last).map(|k| 1000.0 * (k as f64 / per_octave).exp2()).collect())
    }

    /// The frequencies, in hertz.
    pub fn hz(&self) -> &[f64] {
        &self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_grid_of_results_holds_1_khz_and_both_ends() {
        let grid = FrequencyGrid::of_octave_fractions([250.0, 2000.0], 48).unwrap();
        assert_eq!(grid.hz().len(), 3 * 48 + 1);
        assert_eq!(grid.hz()[0], 250.0);
        assert_eq!(grid.hz()[96], 1000.0);
        assert_eq!(grid.hz()[144], 2000.0);
    }

    #[test]
    fn a_grid_that_does_not_rise_says_where() {
        let error = FrequencyGrid::new(vec![1.0, 2.0, 2.0]).unwrap_err();
        assert_eq!(error, QuantityError::NotRising { point: 2, hz: 2.0, before_hz: 2.0 });
        assert_eq!(FrequencyGrid::of_octave_fractions([5.0, 4.0], 48), Err(QuantityError::Empty));
        assert!(FrequencyGrid::new(vec![f64::NAN]).is_err());
        // 1 Hz to 2²⁰ Hz holds a thousand points an octave, and both ends; the double's whole range does not.
        assert_eq!(
            FrequencyGrid::of_octave_fractions([1000.0, 1000.0 * 2f64.powi(20)], 1000).unwrap().hz().len(),
            20_001
        );
        let error = FrequencyGrid::of_octave_fractions([1e-300, 1e300], 1000).unwrap_err();
        assert!(matches!(error, QuantityError::TooManyPoints { points: 1_900_000.., most: 20_001 }), "{error}");
    }
}
