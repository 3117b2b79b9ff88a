//! What a finished box really is, from the impedance of the driver in it.

mod change;
mod design;
mod error;
mod examine;
mod found;
mod hint;
mod jig_error;
mod known_driver;
mod leak_advice;
mod losses;
mod near_field;
mod numbers;
mod prior;
mod search;
mod start;
mod traced;
mod unknowns;
mod verdict;
mod wrinkle;

pub use change::{BoxChange, changes};
pub use design::{Designed, FoundAgainst, against_design};
pub use error::DiagnosisError;
pub use examine::{BoxSettings, examine_box};
pub use found::{BoxKind, FoundBox, Leak, LeakVerdict};
pub use hint::{Hint, Inside, hints};
pub use known_driver::KnownDriver;
pub use leak_advice::{LeakAdvice, leak_advice};
pub use near_field::{NearField, NearLevel};
pub use traced::Traced;
pub use wrinkle::{Residual, Wrinkle, wrinkles};
