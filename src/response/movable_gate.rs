//! A recording that stays open, to be looked at through one gate after another.
//!
//! No equation of its own: what [`super::analyse`] does up to the arrival is done once; gate, transform and calibration
//! (`gate`, `frequency`, `curve`) are those of [`super::analyse`] too, so that a gate moved here and one given there show the
//! same numbers to the last digit. What tells the doubt of a curve takes much longer and is left to [`super::analyse`].

use super::analysis::{Listened, Settings, listen};
use super::curve::{calibrated, loopback_gain};
use super::frequency::{FrequencyResponse, GatedResponse};
use super::gate::SHORTEST_S;
use super::view::{View, seen_through};
use super::{Gate, ImpulseResponse, Reflection, ResponseError};
use crate::signal::{Excitation, Recording};
use num_complex::Complex64;

/// A recording up to its impulse response, ready for any gate.
pub struct MovableGate {
    settings: Settings,
    listened: Listened,
    view: View,
    loopback_gain: f64,
}

/// What a gate shows.
#[derive(Debug, Clone, PartialEq)]
pub struct GatedCurve {
    /// The gate.
    pub gate: Gate,
    /// Where the curve may be believed.
    pub valid_hz: [f64; 2],
    /// Its frequencies.
    pub hz: Vec<f64>,
    /// One value for each: level reference and microphone applied, nothing smoothed.
    pub values: Vec<Complex64>,
}

impl MovableGate {
    /// The recording, and the gate that the settings ask for.
    ///
    /// # Errors
    /// [`ResponseError`] as [`super::analyse`].
    pub fn open(recording: &Recording, excitation: &Excitation, settings: Settings) -> Result<Self, ResponseError> {
        let listened = listen(recording, excitation, &settings)?;
        let view = View::of(&listened.heard, &settings, &listened.pattern)?;
        let loopback_gain = loopback_gain(&listened.heard, &settings);
        Ok(Self { settings, listened, view, loopback_gain })
    }

    /// The length of the gate that the settings asked for, s.
    pub fn proposed_s(&self) -> f64 {
        self.view.gate.after_frames / self.listened.pattern.rate_hz
    }

    /// The shortest and the longest gate there can be, s.
    pub fn range_s(&self) -> [f64; 2] {
        [SHORTEST_S, self.view.longest_s]
    }

    /// The first reflection, where one can be seen.
    pub fn reflection(&self) -> Option<Reflection> {
        self.view.energy_time.reflection
    }

    /// How it was read.
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// Frames a second.
    pub fn rate_hz(&self) -> f64 {
        self.listened.pattern.rate_hz
    }

    /// The impulse response from so long before the arrival on, as far as a gate may reach and at most so many frames.
    pub fn impulse(&self, before_s: f64, most_frames: usize) -> ImpulseResponse {
        let (rate_hz, arrived) = (self.rate_hz(), self.view.arrived.frames);
        let first = (arrived - before_s * rate_hz).floor() as i64;
        let frames = ((before_s + self.view.longest_s) * rate_hz) as usize;
        let samples = self.listened.heard.impulse.cut(first, frames.min(most_frames));
        ImpulseResponse { samples, arrival_index: arrived - first as f64 }
    }

    /// What a gate of this length after the arrival shows.
    ///
    /// # Errors
    /// [`ResponseError::Gate`] outside of [`Self::range_s`], `NoValidBand` where it leaves nothing.
    pub fn curve(&self, after_s: f64) -> Result<GatedCurve, ResponseError> {
        let Listened { pattern, heard, .. } = &self.listened;
        let gate = Gate::of(after_s, self.view.longest_s, pattern)?;
        let (valid_hz, grid) = seen_through(gate, &self.settings, pattern)?;
        let gated = GatedResponse::new(&heard.impulse, self.view.arrived.frames, gate, &heard.deconvolution);
        let values: Vec<Complex64> = grid.hz().iter().map(|&hz| gated.at(hz)).collect();
        let without_doubt = FrequencyResponse { u_ratio: vec![0.0; values.len()], grid, values };
        let FrequencyResponse { grid, values, .. } = calibrated(without_doubt, &self.settings, self.loopback_gain);
        Ok(GatedCurve { gate, valid_hz, hz: grid.hz().to_vec(), values })
    }
}

impl GatedCurve {
    /// 20·log₁₀|H|, one for each point.
    pub fn level_db(&self) -> Vec<f64> {
        self.values.iter().map(|value| 20.0 * value.norm().log10()).collect()
    }
}
