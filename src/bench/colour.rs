//! What the interface and the microphone add to every frequency.
//!
//! ```text
//! high-pass: H = (jf/f_h)/(1 + jf/f_h)        droop: H = 1/(1 + jf/f_d)        shelf: H = (1 + jf/f_1)/(1 + jf/f_2)
//! ```
//!
//! f_h: AC coupling. f_d: the analogue filters above the band. f_1 < f_2: rise of the microphone towards high notes.
//! Source: first-order networks, any textbook.

use num_complex::Complex64;

/// First-order high-pass.
pub fn high_pass(corner_hz: f64, frequency_hz: f64) -> Complex64 {
    let ratio = Complex64::new(0.0, frequency_hz / corner_hz);
    ratio / (1.0 + ratio)
}

/// First-order low-pass.
pub fn low_pass(corner_hz: f64, frequency_hz: f64) -> Complex64 {
    1.0 / Complex64::new(1.0, frequency_hz / corner_hz)
}

/// From 1 below `from_hz` to `to_hz`/`from_hz` above `to_hz`.
pub fn shelf(from_hz: f64, to_hz: f64, frequency_hz: f64) -> Complex64 {
    Complex64::new(1.0, frequency_hz / from_hz) / Complex64::new(1.0, frequency_hz / to_hz)
}
