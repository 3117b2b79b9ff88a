//! The numbers of a driver in its box as a search wants them.
//!
//! ```text
//! p = (driver: ln R_0, ln f_s, ln Q_ms, ln Q_es, voice coil …, λ)  (moved: ln ρ, ln μ, ln κ, ln φ)  (jig: ε …)  (ln α)  (ln f_b)  (ln f_p)  (d …)
//! ```
//!
//! Symbols as in `enclosure/boxed.rs`; ρ: resistance now over R_0. Logarithms of what is positive; loss factors d as
//! they are, so that zero can be reached and passed. What is not searched: without a known driver nothing has moved,
//! and behind a closed box α is taken as one, since then nothing tells air and suspension apart.

use super::{BoxKind, jig_error};
use crate::driver::{DriverModel, Shape, natural_slopes, searched};
use crate::enclosure::{BoxedDriver, Enclosure, LossFactors, Moved, Opening};

/// A loss of the box.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Loss {
    Leakage,
    Absorption,
    Opening,
}

/// What is known of the driver beforehand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Foreknowledge {
    Measured,
    Nothing,
}

/// Which numbers are searched.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Unknowns {
    pub(super) shape: Shape,
    pub(super) driver: Foreknowledge,
    pub(super) kind: BoxKind,
    pub(super) losses: Vec<Loss>,
    /// Whether the jig may be off (`jig_error.rs`).
    pub(super) jig: Jig,
}

/// What is known of the jig.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Jig {
    /// It may be off otherwise than when the driver was measured.
    Doubted,
    /// Nothing is known to be in doubt, or a driver that is not known takes it up.
    Trusted,
}

/// R_e, mass, stiffness, friction.
pub(super) const MOVED: usize = 4;
/// Beyond e to this power no ratio goes, so that all stay numbers.
const FARTHEST_LOG: f64 = 20.0;

impl Unknowns {
    /// Where what has moved begins.
    pub(super) fn moved_at(&self) -> usize {
        self.shape.count()
    }

    /// Whether α is searched. Behind an airtight closed box an unknown driver's suspension and the air are one spring;
    /// a leak passes by the air alone.
    fn has_alpha(&self) -> bool {
        self.driver == Foreknowledge::Measured
            || self.kind != BoxKind::Closed
            || self.at_in_list(Loss::Leakage).is_some()
    }

    fn jig_at(&self) -> usize {
        self.moved_at() + if self.driver == Foreknowledge::Measured { MOVED } else { 0 }
    }

    fn box_at(&self) -> usize {
        self.jig_at() + if self.jig == Jig::Doubted { jig_error::NUMBERS } else { 0 }
    }

