//! What the amplifier sees: impedance measured through a sense resistor, with its doubt.

mod curve;
mod error;
mod features;
mod hum;
mod jig;
mod lateness;
mod loudness;
mod mark_witness;
mod measure;
mod ratio;
mod settling;
mod silence;
mod unexplained;
mod verdict;

pub use curve::Impedance;
pub use error::ImpedanceError;
pub use features::{Extreme, RATED_OHM, minimum, peaks, rated_ohm};
pub use jig::{GAIN_LIMIT_DB, JigFacts, LEAST_INPUT_OHM, UNSAID_GAIN_LIMIT_DB, USUAL_LEAD_OHM};
pub use loudness::LoadVoltage;
pub use measure::{JigCaptures, MeasureSettings, Measured, measure_impedance};
pub use ratio::JigCapture;
pub use settling::Shift;
