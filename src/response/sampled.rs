//! A curve as columns of level and phase, and how it is read between its points.
//!
//! Between two points level and unwrapped phase go straight over log f.

use crate::math::{RisingTable, unwrapped};
use num_complex::Complex64;

/// A curve; columns of one length.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Sampled {
    /// Rising frequencies.
    pub hz: Vec<f64>,
    /// dB.
    pub level_db: Vec<f64>,
    /// Phase, rad; empty where it is not known.
    pub phase_rad: Vec<f64>,
    /// Standard uncertainty of the level, dB; empty where it is not known.
    pub u_db: Vec<f64>,
}

/// A curve at one frequency.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// dB.
    pub level_db: f64,
    /// rad, unwrapped; zero where it is not known.
    pub phase_rad: f64,
    /// Standard uncertainty of the level, dB; zero where it is not known.
    pub u_db: f64,
}

impl Point {
    /// As a ratio.
    pub fn value(self) -> Complex64 {
        Complex64::from_polar(10f64.powf(self.level_db / 20.0), self.phase_rad)
    }
}

/// A curve that can be read between its points.
pub struct Reader {
    level_db: RisingTable,
    phase_rad: Option<RisingTable>,
    u_db: Option<RisingTable>,
}

impl Sampled {
    /// Ready to be read; `None` where frequencies do not rise, columns do not fit each other, or one holds what is no number.
    pub fn reader(&self) -> Option<Reader> {
        let logarithms: Vec<f64> = self.hz.iter().map(|hz| hz.ln()).collect();
        let table = |column: Vec<f64>| RisingTable::new(logarithms.clone(), column);
        // Outside: whether it can be; inside: whether it is known.
        let known = |column: Vec<f64>| if column.is_empty() { Some(None) } else { table(column).map(Some) };
        Some(Reader {
            level_db: table(self.level_db.clone())?,
            phase_rad: known(unwrapped(self.phase_rad.iter().copied()))?,
            u_db: known(self.u_db.clone())?,
        })
    }
}

impl Reader {
    /// Whether the phase is known.
    pub fn has_phase(&self) -> bool {
        self.phase_rad.is_some()
    }

    /// Whether the uncertainty is.
    pub fn has_doubt(&self) -> bool {
        self.u_db.is_some()
    }

    /// The curve at a frequency; none beyond its ends.
    pub fn at(&self, hz: f64) -> Option<Point> {
        let or_zero = |table: &Option<RisingTable>| table.as_ref().map_or(Some(0.0), |table| table.at(hz.ln()));
        Some(Point {
            level_db: self.level_db.at(hz.ln())?,
            phase_rad: or_zero(&self.phase_rad)?,
            u_db: or_zero(&self.u_db)?,
        })
    }

    /// The same; beyond an end the end itself.
    pub fn nearest(&self, hz: f64) -> Point {
        let [first, last] = self.level_db.range();
        let at = |table: &RisingTable| table.at(hz.ln().clamp(first, last)).unwrap_or(0.0);
        let or_zero = |table: &Option<RisingTable>| table.as_ref().map_or(0.0, at);
        Point { level_db: at(&self.level_db), phase_rad: or_zero(&self.phase_rad), u_db: or_zero(&self.u_db) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A fall of 6 dB and a turn of 200° over an octave: half of both half an octave up, the turn not taken the other way round.
    #[test]
    fn a_curve_is_read_on_a_straight_line_over_log_f() {
        let phase_rad = [-100.0f64, 160.0].map(f64::to_radians).to_vec();
        let curve = Sampled { hz: vec![100.0, 200.0], level_db: vec![6.0, 0.0], phase_rad, u_db: vec![0.2, 0.1] };
        let reader = curve.reader().unwrap();
        let point = reader.at(20_000f64.sqrt()).unwrap();
        // 1e-12: a logarithm. 160° is −200°.
        assert!((point.level_db - 3.0).abs() < 1e-12 && (point.phase_rad.to_degrees() + 150.0).abs() < 1e-9);
        assert!((point.u_db - 0.15).abs() < 1e-12 && reader.has_phase() && reader.has_doubt());
        assert!(reader.at(250.0).is_none() && reader.nearest(250.0).level_db == 0.0);
        let bare = Sampled { phase_rad: Vec::new(), u_db: Vec::new(), ..curve.clone() }.reader().unwrap();
        assert!(!bare.has_phase() && !bare.has_doubt() && bare.nearest(100.0).u_db == 0.0);
        assert!(Sampled { u_db: vec![0.1], ..curve.clone() }.reader().is_none());
        assert!(Sampled { hz: vec![200.0, 100.0], ..curve }.reader().is_none());
    }
}
