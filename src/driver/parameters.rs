//! The numbers of a driver's model as a search wants them, and how the impedance follows each.
//!
//! ```text
//! Z = R_e + Z_coil + Z_m,   Z_m = (R_e/Q_es)/D,   D = 1/Q_ms − l(λ) + jx + s,   s = 1/(jx·c),   c = 1 − λ·log₁₀(jx)
//! ∂Z/∂ln R_e = R_e + Z_m     ∂Z/∂ln Q_es = −Z_m     ∂Z/∂ln Q_ms = Z_m/(D·Q_ms)
//! ∂Z/∂ln f_s = x·(j − j·s²·(c − λ/ln 10))·Z_m/D     ∂Z/∂λ = (l′(λ) − jx·s²·log₁₀(jx))·Z_m/D
//! l(λ) = aλ/(1 + a²λ²),   a = π/(2·ln 10)
//! ```
//!
//! Symbols as in `model.rs`; l: what creep alone takes at f_s. Searched are the logarithms of what is positive, which
//! also brings all to one size, and λ and n as they are: near their ends the curve goes on smoothly past them.
//! Derivation: ours.

use super::{DriverModel, Suspension, SuspensionKind, VoiceCoil, VoiceCoilKind};
use num_complex::Complex64;
use std::f64::consts::{FRAC_PI_2, LN_10, TAU};

/// Which numbers there are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Shape {
    pub(crate) voice_coil: VoiceCoilKind,
    pub(crate) suspension: SuspensionKind,
}

/// A part that a curve does not want runs away towards nothing or everything; beyond e to this power it stays, so that its
/// number and its doubt remain numbers.
const FARTHEST_LOG: f64 = 50.0;

/// The numbers that every model has come first.
pub(super) const SHARED: usize = 4;

impl Shape {
    /// What the numbers are called.
    pub(crate) fn names(self) -> Vec<&'static str> {
        let mut names = vec!["re_ohm", "fs_hz", "qms", "qes"];
        names.extend_from_slice(match self.voice_coil {
            VoiceCoilKind::Inductance => &["le_h"][..],
            VoiceCoilKind::Ladder => &["le_h", "l2_h", "r2_ohm"],
            VoiceCoilKind::SemiInductance => &["leb_h", "le_h", "ke_semih"],
            VoiceCoilKind::PowerLaw => &["k", "n"],
        });
        if self.suspension == SuspensionKind::Creep {
            names.push("lambda");
        }
        names
    }

    /// How many numbers there are.
    pub(crate) fn count(self) -> usize {
        let coil = match self.voice_coil {
            VoiceCoilKind::Inductance => 1,
            VoiceCoilKind::PowerLaw => 2,
            VoiceCoilKind::Ladder | VoiceCoilKind::SemiInductance => 3,
        };
        SHARED + coil + usize::from(self.suspension == SuspensionKind::Creep)
    }

    /// The model with these searched numbers.
    pub(crate) fn model(self, searched: &[f64]) -> DriverModel {
        let [re_ohm, fs_hz, qms, qes] = [0, 1, 2, 3].map(|at| searched[at].exp());
        let coil = &searched[SHARED..];
        let part = |at: usize| coil[at].clamp(-FARTHEST_LOG, FARTHEST_LOG).exp();
        let voice_coil = match self.voice_coil {
            VoiceCoilKind::Inductance => VoiceCoil::Inductance { le_h: part(0) },
            VoiceCoilKind::Ladder => VoiceCoil::Ladder { le_h: part(0), l2_h: part(1), r2_ohm: part(2) },
            VoiceCoilKind::SemiInductance => {
                VoiceCoil::SemiInductance { leb_h: part(0), le_h: part(1), ke_semih: part(2) }
            }
            VoiceCoilKind::PowerLaw => VoiceCoil::PowerLaw { k: part(0), n: coil[1] },
        };
        let suspension = match self.suspension {
            SuspensionKind::Plain => Suspension::Plain,
            SuspensionKind::Creep => Suspension::Creep { lambda: searched[self.count() - 1] },
        };
        DriverModel { re_ohm, fs_hz, qms, qes, voice_coil, suspension }
    }

    /// The impedance in ohm at `hz` and its slope along each searched number, which go to `slopes`.
    pub(super) fn impedance_ohm(self, model: &DriverModel, hz: f64, slopes: &mut [Complex64]) -> Complex64 {
        let jx = Complex64::new(0.0, hz / model.fs_hz);
        let lambda = match model.suspension {
            Suspension::Plain => 0.0,
            Suspension::Creep { lambda } => lambda,
        };
        // The logarithm of jx, whose angle is a right one.
        let log = Complex64::new(jx.im.ln(), FRAC_PI_2) / LN_10;
        let yielding = 1.0 - lambda * log;
        let spring = (jx * yielding).inv();
        let over = (1.0 / model.qms - loss(lambda) + jx + spring).inv();
        let moving = model.re_ohm / model.qes * over;
        slopes[0] = model.re_ohm + moving;
        slopes[1] = moving * over * (jx - jx * spring * spring * (yielding - lambda / LN_10));
        slopes[2] = moving * over / model.qms;
        slopes[3] = -moving;
        if self.suspension == SuspensionKind::Creep {
            slopes[self.count() - 1] = moving * over * (loss_slope(lambda) - jx * spring * spring * log);
        }
        model.re_ohm + moving + coil_ohm(&model.voice_coil, TAU * hz, &mut slopes[SHARED..])
    }
}

