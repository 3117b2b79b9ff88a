//! Measured over expected: how they differ, and why.

mod build;
mod cause;
mod changed;
mod difference;
mod evidence;
mod explain;
mod fit;
mod noise;
mod search;
mod tell_apart;

pub use cause::Cause;
pub use changed::{Changed, FALSE_CHANGE, changed};
pub use difference::{Align, Aligned, Difference, DifferenceError, ThirdOctave, difference};
pub use evidence::{Evidence, MeasuredLevel, MeasuredOhm};
pub use explain::{Blamed, Explanation, explain};
pub use tell_apart::tell_apart;
