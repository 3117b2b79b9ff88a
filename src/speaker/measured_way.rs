//! A driver known by its curves alone.
//!
//! Level at 2.83 V and 1 m with phase, used as it stands; its impedance loads the network. Between points level, phase and
//! logarithm of the magnitude are straight lines over the logarithm of frequency; beyond the ends of the response nothing is
//! known, beyond those of the impedance the last value is kept.

use crate::math::{RisingTable, unwrapped};
use num_complex::Complex64;

/// A driver known by its curves.
#[derive(Debug, Clone, PartialEq)]
pub struct MeasuredWay {
    level_db: RisingTable,
    phase_rad: RisingTable,
    impedance: Option<[RisingTable; 2]>,
    /// How much louder it is than its curve, ratio.
    pub gain_ratio: f64,
    /// Its impedance over that of its curve, ratio.
    pub impedance_ratio: f64,
}

/// Columns of one length: frequencies in rising order, values, phase in rad.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Columns<'a> {
    /// Hz.
    pub hz: &'a [f64],
    /// dB re 20 µPa at 2.83 V and 1 m, or ohm.
    pub values: &'a [f64],
    /// Phase.
    pub phase_rad: &'a [f64],
}

impl MeasuredWay {
    /// From its curves; `None` where a column holds what is no number or an impedance is not positive.
    pub fn new(response: Columns<'_>, impedance: Option<Columns<'_>>) -> Option<Self> {
        let logs = |columns: &Columns<'_>| columns.hz.iter().map(|hz| hz.ln()).collect::<Vec<f64>>();
        let level_db = RisingTable::new(logs(&response), response.values.to_vec())?;
        let phase_rad = RisingTable::new(logs(&response), unwrapped(response.phase_rad.iter().copied()))?;
        let impedance = match impedance {
            None => None,
            Some(columns) => {
                let magnitude = RisingTable::new(logs(&columns), columns.values.iter().map(|ohm| ohm.ln()).collect())?;
                Some([magnitude, RisingTable::new(logs(&columns), columns.phase_rad.to_vec())?])
            }
        };
        Some(Self { level_db, phase_rad, impedance, gain_ratio: 1.0, impedance_ratio: 1.0 })
    }

    /// Pressure at 1 m for one volt at its terminals, Pa rms; none beyond the ends of its curve.
    pub fn pressure_pa(&self, hz: f64) -> Option<Complex64> {
        let (level_db, phase_rad) = (self.level_db.at(hz.ln())?, self.phase_rad.at(hz.ln())?);
        let pa = crate::quantity::Air::REFERENCE_PA * 10f64.powf(level_db / 20.0) / crate::driver::DATA_SHEET_V;
        Some(self.gain_ratio * Complex64::from_polar(pa, phase_rad))
    }

    /// The frequencies in which it is known.
    pub fn range_hz(&self) -> [f64; 2] {
        self.level_db.range().map(f64::exp)
    }

    /// Admittance; nothing where no impedance is known.
    pub fn admittance_s(&self, hz: f64) -> Complex64 {
        let Some([magnitude, phase]) = &self.impedance else { return Complex64::ZERO };
        let [from, to] = magnitude.range();
        let at = hz.ln().clamp(from, to);
        match (magnitude.at(at), phase.at(at)) {
            (Some(ln_ohm), Some(rad)) => Complex64::from_polar((-ln_ohm).exp() / self.impedance_ratio, -rad),
            _ => Complex64::ZERO,
        }
    }

    /// Whether its impedance is known.
    pub fn has_impedance(&self) -> bool {
        self.impedance.is_some()
    }
}
