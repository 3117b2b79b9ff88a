//! A measurement from start to finish, where domain, disk and card meet.

mod capture;
mod capture_findings;
mod capture_names;
mod chain;
mod demo;
mod demo_report;
mod impede;
mod impede_document;
mod known_excitation;
mod make_signal;
mod respond;
mod respond_files;
mod response_document;
mod response_pictures;
mod treble;

pub use capture::{CaptureError, CaptureOrder, Captured, Known, can_begin, capture};
pub use chain::{Chain, ChainError, LOUD_DBFS, Loudness, USUAL_DBFS, chain};
pub use demo::{Demo, DemoError, DemoOrder, demo};
pub use impede::{ImpedanceOrder, ImpedeError, Impeded, impede};
pub use known_excitation::{KnownExcitation, PlanFrom, known_excitation};
pub use make_signal::{Existing, MadeSignal, MakeSignalError, SignalOrder, SignalSettings, make_signal};
pub use respond::{
    Pictures, ReferenceChoice, RespondError, Responded, ResponseOrder, SmoothingChoice, TableIs, respond,
};
pub use treble::{TrebleError, treble_limit_hz};
