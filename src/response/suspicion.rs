//! What there is to say about a chain that does not hold still, or does more than pass the sound on: in words.
//!
//! No equation: thresholds, each with its reason. Each finding speaks of what moves a level by about half a decibel or more, the least that
//! a person at the bench would act on.

use super::MarksPath;
use super::analysis::Analysis;
use super::hum::{Lines, lines};
use super::verdict::Evidence;
use crate::quantity::{Code, Finding, Severity, Whereabouts};

/// Between the marks and from repeat to repeat: the curve is off by as much at most.
const LEVEL_STEP_DB: f64 = 0.35;
/// Marks and sweeps differ by some tenths where a loudspeaker bends: harmonics of a mark come after its sound.
const BY_BAND_DB: f64 = 0.5;
/// The standard uncertainty of a level that is worth a word: half a decibel at k = 2.
const WORTH_SAYING_U_DB: f64 = 0.25;
/// The third harmonic of a sine whose crest is bent so far that its fundamental is half a decibel too low: 1.9 % for a cubic bend, and more
/// for any sharper one.
const THIRD_RATIO: f64 = 0.02;
/// The second one moves no level by itself; this much of it comes with a limit of one half.
const ALL_RATIO: f64 = 0.06;
/// A limit is met where the reply is loudest: within 6 dB.
const LOUD_RATIO: f64 = 0.5;
/// Over a sixth of an octave.
const STRETCH_POINTS: usize = 8;
/// A leak that moves the level by a quarter of a decibel.
const LEAK_SHARE: f64 = 0.03;
/// Sound that comes within this of the loopback came through wire: 3 cm of air.
const WITH_LOOPBACK_S: f64 = 1e-4;
/// What comes after a leak and is the sound itself.
const STRONG_AFTER_DB: f64 = -25.0;
/// Hum weaker than this against the reply is not worth a word: −70 dB.
const HUM_RATIO: f64 = 3e-4;

/// All of these findings.
pub(super) fn suspicions(evidence: &Evidence<'_>, analysis: &Analysis) -> Vec<Finding> {
    let mut all = level_drift(evidence);
    all.extend(gain_that_follows(evidence));
    all.extend(walls(evidence));
    all.extend(louder(evidence));
    all.extend(overdriven(evidence, analysis));
    all.extend(crosstalk(evidence, analysis));
    all.extend(hum(evidence, analysis));
    all
}

fn in_reply(evidence: &Evidence<'_>) -> Whereabouts {
    Whereabouts { channel: Some(evidence.settings.reply + 1), ..Whereabouts::default() }
}

fn level_drift(evidence: &Evidence<'_>) -> Vec<Finding> {
    let steps = &evidence.level_steps;
    let finding = |severity, says: String, advice: &str| Finding {
        at: in_reply(evidence),
        ..Finding::new(Code::LevelDrift, severity, says, advice)
    };
    let advice = "leave volume and gain alone, let the amplifier warm up, and switch automatic level control off; then measure again";
    let mut all = Vec::new();
    if let Some(step) = steps.marks.filter(|step| step.exceeds(LEVEL_STEP_DB)) {
        let says = format!(
            "the last time mark is {:+.1} dB louder than the first one: the level moved in between, and the curve's treble against its bass by up to as much",
            step.gain_db
        );
        all.push(finding(Severity::Caution, says, advice));
    }
    if let Some(step) = steps.repeats.filter(|step| step.exceeds(LEVEL_STEP_DB)) {
        let says = format!(
            "a repeat is {:+.1} dB louder than the first one; the curve is the mean of those that were used",
            step.gain_db
        );
        all.push(finding(Severity::Caution, says, advice));
    }
    let blind = steps.marks.is_none() && evidence.settings.marks == MarksPath::Shared;
    if blind && evidence.excitation.plan.sweep.is_some() {
        let says = "without time marks nothing tells whether the gain moved with the sweep, as automatic gain, a warming amplifier or a hand on the volume make it";
        all.push(finding(Severity::Note, says.into(), "use a sweep with time marks"));
    }
    all
}

