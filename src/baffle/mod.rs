//! The front of a box: what its outline and edges do to the sound.

mod edge;
mod near_field;
mod outline;
mod sphere;

pub use edge::{Diffraction, FlatBaffle, piston};
pub use near_field::NearField;
pub use outline::Outline;
pub use sphere::{cap_gain, sphere_gain};
