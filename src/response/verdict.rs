//! What there is to say about a response's trust, in words.
//!
//! No equation: thresholds, each with its reason. All cautions and faults together are tuned to accuse at most 1 % of clean captures: 2 of 400
//! drawn by `examples/damage_table` (`response 40 20261127 clean`).

use super::analysis::{Analysis, Settings, TimeReference};
use super::band_wall::Walls;
use super::excess::Polarity;
use super::hearing::Heard;
use super::inspect::{clipping, flat_tops, held_samples, offset};
use super::level_steps::LevelSteps;
use super::octave_arrivals::another_sweep;
use super::sounding_noise::Louder;
use super::spread::Disagreement;
use super::suspicion::suspicions;
use super::timeline::{Correction, Timeline};
use super::{Cause, FrequencyResponse, GateChoice, Interruption, MarksPath, Pattern, Step, ToldBy};
use crate::quantity::{Code, Finding, Quantity, Severity, Unit, Whereabouts};
use crate::signal::{Excitation, Recording};

/// What the verdict is built on.
#[derive(Clone, Copy)]
pub(super) struct Evidence<'a> {
    pub recording: &'a Recording,
    pub excitation: &'a Excitation,
    pub settings: &'a Settings,
    pub pattern: &'a Pattern,
    pub timeline: &'a Timeline,
    pub heard: &'a Heard,
    pub disagreement: Option<&'a Disagreement>,
    pub louder: Option<Louder>,
    pub level_steps: LevelSteps,
    /// Gain by which the loopback leaks into the reply.
    pub leak: Option<f64>,
    pub walls: Option<Walls>,
    /// By how much each octave comes after the one below it, where they come one after the other.
    pub octaves_apart_s: Option<f64>,
    /// Share of the points that noise alone makes doubtful.
    pub noisy_share: f64,
}

/// Quieter than this a 16-bit input spends half of its bits on nothing.
const QUIET_PEAK_DBFS: f64 = -50.0;
/// Below this ratio the noise shows in the curve.
const NOISY_DB: f64 = 30.0;
/// A level more doubtful than this (k = 1) is said to be noisy …
const NOISY_U_DB: f64 = 1.0;
/// … when it is so at more than this share of the points.
const NOISY_SHARE: f64 = 0.1;
/// Repeats that leave a level no more doubtful than this (k = 1) lie close enough.
const APART_U_DB: f64 = 0.1;
/// Clocks of interfaces differ by up to some ten ppm (common practice); more deserves a word.
const WORTH_SAYING_PPM: f64 = 1.0;
/// Crystals are off by 100 ppm at worst, and two of them differ by twice that (common practice).
const MOST_PPM: f64 = 200.0;
/// A reply this much before the loopback, 17 mm of sound, is no tolerance of an arrival.
const EARLY_S: f64 = 5e-5;
/// A gate that leaves nothing below this hides what most loudspeakers are judged by.
const SHORT_GATE_LOWEST_HZ: f64 = 500.0;

/// All findings, the worst first.
pub(super) fn findings(evidence: &Evidence<'_>, analysis: &Analysis, polarity: Polarity) -> Vec<Finding> {
    let mut all = Vec::new();
    let channels = [Some(evidence.settings.reply), evidence.settings.reference];
    let sounding = sounding_frames(evidence);
    for channel in channels.into_iter().flatten() {
        let clipped = clipping(evidence.recording, channel);
        all.extend(clipped.or_else(|| flat_tops(evidence.recording, channel, sounding.clone())));
        all.extend(held_samples(evidence.recording, channel, sounding.clone()));
        all.extend(offset(evidence.recording, channel, &evidence.timeline.silences));
    }
    all.extend(lost_samples(evidence));
    all.extend(broken_into(evidence));
    all.extend(swapped(evidence, analysis));
    all.extend(evidence.octaves_apart_s.map(|apart_s| another_sweep(apart_s, evidence.settings.reply)));
    all.extend(clock(evidence, analysis));
    all.extend(marks_unheard(evidence, analysis));
    all.extend(rubs(analysis));
    all.extend(missing_repeats(evidence));
    all.extend(disturbed(evidence));
    all.extend(unstable(evidence));
    all.extend(loudness(evidence, analysis));
    all.extend(suspicions(evidence, analysis));
    all.extend(gate(evidence, analysis));
    all.extend(band(evidence, analysis));
    if polarity == Polarity::Reversed {
        all.push(Finding {
            code: Code::ReversedPolarity,
            severity: Severity::Note,
            says: "the first sound goes the other way than the excitation".into(),
            advice: "check the wiring if you expected otherwise; microphones and amplifiers may turn it too".into(),
            at: Whereabouts { channel: Some(evidence.settings.reply + 1), ..Whereabouts::default() },
        });
    }
    all.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    all
}