/// Marks and sweeps through one system that are not alike.
fn gain_that_follows(evidence: &Evidence<'_>) -> Option<Finding> {
    let (band_hz, step) = evidence.level_steps.by_band.filter(|(_, step)| step.exceeds(BY_BAND_DB))?;
    let says = format!(
        "from {:.0} to {:.0} Hz the sweep is {:+.1} dB louder against the time marks than elsewhere: the gain follows the sound",
        band_hz[0], band_hz[1], step.gain_db
    );
    let advice = "switch off automatic gain, noise suppression, echo cancelling and limiters in device, driver and system; then measure again";
    Some(Finding { at: in_reply(evidence), ..Finding::new(Code::Processed, Severity::Caution, says, advice) })
}

fn walls(evidence: &Evidence<'_>) -> Option<Finding> {
    let walls = evidence.walls?;
    let [from_hz, to_hz] = walls.within_hz;
    let place = match (walls.below, walls.above) {
        (true, true) => format!("below {from_hz:.0} and above {to_hz:.0} Hz"),
        (true, false) => format!("below {from_hz:.0} Hz"),
        _ => format!("above {to_hz:.0} Hz"),
    };
    let says = format!(
        "{place} nothing comes back, as if cut off: no loudspeaker ends that steeply; the curve leaves that out"
    );
    let advice = "look for a voice path, noise suppression or a lower sample rate between microphone and file, and switch it off";
    Some(Finding { at: in_reply(evidence), ..Finding::new(Code::Processed, Severity::Caution, says, advice) })
}

fn louder(evidence: &Evidence<'_>) -> Option<Finding> {
    let louder = evidence.louder.filter(|louder| louder.worst_u_db > WORTH_SAYING_U_DB)?;
    let [from_hz, to_hz] = louder.band_hz;
    let says = format!(
        "while the sweep sounds, {from_hz:.0} to {to_hz:.0} Hz hold up to {:.0} times the noise of the silences; the uncertainty follows it",
        louder.times
    );
    let advice = "keep voices, cars and fans out of the next run; if it was quiet, look for a limiter or noise suppression in the chain";
    let at = Whereabouts { band_hz: Some(louder.band_hz), ..in_reply(evidence) };
    Some(Finding { at, ..Finding::new(Code::Disturbed, Severity::Caution, says, advice) })
}

/// Harmonics where the reply is loudest.
fn overdriven(evidence: &Evidence<'_>, analysis: &Analysis) -> Option<Finding> {
    let distortion = analysis.distortion.as_ref()?;
    let hz = distortion.grid.hz();
    // What the gate hides has no level.
    let level = |at_hz: f64| {
        let grid = analysis.response.grid.hz();
        let place = grid.partition_point(|&other| other < at_hz * 0.99);
        let is_near = grid.get(place).is_some_and(|&other| other < at_hz * 1.02);
        if is_near { analysis.response.values[place].norm() } else { 0.0 }
    };
    let loudest = analysis.response.values.iter().map(|value| value.norm()).fold(0.0, f64::max);
    let third = distortion.harmonics.iter().find(|harmonic| harmonic.order == 3)?;
    let is_bent = |at: &usize| {
        let bent = third.ratio[*at].is_some_and(|ratio| ratio > THIRD_RATIO)
            || distortion.thd_ratio[*at].is_some_and(|ratio| ratio > ALL_RATIO);
        bent && level(hz[*at]) > LOUD_RATIO * loudest
    };
    let bent: Vec<usize> = (0..hz.len()).filter(is_bent).collect();
    let is_stretch = |points: &[usize]| points[STRETCH_POINTS - 1] - points[0] < STRETCH_POINTS;
    if !bent.windows(STRETCH_POINTS).any(is_stretch) {
        return None;
    }
    let [first, last] = [bent[0], bent[bent.len() - 1]];
    let most = bent.iter().filter_map(|&at| distortion.thd_ratio[at]).fold(0.0, f64::max);
    let says = format!(
        "where the reply is loudest, between {:.0} and {:.0} Hz, its harmonics reach {:.0} %: something is overdriven or limits, and the level is too low there",
        hz[first],
        hz[last],
        100.0 * most
    );
    let advice = "measure 6 dB quieter: if the curve changes, lower the drive or the input gain";
    Some(Finding { at: in_reply(evidence), ..Finding::new(Code::LargeSignal, Severity::Caution, says, advice) })
}

