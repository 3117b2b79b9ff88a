//! A loudspeaker where it stands, and what lies between the sound card's output and its terminals.
//!
//! ```text
//! volts over output = V·R        pressure over output = V·R·Σ_ways ±q'_way·P_way
//! ```
//!
//! V: volts at full scale of its amplifier; R: the receiver's way to it (`receiver.rs`) with the lateness of its own
//! amplifier; q', P: `phasor.rs`, `hearing.rs`. Derivation: the parts of the chain one behind the other.
//!
//! Played samples pass R with a gentle end: above the converters' band it falls to nothing at half the sample rate, since a
//! delay by a part of a sample would else ring for ever. Where R is but a gain there is no such end.

use super::circuit::Circuit;
use super::converter::FLAT_SHARE;
use super::hearing::Hearing;
use super::radiation::Radiation;
use super::receiver::delayed;
use super::record::Bench;
use super::room::{Ends, Surroundings};
use super::settings::BenchSettings;
use super::speaker::Speaker;
use num_complex::Complex64;
use std::f64::consts::PI;

/// One of the bench's loudspeakers.
#[derive(Clone, Copy)]
pub struct Source<'a> {
    settings: &'a BenchSettings,
    pub speaker: &'a Speaker,
    /// Of its ways.
    pub circuits: &'a [Circuit],
    /// From the satellite's place.
    place_m: [f64; 3],
    pub drive_v_at_full_scale: f64,
    role: Role,
}

/// Which of the two it is.
#[derive(Clone, Copy)]
enum Role {
    Satellite,
    Subwoofer { late_s: f64 },
}

impl Bench {
    /// The loudspeaker that is measured.
    pub(super) fn satellite(&self) -> Source<'_> {
        Source {
            settings: &self.settings,
            speaker: &self.settings.speaker,
            circuits: &self.circuits,
            place_m: [0.0; 3],
            drive_v_at_full_scale: self.settings.interface.drive_v_at_full_scale,
            role: Role::Satellite,
        }
    }

    /// The subwoofer, if there is one.
    pub(super) fn subwoofer(&self) -> Option<Source<'_>> {
        self.settings.subwoofer.as_ref().map(|subwoofer| Source {
            settings: &self.settings,
            speaker: &subwoofer.speaker,
            circuits: &self.subwoofer_circuits,
            place_m: subwoofer.beside_m,
            drive_v_at_full_scale: subwoofer.drive_v_at_full_scale,
            role: Role::Subwoofer { late_s: subwoofer.late_s },
        })
    }
}

impl Source<'_> {
    /// R.
    pub fn between(&self, hz: f64) -> Complex64 {
        let receiver = &self.settings.receiver;
        match self.role {
            Role::Satellite => receiver.to_satellite(hz),
            Role::Subwoofer { late_s } => receiver.to_subwoofer(hz) * delayed(late_s, hz),
        }
    }

    /// R with its end, for samples at this rate.
    pub fn between_at_rate(&self, hz: f64, rate_hz: f64) -> Complex64 {
        let into = (hz / rate_hz - FLAT_SHARE) / (0.5 - FLAT_SHARE);
        if into <= 0.0 || self.hands_on_all() {
            return self.between(hz);
        }
        self.between(hz) * (0.5 * PI * into.min(1.0)).cos().powi(2)
    }

    /// Whether R is but a gain.
    fn hands_on_all(&self) -> bool {
        let receiver = &self.settings.receiver;
        let filter = match self.role {
            Role::Satellite => receiver.high_pass,
            Role::Subwoofer { .. } => receiver.low_pass,
        };
        filter.is_none() && self.delay_s() == 0.0
    }

    /// The pure delays in R.
    pub fn delay_s(&self) -> f64 {
        let receiver = &self.settings.receiver;
        match self.role {
            Role::Satellite => receiver.satellite_delay_s,
            Role::Subwoofer { late_s } => receiver.subwoofer_delay_s + late_s,
        }
    }

    /// From its place to the microphone, straight.
    pub fn distance_m(&self) -> f64 {
        Ends { source_m: self.place_m, microphone_m: self.settings.microphone_m() }.distance_m()
    }

    /// What the microphone hears of each of its ways, were it in these surroundings.
    pub fn hearings(&self, surroundings: &Surroundings) -> Vec<Hearing> {
        let one = |index: usize| match (&self.settings.near, self.role) {
            (Some(near), Role::Satellite) => Hearing::near(near, self.speaker, index),
            // A near field hears no room, and a subwoofer stands far from it.
            (Some(_), Role::Subwoofer { .. }) => self.far(index, &Surroundings::Anechoic),
            (None, _) => self.far(index, surroundings),
        };
        (0..self.speaker.ways.len()).map(one).collect()
    }

    fn far(&self, way: usize, surroundings: &Surroundings) -> Hearing {
        let [ahead_m, aside_m, up_m] = self.place_m;
        let source_m = [ahead_m, aside_m, up_m + self.speaker.ways[way].above_axis_m];
        let ends = Ends { source_m, microphone_m: self.settings.microphone_m() };
        let (width_m, corner_hz) = (self.speaker.baffle_width_m, surroundings.wall_corner_hz());
        let radiation = Radiation::new(surroundings.paths_between(ends), width_m, corner_hz);
        Hearing::Far(radiation.with_late(surroundings.late_between(ends)))
    }

    /// Pressure for a volt at its terminals, small signals, Pa/V.
    pub fn for_a_volt(&self, hearings: &[Hearing], hz: f64) -> Complex64 {
        let ways = self.speaker.ways.iter().zip(hearings);
        ways.map(|(way, hearing)| way.polarity.sign() * hearing.for_a_volt(way, hz)).sum()
    }

    /// Voltage at a way for these samples at its terminals, the way's polarity included.
    pub fn drive_v(&self, way: usize, output: &[f64]) -> Vec<f64> {
        let gain = self.drive_v_at_full_scale * self.speaker.ways[way].polarity.sign();
        output.iter().map(|sample| sample * gain).collect()
    }
}