/// From the first to the last frame of the sweeps, on the recorder's clock.
fn sounding_frames(evidence: &Evidence<'_>) -> std::ops::Range<usize> {
    let plan = &evidence.excitation.plan;
    let scale = 1.0 + evidence.timeline.drift.map_or(0.0, |drift| drift.ratio);
    let place = |frame: i64| (frame.max(0) as f64 * scale) as usize;
    let offset = evidence.timeline.offset_frames;
    let first = plan.starts.first().copied().unwrap_or(0) as i64;
    let last = (plan.starts.last().copied().unwrap_or(0) + plan.frames) as i64;
    place(offset + first)..place(offset + last)
}

fn lost_samples(evidence: &Evidence<'_>) -> Option<Finding> {
    let first = evidence.timeline.broken.first()?;
    let seconds = |frame: i64| evidence.recording.rate.seconds(frame.max(0) as usize);
    let words: Vec<String> = evidence
        .timeline
        .broken
        .iter()
        .map(|step| format!("{} before {:.2} s", lost_in_words(step), seconds(step.at_frame)))
        .collect();
    Some(Finding {
        code: Code::Dropout,
        severity: Severity::Fault,
        says: format!("samples got lost: {}", words.join("; ")),
        advice: "close other programs, use a larger buffer, and measure again".into(),
        at: Whereabouts {
            channel: Some(evidence.settings.reference.unwrap_or(evidence.settings.reply) + 1),
            time_s: Some([0.0, seconds(first.at_frame)]),
            band_hz: None,
        },
    })
}

/// What no response explains, in repeats that were used or left out.
fn broken_into(evidence: &Evidence<'_>) -> Vec<Finding> {
    let Evidence { heard, excitation, timeline, .. } = evidence;
    let finding = |(number, found): &(usize, Interruption)| {
        let start = timeline.offset_frames + excitation.plan.starts[*number] as i64 - heard.cut.before as i64;
        let seconds = |frame: usize| evidence.recording.rate.seconds((start + frame as i64).max(0) as usize);
        let time_s = [seconds(found.frames.start), seconds(found.frames.end)];
        let left_out = heard.disturbed.contains(number);
        let (code, says, advice) = match found.cause {
            Cause::LostSamples => (
                Code::Dropout,
                format!("samples got lost within the sweep, at {:.2} s", time_s[0]),
                "close other programs, use a larger buffer, and measure again",
            ),
            Cause::Noise => (
                Code::Disturbed,
                format!("another sound broke into the sweep between {:.2} and {:.2} s", time_s[0], time_s[1]),
                "keep doors and voices out of the next run, or use three repeats or more",
            ),
        };
        let severity = match (found.cause, left_out) {
            (_, true) => Severity::Note,
            (Cause::LostSamples, false) => Severity::Fault,
            (Cause::Noise, false) => Severity::Caution,
        };
        let says = if left_out { format!("{says}; that repeat was left out") } else { says };
        let at = Whereabouts { channel: Some(evidence.settings.reply + 1), time_s: Some(time_s), band_hz: None };
        Finding { code, severity, says, advice: advice.into(), at }
    };
    // Clipping comes and goes as suddenly as a noise does, and has its own words.
    let clipped = clipping(evidence.recording, evidence.settings.reply).is_some();
    heard.interruptions.iter().filter(|(_, found)| !(clipped && found.cause == Cause::Noise)).map(finding).collect()
}

