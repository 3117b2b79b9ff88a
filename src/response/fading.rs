//! How the sound dies away within the gate: slices in time, bursts in periods, and what rings.
//!
//! No equation of its own: see [`super::decay`], [`super::burst_decay`] and [`super::ringing`].

use super::Pattern;
use super::analysis::ImpulseResponse;
use super::burst_decay::{BurstDecay, Bursts, burst_decay};
use super::decay::{Decay, decay};
use super::ringing::{Ringing, ringing};
use super::view::View;
use crate::quantity::FrequencyGrid;

/// How the sound dies away.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Fading {
    /// Cumulative spectral decay on the grid of the response.
    pub decay: Decay,
    /// The same in periods.
    pub bursts: BurstDecay,
    /// What rings late, by frequency.
    pub ringing: Vec<Ringing>,
}

/// Frequencies of the bursts, as finely as their bells can tell apart.
const BURSTS_PER_OCTAVE: u32 = 24;
/// A bell of a frequency f holds from f/SPREAD to f·SPREAD, 2.5 of its deviations: where that much lies within the band, its end does not
/// ring in the burst.
const SPREAD: f64 = 1.4;

impl Fading {
    /// Of an impulse response through the gate of `view`; `density`: power of one sample of its noise around a frequency over a
    /// bandwidth, both Hz.
    pub(super) fn of(
        impulse: &ImpulseResponse,
        view: &View,
        pattern: &Pattern,
        density: impl Fn(f64, f64) -> f64,
    ) -> Self {
        let rate_hz = pattern.rate_hz;
        let decay = decay(impulse, rate_hz, view.gate, view.grid.hz());
        let [from_hz, to_hz] = [pattern.band_hz[0] * SPREAD, pattern.band_hz[1] / SPREAD];
        let band_hz = [from_hz.max(view.valid_hz[0]), to_hz.min(view.valid_hz[1])];
        let Ok(grid) = FrequencyGrid::of_octave_fractions(band_hz, BURSTS_PER_OCTAVE) else {
            return Self { decay, ..Self::default() };
        };
        let bursts = Bursts::new(impulse, rate_hz, view.gate, band_hz[0]);
        let density = |hz: f64| density(hz, hz / std::f64::consts::PI);
        let map = burst_decay(&bursts, grid.hz(), density);
        Self { decay, ringing: ringing(&bursts, &map, density), bursts: map }
    }
}
