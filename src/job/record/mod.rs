//! The record of a job: what was captured, what was found, by which command, and whether it still holds.
//!
//! There is no list that could go wrong: captures have their descriptions and results their documents, and those are the record.
//! `found` reads them, `unfinished` tells what a capture that broke off has left, `standing` compares what each came from with what is there now, `todo` and `next` say what to do.

mod curves;
mod found;
mod next;
mod place;
mod ran;
mod stage;
mod standing;
mod status;
mod subject;
mod todo;
mod unfinished;

pub use curves::RecordedCurves;
pub use found::{Found, FoundCapture, FoundResult, files_below, find};
pub(in crate::job) use place::plain;
pub use ran::Ran;
pub(in crate::job) use ran::way;
pub use stage::Stage;
pub use standing::{Standing, State, standings};
pub use status::status;
pub use subject::{Subject, subjects};
pub use todo::{Anew, todo};
pub(in crate::job) use unfinished::LEAD_S;
pub use unfinished::{PartState, Unfinished, name_unfinished};