/// l(λ).
fn loss(lambda: f64) -> f64 {
    let a = FRAC_PI_2 / LN_10;
    a * lambda / (1.0 + (a * lambda).powi(2))
}

/// l′(λ).
fn loss_slope(lambda: f64) -> f64 {
    let a = FRAC_PI_2 / LN_10;
    let square = (a * lambda).powi(2);
    a * (1.0 - square) / (1.0 + square).powi(2)
}

/// What the voice coil adds, and its slopes.
fn coil_ohm(coil: &VoiceCoil, omega: f64, slopes: &mut [Complex64]) -> Complex64 {
    let jw = Complex64::new(0.0, omega);
    // a∥b and its slopes along ln a and ln b.
    let beside = |a: Complex64, b: Complex64| {
        let whole = a * b / (a + b);
        (whole, whole * b / (a + b), whole * a / (a + b))
    };
    match *coil {
        VoiceCoil::Inductance { le_h } => {
            slopes[0] = jw * le_h;
            slopes[0]
        }
        VoiceCoil::Ladder { le_h, l2_h, r2_ohm } => {
            let (whole, along_l2, along_r2) = beside(jw * l2_h, r2_ohm.into());
            (slopes[0], slopes[1], slopes[2]) = (jw * le_h, along_l2, along_r2);
            slopes[0] + whole
        }
        VoiceCoil::SemiInductance { leb_h, le_h, ke_semih } => {
            let (whole, along_le, along_ke) =
                beside(jw * le_h, ke_semih * (omega / 2.0).sqrt() * Complex64::new(1.0, 1.0));
            (slopes[0], slopes[1], slopes[2]) = (jw * leb_h, along_le, along_ke);
            slopes[0] + whole
        }
        VoiceCoil::PowerLaw { k, n } => {
            slopes[0] = Complex64::from_polar(k * omega.powf(n), n * FRAC_PI_2);
            slopes[1] = slopes[0] * Complex64::new(omega.ln(), FRAC_PI_2);
            slopes[0]
        }
    }
}

/// The numbers of a model as they are searched.
pub(crate) fn searched(model: &DriverModel) -> Vec<f64> {
    let mut numbers = vec![model.re_ohm.ln(), model.fs_hz.ln(), model.qms.ln(), model.qes.ln()];
    match model.voice_coil {
        VoiceCoil::Inductance { le_h } => numbers.push(le_h.ln()),
        VoiceCoil::Ladder { le_h, l2_h, r2_ohm } => numbers.extend([le_h.ln(), l2_h.ln(), r2_ohm.ln()]),
        VoiceCoil::SemiInductance { leb_h, le_h, ke_semih } => numbers.extend([leb_h.ln(), le_h.ln(), ke_semih.ln()]),
        VoiceCoil::PowerLaw { k, n } => numbers.extend([k.ln(), n]),
    }
    if let Suspension::Creep { lambda } = model.suspension {
        numbers.push(lambda);
    }
    numbers
}

/// What the numbers of a model are called, in the order of its covariance.
pub fn natural_names(model: &DriverModel) -> Vec<&'static str> {
    let voice_coil = VoiceCoilKind::of(&model.voice_coil);
    Shape { voice_coil, suspension: SuspensionKind::of(&model.suspension) }.names()
}

/// The numbers of a model in SI, in the same order.
pub(super) fn natural(model: &DriverModel) -> Vec<f64> {
    let slopes = natural_slopes(model);
    let searched = searched(model);
    // Where the slope is one the number is searched as it is.
    (0..searched.len()).map(|at| if is_logarithm(model, at) { slopes[at] } else { searched[at] }).collect()
}

/// d(number)/d(searched number): the number itself where its logarithm is searched, else 1.
pub(crate) fn natural_slopes(model: &DriverModel) -> Vec<f64> {
    let searched = searched(model);
    (0..searched.len()).map(|at| if is_logarithm(model, at) { searched[at].exp() } else { 1.0 }).collect()
}

