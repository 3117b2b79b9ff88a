//! A measurement from start to finish, where domain, disk and card meet.

mod capture;
mod capture_findings;
mod capture_names;
mod chain;
mod make_signal;
mod treble;

pub use capture::{CaptureError, CaptureOrder, Captured, Known, capture};
pub use chain::{Chain, ChainError, LOUD_DBFS, Loudness, USUAL_DBFS, chain};
pub use make_signal::{Existing, MadeSignal, MakeSignalError, SignalOrder, SignalSettings, make_signal};
pub use treble::{TrebleError, treble_limit_hz};
