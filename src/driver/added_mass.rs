//! The moving mass from a second curve with a known mass on the cone.
//!
//! ```text
//! g = ln(1 + ΔM/M_ms)          M_ms = ΔM/(e^g − 1)
//! by the shift      g = 2·ln(f_s/f_s') − ln κ        κ = 1 + λ·log₁₀(f_s/f_s')
//! by the damping    g = 2·ln((Q_es'/R_e')/(Q_es/R_e)) + ln κ
//! ```
//!
//! f_s, Q_es, R_e: without, with a prime: with the mass ΔM, kg. λ: creep, by which the suspension is softer at the lower
//! resonance. The textbook's `M_ms = ΔM/((f_s/f_s')² − 1)` is the shift without creep.
//!
//! Derivation: the mass changes nothing but the mass, so that `ω_s²·M·C` is one for both and Bl² = ω_s·M·R_e/Q_es is
//! the same. With creep C(jω) at the new resonance is κ·C_ms. R_e stands beside Q_es because a coil warms between two
//! curves; Q_ms is left out because friction need not be the same at another frequency.
//! Source of the shift: R. H. Small, J. Audio Eng. Soc. 20 (June 1972) 383–395.

use super::Resonance;

/// `ln(1 + ΔM/M_ms)` as the shift of the resonance and as the damping tell it.
pub fn mass_growth(free: &Resonance, loaded: &Resonance) -> [f64; 2] {
    let fall = free.fs_hz / loaded.fs_hz;
    let creep = (1.0 + free.lambda * fall.log10()).ln();
    let damping = (loaded.qes / loaded.re_ohm) / (free.qes / free.re_ohm);
    [2.0 * fall.ln() - creep, 2.0 * damping.ln() + creep]
}

/// The mass that grew by `added_kg` to e^growth times what it was, kg.
pub fn grown_mass_kg(added_kg: f64, growth: f64) -> f64 {
    added_kg / growth.exp_m1()
}

#[cfg(test)]
mod tests {
    use super::super::reference::cases;
    use super::*;
    use crate::driver::{DriverModel, Suspension, VoiceCoil};
    use std::f64::consts::TAU;

    #[test]
    fn the_shift_without_creep_is_the_textbooks() {
        let mut rows = 0;
        for case in cases(&["mms_added_mass"]) {
            let at = |fs_hz| Resonance { re_ohm: 6.0, fs_hz, qms: 4.0, qes: 0.5, lambda: 0.0 };
            let [growth, _] = mass_growth(&at(case.input("fs_hz")), &at(case.input("fs1_hz")));
            case.assert_close(grown_mass_kg(case.input("dm_kg"), growth));
            rows += 1;
        }
        assert_eq!(rows, 2);
    }

    /// A driver with creep, written down from its mechanics with and without a mass; the loaded one is the same circuit
    /// when its parameters are those that the derivation says, and both ways then give the mass back.
    #[test]
    fn a_suspension_that_creeps_is_softer_at_the_lower_resonance() {
        let (mass_kg, added_kg, lambda, bl_tm, re_ohm, friction) = (0.0145, 0.010, 0.12f64, 6.8, 5.6, 0.5);
        let cms_m_n = 1.0 / ((TAU * 38.0f64).powi(2) * mass_kg);
        let model = |mass_kg: f64, fs_hz: f64, lambda: f64| {
            let suspension = Suspension::Creep { lambda };
            let omega = TAU * fs_hz;
            let qms = 1.0 / (friction / (omega * mass_kg) + suspension.loss_at_resonance());
            let qes = omega * mass_kg * re_ohm / (bl_tm * bl_tm);
            DriverModel { re_ohm, fs_hz, qms, qes, voice_coil: VoiceCoil::Inductance { le_h: 1e-4 }, suspension }
        };
        // The loaded resonance by bisection of ω²·(M + ΔM)·C_ms·κ(ω) = 1.
        let excess =
            |hz: f64| (TAU * hz).powi(2) * (mass_kg + added_kg) * cms_m_n * (1.0 + lambda * (38.0 / hz).log10()) - 1.0;
        let (mut below, mut above) = (10.0, 38.0);
        for _ in 0..80 {
            let middle = 0.5 * (below + above);
            if excess(middle) > 0.0 { above = middle } else { below = middle }
        }
        let kappa = 1.0 + lambda * (38.0f64 / below).log10();
        let (free, loaded) = (model(mass_kg, 38.0, lambda), model(mass_kg + added_kg, below, lambda / kappa));
        // The same circuit: the loaded model is the free one with jωΔM more, at any frequency.
        for hz in [15.0, 28.0, 60.0, 300.0] {
            let mechanical =
                bl_tm * bl_tm / free.motional_ohm(hz) + num_complex::Complex64::new(0.0, TAU * hz * added_kg);
            let expected = bl_tm * bl_tm / mechanical;
            // 1e-9: a bisection to the last digit, then a circuit.
            assert!((loaded.motional_ohm(hz) - expected).norm() < 1e-9 * expected.norm(), "{hz}");
        }
        let resonance = |model: DriverModel, lambda| Resonance {
            re_ohm: model.re_ohm,
            fs_hz: model.fs_hz,
            qms: model.qms,
            qes: model.qes,
            lambda,
        };
        let growths = mass_growth(&resonance(free, lambda), &resonance(loaded, lambda / kappa));
        for growth in growths {
            assert!((grown_mass_kg(added_kg, growth) / mass_kg - 1.0).abs() < 1e-9, "{growths:?}");
        }
        // What the textbook's formula would make of it: 3.5 % too little, far more than a good fit's doubt.
        let plain_kg = added_kg / ((38.0f64 / below).powi(2) - 1.0);
        assert!((0.03..0.04).contains(&(1.0 - plain_kg / mass_kg)), "{}", plain_kg / mass_kg);
    }
}
