//! Why a loudspeaker does not do what its design promised.

use super::Evidence;
use super::build::{Build, Question, condition_word};
use super::cause::Cause;
use super::search::search;
use crate::speaker::{Design, SpeakerError, Turning};

/// Why, as far as it can be told.
#[derive(Debug, Clone, PartialEq)]
pub struct Explanation {
    /// What is blamed, what explains most first; empty: nothing significant.
    pub causes: Vec<Blamed>,
    /// What no cause explains, share of the difference, percent: noise, and what is usual.
    pub unexplained_percent: f64,
    /// Root mean square of what is left, dB; none without levels.
    pub left_db: Option<f64>,
    /// The same of |Z|, percent; none without impedance.
    pub left_ohm_percent: Option<f64>,
    /// How far the model was allowed to be off as a whole: levels, dB, and impedances, percent.
    pub model_error: [f64; 2],
}

/// A cause with what was found.
#[derive(Debug, Clone, PartialEq)]
pub struct Blamed {
    /// What.
    pub cause: Cause,
    /// The job's own name of it.
    pub name: String,
    /// What it was designed to be, SI; none where there is no number.
    pub designed: Option<f64>,
    /// What it is, SI, with its standard uncertainty; none where it is there or not.
    pub found: Option<[f64; 2]>,
    /// How much of the difference it explains, percent.
    pub explains_percent: f64,
    /// Others that would explain as much in its place.
    pub instead: Vec<Cause>,
    /// What kind of state it is in, where there is no number: `open`, `reversed` …
    pub state: Option<&'static str>,
}

/// Why what was measured is not what the design promised.
///
/// # Errors
/// [`SpeakerError`] when the design can't be simulated at all.
pub fn explain(design: &Design, evidence: &Evidence) -> Result<Explanation, SpeakerError> {
    let question = Question::new(design, evidence)?;
    let lost = || SpeakerError::NoPoint {
        from_hz: evidence.hz[0],
        to_hz: evidence.hz[evidence.hz.len() - 1],
        why: "the design has no finite response there".into(),
    };
    question.differences(&question.healthy())?;
    let searched = search(&question).ok_or_else(lost)?;
    let explained = &searched.explained;
    let shares = shares(&question, &explained.build, &explained.causes).ok_or_else(lost)?;
    let mut causes: Vec<Blamed> = explained
        .causes
        .iter()
        .enumerate()
        .map(|(at, cause)| Blamed {
            cause: *cause,
            name: cause.name(design),
            designed: designed(*cause, design),
            found: found(&question, explained.build.deviations.as_slice(), &explained.doubts, *cause),
            explains_percent: shares[at],
            instead: searched.instead.get(at).cloned().unwrap_or_default(),
            state: state(*cause),
        })
        .collect();
    let unexplained_percent = if causes.is_empty() { 100.0 } else { (100.0 - shares.iter().sum::<f64>()).max(0.0) };
    causes.sort_by(|one, other| other.explains_percent.total_cmp(&one.explains_percent));
    let levels = evidence.level.len();
    let rms = |all: &[f64]| {
        (!all.is_empty()).then(|| (all.iter().map(|one| one * one).sum::<f64>() / all.len() as f64).sqrt())
    };
    let magnitudes = &explained.left[levels..levels + evidence.ohm.len()];
    Ok(Explanation {
        causes,
        unexplained_percent,
        left_db: rms(&explained.left[..levels]),
        left_ohm_percent: rms(magnitudes).map(|ratio| 100.0 * ratio),
        model_error: [searched.error.level_db, 100.0 * searched.error.ohm_ratio],
    })
}

/// How much of the difference each cause takes away, one after the other, percent.
fn shares(question: &Question<'_>, build: &Build, causes: &[Cause]) -> Option<Vec<f64>> {
    let mut now = question.healthy();
    let mut before = difference_db2(question, &now)?;
    let whole = before.max(f64::MIN_POSITIVE);
    let mut shares = Vec::new();
    for cause in causes {
        match question.numbers.iter().position(|number| number == cause) {
            Some(number) => now.deviations[number] = build.deviations[number],
            None => now.events.push(*cause),
        }
        let after = difference_db2(question, &now)?;
        shares.push((100.0 * (before - after) / whole).clamp(0.0, 100.0));
        before = after;
    }
    Some(shares)
}

/// Mean square of the levels' difference, and of the impedance's as if that were one, dB²; a level that is not calibrated
/// counts without its mean.
fn difference_db2(question: &Question<'_>, build: &Build) -> Option<f64> {
    let all = question.differences(build).ok()?;
    let levels = question.evidence.level.len();
    let (level, rest) = all.split_at(levels);
    let ohm = &rest[..2 * question.evidence.ohm.len()];
    let count = |part: &[f64]| part.len().max(1) as f64;
    let mean = if question.evidence.calibrated { 0.0 } else { level.iter().sum::<f64>() / count(level) };
    let db_of_ln = 20.0 / std::f64::consts::LN_10;
    let of_level = level.iter().map(|db| (db - mean).powi(2)).sum::<f64>() / count(level);
    let of_ohm = ohm.iter().map(|ln| (db_of_ln * ln).powi(2)).sum::<f64>() / count(ohm);
    Some(of_level + of_ohm)
}

fn designed(cause: Cause, design: &Design) -> Option<f64> {
    match cause {
        Cause::Number(knob) => Some(knob.value(design)),
        Cause::Level => Some(0.0),
        Cause::Distance => Some(design.ear.distance_m),
        Cause::Broken(part, _) => Some(design.network.parts[part].value),
        Cause::SenseResistor => Some(1.0),
        Cause::Polarity(_) | Cause::Swapped(..) => None,
    }
}

fn found(question: &Question<'_>, deviations: &[f64], doubts: &[f64], cause: Cause) -> Option<[f64; 2]> {
    let at = question.numbers.iter().position(|number| *number == cause)?;
    let (by, u) = (deviations[at], doubts[at]);
    let designed = designed(cause, question.design)?;
    match cause {
        Cause::Number(knob) if knob.turning() == Turning::Difference => Some([designed + by, u]),
        Cause::Level => Some([by, u]),
        _ => Some([designed * by.exp(), designed * by.exp() * u]),
    }
}

fn state(cause: Cause) -> Option<&'static str> {
    match cause {
        Cause::Broken(_, condition) => Some(condition_word(condition)),
        Cause::Polarity(_) => Some("reversed"),
        Cause::Swapped(..) => Some("swapped"),
        _ => None,
    }
}
