//! The front of a box: what its outline and edges do to the sound.

mod edge;
mod outline;
mod sphere;

pub use edge::{Diffraction, FlatBaffle, piston};
pub use outline::Outline;
pub use sphere::sphere_gain;