/// Sound comes later than the loopback: a reply that comes earlier is none.
fn swapped(evidence: &Evidence<'_>, analysis: &Analysis) -> Option<Finding> {
    let reference = evidence.settings.reference?;
    let early_s = -analysis.arrival_s - 2.0 * analysis.u_arrival_s;
    (early_s > EARLY_S).then(|| Finding {
        code: Code::ChannelsSwapped,
        severity: Severity::Fault,
        says: format!(
            "the reply in channel {} comes {:.2} ms before the loopback in channel {}",
            evidence.settings.reply + 1,
            -1e3 * analysis.arrival_s,
            reference + 1
        ),
        advice: "swap the two: name the microphone's channel as reply and the loopback's as reference".into(),
        at: Whereabouts { channel: Some(evidence.settings.reply + 1), ..Whereabouts::default() },
    })
}

/// A coil that scrapes, or a part that is loose.
fn rubs(analysis: &Analysis) -> Option<Finding> {
    let found = analysis.high_order.as_ref()?.rubbing?;
    let [from_hz, to_hz] = found.band_hz;
    let says = format!(
        "something scrapes or knocks in step with the cone from {from_hz:.0} to {to_hz:.0} Hz: {:.0} dB re the fundamental at {:.0} Hz, \
         {:.0} dB above the noise",
        20.0 * found.ratio.log10(),
        found.loudest_hz,
        20.0 * found.over_noise.log10()
    );
    let advice = "listen to a slow tone there at this level; look for a loose screw, wire or dust cap, a crumb in the gap, a dented cone; \
                  if a good unit does the same, the input may be overdriven";
    Some(Finding::new(Code::Rubbing, Severity::Caution, says, advice))
}

fn clock(evidence: &Evidence<'_>, analysis: &Analysis) -> Option<Finding> {
    let finding = |severity, says: String, advice: &str| {
        Some(Finding { code: Code::ClockDrift, severity, says, advice: advice.into(), at: Whereabouts::default() })
    };
    let Some(drift) = analysis.drift else {
        if evidence.timeline.broken.is_empty() {
            return finding(
                Severity::Note,
                "nothing in the excitation tells whether the clocks of player and recorder agree".into(),
                "use a sweep with time marks",
            );
        }
        return None;
    };
    let (ppm, u_ppm) = (1e6 * drift.ratio, 1e6 * drift.u_ratio);
    let off = Quantity { value: ppm, u: u_ppm, unit: Unit::PartsPerMillion };
    let by = match drift.told_by {
        ToldBy::Marks => "time marks",
        ToldBy::Repeats => "distance of the repeats",
        ToldBy::Sweep => "shape of the sweep",
    };
    match analysis.correction {
        Correction::Resampled if ppm.abs() > MOST_PPM && drift.told_by == ToldBy::Repeats => finding(
            Severity::Caution,
            format!(
                "the recorder's clock would be off by {off}, told by the {by}; corrected, but no clock is off that far: \
                 samples may have got lost between the sweeps, and then the treble is wrong"
            ),
            "use a sweep with time marks, which tell the two apart, close other programs, and measure again",
        ),
        Correction::Resampled if ppm.abs() >= WORTH_SAYING_PPM => finding(
            Severity::Note,
            format!("the recorder's clock is off by {off}, told by the {by}; corrected"),
            "nothing needs doing; one interface for playing and recording has one clock",
        ),
        Correction::None if drift.told_by == ToldBy::Sweep && u_ppm > WORTH_SAYING_PPM => finding(
            Severity::Note,
            format!("the clocks agree within {:.1} ppm, as far as the {by} tells", ppm.abs() + 2.0 * u_ppm),
            "use a sweep with time marks to know better",
        ),
        _ => None,
    }
}

