//! A capture that stays open while its gate is moved.
//!
//! What the order means is looked up as for [`super::respond`]; nothing is written.

use super::respond::{LookedUp, RespondError, ResponseOrder};
use crate::response::{GatedCurve, MovableGate};
use std::path::PathBuf;

/// An open capture.
pub struct LiveGate {
    wav: PathBuf,
    gate: MovableGate,
}

impl LiveGate {
    /// The capture of an order; its gate is the one that is proposed.
    ///
    /// # Errors
    /// [`RespondError`] as [`super::respond`].
    pub fn open(order: &ResponseOrder) -> Result<Self, RespondError> {
        let looked = LookedUp::of(order)?;
        let recording = looked.recording(order)?.recording;
        let in_capture = |source| RespondError::Response { path: order.wav.clone(), source };
        let gate = MovableGate::open(&recording, &looked.known.excitation, looked.settings).map_err(in_capture)?;
        Ok(Self { wav: order.wav.clone(), gate })
    }

    /// What was heard.
    pub fn heard(&self) -> &MovableGate {
        &self.gate
    }

    /// What a gate of this length after the arrival shows: the numbers that [`super::respond`] has with the same gate and nothing
    /// smoothed.
    ///
    /// # Errors
    /// [`RespondError::Response`] for a gate that can't be.
    pub fn curve(&self, after_s: f64) -> Result<GatedCurve, RespondError> {
        self.gate.curve(after_s).map_err(|source| RespondError::Response { path: self.wav.clone(), source })
    }
}
