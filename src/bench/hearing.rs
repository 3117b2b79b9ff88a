//! What the microphone hears of one way, wherever it stands.
//!
//! ```text
//! far:                   p = q'·P                     P: `radiation.rs`
//! before a surface:      p = q'_own·P_own + (q' − q'_own)·P_rest        P_own, P_rest: `near.rs`
//! beside another way:    p = q'·P_rest
//! ```
//!
//! q': volume acceleration of all that leaves the box of the way; q'_own: that of the surface before the microphone.
//! Derivation: pressures add.

use super::circuit::{Circuit, State};
use super::harmonics::{Orders, steady_tone};
use super::motion::{All, Hear};
use super::near::{Ear, NearField, NearPath};
use super::phasor::{surface_accelerations, volume_acceleration};
use super::radiation::Radiation;
use super::speaker::{Speaker, Way};
use num_complex::Complex64;

/// From one way to the microphone.
pub enum Hearing {
    /// The microphone stands before the loudspeaker.
    Far(Radiation),
    /// It stands before one surface of this way.
    Before {
        /// Which.
        ear: Ear,
        /// From there.
        own: NearPath,
        /// From all else that leaves the box.
        rest: NearPath,
    },
    /// It stands before a surface of another way.
    Beside(NearPath),
}

impl Hearing {
    /// Of a way for a microphone near one of the surfaces of the loudspeaker.
    pub fn near(near: &NearField, speaker: &Speaker, way: usize) -> Self {
        if way != near.way {
            return Self::Beside(NearPath::from_point(near.beside_m(speaker, way)));
        }
        let ear = near.ear(&speaker.ways[way]);
        Self::Before {
            ear,
            own: NearPath::before(ear.area_m2, near.distance_m),
            rest: NearPath::from_point(near.apart_m.hypot(near.distance_m)),
        }
    }

    /// The longest way that a sound takes.
    pub fn longest_s(&self) -> f64 {
        match self {
            Self::Far(radiation) => radiation.longest_s(),
            Self::Before { own, rest, .. } => own.longest_s().max(rest.longest_s()),
            Self::Beside(path) => path.longest_s(),
        }
    }

    /// Pressure for a volt at the amplifier, small signals, positive polarity, Pa/V.
    pub fn for_a_volt(&self, way: &Way, hz: f64) -> Complex64 {
        let all = volume_acceleration(way, hz);
        match self {
            Self::Far(radiation) => all * radiation.at(hz),
            Self::Before { ear, own, rest } => {
                let alone = ear.own(surface_accelerations(way, hz));
                alone * own.at(hz) + (all - alone) * rest.at(hz)
            }
            Self::Beside(path) => all * path.at(hz),
        }
    }

    /// Pressure for the drive `amplitude_v·cos(2πft)`: phasors of the orders, Pa.
    pub fn of_a_tone(&self, circuit: &Circuit, hz: f64, amplitude_v: f64) -> Orders {
        let through = |orders: Orders, path: &dyn Fn(f64) -> Complex64| -> Orders {
            std::array::from_fn(|index| orders[index] * path((index + 1) as f64 * hz))
        };
        let all = |path: &dyn Fn(f64) -> Complex64| {
            let [all] = steady_tone(circuit, &All, hz, amplitude_v);
            through(all, path)
        };
        match self {
            Self::Far(radiation) => all(&|hz| radiation.at(hz)),
            Self::Beside(path) => all(&|hz| path.at(hz)),
            Self::Before { ear, own, rest } => {
                let [alone, others] = steady_tone(circuit, &OwnAndRest { circuit, ear: *ear }, hz, amplitude_v);
                let (alone, others) = (through(alone, &|hz| own.at(hz)), through(others, &|hz| rest.at(hz)));
                std::array::from_fn(|index| alone[index] + others[index])
            }
        }
    }
}

/// The surface before the microphone, then all else that leaves the box.
pub struct OwnAndRest<'a> {
    /// The way.
    pub circuit: &'a Circuit,
    /// The surface.
    pub ear: Ear,
}

impl Hear<2> for OwnAndRest<'_> {
    #[inline(always)]
    fn hear(&self, _: f64, change: &State, leaving: f64) -> [f64; 2] {
        let own = self.ear.own(self.circuit.surfaces(change));
        [own, leaving - own]
    }
}
