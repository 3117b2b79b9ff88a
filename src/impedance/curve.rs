//! An impedance over frequency, with what is known of its doubt.
//!
//! ```text
//! u² = u_noise² + u_common²
//! ```
//!
//! u_noise differs from point to point by chance; u_common (sense resistor, gain ratio, leads) moves all points together,
//! so that no number of points makes it smaller. Both are standard uncertainties in ohm, of the real part and of the
//! imaginary part alike.

use super::ImpedanceError;
use crate::quantity::FrequencyGrid;
use num_complex::Complex64;

/// Complex impedance in ohm, one value for each frequency.
#[derive(Debug, Clone, PartialEq)]
pub struct Impedance {
    grid: FrequencyGrid,
    values: Vec<Complex64>,
    u_noise_ohm: Option<Vec<f64>>,
    u_common_ohm: Option<Vec<f64>>,
    resolution_hz: Option<f64>,
}

/// What stands where something else is needed, in words.
fn text_of(is_finite: bool, found: impl std::fmt::Display) -> String {
    if is_finite { found.to_string() } else { "no number".into() }
}

impl Impedance {
    /// An impedance whose doubt is not known.
    ///
    /// # Errors
    /// [`ImpedanceError::UnequalColumns`], `NotANumber`.
    pub fn new(grid: FrequencyGrid, values: Vec<Complex64>) -> Result<Self, ImpedanceError> {
        if values.len() != grid.hz().len() {
            return Err(ImpedanceError::UnequalColumns { points: grid.hz().len(), values: values.len(), doubts: 0 });
        }
        if let Some(at) = values.iter().position(|value| !value.is_finite()) {
            let (hz, found) = (grid.hz()[at], text_of(values[at].is_finite(), values[at]));
            return Err(ImpedanceError::NotANumber { hz, found, wanted: "impedance" });
        }
        Ok(Self { grid, values, u_noise_ohm: None, u_common_ohm: None, resolution_hz: None })
    }

    /// The same with what is known of its doubt. `resolution_hz`: noise at frequencies closer than this is the same noise.
    ///
    /// # Errors
    /// [`ImpedanceError::UnequalColumns`], `NotANumber` (a negative uncertainty is none).
    pub fn with_doubt(
        mut self,
        u_noise_ohm: Vec<f64>,
        u_common_ohm: Vec<f64>,
        resolution_hz: Option<f64>,
    ) -> Result<Self, ImpedanceError> {
        for doubts in [&u_noise_ohm, &u_common_ohm] {
            let (points, values) = (self.values.len(), self.values.len());
            if doubts.len() != points {
                return Err(ImpedanceError::UnequalColumns { points, values, doubts: doubts.len() });
            }
            if let Some(at) = doubts.iter().position(|u| !(u.is_finite() && *u >= 0.0)) {
                let (hz, found) = (self.grid.hz()[at], text_of(doubts[at].is_finite(), doubts[at]));
                return Err(ImpedanceError::NotANumber { hz, found, wanted: "uncertainty" });
            }
        }
        self.u_noise_ohm = Some(u_noise_ohm);
        self.u_common_ohm = Some(u_common_ohm);
        self.resolution_hz = resolution_hz.filter(|hz| hz.is_finite() && *hz > 0.0);
        Ok(self)
    }

    /// Frequencies in hertz, rising.
    pub fn hz(&self) -> &[f64] {
        self.grid.hz()
    }

    /// The values in ohm.
    pub fn values(&self) -> &[Complex64] {
        &self.values
    }

    /// What differs from point to point; absent where nothing tells it.
    pub fn u_noise_ohm(&self) -> Option<&[f64]> {
        self.u_noise_ohm.as_deref()
    }

    /// What moves all points together; absent where nothing tells it.
    pub fn u_common_ohm(&self) -> Option<&[f64]> {
        self.u_common_ohm.as_deref()
    }

    /// Both together; absent where nothing tells them.
    pub fn u_ohm(&self) -> Option<Vec<f64>> {
        let both = self.u_noise_ohm.as_ref()?.iter().zip(self.u_common_ohm.as_ref()?);
        Some(both.map(|(noise, common)| noise.hypot(*common)).collect())
    }

    /// Noise at frequencies closer than this is the same noise; absent: all points are independent.
    pub fn resolution_hz(&self) -> Option<f64> {
        self.resolution_hz
    }

    /// |Z| in ohm.
    pub fn magnitude_ohm(&self) -> Vec<f64> {
        self.values.iter().map(|value| value.norm()).collect()
    }

    /// The same with other values at the same points, each from its frequency and value; what is known of the doubt stays.
    ///
    /// # Errors
    /// [`ImpedanceError::NotANumber`].
    pub fn shifted(&self, value: impl Fn(f64, Complex64) -> Complex64) -> Result<Self, ImpedanceError> {
        let values = self.hz().iter().zip(&self.values).map(|(&hz, &z)| value(hz, z)).collect();
        let new = Self::new(self.grid.clone(), values)?;
        Ok(Self {
            u_noise_ohm: self.u_noise_ohm.clone(),
            u_common_ohm: self.u_common_ohm.clone(),
            resolution_hz: self.resolution_hz,
            ..new
        })
    }

    /// The points within a band.
    ///
    /// # Errors
    /// [`ImpedanceError::NothingInBand`].
    pub fn within(&self, band_hz: [f64; 2]) -> Result<Self, ImpedanceError> {
        let kept: Vec<usize> =
            (0..self.values.len()).filter(|&at| (band_hz[0]..=band_hz[1]).contains(&self.hz()[at])).collect();
        let pick = |column: &[f64]| kept.iter().map(|&at| column[at]).collect::<Vec<f64>>();
        let grid = FrequencyGrid::new(pick(self.hz()))
            .map_err(|_| ImpedanceError::NothingInBand { from_hz: band_hz[0], to_hz: band_hz[1] })?;
        Ok(Self {
            grid,
            values: kept.iter().map(|&at| self.values[at]).collect(),
            u_noise_ohm: self.u_noise_ohm.as_deref().map(pick),
            u_common_ohm: self.u_common_ohm.as_deref().map(pick),
            resolution_hz: self.resolution_hz,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grid() -> FrequencyGrid {
        FrequencyGrid::new(vec![20.0, 40.0, 80.0]).unwrap()
    }

    #[test]
    fn columns_must_be_as_long_as_the_grid_and_hold_numbers() {
        let one = Complex64::ONE;
        assert!(matches!(Impedance::new(grid(), vec![one; 2]), Err(ImpedanceError::UnequalColumns { values: 2, .. })));
        let not = vec![one, Complex64::new(f64::NAN, 0.0), one];
        assert!(matches!(Impedance::new(grid(), not), Err(ImpedanceError::NotANumber { hz: 40.0, .. })));
        let good = Impedance::new(grid(), vec![one; 3]).unwrap();
        assert!(good.clone().with_doubt(vec![0.1; 3], vec![0.1; 2], None).is_err());
        assert!(good.clone().with_doubt(vec![0.1, -0.1, 0.1], vec![0.1; 3], None).is_err());
        // 3, 4, 5.
        let doubted = good.with_doubt(vec![3.0; 3], vec![4.0; 3], Some(0.5)).unwrap();
        assert_eq!(doubted.u_ohm().unwrap(), [5.0; 3]);
        let upper = doubted.within([30.0, 100.0]).unwrap();
        assert_eq!((upper.hz(), upper.u_noise_ohm().unwrap().len()), (&[40.0, 80.0][..], 2));
        assert!(matches!(doubted.within([1.0, 2.0]), Err(ImpedanceError::NothingInBand { .. })));
    }
}
