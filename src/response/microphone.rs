//! What the microphone adds, and what its levels mean in pascal.
//!
//! ```text
//! L_p = L_reply − S + 94 dB
//! ```
//!
//! L_reply: level of the reply, dBFS (a full-scale sine has 0 dBFS); S: level it has at 94 dB re 20 µPa. A table gives
//! the microphone's own response, which is taken off. Between its points it is linear over log f; beyond its ends
//! nothing is known, and nothing is reported.
//! Source: IEC 61094-5 (secondary calibration) for the procedure (from memory); interpolation is common practice.

use crate::math::RisingTable;
use num_complex::Complex64;

/// A microphone's own response by frequency.
#[derive(Debug, Clone, PartialEq)]
pub struct MicrophoneTable {
    level_db: RisingTable,
    phase_rad: Option<RisingTable>,
}

impl MicrophoneTable {
    /// From rising frequencies, levels in dB and, where known, phases in radians; `None` where they make no table.
    pub fn new(frequencies_hz: &[f64], level_db: Vec<f64>, phase_rad: Option<Vec<f64>>) -> Option<Self> {
        if frequencies_hz.iter().any(|&hz| hz.is_nan() || hz <= 0.0) {
            return None;
        }
        let logarithms: Vec<f64> = frequencies_hz.iter().map(|hz| hz.ln()).collect();
        let phase_rad = match phase_rad {
            Some(phase_rad) => Some(RisingTable::new(logarithms.clone(), phase_rad)?),
            None => None,
        };
        Some(Self { level_db: RisingTable::new(logarithms, level_db)?, phase_rad })
    }

    /// Lowest and highest frequency it knows.
    pub fn range_hz(&self) -> [f64; 2] {
        self.level_db.range().map(f64::exp)
    }

    /// The microphone's own response at a frequency; `None` beyond its ends.
    pub fn at(&self, frequency_hz: f64) -> Option<Complex64> {
        // The ends themselves count, a rounding of ln and exp apart.
        let [first, last] = self.level_db.range();
        let place = frequency_hz.ln();
        let place = if (place - first).abs() < 1e-9 {
            first
        } else if (place - last).abs() < 1e-9 {
            last
        } else {
            place
        };
        let magnitude = 10f64.powf(self.level_db.at(place)? / 20.0);
        let phase_rad = match &self.phase_rad {
            Some(table) => table.at(place)?,
            None => 0.0,
        };
        Some(Complex64::from_polar(magnitude, phase_rad))
    }
}

/// What a level of 0 dB means.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LevelReference {
    /// Reply over drive, in sample values.
    ReplyOverDrive,
    /// Sound pressure that a sine of the excitation's level makes, dB re 20 µPa.
    Pressure {
        /// S.
        sensitivity_dbfs_at_94db: f64,
        /// Peak level of the excitation.
        excitation_dbfs: f64,
    },
    /// The same, brought to 2.83 V and 1 m.
    PressureAtOneMetre {
        /// S.
        sensitivity_dbfs_at_94db: f64,
        /// Peak level of the excitation.
        excitation_dbfs: f64,
        /// The rms voltage at the loudspeaker for a sine of that level.
        drive_v: f64,
        /// From loudspeaker to microphone.
        distance_m: f64,
    },
}

/// A calibrator's level, the one S is given for.
const CALIBRATOR_DB: f64 = 94.0;
/// 1 W into 8 Ω.
const REFERENCE_V: f64 = 2.83;

impl LevelReference {
    /// What is added to 20·log₁₀|reply/drive|.
    pub fn offset_db(self) -> f64 {
        match self {
            Self::ReplyOverDrive => 0.0,
            Self::Pressure { sensitivity_dbfs_at_94db, excitation_dbfs } => {
                excitation_dbfs - sensitivity_dbfs_at_94db + CALIBRATOR_DB
            }
            Self::PressureAtOneMetre { sensitivity_dbfs_at_94db, excitation_dbfs, drive_v, distance_m } => {
                excitation_dbfs - sensitivity_dbfs_at_94db
                    + CALIBRATOR_DB
                    + 20.0 * (REFERENCE_V / drive_v * distance_m).log10()
            }
        }
    }

    /// The name documents use.
    pub fn name(self) -> &'static str {
        match self {
            Self::ReplyOverDrive => "reply/drive",
            Self::Pressure { .. } => "dB re 20 uPa",
            Self::PressureAtOneMetre { .. } => "dB re 20 uPa at 2.83 V, 1 m",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_is_linear_in_db_over_log_frequency() {
        let table = MicrophoneTable::new(&[100.0, 1_000.0, 10_000.0], vec![0.0, 0.0, 4.0], None).unwrap();
        let middle = table.at(1_000.0 * 10f64.sqrt()).unwrap();
        assert!((20.0 * middle.norm().log10() - 2.0).abs() < 1e-9);
        assert!(table.at(100.0).is_some() && table.at(10_000.0).is_some());
        assert!(table.at(99.0).is_none() && table.at(10_001.0).is_none());
        assert!(MicrophoneTable::new(&[0.0, 1.0], vec![0.0, 0.0], None).is_none());
    }

    /// A reply of −31.2 dBFS on a microphone of −31.2 dBFS at 94 dB is 94 dB. At half a metre and 1 V, 2.83 V and 1 m
    /// give 20·log(2.83) − 20·log(2) more: 9.036 − 6.021 dB.
    #[test]
    fn levels_are_counted_from_the_calibrator() {
        let pressure = LevelReference::Pressure { sensitivity_dbfs_at_94db: -31.2, excitation_dbfs: -20.0 };
        // The reply is 11.2 dB below the drive of −20 dBFS.
        assert!((pressure.offset_db() - 11.2 - 94.0).abs() < 1e-9);
        let there = LevelReference::PressureAtOneMetre {
            sensitivity_dbfs_at_94db: -31.2,
            excitation_dbfs: -20.0,
            drive_v: 1.0,
            distance_m: 0.5,
        };
        assert!((there.offset_db() - pressure.offset_db() - 3.0151).abs() < 1e-4);
    }
}
