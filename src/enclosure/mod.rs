//! The box: what a driver becomes in it.

mod boxed;
mod closed;
mod hole;
mod panel;
mod port;
mod standing_wave;
mod vented;

pub use boxed::{BoxedDriver, Enclosure, Flows, LossFactors, Moved, Opening};
pub use closed::{ClosedBox, FLATTEST_QTC, SmallSignal, closed_box, closed_box_volume_m3};
pub use hole::{Hole, HoleFlow, LeakPath, equivalent_hole};
pub use panel::{MATERIALS, Material};
pub use port::{Port, PortEnds};
