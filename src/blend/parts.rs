//! What satellite and subwoofer each do at the seats, and what they do together with a setting.
//!
//! ```text
//! T = H_hp·S·e^{−jω·max(τ,0)} + P·G·H_lp·W·e^{−jω·max(−τ,0)}
//! ```
//!
//! S, W: responses of satellite and subwoofer at a seat, of one time reference. H: `crossover.rs`. τ: by how much the
//! satellite is delayed, s; less than zero: the subwoofer. P: ±1; G: gain of the subwoofer. Derivation: pressures add.

use super::crossover::{Passes, Shape};
use crate::math::mean_around;
use crate::quantity::{amplitude_from_db, db_from_power};
use crate::response::OctaveFraction;
use num_complex::Complex64;
use std::f64::consts::TAU;

/// What both do at all seats, on one grid.
#[derive(Debug, Clone, PartialEq)]
pub struct Parts {
    /// Rising frequencies, the same for all.
    pub hz: Vec<f64>,
    /// The seats, at least one.
    pub seats: Vec<PartsAtSeat>,
}

/// What both do at a seat; columns as long as the grid.
#[derive(Debug, Clone, PartialEq)]
pub struct PartsAtSeat {
    /// What the person calls it.
    pub name: String,
    /// S.
    pub satellite: Vec<Complex64>,
    /// W.
    pub subwoofer: Vec<Complex64>,
    /// Standard uncertainty of both over their magnitude; zero where it is not known.
    pub u_ratio: Vec<[f64; 2]>,
}

/// How a subwoofer is connected.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Polarity {
    /// 0°.
    Straight,
    /// 180°.
    Reversed,
}

/// The filters of a receiver.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Filters {
    /// The satellite's f_c.
    pub crossover_hz: f64,
    /// The satellite's filter, if any.
    pub high_pass: Option<Shape>,
    /// The subwoofer's f_c.
    pub low_pass_hz: f64,
    /// The subwoofer's filter, if any.
    pub low_pass: Option<Shape>,
}

/// Everything that a receiver lets a person set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Setting {
    /// The filters.
    pub filters: Filters,
    /// τ.
    pub delay_s: f64,
    /// The subwoofer's.
    pub polarity: Polarity,
    /// The subwoofer's gain.
    pub gain_db: f64,
}

impl Polarity {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Straight, Self::Reversed];

    /// P.
    pub fn sign(self) -> f64 {
        match self {
            Self::Straight => 1.0,
            Self::Reversed => -1.0,
        }
    }
}

impl Filters {
    /// H_hp and H_lp at a frequency.
    pub fn at(&self, hz: f64) -> [Complex64; 2] {
        let value = |shape: Option<Shape>, passes, corner_hz: f64| {
            shape.map_or(Complex64::ONE, |shape| shape.value(passes, hz / corner_hz))
        };
        [value(self.high_pass, Passes::High, self.crossover_hz), value(self.low_pass, Passes::Low, self.low_pass_hz)]
    }
}

impl Setting {
    /// What the setting makes of the satellite's and the subwoofer's sound at a frequency.
    pub fn at(&self, hz: f64) -> [Complex64; 2] {
        let [high, low] = self.filters.at(hz);
        let late = |delay_s: f64| Complex64::cis(-TAU * hz * delay_s.max(0.0));
        let gain = self.polarity.sign() * amplitude_from_db(self.gain_db);
        [high * late(self.delay_s), gain * low * late(-self.delay_s)]
    }
}

impl Parts {
    /// Satellite and subwoofer at a seat as a setting lets them play.
    ///
    /// # Panics
    /// If there is no such seat.
    pub fn played(&self, seat: usize, setting: &Setting) -> [Vec<Complex64>; 2] {
        let seat = &self.seats[seat];
        let both = self.hz.iter().zip(seat.satellite.iter().zip(&seat.subwoofer));
        both.map(|(&hz, (s, w))| {
            let [satellite, subwoofer] = setting.at(hz);
            (satellite * s, subwoofer * w)
        })
        .unzip()
        .into()
    }

    /// T at a seat.
    ///
    /// # Panics
    /// If there is no such seat.
    pub fn sum(&self, seat: usize, setting: &Setting) -> Vec<Complex64> {
        let [satellite, subwoofer] = self.played(seat, setting);
        satellite.iter().zip(&subwoofer).map(|(s, w)| s + w).collect()
    }

    /// Standard uncertainty of the sum's magnitude, over that magnitude.
    ///
    /// # Panics
    /// If there is no such seat.
    pub fn u_ratio(&self, seat: usize, setting: &Setting) -> Vec<f64> {
        let [satellite, subwoofer] = self.played(seat, setting);
        let all = satellite.iter().zip(&subwoofer).zip(&self.seats[seat].u_ratio);
        all.map(|((s, w), [u_s, u_w])| (s.norm() * u_s).hypot(w.norm() * u_w) / (s + w).norm()).collect()
    }

    /// Over how many points to each side a smoothing goes.
    pub fn reach(&self, smoothing: Option<OctaveFraction>) -> usize {
        let step_octaves = self.hz.windows(2).next().map_or(1.0, |pair| (pair[1] / pair[0]).log2());
        smoothing.map_or(0, |fraction| (0.5 * fraction.octaves() / step_octaves).round() as usize)
    }

    /// Levels of a response on the grid, dB, over their mean power where they are smoothed.
    pub fn levels_db(&self, values: &[Complex64], smoothing: Option<OctaveFraction>) -> Vec<f64> {
        let power: Vec<f64> = values.iter().map(Complex64::norm_sqr).collect();
        let reach = self.reach(smoothing);
        // Sums over all of the band would cost the faintest values their digits.
        let power = if reach == 0 { power } else { mean_around(&power, |_| reach) };
        power.into_iter().map(db_from_power).collect()
    }

    /// Which of the grid's points lie in a band, both ends included.
    pub fn within(&self, [from_hz, to_hz]: [f64; 2]) -> std::ops::Range<usize> {
        // 1e-9: rounding of a grid's point that is an end of the band.
        let from = self.hz.partition_point(|hz| *hz < from_hz * (1.0 - 1e-9));
        from..self.hz.partition_point(|hz| *hz <= to_hz * (1.0 + 1e-9)).max(from)
    }
}

/// From an octave below to an octave above a crossover.
pub fn overlap_hz(crossover_hz: f64) -> [f64; 2] {
    [crossover_hz / 2.0, crossover_hz * 2.0]
}
