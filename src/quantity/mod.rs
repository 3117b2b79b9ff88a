//! Numbers that carry a rule: rates, grids, levels, values with their uncertainty.

mod air;
mod error;
mod excerpt;
mod finding;
mod grid;
mod level;
mod measured;
mod rate;
mod typed;

pub use air::Air;
pub use error::QuantityError;
pub use excerpt::{SENTENCE, WORD, excerpt};
pub use finding::{Code, Finding, Severity, Whereabouts};
pub use grid::{FrequencyGrid, POINTS_PER_OCTAVE};
pub use level::{amplitude_from_db, db_from_amplitude, db_from_power};
pub use measured::{Quantity, Unit};
pub use rate::SampleRate;
pub use typed::{Dimension, number_as_typed};
