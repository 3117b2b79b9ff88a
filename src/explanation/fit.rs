//! The build that explains a measurement best, given what is blamed.
//!
//! ```text
//! χ² = ‖L⁻¹·(f(θ) − y)‖² + Σ_k (θ_k/σ_k)²        score = χ² + Σ_blamed (c_k + 2·ln(σ_k/s_k)) + K·(1 − A)
//! ```
//!
//! θ: deviations; σ_k: their usual standard deviation, or the wide one where k is blamed; L: root of the covariance
//! (`noise.rs`); c_k: what naming k costs; s_k: how well it is then known, so that a cause which can be anything has to
//! explain more than one that can be only what it is (Occam's factor of Bayes' rule, in Laplace's approximation); A: agreement
//! of the phases. Source: D. J. C. MacKay, "Bayesian Interpolation", Neural Computation 4 (1992) 415–447. The corrected
//! Akaike criterion does not suit: it counts parameters, and here every hypothesis has all of them.

use super::build::{Build, Question};
use super::cause::Cause;
use crate::math::{CovarianceRoot, Effort, Linearised, Sensitivity, least_squares, of_each};
use crate::speaker::Knob;

/// An explanation that was brought to its best.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Explained {
    pub build: Build,
    /// What is blamed.
    pub causes: Vec<Cause>,
    pub score: f64,
    /// Standard deviations of the deviations, given the measurement.
    pub doubts: Vec<f64>,
    /// What is left, predicted less measured.
    pub left: Vec<f64>,
}

/// Phases upside down weigh as much as this twice over.
const PHASE_WEIGHT: f64 = 60.0;
/// Steps of the slopes, in standard deviations of the deviation.
const STEP: f64 = 0.02;

/// K·(1 − A).
pub(super) fn phase_cost(question: &Question<'_>, build: &Build) -> f64 {
    PHASE_WEIGHT * (1.0 - question.agreement(build))
}

/// σ_k of each number.
pub(super) fn sigmas(question: &Question<'_>, causes: &[Cause]) -> Vec<f64> {
    let one = |number: &Cause| {
        let prior = number.prior(question.design, question.evidence.calibrated);
        prior.map_or(1.0, |prior| if causes.contains(number) { prior.blamed.max(prior.usual) } else { prior.usual })
    };
    question.numbers.iter().map(one).collect()
}

/// ∂f/∂θ of each number at a build; a column each. Along the parts of the network they are exact, along the rest differences.
pub(super) fn slopes(question: &Question<'_>, build: &Build, at: &[f64]) -> Option<Vec<Vec<f64>>> {
    let usual = sigmas(question, &[]);
    let of_parts = question.part_slopes(build).ok()?;
    let [levels, ohms] = [question.evidence.level.len(), question.evidence.ohm.len()];
    let slope = |&number: &usize| match question.numbers[number] {
        // Level and sense resistor shift everything alike, whatever the loudspeaker is.
        Cause::Level => Some([vec![1.0; levels], vec![0.0; at.len() - levels]].concat()),
        Cause::SenseResistor => {
            let after = at.len() - levels - ohms;
            Some([vec![0.0; levels], vec![-1.0; ohms], vec![0.0; after]].concat())
        }
        Cause::Number(Knob::Part(part)) => Some(of_parts[part].clone()),
        _ => {
            let step = STEP * usual[number].min(1.0);
            let mut moved = build.clone();
            moved.deviations[number] += step;
            let there = question.differences(&moved).ok()?;
            Some(there.iter().zip(at).map(|(there, here)| (there - here) / step).collect())
        }
    };
    let numbers: Vec<usize> = (0..question.numbers.len()).collect();
    of_each(&numbers, slope).into_iter().collect()
}

/// Brings a build to its best with these causes blamed.
pub(super) fn best(
    question: &Question<'_>,
    root: &CovarianceRoot,
    start: &Build,
    causes: &[Cause],
    effort: Effort,
) -> Option<Explained> {
    let sigmas = sigmas(question, causes);
    let count = sigmas.len();
    let scaled: Vec<f64> = start.deviations.iter().zip(&sigmas).map(|(deviation, sigma)| deviation / sigma).collect();
    let build_of = |scaled: &[f64]| Build {
        deviations: scaled.iter().zip(&sigmas).map(|(scaled, sigma)| scaled * sigma).collect(),
        events: start.events.clone(),
    };
    let model = |scaled: &[f64]| {
        let build = build_of(scaled);
        linearised(question, root, &build, scaled, &sigmas).unwrap_or_else(|| Linearised {
            residuals: vec![f64::INFINITY; count + 1],
            slopes: vec![0.0; count * (count + 1)],
        })
    };
    let found = least_squares(&scaled, effort, model)?;
    let build = build_of(&found.values);
    let square: f64 = found.linearised.residuals.iter().map(|residual| residual * residual).sum();
    let covariance = Sensitivity::new(&found.linearised, count)?.covariance;
    let doubts: Vec<f64> = (0..count).map(|at| covariance[at][at].sqrt() * sigmas[at]).collect();
    let occam = |cause: &Cause| match question.numbers.iter().position(|number| number == cause) {
        Some(at) => cause.cost() + 2.0 * (sigmas[at] / doubts[at]).ln().max(0.0),
        None => cause.cost(),
    };
    let score = square + causes.iter().map(occam).sum::<f64>() + phase_cost(question, &build);
    let left = question.differences(&build).ok()?;
    Some(Explained { build, causes: causes.to_vec(), score, doubts, left })
}

fn linearised(
    question: &Question<'_>,
    root: &CovarianceRoot,
    build: &Build,
    scaled: &[f64],
    sigmas: &[f64],
) -> Option<Linearised> {
    let count = scaled.len();
    let at = question.differences(build).ok()?;
    let mut residuals = root.whitened(&at)?;
    residuals.extend_from_slice(scaled);
    let mut all = Vec::with_capacity(count * residuals.len());
    for (number, column) in slopes(question, build, &at)?.into_iter().enumerate() {
        let own: Vec<f64> = column.iter().map(|slope| slope * sigmas[number]).collect();
        all.extend(root.whitened(&own)?);
        all.extend((0..count).map(|other| if other == number { 1.0 } else { 0.0 }));
    }
    Some(Linearised { residuals, slopes: all })
}
