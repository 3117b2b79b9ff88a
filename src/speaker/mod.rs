//! A whole loudspeaker: its design, and what the design promises.

mod cone;
mod design;
mod error;
mod knob;
mod measured_way;
mod near_to_far;
mod reach;
mod respond;
mod simulate;
mod tolerance;

pub use cone::{Cone, DriverSpread};
pub use design::{Cabinet, CabinetOpening, Design, Ear, Front, Polarity, Rear, Source, Space, Way};
pub use error::SpeakerError;
pub use knob::{DriverNumber, Knob, Of, Turning};
pub use measured_way::{Columns, MeasuredWay};
pub use near_to_far::{Around, NearToFar, Surface, Surround, delay_to_port_s, radius_of_m};
pub use reach::Reach;
pub use respond::{PartSlopes, Point, WayPoint, respond, respond_with_slopes};
pub use simulate::{Loudest, Simulation, WayCurves, level_db, simulate};
pub use tolerance::{Influence, Tolerance, tolerance};
