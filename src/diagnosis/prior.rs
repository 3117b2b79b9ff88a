//! What is known before the curve is read, as residuals beside those of the curve.
//!
//! ```text
//! r = L⁻¹·(p_driver − p_known)        r = ln ρ/σ_ρ,  ln μ/σ_μ,  ln κ/σ_κ,  ln φ/σ_φ,  ε
//! ```
//!
//! L: root of the covariance of the driver's numbers from its own measurement (`math/cholesky.rs`). ρ, μ, κ, φ:
//! resistance, moving mass, stiffness, friction in the box over those in free air. Bl²/M_ms stays what it was, so that
//! the curve tells μ, and κ + α whatever μ is: `(f_c·Q_ec/R_ec)/(f_s·Q_es/R_es) = κ + α`; what is not known of κ goes
//! into α.

use super::KnownDriver;
use super::unknowns::{Foreknowledge, MOVED, Unknowns};
use crate::math::CovarianceRoot;

/// How much a voice coil's resistance differs between two measurements: copper has 0.39 %/K, rooms and coils some kelvin.
const RESISTANCE: f64 = 0.01;
/// The air that moves along weighs some percent of a small cone, and more or less of it in a box
/// (`driver/test_box.rs`); wide, the curve tells.
const MASS: f64 = 0.05;
/// A suspension within an evening, at one temperature (ours: two measurements of one driver within an hour differ by
/// half of that).
pub(super) const STIFFNESS: f64 = 0.005;
/// Friction follows temperature and rest more than stiffness does (ours).
pub(super) const FRICTION: f64 = 0.03;

/// What is known beforehand.
#[derive(Debug, Clone)]
pub(super) struct Prior {
    driver: Option<(Vec<f64>, CovarianceRoot)>,
}

impl Prior {
    /// Of a driver that may be known.
    pub(super) fn new(driver: Option<&KnownDriver>) -> Option<Self> {
        let Some(known) = driver else { return Some(Self { driver: None }) };
        let (numbers, covariance) = Unknowns::of_driver(&known.model, &known.covariance)?;
        Some(Self { driver: Some((numbers, CovarianceRoot::new(&covariance)?)) })
    }

    /// How many residuals tell the driver's numbers.
    pub(super) fn of_driver(&self) -> usize {
        self.driver.as_ref().map_or(0, |(numbers, _)| numbers.len())
    }

    /// All residuals: those of the driver first, then those of what has moved, then the jig's.
    pub(super) fn residuals(&self, unknowns: &Unknowns, p: &[f64]) -> Vec<f64> {
        let (Some((numbers, root)), Foreknowledge::Measured) = (&self.driver, unknowns.driver) else {
            return Vec::new();
        };
        let off: Vec<f64> = p.iter().zip(numbers).map(|(p, known)| p - known).collect();
        let mut residuals = root.whitened(&off).unwrap_or(off);
        let moved = &p[unknowns.moved_at()..unknowns.moved_at() + MOVED];
        residuals.extend(moved.iter().zip([RESISTANCE, MASS, STIFFNESS, FRICTION]).map(|(p, sigma)| p / sigma));
        residuals.extend(unknowns.jig(p));
        residuals
    }
}
