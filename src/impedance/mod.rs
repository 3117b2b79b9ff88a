//! What the amplifier sees: impedance measured through a sense resistor, and the driver that explains it.

mod admission;
mod candidate;
mod choice;
mod curve;
mod error;
mod features;
mod fit;
mod fit_verdict;
mod jig;
mod loudness;
mod measure;
mod model;
mod parameters;
mod ratio;
mod resonance;
mod settling;
mod silence;
mod start;
mod suspension;
mod three_point;
mod verdict;
mod voice_coil;
mod weighting;
mod whiteness;

pub use curve::Impedance;
pub use error::ImpedanceError;
pub use features::{Extreme, RATED_OHM, minimum, peaks, rated_ohm};
pub use fit::{Candidate, DriverFit, FitSettings, SuspensionKind, ThreePoint, VoiceCoilKind, fit_driver};
pub use jig::{GAIN_LIMIT_DB, JigFacts, LEAST_INPUT_OHM, USUAL_LEAD_OHM};
pub use loudness::LoadVoltage;
pub use measure::{JigCaptures, MeasureSettings, Measured, measure_impedance};
pub use model::DriverModel;
pub use ratio::JigCapture;
pub use settling::Shift;
pub use suspension::Suspension;
pub use voice_coil::VoiceCoil;
