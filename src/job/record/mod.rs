//! The record of a job: what was captured, what was found, by which command, and whether it still holds.

mod ran;

pub use ran::{DESIGN_TABLES, Ran};