fn crosstalk(evidence: &Evidence<'_>, analysis: &Analysis) -> Option<Finding> {
    let reference = evidence.settings.reference?;
    let Some(gain) = evidence.leak else { return leak_before_the_sound(evidence, analysis) };
    // The curve's own scale: microphone and reference of level are on it.
    let is_touched = |(hz, value): &(&f64, &num_complex::Complex64)| {
        gain * evidence.settings.calibration(**hz, 1.0).norm() > LEAK_SHARE * value.norm()
    };
    let touched: Vec<f64> = analysis
        .response
        .grid
        .hz()
        .iter()
        .zip(&analysis.response.values)
        .filter(is_touched)
        .map(|(hz, _)| *hz)
        .collect();
    let [from_hz, .., to_hz] = touched.as_slice() else { return None };
    let says = format!(
        "the loopback of channel {} leaks into the reply at {:.0} dB, and moves the level between {from_hz:.0} and {to_hz:.0} Hz by more than a quarter of a decibel",
        reference + 1,
        20.0 * gain.log10()
    );
    let advice = "part the cables, lower the loopback's level, or use an input that is not next to it";
    let at = Whereabouts { band_hz: Some([*from_hz, *to_hz]), ..in_reply(evidence) };
    Some(Finding { at, ..Finding::new(Code::Crosstalk, Severity::Caution, says, advice) })
}

/// A leak so strong that it is taken for the arrival: it comes with the loopback, and the sound after it.
fn leak_before_the_sound(evidence: &Evidence<'_>, analysis: &Analysis) -> Option<Finding> {
    let after = analysis.energy_time.reflection.filter(|after| after.level_db > STRONG_AFTER_DB)?;
    let says = format!(
        "the reply comes with the loopback, within {:.2} ms, and again {:.1} ms later: the first is a leak through wire, not sound",
        1e3 * analysis.arrival_s.abs().max(1e-5),
        1e3 * after.peak_s
    );
    let advice = "part the cables, lower the loopback's level, or use an input that is not next to it; for a filter without a loudspeaker this is as it should be";
    let comes_with_it = analysis.arrival_s.abs() < WITH_LOOPBACK_S;
    comes_with_it
        .then(|| Finding { at: in_reply(evidence), ..Finding::new(Code::Crosstalk, Severity::Caution, says, advice) })
}

fn hum(evidence: &Evidence<'_>, analysis: &Analysis) -> Vec<Finding> {
    let timeline = evidence.timeline;
    let channel = &timeline.channels[timeline.channels.len() - 1];
    let sweep = &evidence.heard.repeats.pieces[0];
    let reply = (sweep.iter().map(|x| x * x).sum::<f64>() / sweep.len().max(1) as f64).sqrt();
    let finding = |found: Lines| {
        let below_db = 20.0 * (reply / found.rms).log10();
        let name = if found.is_mains {
            format!("a hum of the mains at {:.0} Hz and its harmonics", found.hz)
        } else {
            format!("a whine at {:.0} Hz", found.hz)
        };
        // Where the curve admits half a decibel and more next to a line, the person should know why.
        let shown = analysis.response.grid.hz().iter().zip(analysis.response.u_db()).any(|(hz, u_db)| {
            (found.band_hz[0] / 1.1..=found.band_hz[1] * 1.1).contains(hz) && u_db > WORTH_SAYING_U_DB
        });
        let (severity, effect) = if shown {
            (Severity::Caution, "the curve's uncertainty holds what it does")
        } else {
            (Severity::Note, "the curve does not show it")
        };
        let advice = if found.is_mains {
            "look for a ground loop or a cable next to a transformer; a longer sweep or repeats lower it too"
        } else {
            "look for a power supply, a monitor or a fan near the cables or the microphone"
        };
        let at = Whereabouts { band_hz: Some(found.band_hz), ..in_reply(evidence) };
        Finding {
            at,
            ..Finding::new(
                Code::Hum,
                severity,
                format!("{name} lies {below_db:.0} dB below the reply; {effect}"),
                advice,
            )
        }
    };
    lines(channel, &timeline.silences, evidence.pattern.rate_hz)
        .into_iter()
        .filter(|found| found.rms > HUM_RATIO * reply)
        .map(finding)
        .collect()
}
