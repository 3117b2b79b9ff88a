//! A response as columns of level and phase, and how it is read between its points.
//!
//! Between two points level and unwrapped phase go straight over log f; beyond an end the end itself counts.

use super::ResponseError;
use crate::math::{RisingTable, unwrapped};
use num_complex::Complex64;

/// A response that was measured from near or from far; columns of one length.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Side {
    /// Rising frequencies.
    pub hz: Vec<f64>,
    /// dB.
    pub level_db: Vec<f64>,
    /// rad.
    pub phase_rad: Vec<f64>,
    /// Standard uncertainty of the level, dB.
    pub u_db: Vec<f64>,
}

/// A response at one frequency.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// dB.
    pub level_db: f64,
    /// rad, unwrapped.
    pub phase_rad: f64,
    /// Standard uncertainty of the level, dB.
    pub u_db: f64,
}

impl Point {
    /// As a ratio.
    pub fn value(self) -> Complex64 {
        Complex64::from_polar(10f64.powf(self.level_db / 20.0), self.phase_rad)
    }
}

/// A side that can be read between its points.
pub struct SideReader {
    level_db: RisingTable,
    phase_rad: RisingTable,
    u_db: RisingTable,
}

impl Side {
    /// Ready to be read.
    ///
    /// # Errors
    /// [`ResponseError::BrokenCurve`] where frequencies do not rise or a column holds what is no number.
    pub fn reader(&self) -> Result<SideReader, ResponseError> {
        let logarithms: Vec<f64> = self.hz.iter().map(|hz| hz.ln()).collect();
        let table = |values: Vec<f64>| RisingTable::new(logarithms.clone(), values).ok_or(ResponseError::BrokenCurve);
        Ok(SideReader {
            level_db: table(self.level_db.clone())?,
            phase_rad: table(unwrapped(self.phase_rad.iter().copied()))?,
            u_db: table(self.u_db.clone())?,
        })
    }
}

impl SideReader {
    /// The response at a frequency.
    pub fn at(&self, hz: f64) -> Point {
        let [first, last] = self.level_db.range();
        let at = |table: &RisingTable| table.at(hz.ln().clamp(first, last)).unwrap_or(0.0);
        Point { level_db: at(&self.level_db), phase_rad: at(&self.phase_rad), u_db: at(&self.u_db) }
    }
}
