//! The fewest causes that explain a difference.
//!
//! From nothing on, the cause that helps most is added as long as it helps more than naming it costs (`fit.rs`); then each one
//! is tried without. Which causes are worth a full fit is found by trying each at a few sizes with everything else let go
//! along as far as usual: `χ² = rᵀ(C + Σ σ²·s·sᵀ)⁻¹·r` with the slopes s of the build so far. Where more is left over in the
//! end than model and measurement explain, all is done once more with as much more doubt.

use super::build::{Build, Question, fits};
use super::cause::Cause;
use super::fit::{Explained, best, sigmas, slopes};
use super::noise::{ModelError, covariance, widened};
use crate::math::{CovarianceRoot, Effort};

/// What the search found.
pub(super) struct Searched {
    pub explained: Explained,
    /// For each cause, others that would do nearly as well in its place.
    pub instead: Vec<Vec<Cause>>,
    /// The model's error that was needed.
    pub error: ModelError,
}

/// More causes than this are no explanation.
const MOST_CAUSES: usize = 4;
/// So many of the best are fitted fully.
const FITTED: usize = 5;
/// A cause must improve the score by this much.
const LEAST_GAIN: f64 = 3.0;
/// Another cause within this of the best can't be told from it: odds of 12 to 1.
const ALIKE: f64 = 5.0;
/// The mean square of what is left, over what was expected, that calls for more doubt; and how often that is done.
const TOO_MUCH: f64 = 1.35;
const MOST_ROUNDS: usize = 3;

pub(super) fn search(question: &Question<'_>) -> Option<Searched> {
    let mut error = ModelError::USUAL;
    let mut found = search_with(question, error)?;
    for _ in 0..MOST_ROUNDS {
        let [level, ohm] = left_over(question, &found.explained, error)?;
        if level <= TOO_MUCH && ohm <= TOO_MUCH {
            break;
        }
        error = error.grown(level.max(1.0).sqrt(), ohm.max(1.0).sqrt());
        found = search_with(question, error)?;
    }
    Some(found)
}

/// Mean square of the whitened rest, of levels and of impedances; the numbers that were fitted take little of it.
fn left_over(question: &Question<'_>, explained: &Explained, error: ModelError) -> Option<[f64; 2]> {
    let root = CovarianceRoot::new(&covariance(question.evidence, error))?;
    let white = root.whitened(&explained.left)?;
    let (level, ohm) = white.split_at(question.evidence.level.len());
    let mean = |all: &[f64]| all.iter().map(|one| one * one).sum::<f64>() / all.len().max(1) as f64;
    Some([mean(level), mean(ohm)])
}

fn search_with(question: &Question<'_>, error: ModelError) -> Option<Searched> {
    let spread = covariance(question.evidence, error);
    let root = CovarianceRoot::new(&spread)?;
    let [calibrated, jig, sound] =
        [question.evidence.calibrated, !question.evidence.ohm.is_empty(), !question.evidence.level.is_empty()];
    let all = Cause::all(question.design, calibrated, jig, sound);
    let mut now = best(question, &root, &question.healthy(), &[], Effort::Coarse)?;
    let mut instead: Vec<Vec<Cause>> = Vec::new();
    while now.causes.len() < MOST_CAUSES {
        let mut tried = candidates(question, &spread, &root, &now, &all)?;
        tried.sort_by(|one, other| one.score.total_cmp(&other.score));
        let Some(first) = tried.first().filter(|first| first.score < now.score - LEAST_GAIN).cloned() else { break };
        let new = |explained: &Explained| explained.causes.last().copied();
        let others = tried.iter().skip(1).filter(|other| other.score < first.score + ALIKE).filter_map(new);
        instead.push(others.collect());
        now = first;
    }
    // What came first may not be needed any more, or another cause in its place.
    for at in (0..now.causes.len()).rev() {
        if now.causes.len() == 1 {
            break;
        }
        let without = without(question, &now, at);
        let rest = best(question, &root, &without.0, &without.1, Effort::Coarse)?;
        if rest.score < now.score + LEAST_GAIN {
            now = rest;
            instead.remove(at);
            continue;
        }
        let mut tried = candidates(question, &spread, &root, &rest, &all)?;
        tried.sort_by(|one, other| one.score.total_cmp(&other.score));
        if let Some(better) = tried.first().filter(|better| better.score < now.score - LEAST_GAIN) {
            let kept = instead.remove(at);
            now = better.clone();
            instead.push(kept.into_iter().filter(|cause| Some(cause) != now.causes.last()).collect());
        }
    }
    let explained = best(question, &root, &now.build, &now.causes, Effort::Good)?;
    Some(Searched { explained, instead, error })
}

/// The build and the causes without the one at a place.
fn without(question: &Question<'_>, now: &Explained, at: usize) -> (Build, Vec<Cause>) {
    let (mut build, mut causes) = (now.build.clone(), now.causes.clone());
    let gone = causes.remove(at);
    match question.numbers.iter().position(|number| *number == gone) {
        Some(number) => build.deviations[number] = 0.0,
        None => build.events.retain(|event| *event != gone),
    }
    (build, causes)
}

/// Every cause that is worth it, added to what there is and fitted.
fn candidates(
    question: &Question<'_>,
    spread: &[Vec<f64>],
    root: &CovarianceRoot,
    now: &Explained,
    all: &[Cause],
) -> Option<Vec<Explained>> {
    let at = question.differences(&now.build).ok()?;
    let columns = slopes(question, &now.build, &at)?;
    let loose: Vec<(f64, Vec<f64>)> = sigmas(question, &now.causes).into_iter().zip(columns).collect();
    let loose_root = widened(spread, &loose)?;
    // Where the numbers are off already, the rest is judged from the design's own place.
    let mut base = now.build.clone();
    for (deviation, number) in base.deviations.iter_mut().zip(&question.numbers) {
        if !now.causes.contains(number) {
            *deviation = 0.0;
        }
    }
    let mut promising: Vec<(f64, Cause, Build)> = Vec::new();
    for cause in all.iter().filter(|cause| !now.causes.contains(cause)) {
        let mut nearest: Option<(f64, Build)> = None;
        for by in cause.tries() {
            let mut build = base.clone();
            match question.numbers.iter().position(|number| number == cause) {
                Some(number) => build.deviations[number] += by,
                None if fits(&build.events, *cause) => build.events.push(*cause),
                None => continue,
            }
            let Ok(difference) = question.differences(&build) else { continue };
            let Some(white) = loose_root.whitened(&difference) else { continue };
            let square = white.iter().map(|one| one * one).sum::<f64>();
            if nearest.as_ref().is_none_or(|(least, _)| square < *least) {
                nearest = Some((square, build));
            }
        }
        if let Some((square, build)) = nearest {
            let silent = matches!(cause, Cause::Polarity(_));
            // Phases tell what levels don't.
            let phase = if silent { 60.0 * (1.0 - question.agreement(&build)) } else { 0.0 };
            promising.push((square + cause.cost() + phase, *cause, build));
        }
    }
    promising.sort_by(|one, other| one.0.total_cmp(&other.0));
    let fitted = promising.into_iter().take(FITTED).filter_map(|(_, cause, build)| {
        let causes = [now.causes.as_slice(), &[cause]].concat();
        // The others start where they were.
        let mut start = build;
        for (deviation, (before, number)) in
            start.deviations.iter_mut().zip(now.build.deviations.iter().zip(&question.numbers))
        {
            if *number != cause && !now.causes.contains(number) {
                *deviation = 0.5 * before;
            }
        }
        best(question, root, &start, &causes, Effort::Coarse)
    });
    Some(fitted.collect())
}