/// Marks of another loudspeaker that are no zero of time.
fn marks_unheard(evidence: &Evidence<'_>, analysis: &Analysis) -> Option<Finding> {
    let is_missed = evidence.settings.marks == MarksPath::Own && analysis.time_reference == TimeReference::Recording;
    let says = "the time marks of their own output are not heard well enough, or disagree: the arrival counts from the start of the \
                recording, and can't be compared with that of another capture";
    let advice = "let them sound from a loudspeaker that reaches high and that nothing hides, or raise the level";
    is_missed.then(|| Finding {
        at: Whereabouts { channel: Some(evidence.settings.reply + 1), ..Whereabouts::default() },
        ..Finding::new(Code::MarksUnheard, Severity::Caution, says, advice)
    })
}

fn missing_repeats(evidence: &Evidence<'_>) -> Option<Finding> {
    let planned = evidence.excitation.plan.starts.len();
    let whole = evidence.heard.repeats.numbers.len() + evidence.heard.disturbed.len();
    (whole < planned).then(|| Finding {
        code: Code::Truncated,
        severity: Severity::Caution,
        says: format!("{whole} of {planned} sweeps lie whole in the recording; the others were left out"),
        advice: "record from before the excitation to a second after its end".into(),
        at: Whereabouts { channel: Some(evidence.settings.reply + 1), ..Whereabouts::default() },
    })
}

fn disturbed(evidence: &Evidence<'_>) -> Option<Finding> {
    let first = *evidence.heard.disturbed.first()?;
    let plan = &evidence.excitation.plan;
    let seconds = |frame: usize| {
        evidence.recording.rate.seconds((evidence.timeline.offset_frames + frame as i64).max(0) as usize)
    };
    let numbers: Vec<String> = evidence.heard.disturbed.iter().map(|number| (number + 1).to_string()).collect();
    Some(Finding {
        code: Code::Disturbed,
        severity: Severity::Note,
        says: format!("repeat {} differs from the others and was left out", numbers.join(", ")),
        advice: "nothing needs doing; keep doors and voices out of the next run".into(),
        at: Whereabouts {
            channel: Some(evidence.settings.reply + 1),
            time_s: Some([seconds(plan.starts[first]), seconds(plan.starts[first] + plan.frames)]),
            band_hz: None,
        },
    })
}

/// Where room and converters are quiet, a change of a ten-thousandth is seen, which nobody needs to care about.
fn unstable(evidence: &Evidence<'_>) -> Option<Finding> {
    let disagreement = evidence.disagreement?;
    let matters = disagreement.most_u_db > APART_U_DB;
    let careful = "let the driver warm up or cool down, keep still, and look for noise that comes with the sound";
    Some(Finding {
        code: Code::UnstableRepeat,
        severity: if matters { Severity::Caution } else { Severity::Note },
        says: format!(
            "the repeats lie {:.1} times further apart than the noise of the silences explains; the uncertainty follows \
             the repeats",
            disagreement.times
        ),
        advice: if matters { careful } else { "nothing needs doing: it is far below what one hears or fits" }.into(),
        at: Whereabouts {
            channel: Some(evidence.settings.reply + 1),
            time_s: None,
            band_hz: Some(disagreement.band_hz),
        },
    })
}

/// Share of the points of a response whose level the noise leaves in more doubt than [`NOISY_U_DB`].
pub(super) fn noisy_share(response: &FrequencyResponse) -> f64 {
    let u_db = response.u_db();
    u_db.iter().filter(|&&u| u > NOISY_U_DB).count() as f64 / u_db.len() as f64
}

