//! What is true without loudspeakers: transforms, windows, interpolation.

mod bode;
mod cholesky;
mod fft;
mod highest_place;
mod hilbert;
mod interpolate;
mod kaiser;
mod least_squares;
mod line;
mod linear_system;
mod minimum_phase;
mod propagation;
mod random;
mod regression;
mod resample;
mod significance;
mod spectrum_at;
mod unwrap;

pub use bode::bode_phase_rad;
pub use cholesky::CovarianceRoot;
pub use fft::{InverseSpectrum, Spectrum, good_length};
pub use highest_place::highest_place;
pub use hilbert::envelope;
pub use interpolate::{RisingTable, mean_around};
pub use kaiser::{bessel_i0, kaiser, kaiser_beta};
pub use least_squares::{Effort, Ending, LeastSquares, Linearised, Sensitivity, least_squares};
pub use line::{LineFit, PlaneFit, weighted_line, weighted_plane};
pub use linear_system::solved;
pub use minimum_phase::minimum_phase_rad;
pub use propagation::{Correlated, adjustment, best_weights, propagated};
pub use random::Random;
pub use regression::with_first_replaced;
pub use resample::stretched;
pub use significance::{independent_points, normal_quantile, significant_times};
pub use spectrum_at::SpectrumAt;
pub use unwrap::{unwrapped, wrapped_deg};
