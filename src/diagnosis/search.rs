//! One set of unknowns, brought as near to the curve as it goes.
//!
//! ```text
//! minimise  Σ aᵢ·|Z(p, fᵢ) + δZ(ε, fᵢ) − Zᵢ|²/σᵢ²  +  Σ near²  +  Σ prior²
//! ```
//!
//! aᵢ, σᵢ: `driver/weighting.rs`; near: `near_field.rs`; prior: `prior.rs`; δZ: `jig_error.rs`. Slopes are central
//! differences, whose error of [`STEP`]² is far below what a doubt needs.

use super::jig_error::JigError;
use super::near_field::NearField;
use super::prior::Prior;
use super::unknowns::Unknowns;
use crate::driver::Weighting;
use crate::enclosure::BoxedDriver;
use crate::impedance::Impedance;
use crate::math::{Effort, Ending, Linearised, least_squares};
use num_complex::Complex64;

/// All that a box is to be found in.
#[derive(Debug, Clone)]
pub(super) struct Evidence {
    pub(super) curve: Impedance,
    pub(super) weighting: Weighting,
    pub(super) near: NearField,
    pub(super) prior: Prior,
    /// How the jig may bend the curve; absent where nothing tells it.
    pub(super) jig_error: Option<JigError>,
}

/// A box at its best.
#[derive(Debug, Clone)]
pub(super) struct Fitted {
    pub(super) unknowns: Unknowns,
    pub(super) p: Vec<f64>,
    pub(super) model: BoxedDriver,
    /// Residuals and slopes: the curve's, two a point, then the near field's, then the prior's.
    pub(super) linearised: Linearised,
    /// Sum of all squares.
    pub(super) chi_square: f64,
    pub(super) ending: Ending,
}

/// Step of the differences, of logarithms and loss factors.
const STEP: f64 = 1e-5;

impl Evidence {
    /// How many independent real numbers there are, those known beforehand counted.
    pub(super) fn numbers(&self, fitted: &Fitted) -> f64 {
        let others = fitted.linearised.residuals.len() - 2 * self.curve.hz().len();
        let gains = [&self.near.cone, &self.near.opening].into_iter().flatten().count();
        self.weighting.numbers() + (others - gains) as f64
    }

    /// The nearest of all searches from these starts.
    pub(super) fn nearest(&self, unknowns: &Unknowns, starts: &[Vec<f64>], effort: Effort) -> Option<Fitted> {
        let ends = starts.iter().filter_map(|start| self.search(unknowns, start, effort));
        ends.min_by(|a, b| a.chi_square.total_cmp(&b.chi_square))
    }

    fn search(&self, unknowns: &Unknowns, start: &[f64], effort: Effort) -> Option<Fitted> {
        let found = least_squares(start, effort, |p| self.linearised(unknowns, p))?;
        let chi_square: f64 = found.linearised.residuals.iter().map(|r| r * r).sum();
        chi_square.is_finite().then(|| Fitted {
            unknowns: unknowns.clone(),
            model: unknowns.model(&found.values),
            p: found.values,
            linearised: found.linearised,
            chi_square,
            ending: found.ending,
        })
    }

    fn linearised(&self, unknowns: &Unknowns, p: &[f64]) -> Linearised {
        let residuals = self.residuals(unknowns, p);
        let mut slopes = Vec::with_capacity(residuals.len() * p.len());
        let mut moved = p.to_vec();
        for at in 0..p.len() {
            moved[at] = p[at] + STEP;
            let above = self.residuals(unknowns, &moved);
            moved[at] = p[at] - STEP;
            let below = self.residuals(unknowns, &moved);
            moved[at] = p[at];
            slopes.extend(above.iter().zip(&below).map(|(above, below)| (above - below) / (2.0 * STEP)));
        }
        Linearised { residuals, slopes }
    }

    fn residuals(&self, unknowns: &Unknowns, p: &[f64]) -> Vec<f64> {
        let model = unknowns.model(p);
        let weights = self.weighting.share.iter().zip(&self.weighting.sigma_ohm);
        let points = self.curve.hz().iter().zip(self.curve.values()).zip(weights);
        let jig = unknowns.jig(p);
        let mut residuals: Vec<f64> = points
            .flat_map(|((&hz, measured), (share, sigma))| {
                let off = (self.shown_ohm(&model, jig, hz) - measured) * (share.sqrt() / sigma);
                [off.re, off.im]
            })
            .collect();
        residuals.extend(self.near.residuals(&model));
        residuals.extend(self.prior.residuals(unknowns, p));
        residuals
    }

    /// What a jig that is off by these numbers shows of the model.
    fn shown_ohm(&self, model: &BoxedDriver, jig: &[f64], hz: f64) -> Complex64 {
        let z_ohm = model.impedance_ohm(hz);
        z_ohm + self.jig_error.map_or(Complex64::ZERO, |error| error.ohm(jig, z_ohm))
    }

    /// What a fit leaves of the curve over σ, a complex number a point.
    pub(super) fn left_over_sigma(&self, fitted: &Fitted) -> Vec<Complex64> {
        self.left_ohm(fitted).iter().zip(&self.weighting.sigma_ohm).map(|(left, sigma)| left / sigma).collect()
    }

    /// Measured less model and jig, ohm.
    pub(super) fn left_ohm(&self, fitted: &Fitted) -> Vec<Complex64> {
        let jig = fitted.unknowns.jig(&fitted.p);
        let points = self.curve.hz().iter().zip(self.curve.values());
        points.map(|(&hz, measured)| measured - self.shown_ohm(&fitted.model, jig, hz)).collect()
    }

    /// The same with the noise that the points would have on the model.
    pub(super) fn weighted_on(&self, model: &BoxedDriver) -> Weighting {
        let ohm: Vec<Complex64> = self.curve.hz().iter().map(|&hz| model.impedance_ohm(hz)).collect();
        self.weighting.on_model(self.curve.values(), &ohm)
    }
}