fn is_logarithm(model: &DriverModel, at: usize) -> bool {
    let is_power = matches!(model.voice_coil, VoiceCoil::PowerLaw { .. }) && at == SHARED + 1;
    let creep_at = matches!(model.suspension, Suspension::Creep { .. }).then(|| searched(model).len() - 1);
    !is_power && Some(at) != creep_at
}

/// The shapes there are, as far as they are wanted.
pub(super) fn shapes(coil: Option<VoiceCoilKind>, suspension: Option<SuspensionKind>) -> Vec<Shape> {
    use SuspensionKind::{Creep, Plain};
    use VoiceCoilKind::{Inductance, Ladder, PowerLaw, SemiInductance};
    let coils = coil.map_or(vec![Inductance, Ladder, SemiInductance, PowerLaw], |coil| vec![coil]);
    let suspensions = suspension.map_or(vec![Plain, Creep], |suspension| vec![suspension]);
    let of_coil = |voice_coil| suspensions.iter().map(move |&suspension| Shape { voice_coil, suspension });
    coils.into_iter().flat_map(of_coil).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    pub(crate) fn examples() -> Vec<DriverModel> {
        let coils = [
            VoiceCoil::Inductance { le_h: 0.4e-3 },
            VoiceCoil::Ladder { le_h: 0.3e-3, l2_h: 0.5e-3, r2_ohm: 4.0 },
            VoiceCoil::SemiInductance { leb_h: 50e-6, le_h: 1.2e-3, ke_semih: 0.12 },
            VoiceCoil::PowerLaw { k: 0.0055, n: 0.68 },
        ];
        let suspensions = [Suspension::Plain, Suspension::Creep { lambda: 0.1 }];
        let of_coil = |voice_coil| {
            suspensions.map(|suspension| DriverModel {
                re_ohm: 5.6,
                fs_hz: 38.0,
                qms: 4.2,
                qes: 0.42,
                voice_coil,
                suspension,
            })
        };
        coils.into_iter().flat_map(of_coil).collect()
    }

    fn shape_of(model: &DriverModel) -> Shape {
        let named = |shape: &Shape| {
            let same = shape.model(&[0.1; 8]);
            (same.voice_coil.name(), same.suspension.name()) == (model.voice_coil.name(), model.suspension.name())
        };
        shapes(None, None).into_iter().find(named).unwrap()
    }

    #[test]
    fn a_model_survives_being_taken_apart_and_its_impedance_is_the_models_own() {
        for model in examples() {
            let shape = shape_of(&model);
            let again = shape.model(&searched(&model));
            let mut slopes = vec![Complex64::ZERO; shape.count()];
            for hz in [5.0, 38.0, 700.0, 20_000.0] {
                let (found, expected) = (shape.impedance_ohm(&again, hz, &mut slopes), model.impedance_ohm(hz));
                // 1e-13: a few tens of roundings.
                assert!((found - expected).norm() < 1e-13 * expected.norm(), "{model:?} {hz} {found} {expected}");
            }
            let numbers = natural(&model);
            assert_eq!(numbers.len(), shape.names().len());
            assert!((numbers[0] - 5.6).abs() < 1e-12 && (numbers[3] - 0.42).abs() < 1e-13);
        }
    }

    /// Central differences of fourth order: (8·(Z₊₁ − Z₋₁) − (Z₊₂ − Z₋₂))/12h.
    #[test]
    fn slopes_are_those_of_differences() {
        let step = 2e-4;
        for model in examples() {
            let shape = shape_of(&model);
            let at = searched(&model);
            for hz in [5.0, 30.0, 38.0, 45.0, 700.0, 20_000.0] {
                let mut slopes = vec![Complex64::ZERO; shape.count()];
                let whole = shape.impedance_ohm(&model, hz, &mut slopes).norm();
                for (number, &slope) in slopes.iter().enumerate() {
                    let moved = |steps: f64| {
                        let mut moved = at.clone();
                        moved[number] += steps * step;
                        shape.model(&moved).impedance_ohm(hz)
                    };
                    let expected = (8.0 * (moved(1.0) - moved(-1.0)) - (moved(2.0) - moved(-2.0))) / (12.0 * step);
                    // Truncation: h⁴/30 of a fifth derivative of up to 5!·(2·Q_ms)⁵ = 5e6 beside the resonance, 3e-10;
                    // rounding: 1e-16/h.
                    let error = (slope - expected).norm() / whole;
                    assert!(error < 1e-9, "{:?} {} at {hz} Hz: {slope} {expected}", shape, shape.names()[number]);
                }
            }
        }
    }
}
