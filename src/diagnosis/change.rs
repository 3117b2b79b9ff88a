//! What a change to a box did: two diagnoses of one box with one driver.

use super::{FoundBox, Traced};
use crate::driver::Doubted;

/// One number before and after.
#[derive(Debug, Clone, PartialEq)]
pub struct BoxChange {
    /// Its name, as in [`FoundBox::numbers`], or `wrinkle`.
    pub name: &'static str,
    /// Before; absent where there was nothing (a wrinkle that is new).
    pub before: Option<Traced>,
    /// After; absent where there is nothing any more.
    pub after: Option<Traced>,
    /// After less before, what both lean on dropped out.
    pub change: Doubted,
    /// Whether it stands out of its doubt.
    pub is_real: bool,
    /// What it means, in a builder's words.
    pub says: String,
}

/// What changed from `before` to `after`, the most certain changes first.
pub fn changes(before: &FoundBox, after: &FoundBox) -> Vec<BoxChange> {
    let _ = (before, after);
    Vec::new()
}
