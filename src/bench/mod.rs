//! The simulated bench: a loudspeaker, a room, a microphone and an interface, in the time domain.
//!
//! It stands where amplifier, loudspeaker, microphone and sound card stand, produces captures, and knows its own truth.
//! So that it can judge the analysis it shares nothing with it: its interpolation, its filters and its noise are its own.
//!
//! ```text
//! samples → AC coupling → receiver → converter → filter, voice coil, cone, box (one set of ODEs for each way)
//!         → air, walls → microphone → converter → recorder's clock → + noise, hum → clipping → channel 0
//! samples → AC coupling → converter → loopback gain → converter → recorder's clock → + noise → channel 1
//! ```
//!
//! A second loudspeaker, a subwoofer (`subwoofer.rs`), may stand in the same room with samples of its own; each has its way
//! through the receiver (`receiver.rs`).
//!
//! What bends (the drivers) is integrated in the time domain on a grid of 768 kHz or finer (`circuit.rs`,
//! `converter.rs`); what is linear (air, walls, microphone, colouration) is applied to the whole record by its exact
//! frequency response (`receiver.rs`, `radiation.rs`, `room.rs`, `late.rs`, `near.rs`, `colour.rs`). A driver may be out of order: its coil rubs
//! (`rub.rs`) or a part of it is loose (`loose.rs`). The truth (`truth.rs`, `seat.rs`) comes from the circuit diagram
//! (`phasor.rs`) and, for harmonics, from steady tones through the same equations (`harmonics.rs`).
//!
//! The impedance jig (`jig.rs`) stands beside it on the same converters, clock and noise: what hangs on its clips is
//! one set of ODEs behind the sense resistor (`load_circuit.rs`), its two taps are the channels, `jig_truth.rs` is its
//! truth.
//!
//! Left out of the loudspeaker in the room: creep and heating of the drivers, cone break-up, directivity beyond the
//! baffle step, edge diffraction, Doppler shift, non-linearity of the air and of the interface other than clipping.
//! Rounding to a sample format belongs to who writes the file.
//!
//! Sources: R. H. Small, "Closed-Box Loudspeaker Systems, Part I: Analysis", J. Audio Eng. Soc. 20 (December 1972)
//! 798–808; W. Klippel, "Loudspeaker Nonlinearities – Causes, Parameters, Symptoms", J. Audio Eng. Soc. 54 (October 2006)
//! 907–939; J. B. Allen, D. A. Berkley, "Image Method for Efficiently Simulating Small-Room Acoustics", J. Acoust. Soc.
//! Am. 65 (April 1979) 943–950.

mod air;
mod circuit;
mod clock;
mod colour;
mod converter;
mod creep;
mod defect;
mod driver;
mod enclosure;
mod error;
mod fastest;
mod harmonics;
mod hearing;
mod jig;
mod jig_record;
mod jig_truth;
mod late;
mod line;
mod load;
mod load_circuit;
mod loose;
mod motion;
mod near;
mod noise;
mod phasor;
mod radiation;
mod receiver;
mod record;
mod room;
mod rub;
mod runge_kutta;
mod seat;
mod settings;
mod source;
mod speaker;
mod subwoofer;
mod truth;

#[cfg(test)]
mod defect_tests;
#[cfg(test)]
mod jig_tests;
#[cfg(test)]
mod near_tests;
#[cfg(test)]
mod reference;
#[cfg(test)]
mod seat_tests;
#[cfg(test)]
mod tests;

pub use defect::Defect;
pub use driver::{Bend, Driver, LossyInductance};
pub use enclosure::{Enclosure, Opening, RingingWall};
pub use error::BenchError;
pub use harmonics::HarmonicTruth;
pub use jig::{Jig, JigInput, JigSettings, Recorder, Wiring};
pub use jig_truth::{BoxTruth, ClosedTruth, DriverTruth, ImpedanceTruth, JigTruth, LoadTruth, OpenTruth};
pub use load::{Change, HungDriver, Load};
pub use loose::LoosePart;
pub use near::{NearField, Surface};
pub use noise::Hum;
pub use receiver::{Cut, Receiver, Slope};
pub use record::Bench;
pub use room::{Ends, LIVING_ROOM_SEATS, Path, Room, Surroundings};
pub use rub::Rub;
pub use seat::{AtSeat, Playing};
pub use settings::{BenchSettings, Interface, Microphone};
pub use speaker::{Filter, Pad, Polarity, Reactances, Speaker, Way};
pub use subwoofer::Subwoofer;
pub use truth::{Curve, PressureCurve, Reflection, Truth, WayFacts};
