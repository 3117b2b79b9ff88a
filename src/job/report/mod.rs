//! The report of a job: its story by stages of building, from whatever lies in its folder.
//!
//! `record` says what is there and whether it still holds; each result is told by its kind (`kinds`), with the pictures that lie
//! beside it; `built`, `overview`, `summary` and `open` go around that. Nothing depends on the hour: the same folder gives
//! the same bytes.

mod added;
mod built;
mod facts;
mod kinds;
mod open;
mod order;
mod overview;
mod provenance;
mod result;
mod stages;
mod story;
mod summary;
mod told;

pub use added::{Added, Additions};
pub use order::{JobReportError, ReportOrder, Reported, report};
