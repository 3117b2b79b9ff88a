//! The fewest causes that explain a difference.
//!
//! From nothing on, the cause that helps most is added as long as it helps more than naming it costs (`fit.rs`); then each one
//! is tried without. Which causes are worth a full fit is found by trying each at a few sizes with everything else let go
//! along as far as usual, and itself to its best along a straight line: `χ² = rᵀ(C + Σ σ²·s·sᵀ)⁻¹·r` with the slopes s of the build so far. Where more is left over in the
//! end than model and measurement explain, all is done once more with as much more doubt.

use super::build::{Build, Question, fits};
use super::cause::Cause;
use super::fit::{Explained, best, phase_cost, sigmas, slopes};
use super::noise::{ModelError, covariance, widened};
use crate::math::{CovarianceRoot, Effort, of_each};

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
const LEAST_GAIN: f64 = 2.5;
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
    let (level, rest) = white.split_at(question.evidence.level.len());
    let ohm = &rest[..2 * question.evidence.ohm.len()];
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
    // A straight line back to where nothing is off: what is usual is counted from there.
    let mut home = vec![0.0; at.len()];
    for ((_, column), deviation) in loose.iter().zip(&now.build.deviations) {
        home.iter_mut().zip(column).for_each(|(home, slope)| *home -= deviation * slope);
    }
    let mut plain = now.build.clone();
    for (deviation, number) in plain.deviations.iter_mut().zip(&question.numbers) {
        *deviation *= if now.causes.contains(number) { 1.0 } else { 0.0 };
    }
    let nowhere = vec![0.0; at.len()];
    let here = loose_root.whitened(&at.iter().zip(&home).map(|(there, home)| there + home).collect::<Vec<_>>());
    let promise = |cause: &&Cause| -> Option<(f64, Cause, Build)> {
        let cause = *cause;
        let mut nearest: Option<(f64, Build)> = None;
        let squares = |build: &Build, home: &[f64]| {
            let difference = question.differences(build).ok()?;
            let from_home: Vec<f64> = difference.iter().zip(home).map(|(there, home)| there + home).collect();
            loose_root.whitened(&from_home)
        };
        let place = question.numbers.iter().position(|number| number == cause);
        let along = place.and_then(|number| loose_root.whitened(&loose[number].1));
        let blamed = cause.prior(question.design, question.evidence.calibrated).map_or(1.0, |prior| prior.blamed);
        let tries = [0.0].into_iter().chain(cause.tries()).filter(|by| place.is_some() || *by != 0.0);
        // Numbers that were strained to explain it without an event are in its way: events are tried without them too.
        let from =
            if place.is_some() { vec![(&now.build, &home)] } else { vec![(&now.build, &home), (&plain, &nowhere)] };
        for (by, (base, home)) in tries.flat_map(|by| from.iter().map(move |from| (by, *from))) {
            let mut build = base.clone();
            match place {
                Some(number) => build.deviations[number] += by,
                None if fits(&build.events, *cause) => build.events.push(*cause),
                None => continue,
            }
            // Where nothing is turned all causes begin alike.
            let white = if by == 0.0 { here.clone() } else { squares(&build, home) };
            let Some(white) = white else { continue };
            let mut square = white.iter().map(|one| one * one).sum::<f64>();
            // From there on a straight step along its own slope, as far as it helps.
            if let (Some(number), Some(along)) = (place, &along) {
                let by = build.deviations[number];
                let towards: f64 = along.iter().zip(&white).map(|(slope, rest)| slope * rest).sum();
                let stiff: f64 = along.iter().map(|slope| slope * slope).sum::<f64>() + blamed.powi(-2);
                let step = (-(towards + by / blamed.powi(2)) / stiff).clamp(-blamed, blamed);
                let prior = ((by + step) / blamed).powi(2);
                let promised = square + step * step * (stiff - blamed.powi(-2)) + 2.0 * step * towards;
                let mut stepped = build.clone();
                stepped.deviations[number] += step;
                // Where the slope bends, the straight step may lead astray: the fit then starts without it.
                let there =
                    squares(&stepped, home).map_or(f64::INFINITY, |white| white.iter().map(|one| one * one).sum());
                if there < square {
                    build = stepped;
                }
                square = promised.min(there) + prior;
            }
            if nearest.as_ref().is_none_or(|(least, _)| square < *least) {
                nearest = Some((square, build));
            }
        }
        // Phases tell what levels don't.
        nearest.map(|(square, build)| (square + cause.cost() + phase_cost(question, &build), *cause, build))
    };
    let others: Vec<&Cause> = all.iter().filter(|cause| !now.causes.contains(cause)).collect();
    let mut promising: Vec<(f64, Cause, Build)> = of_each(&others, promise).into_iter().flatten().collect();
    promising.sort_by(|one, other| one.0.total_cmp(&other.0));
    promising.truncate(FITTED);
    let fitted = of_each(&promising, |(_, cause, build)| {
        let causes = [now.causes.as_slice(), &[*cause]].concat();
        best(question, root, build, &causes, Effort::Coarse)
    });
    Some(fitted.into_iter().flatten().collect())
}
