//! What was measured of a loudspeaker, at the frequencies that are compared.
//!
//! Points lie on 1000·2^(k/n) Hz. A level there is the mean of the curve around it, an impedance the curve's value; n points
//! an octave are enough, since what a design can't foretell (the error of every model) goes together over a quarter of
//! an octave anyway.

use crate::math::{RisingTable, unwrapped};
use crate::quantity::FrequencyGrid;
use num_complex::Complex64;

/// A measured curve of levels; columns of one length.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct MeasuredLevel {
    /// Rising frequencies.
    pub hz: Vec<f64>,
    /// dB re 20 µPa.
    pub level_db: Vec<f64>,
    /// Phase, rad; empty where it is not known.
    pub phase_rad: Vec<f64>,
    /// Standard uncertainty, dB; empty where it is not known.
    pub u_db: Vec<f64>,
    /// Whether 0 dB is 20 µPa at the design's voltage and distance, or the level says nothing.
    pub calibrated: bool,
    /// How far the sound travelled, by its time of flight; none where nothing tells when it started.
    pub travelled_m: Option<f64>,
}

/// A measured impedance; columns of one length.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct MeasuredOhm {
    /// Rising frequencies.
    pub hz: Vec<f64>,
    /// Ohm.
    pub ohm: Vec<Complex64>,
    /// Standard uncertainty that differs from point to point, ohm; empty where it is not known.
    pub u_ohm: Vec<f64>,
}

/// What there is to go by.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// Frequencies of everything below.
    pub(super) hz: Vec<f64>,
    /// Places in `hz` of the levels, and those.
    pub(super) level: Vec<(usize, f64)>,
    pub(super) u_level_db: Vec<f64>,
    /// Phases at the same places, rad; empty: none.
    pub(super) phase_rad: Vec<f64>,
    /// Places in `hz` of the impedances, and those.
    pub(super) ohm: Vec<(usize, Complex64)>,
    pub(super) u_ohm_ratio: Vec<f64>,
    pub(super) calibrated: bool,
    pub(super) travelled_m: Option<f64>,
}

/// Points an octave.
const POINTS: u32 = 12;
/// A level is the mean over so many octaves to both sides.
const REACH_OCTAVES: f64 = 1.0 / 24.0;

impl Evidence {
    /// Of what was measured within these bands; `None` where no point is left.
    pub fn new(level: Option<(&MeasuredLevel, [f64; 2])>, ohm: Option<(&MeasuredOhm, [f64; 2])>) -> Option<Self> {
        let ends = |hz: &[f64], band_hz: [f64; 2]| {
            [hz.first().copied().unwrap_or(f64::MAX).max(band_hz[0]), hz.last().copied().unwrap_or(0.0).min(band_hz[1])]
        };
        let of_level = level.map(|(level, band_hz)| ends(&level.hz, band_hz));
        let of_ohm = ohm.map(|(ohm, band_hz)| ends(&ohm.hz, band_hz));
        let both = of_level.iter().chain(&of_ohm);
        let [from, to] = both.fold([f64::MAX, 0.0], |[from, to], ends| [ends[0].min(from), ends[1].max(to)]);
        let grid = FrequencyGrid::of_octave_fractions([from, to], POINTS).ok()?;
        let mut evidence = Self {
            hz: grid.hz().to_vec(),
            level: Vec::new(),
            u_level_db: Vec::new(),
            phase_rad: Vec::new(),
            ohm: Vec::new(),
            u_ohm_ratio: Vec::new(),
            calibrated: level.is_some_and(|(level, _)| level.calibrated),
            travelled_m: level.and_then(|(level, _)| level.travelled_m),
        };
        if let (Some((level, _)), Some(ends)) = (level, of_level) {
            evidence.take_level(level, ends)?;
        }
        if let (Some((ohm, _)), Some(ends)) = (ohm, of_ohm) {
            evidence.take_ohm(ohm, ends)?;
        }
        (evidence.level.len() + evidence.ohm.len() > FEWEST).then_some(evidence)
    }

    fn take_level(&mut self, level: &MeasuredLevel, [from, to]: [f64; 2]) -> Option<()> {
        let logs: Vec<f64> = level.hz.iter().map(|hz| hz.log2()).collect();
        let table = RisingTable::new(logs.clone(), level.level_db.clone())?;
        let doubts = RisingTable::new(logs.clone(), level.u_db.clone());
        let phases: Vec<f64> = unwrapped(level.phase_rad.iter().copied());
        let phases = RisingTable::new(logs.clone(), phases);
        for (place, hz) in self.hz.iter().enumerate().filter(|(_, hz)| (from..=to).contains(*hz)) {
            let at = hz.log2();
            let around = logs.partition_point(|log| *log < at - REACH_OCTAVES)
                ..logs.partition_point(|log| *log <= at + REACH_OCTAVES);
            let count = around.len() as f64;
            let mean = level.level_db[around.clone()].iter().sum::<f64>() / count;
            // Where the curve is steep, or ends in a notch, a hair of frequency is many decibels.
            let steep = level.level_db[around].iter().map(|db| (db - mean).powi(2)).sum::<f64>() / count.max(1.0);
            let Some(value) = (if count > 0.0 { Some(mean) } else { table.at(at) }) else { continue };
            self.level.push((place, value));
            let u_db: f64 = doubts.as_ref().and_then(|doubts| doubts.at(at)).unwrap_or(0.0);
            self.u_level_db.push((u_db * u_db + if count > 0.0 { steep } else { 0.0 }).sqrt());
            self.phase_rad.extend(phases.as_ref().and_then(|phases| phases.at(at)));
        }
        if self.phase_rad.len() != self.level.len() {
            self.phase_rad.clear();
        }
        Some(())
    }

    fn take_ohm(&mut self, ohm: &MeasuredOhm, [from, to]: [f64; 2]) -> Option<()> {
        let logs: Vec<f64> = ohm.hz.iter().map(|hz| hz.log2()).collect();
        let column = |of: &dyn Fn(&Complex64) -> f64| RisingTable::new(logs.clone(), ohm.ohm.iter().map(of).collect());
        let (real, imaginary) = (column(&|z| z.re)?, column(&|z| z.im)?);
        let doubts = RisingTable::new(logs.clone(), ohm.u_ohm.clone());
        for (place, hz) in self.hz.iter().enumerate().filter(|(_, hz)| (from..=to).contains(*hz)) {
            let at = hz.log2();
            let (Some(re), Some(im)) = (real.at(at), imaginary.at(at)) else { continue };
            let z = Complex64::new(re, im);
            if z.norm() > 0.0 {
                self.ohm.push((place, z));
                self.u_ohm_ratio.push(doubts.as_ref().and_then(|doubts| doubts.at(at)).unwrap_or(0.0) / z.norm());
            }
        }
        Some(())
    }
}

/// Fewer points than this explain nothing.
const FEWEST: usize = 12;
