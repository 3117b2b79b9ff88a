//! The box: what a driver becomes in it.

mod boxed;
mod closed;
mod hole;
mod open_back;
mod panel;
mod port;
mod standing_wave;
mod vented;

pub use boxed::{BoxedDriver, Enclosure, Flows, LossFactors, Moved, Opening};
pub use closed::{ClosedBox, FLATTEST_QTC, SmallSignal, closed_box, closed_box_volume_m3};
pub use hole::{Hole, HoleFlow, LeakPath, equivalent_hole, equivalent_seam_m, leak_resistance_pa_s_m3};
pub use open_back::{OpenBack, OpenBackFlow};
pub use panel::{Edges, MATERIALS, Material, Panel};
pub use port::{Port, PortEnds};
pub use standing_wave::{StandingWave, standing_waves, standing_waves_below};
pub use vented::{ByPeaks, VentedBox, by_peaks, ql_from_minimum, radiator_tuning_hz, tuning_hz};
