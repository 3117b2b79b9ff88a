//! A suspension that goes on giving way: slow springs behind the quick one.
//!
//! ```text
//! C(s) = C_ms·(1 + κ·Σ 1/(1 + s·τ_n))        τ_n = 1/(2π·f_n)
//! dc_n/dt = (κ·C_ms·F − c_n)/τ_n             F = K(x)·(x − Σ c_n)
//! ```
//!
//! C_ms: compliance of the quick spring, m/N. κ: how much softer the suspension is a decade lower, a share of C_ms (0.1
//! is usual). c_n: give of slow spring n, m. F: force of the suspension, N. f_n: 300, 30, 3 and 0.3 Hz: one for each
//! decade, so that the compliance grows with `−κ·log₁₀ f` between 1 kHz and 0.1 Hz, in waves of a few thousandths.
//!
//! Source: M. H. Knudsen, J. G. Jensen, "Low-Frequency Loudspeaker Models that Include Suspension Creep", J. Audio Eng.
//! Soc. 41 (1993) 3–18 (logarithmic creep); springs with dampers across them in series: the Kelvin–Voigt model.

use num_complex::Complex64;
use std::f64::consts::TAU;

/// How many slow springs there are.
pub const SPRINGS: usize = 4;
const CORNERS_HZ: [f64; SPRINGS] = [300.0, 30.0, 3.0, 0.3];

/// 1/τ_n.
pub fn rates_per_s() -> [f64; SPRINGS] {
    CORNERS_HZ.map(|hz| TAU * hz)
}

/// C(s) over C_ms.
pub fn softer(per_decade: f64, s: Complex64) -> Complex64 {
    1.0 + per_decade * rates_per_s().iter().map(|rate| rate / (rate + s)).sum::<Complex64>()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The compliance's real part grows by κ for each decade, and the imaginary part is that of the logarithm of jω.
    #[test]
    fn compliance_creeps_with_the_logarithm_of_time() {
        let at = |hz: f64| softer(0.1, Complex64::new(0.0, TAU * hz));
        for hz in [2.0, 5.0, 10.0, 20.0, 50.0] {
            // −κ·log₁₀(j) = −jκ·π/(2·ln 10) = −0.0682j at κ = 0.1; springs a decade apart make waves of 1/30 of κ in the real
            // and 1/6 of it in the imaginary part.
            assert!((at(hz).re - at(10.0 * hz).re - 0.1).abs() < 0.004, "{hz}: {}", at(hz).re - at(10.0 * hz).re);
            assert!((at(hz).im + 0.0682).abs() < 0.018, "{hz}: {}", at(hz).im);
        }
    }
}
