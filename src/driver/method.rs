//! The ways to a moving mass, and what becomes of two answers to one question.
//!
//! ```text
//! x = w₁x₁ + w₂x₂      z = (x₁ − x₂)/u(x₁ − x₂)      u'(x) = u(x)·max(1, |z|/2)
//! ```
//!
//! w: the weights of least doubt, correlation counted. Up to z = 2 the difference is taken for chance; beyond it the doubt
//! of the mean is widened in proportion.
//! Source: R. T. Birge, Physical Review 40 (1932) 207–227; the threshold of 2 is ours.

use super::Doubted;
use crate::math::{Correlated, best_weights, propagated};

/// How a moving mass was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)] // each is what it is called
pub enum Method {
    AddedMass,
    TestBox,
    KnownMass,
}

impl Method {
    /// Its name in documents.
    pub fn name(self) -> &'static str {
        match self {
            Self::AddedMass => "added-mass",
            Self::TestBox => "test-box",
            Self::KnownMass => "known-mass",
        }
    }
}

/// What one method alone gives; SI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MethodResult {
    /// Which.
    pub method: Method,
    /// M_ms; absent where the box is all there is and the cone's area is not known.
    pub mms_kg: Option<Doubted>,
    /// V_as; absent where the cone's area is not known.
    pub vas_m3: Option<Doubted>,
    /// What the textbook's formula makes of the two resonances alone: M_ms in kg, V_as in m³ for a test box.
    pub textbook: Option<f64>,
    /// How far resonance and damping are apart in this method, over the doubt of that.
    pub apart: Option<f64>,
    /// Whether it has a part in the result.
    pub is_used: bool,
}

/// Two methods side by side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Agreement {
    /// The one.
    pub a: Method,
    /// The other.
    pub b: Method,
    /// By how much the moving mass of `a` is above that of `b`.
    pub difference_percent: Doubted,
}

impl Agreement {
    /// Whether the difference is within what their doubts allow.
    pub fn agree(&self) -> bool {
        self.difference_percent.value.abs() <= MOST_APART * self.difference_percent.u
    }
}

/// Differences of more than so many standard uncertainties are none of chance.
const MOST_APART: f64 = 2.0;

/// The methods in pairs, from ln M_ms by each of them.
pub(super) fn agreements(found: &[Method], log_masses: &Correlated) -> Vec<Agreement> {
    let pair = |a: usize, b: usize| Agreement {
        a: found[a],
        b: found[b],
        difference_percent: Doubted {
            value: 100.0 * (log_masses.values[a] - log_masses.values[b]).exp_m1(),
            u: 100.0 * log_masses.u_difference(a, b),
        },
    };
    (0..found.len()).flat_map(|a| (a + 1..found.len()).map(move |b| (a, b))).map(|(a, b)| pair(a, b)).collect()
}

/// Two answers to one question, joined.
pub(super) struct Joined {
    pub weights: [f64; 2],
    /// What their being apart adds to the relative doubt of the mean.
    pub slack: f64,
    /// Their difference over its doubt.
    pub apart: f64,
}

impl Joined {
    pub fn of(two: &Correlated) -> Self {
        let weights = best_weights(&two.covariance);
        let weights = [weights[0], weights[1]];
        let u_apart = two.u_difference(0, 1);
        let apart = if u_apart > 0.0 { (two.values[0] - two.values[1]) / u_apart } else { 0.0 };
        let mean = weights[0] * two.values[0] + weights[1] * two.values[1];
        let mean_of = |values: &[f64]| weights[0] * values[0] + weights[1] * values[1];
        let own_u = propagated(two, |values| vec![mean_of(values)]).u(0);
        let widened = (apart.abs() / MOST_APART).max(1.0);
        Self { weights, slack: own_u * (widened * widened - 1.0).sqrt() / mean, apart }
    }
}
