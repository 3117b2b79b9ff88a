//! The box: what a driver becomes in it.

mod closed;

pub use closed::{ClosedBox, FLATTEST_QTC, SmallSignal, closed_box, closed_box_volume_m3};
