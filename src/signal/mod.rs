//! What we play, and a recording of what came back.

mod burst;
mod envelope;
mod error;
mod excitation;
mod mark;
mod pink;
mod recording;
mod sweep;
mod tone;

pub use burst::{BurstSettings, burst};
pub use envelope::{fall, rise, with_ramps};
pub use error::SignalError;
pub use excitation::{Excitation, Kind, MOST_REPEATS, Marks, Plan, SHORTEST_PAUSE_S, Sequence, SweepPlan, steady};
pub use mark::Mark;
pub use pink::{PinkSettings, pink};
pub use recording::{Recording, SampleFormat};
pub use sweep::{PROTECTED_ABOVE_HZ, Sweep, SweepSettings};
pub use tone::{ToneSettings, tone};
