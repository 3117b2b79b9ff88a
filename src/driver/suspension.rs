//! How the suspension yields: as a plain spring, or with logarithmic creep.
//!
//! ```text
//! C(jω) = C_ms·(1 − λ·log₁₀(jω/ω_s))
//! ```
//!
//! C_ms: compliance at ω_s = 2πf_s, m/N; λ: creep, a pure number of 0.05 to 0.2 (common practice). The imaginary part
//! acts as a loss. Not valid far above f_s, where the real part would vanish.
//! Source: M. H. Knudsen, J. G. Jensen, "Low-Frequency Loudspeaker Models That Include Suspension Creep",
//! J. Audio Eng. Soc. 41 (January/February 1993) 3–18, from memory.

use num_complex::Complex64;

/// How the suspension yields.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Suspension {
    /// A spring.
    Plain,
    /// A spring that goes on yielding.
    Creep {
        /// λ.
        lambda: f64,
    },
}

impl Suspension {
    /// C(jω)/C_ms at `ratio` = ω/ω_s.
    pub fn compliance_ratio(&self, ratio: f64) -> Complex64 {
        match *self {
            Self::Plain => Complex64::ONE,
            Self::Creep { lambda } => 1.0 - lambda * Complex64::new(0.0, ratio).log10(),
        }
    }

    /// What the creep alone takes at f_s, as 1/Q: the real part of `1/(j·C(jω_s)/C_ms)`.
    pub fn loss_at_resonance(&self) -> f64 {
        (Complex64::I * self.compliance_ratio(1.0)).inv().re
    }

    /// Its name in documents.
    pub fn name(&self) -> &'static str {
        match self {
            Self::Plain => "plain",
            Self::Creep { .. } => "creep",
        }
    }
}
