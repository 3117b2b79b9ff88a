//! A measurement from start to finish, where domain, disk and card meet.

mod make_signal;

pub use make_signal::{Existing, MadeSignal, MakeSignalError, SignalOrder, SignalSettings, make_signal};
