//! What is true without loudspeakers: transforms, windows, interpolation.

mod fft;
mod random;

pub use fft::{InverseSpectrum, Spectrum, good_length};
pub use random::Random;
