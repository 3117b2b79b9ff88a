//! What is heard at the microphone with the walls: satellite alone, subwoofer alone, both.
//!
//! ```text
//! reply/play = Σ_loudspeakers H_out·V·R·Σ_ways ±q'_way·P_way·(sample value/Pa)·H_mic·H_in·H_conv
//! ```
//!
//! Small signals. P with all paths of the room, early and late (`radiation.rs`); the other symbols: `truth.rs`, `source.rs`.
//! The phase holds all delays after the loopback's own latency, so that all curves have one time reference and can be
//! added. Derivation: pressures add.

use super::air::SPEED_OF_SOUND_M_S;
use super::record::Bench;
use super::source::Source;
use super::truth::Curve;
use num_complex::Complex64;
use serde::{Deserialize, Serialize};

/// Microphone channel over played samples, walls included, small signals; the phase without the latency, but with every
/// delay after it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AtSeat {
    /// From the loopback to the satellite's straight sound: its path and its delay in the receiver.
    pub satellite_arrival_s: f64,
    /// From the loopback to the subwoofer's straight sound: its path, its delay in the receiver, its own lateness.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub subwoofer_arrival_s: Option<f64>,
    /// Output 1 plays.
    pub satellite: Curve,
    /// Output 3 plays.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub subwoofer: Option<Curve>,
    /// Both play the same.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub both: Option<Curve>,
}

/// Which loudspeakers play.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Playing {
    /// The satellite alone.
    Satellite,
    /// The subwoofer alone; where there is none, nothing sounds.
    Subwoofer,
    /// Both, the same.
    Both,
}

impl Bench {
    /// Microphone channel over played samples with all walls, small signals, at these frequencies.
    ///
    /// The phase is that of all delays but the latency of the interface.
    pub fn response_at_seat(&self, playing: Playing, frequencies_hz: &[f64]) -> Vec<Complex64> {
        let satellite = (playing != Playing::Subwoofer).then(|| self.satellite());
        let subwoofer = if playing == Playing::Satellite { None } else { self.subwoofer() };
        let mut sums = vec![Complex64::ZERO; frequencies_hz.len()];
        for source in [satellite, subwoofer].into_iter().flatten() {
            let hearings = source.hearings(&self.settings.surroundings);
            for (sum, &hz) in sums.iter_mut().zip(frequencies_hz) {
                *sum += self.reply_response(&source, &hearings, hz);
            }
        }
        sums
    }

    /// Everything at the seat, at these frequencies; none where the truth of the straight path says all.
    pub(super) fn at_seat(&self, frequencies_hz: &[f64]) -> Option<AtSeat> {
        let subwoofer = self.subwoofer();
        if subwoofer.is_none() && !self.settings.hears_modes() {
            return None;
        }
        let arrival_s = |source: &Source<'_>| source.distance_m() / SPEED_OF_SOUND_M_S + source.delay_s();
        let curve = |values: &[Complex64]| Curve::of(frequencies_hz, values);
        let satellite_alone = self.response_at_seat(Playing::Satellite, frequencies_hz);
        let subwoofer_alone = subwoofer.as_ref().map(|_| self.response_at_seat(Playing::Subwoofer, frequencies_hz));
        let both = subwoofer_alone.as_ref().map(|subwoofer| -> Vec<Complex64> {
            satellite_alone.iter().zip(subwoofer).map(|(one, other)| one + other).collect()
        });
        Some(AtSeat {
            satellite_arrival_s: arrival_s(&self.satellite()),
            subwoofer_arrival_s: subwoofer.as_ref().map(arrival_s),
            satellite: curve(&satellite_alone),
            subwoofer: subwoofer_alone.as_deref().map(curve),
            both: both.as_deref().map(curve),
        })
    }
}
