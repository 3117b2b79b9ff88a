//! What the voice coil adds to its resistance: inductance, and the losses in the iron around it.
//!
//! ```text
//! inductance        jωL_e
//! ladder            jωL_e + (jωL₂ ∥ R₂)
//! semi-inductance   jωL_eb + (jωL_e ∥ K_e·√(jω))
//! power law         K·(jω)ⁿ
//! ```
//!
//! L in henry, R in ohm, K_e in semihenry (Ω·√s), K in Ω·sⁿ, 0 < n < 1.
//!
//! Sources: ladder: M. Dodd, W. Klippel, J. Oclee-Brown, "Voice Coil Impedance as a Function of Frequency and
//! Displacement", AES 117th Convention (2004), from memory; semi-inductance: K. Thorborg, C. Futtrup, "Electrodynamic
//! Transducer Model Incorporating Semi-Inductance and Means for Shorting AC Magnetization", J. Audio Eng. Soc. 59
//! (September 2011) 612–627, from memory; power law: W. M. Leach, "Loudspeaker Voice-Coil Inductance Losses: Circuit
//! Models, Parameter Estimation, and Effect on Frequency Response", J. Audio Eng. Soc. 50 (June 2002) 442–450.

use num_complex::Complex64;

/// What the voice coil adds to its resistance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum VoiceCoil {
    /// A coil without losses.
    Inductance {
        /// L_e.
        le_h: f64,
    },
    /// A coil in series with a second one that has a resistor across it.
    Ladder {
        /// L_e.
        le_h: f64,
        /// L₂.
        l2_h: f64,
        /// R₂.
        r2_ohm: f64,
    },
    /// A coil in series with a second one that has a semi-inductance across it.
    SemiInductance {
        /// L_eb, the part that no iron sees.
        leb_h: f64,
        /// L_e.
        le_h: f64,
        /// K_e.
        ke_semih: f64,
    },
    /// One power of frequency.
    PowerLaw {
        /// K.
        k: f64,
        /// n.
        n: f64,
    },
}

impl VoiceCoil {
    /// Impedance in ohm at an angular frequency, rad/s.
    pub fn impedance_ohm(&self, omega: f64) -> Complex64 {
        let jw = Complex64::new(0.0, omega);
        let beside = |a: Complex64, b: Complex64| a * b / (a + b);
        match *self {
            Self::Inductance { le_h } => jw * le_h,
            Self::Ladder { le_h, l2_h, r2_ohm } => jw * le_h + beside(jw * l2_h, r2_ohm.into()),
            Self::SemiInductance { leb_h, le_h, ke_semih } => jw * leb_h + beside(jw * le_h, ke_semih * jw.sqrt()),
            Self::PowerLaw { k, n } => k * jw.powf(n),
        }
    }

    /// Its name in documents.
    pub fn name(&self) -> &'static str {
        match self {
            Self::Inductance { .. } => "inductance",
            Self::Ladder { .. } => "ladder",
            Self::SemiInductance { .. } => "semi-inductance",
            Self::PowerLaw { .. } => "power-law",
        }
    }
}
