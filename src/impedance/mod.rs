//! What the amplifier sees: impedance measured through a sense resistor, and the driver that explains it.

mod curve;
mod error;
mod fit;
mod model;
mod ratio;
mod silence;
mod suspension;
mod voice_coil;

pub use curve::Impedance;
pub use error::ImpedanceError;
pub use fit::{Candidate, DriverFit, FitSettings, SuspensionKind, ThreePoint, VoiceCoilKind, fit_driver};
pub use model::DriverModel;
pub use ratio::JigCapture;
pub use suspension::Suspension;
pub use voice_coil::VoiceCoil;