fn loudness(evidence: &Evidence<'_>, analysis: &Analysis) -> Vec<Finding> {
    let at = Whereabouts { channel: Some(evidence.settings.reply + 1), ..Whereabouts::default() };
    let mut all = Vec::new();
    if analysis.peak_dbfs < QUIET_PEAK_DBFS {
        all.push(Finding {
            code: Code::TooQuiet,
            severity: Severity::Caution,
            says: format!("the reply peaks at {:.0} dBFS", analysis.peak_dbfs),
            advice: "raise the input gain before you raise the drive".into(),
            at,
        });
    }
    let low = analysis.snr_db.is_some_and(|snr| snr < NOISY_DB);
    if low || evidence.noisy_share > NOISY_SHARE {
        let snr = analysis.snr_db.map_or("an unknown amount".to_owned(), |snr| format!("{snr:.0} dB"));
        all.push(Finding {
            code: Code::Noisy,
            severity: Severity::Caution,
            says: format!(
                "the reply stands {snr} above the noise, and {:.0} % of the curve are uncertain by more than 2 dB",
                100.0 * evidence.noisy_share
            ),
            advice: "measure closer, longer or with more repeats before you measure louder".into(),
            at,
        });
    }
    if analysis.snr_db.is_none() {
        all.push(Finding {
            code: Code::Noisy,
            severity: Severity::Note,
            says: "the recording has no silence: the noise was estimated from before the arrival".into(),
            advice: "record at least half a second before the excitation".into(),
            at,
        });
    }
    all
}

fn gate(evidence: &Evidence<'_>, analysis: &Analysis) -> Vec<Finding> {
    let rate_hz = evidence.pattern.rate_hz;
    let gate_s = analysis.gate.after_frames / rate_hz;
    let lowest_hz = 1.0 / gate_s;
    let mut all = Vec::new();
    if let Some(reflection) = analysis.energy_time.reflection
        && gate_s > reflection.peak_s
        && matches!(evidence.settings.gate, GateChoice::Length { .. })
    {
        all.push(Finding {
            code: Code::ReflectionInGate,
            severity: Severity::Caution,
            says: format!(
                "a reflection {:.1} dB below the direct sound arrives {:.2} ms after it, inside the gate of {:.2} ms",
                -reflection.level_db,
                1e3 * reflection.peak_s,
                1e3 * gate_s
            ),
            advice: format!(
                "use --gate \"{:.1} ms\" for the loudspeaker alone, or keep it to see it with the room",
                1e3 * reflection.starts_s
            ),
            at: Whereabouts { channel: Some(evidence.settings.reply + 1), ..Whereabouts::default() },
        });
    }
    if lowest_hz > SHORT_GATE_LOWEST_HZ.max(evidence.pattern.band_hz[0]) {
        all.push(Finding {
            code: Code::GateTooShort,
            severity: Severity::Caution,
            says: format!("the gate of {:.2} ms hides everything below {lowest_hz:.0} Hz", 1e3 * gate_s),
            advice: "bring microphone and loudspeaker closer together, and both further from floor and walls".into(),
            at: Whereabouts { band_hz: Some([0.0, lowest_hz]), ..Whereabouts::default() },
        });
    }
    all
}

fn band(evidence: &Evidence<'_>, analysis: &Analysis) -> Option<Finding> {
    let [from_hz, to_hz] = evidence.pattern.band_hz;
    let table = evidence.settings.microphone.as_ref()?.range_hz();
    (table[0] > from_hz || table[1] < to_hz).then(|| Finding {
        code: Code::OutOfBand,
        severity: Severity::Note,
        says: format!(
            "the microphone's table covers {:.1} to {:.1} Hz of the {from_hz:.1} to {to_hz:.1} Hz that were played",
            table[0], table[1]
        ),
        advice: "nothing is reported where the microphone is not known; get a table that covers more".into(),
        at: Whereabouts { band_hz: Some(analysis.valid_hz), ..Whereabouts::default() },
    })
}

/// A step of the timeline in words.
fn lost_in_words(step: &Step) -> String {
    match step.late_frames {
        Some(frames) if frames < 0.0 => format!("{:.1} frames are missing", -frames),
        Some(frames) => format!("{frames:.1} frames are too many"),
        None => "the sounds on both sides are not alike".to_owned(),
    }
}