    /// How the jig is off.
    pub(super) fn jig<'a>(&self, p: &'a [f64]) -> &'a [f64] {
        &p[self.jig_at()..self.box_at()]
    }

    fn losses_at(&self) -> usize {
        let tunings = match self.kind {
            BoxKind::Closed => 0,
            BoxKind::Vented => 1,
            BoxKind::PassiveRadiator => 2,
        };
        self.box_at() + usize::from(self.has_alpha()) + tunings
    }

    /// How many there are.
    #[cfg(test)]
    fn count(&self) -> usize {
        self.losses_at() + self.losses.len()
    }

    /// Where a loss factor stands.
    pub(super) fn at(&self, loss: Loss) -> Option<usize> {
        self.at_in_list(loss).map(|at| self.losses_at() + at)
    }

    fn at_in_list(&self, loss: Loss) -> Option<usize> {
        self.losses.iter().position(|&known| known == loss)
    }

    /// The driver in its box with these numbers.
    pub(super) fn model(&self, p: &[f64]) -> BoxedDriver {
        let exp = |at: usize| p[at].clamp(-FARTHEST_LOG, FARTHEST_LOG).exp();
        let driver = self.shape.model(&p[..self.shape.count()]);
        let first = self.moved_at();
        let moved = match self.driver {
            Foreknowledge::Nothing => Moved::NOTHING,
            Foreknowledge::Measured => Moved {
                resistance_ratio: exp(first),
                mass_ratio: exp(first + 1),
                stiffness_ratio: exp(first + 2),
                friction_ratio: exp(first + 3),
            },
        };
        let tuning = self.box_at() + usize::from(self.has_alpha());
        let alpha = if self.has_alpha() { exp(self.box_at()) } else { 1.0 };
        let opening = match self.kind {
            BoxKind::Closed => Opening::None,
            BoxKind::Vented => Opening::Vent { fb_hz: exp(tuning) },
            // The tuning's distance above the radiator's own resonance is searched, so that it stays above.
            BoxKind::PassiveRadiator => {
                let fp_hz = exp(tuning + 1);
                Opening::PassiveRadiator { fb_hz: fp_hz.hypot(exp(tuning)), fp_hz }
            }
        };
        let of = |loss| self.at(loss).map_or(0.0, |at| p[at]);
        let losses =
            LossFactors { leakage: of(Loss::Leakage), absorption: of(Loss::Absorption), opening: of(Loss::Opening) };
        BoxedDriver { driver, moved, enclosure: Enclosure { alpha, opening, losses } }
    }

    /// The numbers of a driver in its box, measured by a jig that is off by `jig`; empty: not off.
    pub(super) fn searched(&self, boxed: &BoxedDriver, jig: &[f64]) -> Vec<f64> {
        let (moved, enclosure) = (&boxed.moved, &boxed.enclosure);
        // Where α is not searched it is one, and the driver's own spring takes the rest.
        let softer = if self.has_alpha() { 1.0 } else { ((1.0 + enclosure.alpha) / 2.0).sqrt() };
        let DriverModel { fs_hz, qms, qes, .. } = boxed.driver;
        let mut p =
            searched(&DriverModel { fs_hz: fs_hz * softer, qms: qms * softer, qes: qes * softer, ..boxed.driver });
        if self.driver == Foreknowledge::Measured {
            let ratios =
                [moved.resistance_ratio, moved.mass_ratio, moved.stiffness_ratio, moved.friction_ratio].map(f64::ln);
            p.extend(ratios);
        }
        if self.jig == Jig::Doubted {
            p.extend((0..jig_error::NUMBERS).map(|at| jig.get(at).copied().unwrap_or(0.0)));
        }
        if self.has_alpha() {
            p.push(enclosure.alpha.ln());
        }
        match enclosure.opening {
            Opening::None => {}
            Opening::Vent { fb_hz } => p.push(fb_hz.ln()),
            Opening::PassiveRadiator { fb_hz, fp_hz } => {
                p.extend([(fb_hz * fb_hz - fp_hz * fp_hz).sqrt().ln(), fp_hz.ln()]);
            }
        }
        p.extend(self.losses.iter().map(|loss| match loss {
            Loss::Leakage => enclosure.losses.leakage,
            Loss::Absorption => enclosure.losses.absorption,
            Loss::Opening => enclosure.losses.opening,
        }));
        p
    }

    /// The driver's numbers as they are searched, from those of a measurement in SI; `None` where the covariance is not
    /// theirs.
    pub(super) fn of_driver(model: &DriverModel, covariance: &[Vec<f64>]) -> Option<(Vec<f64>, Vec<Vec<f64>>)> {
        let (numbers, slopes) = (searched(model), natural_slopes(model));
        if covariance.len() != slopes.len() || covariance.iter().any(|row| row.len() != slopes.len()) {
            return None;
        }
        let carried = |row: usize| (0..slopes.len()).map(|k| covariance[row][k] / (slopes[row] * slopes[k])).collect();
        Some((numbers, (0..slopes.len()).map(carried).collect()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::driver::{Suspension, SuspensionKind, VoiceCoil, VoiceCoilKind};

    #[test]
    fn numbers_go_there_and_back() {
        let driver = DriverModel {
            re_ohm: 5.6,
            fs_hz: 38.0,
            qms: 4.2,
            qes: 0.42,
            voice_coil: VoiceCoil::PowerLaw { k: 0.0055, n: 0.68 },
            suspension: Suspension::Creep { lambda: 0.1 },
        };
        let moved = Moved { resistance_ratio: 1.01, mass_ratio: 1.02, stiffness_ratio: 0.99, friction_ratio: 1.05 };
        let losses = LossFactors { leakage: -0.01, absorption: 0.02, opening: 0.0 };
        let shape = Shape { voice_coil: VoiceCoilKind::PowerLaw, suspension: SuspensionKind::Creep };
        for (kind, opening, losing) in [
            (BoxKind::Closed, Opening::None, vec![Loss::Leakage, Loss::Absorption]),
            (BoxKind::Vented, Opening::Vent { fb_hz: 42.0 }, vec![Loss::Leakage, Loss::Absorption, Loss::Opening]),
            (
                BoxKind::PassiveRadiator,
                Opening::PassiveRadiator { fb_hz: 42.0, fp_hz: 20.0 },
                vec![Loss::Absorption, Loss::Leakage],
            ),
        ] {
            let unknowns = Unknowns { shape, driver: Foreknowledge::Measured, kind, losses: losing, jig: Jig::Doubted };
            let boxed = BoxedDriver { driver, moved, enclosure: Enclosure { alpha: 1.7, opening, losses } };
            let jig = [0.1, -0.2, 0.3, -0.4, 0.5, -0.6];
            let p = unknowns.searched(&boxed, &jig);
            assert_eq!((p.len(), unknowns.jig(&p)), (unknowns.count(), &jig[..]));
            for hz in [20.0, 60.0, 200.0] {
                let (there, back) = (boxed.impedance_ohm(hz), unknowns.model(&p).impedance_ohm(hz));
                // 1e-12: roundings of logarithms.
                assert!((there / back - 1.0).norm() < 1e-12, "{kind:?}");
            }
        }
    }
}
