//! What the amplifier sees: impedance measured through a sense resistor, and the driver that explains it.

mod admission;
mod candidate;
mod choice;
mod curve;
mod error;
mod fit;
mod model;
mod parameters;
mod resonance;
mod start;
mod suspension;
mod three_point;
mod verdict;
mod voice_coil;
mod weighting;
mod whiteness;

pub use curve::Impedance;
pub use error::ImpedanceError;
pub use fit::{Candidate, DriverFit, FitSettings, SuspensionKind, ThreePoint, VoiceCoilKind, fit_driver};
pub use model::DriverModel;
pub use suspension::Suspension;
pub use voice_coil::VoiceCoil;
