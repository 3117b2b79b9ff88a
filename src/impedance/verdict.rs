//! What there is to say about an impedance's trust, in words.
//!
//! No equation: thresholds, each with its reason.

use super::jig::Solved;
use super::loudness::LoadHarmonics;
use super::measure::{JigCaptures, MeasureSettings, Measured, nearest};
use super::ratio::{ChannelRatio, Heard, JigCapture};
use crate::quantity::{Code, Finding, Severity, Whereabouts};
use crate::response::{Cause, clipping, flat_tops, held_samples, offset};
use num_complex::Complex64;

/// What the verdict is built on.
pub(super) struct Evidence<'a> {
    pub captures: &'a JigCaptures<'a>,
    pub settings: &'a MeasureSettings,
    pub heard: &'a Heard,
    /// The captures that tell the jig, by name.
    pub calibrations: &'a [(&'a str, JigCapture<'a>, &'a Heard)],
    pub ratio: &'a ChannelRatio,
    pub solved: &'a [Solved],
    pub measured: &'a Measured,
    pub harmonics: Option<LoadHarmonics>,
}

/// Quieter than this a 16-bit input spends half of its bits on nothing.
const QUIET_PEAK_DBFS: f64 = -50.0;
/// A point more doubtful than this by noise is noisy …
const NOISY_RATIO: f64 = 0.05;
/// … and a curve where more than this share of its points are.
const NOISY_SHARE: f64 = 0.1;
/// Nearly all of the points.
const NEARLY_ALL: f64 = 0.95;
/// More than two inputs of one interface differ, were they set alike.
const ABOVE_ONE: f64 = 1.02;
/// Most of them: where inputs differ as well, a load far above the sense resistor hides the swap.
const MOST: f64 = 0.75;
/// A load that draws less than this share of what a short would, or lets through less than this of the drive's voltage.
const NOTHING: f64 = 0.02;
/// Voice coils that loudspeakers are built with, generously, Ω: 2 Ω less 20 %, 32 Ω and what inductance adds.
const USUAL_COIL_OHM: [f64; 2] = [1.6, 40.0];
/// The usual slip with a resistor is a power of ten.
const SLIP: f64 = 10.0;
/// Inputs of one interface that are set alike are never 3 dB apart.
const MOST_GAIN_DB: f64 = 3.0;
/// Leads that are unknown by this share of the lowest impedance deserve a word, …
const LEAD_SHARE: f64 = 0.005;
/// … by this they spoil R_e and all that follows from it.
const LEAD_SPOILS_SHARE: f64 = 0.02;
/// Hum counts where it moves |Z| by more than this and stands above the noise.
const HUM_SHARE: f64 = 0.001;
/// The flanks of a resonance: an octave to each side.
const FLANK_RATIO: f64 = 2.0;
/// A quarter of a percent of harmonics goes with one percent of f_s (see [`super::loudness`]).
const LARGE_HARMONICS: f64 = 0.0025;
/// By which a resonance moves for each of harmonics.
const SHIFT_PER_HARMONIC: f64 = 4.0;
/// Small drivers move about a millimetre for each volt below resonance (Bl·C_ms/R_e of 0.5 to 2 mm/V, common practice): above
/// this the motion is no longer small against the few millimetres they have.
const LARGE_V: f64 = 0.5;
/// A change between repeats is believed when it is this many of its standard uncertainties, …
const SIGNIFICANT: f64 = 5.0;
/// … and counts from this share of the resonance on, …
const MOVED_SHARE: f64 = 0.002;
/// … or of the resistance: copper gains 0.39 % with each kelvin.
const WARMED_SHARE: f64 = 0.002;

/// All findings, the worst first.
pub(super) fn findings(evidence: &Evidence<'_>) -> Vec<Finding> {
    let mut all = sound(evidence);
    all.extend(broken_into(evidence));
    all.extend(missing_repeats(evidence));
    all.extend(swapped(evidence).or_else(|| nothing_connected(evidence)).or_else(|| negative(evidence)));
    all.extend(sense_resistor(evidence));
    all.extend(leads(evidence));
    all.extend(hum(evidence));
    all.extend(noise(evidence));
    all.extend(unstable(evidence));
    all.extend(large_signal(evidence));
    all.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    all
}

fn finding(code: Code, severity: Severity, says: String, advice: &str) -> Finding {
    Finding { code, severity, says, advice: advice.into(), at: Whereabouts::default() }
}

impl Evidence<'_> {
    fn hz(&self) -> &[f64] {
        self.measured.impedance.hz()
    }

    fn band_hz(&self) -> Option<[f64; 2]> {
        let hz = self.hz();
        Some([hz[0], hz[hz.len() - 1]])
    }

    /// Share of the points for which something holds.
    fn share(&self, holds: impl Fn(usize) -> bool) -> f64 {
        let count = self.hz().len();
        (0..count).filter(|&at| holds(at)).count() as f64 / count as f64
    }

    /// A·H at a point: what is 1 for an open load.
    fn open_ratio(&self, at: usize) -> Complex64 {
        self.solved[at].terms.a * self.ratio.values[at]
    }
}

/// What each channel of each capture shows before anything is computed from it.
fn sound(evidence: &Evidence<'_>) -> Vec<Finding> {
    let mut all = Vec::new();
    let load = ("", evidence.captures.load, evidence.heard);
    for (name, capture, heard) in std::iter::once(&load).chain(evidence.calibrations) {
        let recording = capture.recording;
        for channel in [capture.drive, capture.load] {
            let mut found = Vec::new();
            let clipped = clipping(recording, channel);
            found.extend(clipped.or_else(|| flat_tops(recording, channel, heard.sounding.clone())));
            found.extend(held_samples(recording, channel, heard.sounding.clone()));
            found.extend(offset(recording, channel, &heard.silences));
            if !name.is_empty() {
                found.iter_mut().for_each(|finding| finding.says = format!("{name} capture: {}", finding.says));
            }
            all.extend(found);
        }
        all.extend(quiet(name, capture));
    }
    all
}

fn quiet(name: &str, capture: &JigCapture<'_>) -> Option<Finding> {
    let peak = capture.recording.channels[capture.drive].iter().fold(0.0f64, |peak, x| peak.max(x.abs()));
    let peak_dbfs = 20.0 * peak.max(f64::MIN_POSITIVE).log10();
    let which = if name.is_empty() { String::new() } else { format!("{name} capture: ") };
    (peak_dbfs < QUIET_PEAK_DBFS).then(|| Finding {
        at: Whereabouts { channel: Some(capture.drive + 1), ..Whereabouts::default() },
        ..finding(
            Code::TooQuiet,
            Severity::Caution,
            format!("{which}the drive peaks at {peak_dbfs:.0} dBFS"),
            "raise the input gain of both channels alike before you raise the drive",
        )
    })
}

fn broken_into(evidence: &Evidence<'_>) -> Vec<Finding> {
    let load = ("", evidence.captures.load, evidence.heard);
    let mut all = Vec::new();
    for (name, capture, heard) in std::iter::once(&load).chain(evidence.calibrations) {
        for (number, event) in &heard.interruptions {
            let start = heard.offset_frames + capture.excitation.plan.starts[*number] as i64 - heard.cut.before as i64;
            let seconds = |frame: usize| capture.recording.rate.seconds((start + frame as i64).max(0) as usize);
            let time_s = [seconds(event.frames.start), seconds(event.frames.end)];
            let left_out = !heard.load.numbers.contains(number);
            let (code, what) = match event.cause {
                Cause::LostSamples => (Code::Dropout, "samples got lost"),
                Cause::Noise => (Code::Disturbed, "something broke in"),
            };
            let severity = match (event.cause, left_out) {
                (_, true) => Severity::Note,
                (Cause::LostSamples, false) => Severity::Fault,
                (Cause::Noise, false) => Severity::Caution,
            };
            let which = if name.is_empty() { String::new() } else { format!("{name} capture: ") };
            let end = if left_out { "; that repeat was left out" } else { "" };
            let says = format!("{which}{what} within the sweep between {:.2} and {:.2} s{end}", time_s[0], time_s[1]);
            let advice = "close other programs, don't touch the driver or the table, and measure again";
            let at = Whereabouts { time_s: Some(time_s), ..Whereabouts::default() };
            all.push(Finding { at, ..finding(code, severity, says, advice) });
        }
    }
    // Clipping comes and goes as suddenly as a noise does, and has its own words.
    let clips = |capture: &JigCapture<'_>| {
        [capture.drive, capture.load].into_iter().any(|channel| clipping(capture.recording, channel).is_some())
    };
    if clips(&evidence.captures.load) {
        all.retain(|finding| finding.code != Code::Disturbed);
    }
    all
}

fn missing_repeats(evidence: &Evidence<'_>) -> Option<Finding> {
    let (planned, whole) = (evidence.captures.load.excitation.plan.starts.len(), evidence.heard.whole);
    (whole < planned).then(|| {
        finding(
            Code::Truncated,
            Severity::Caution,
            format!("{whole} of {planned} sweeps lie whole in the recording; the others were left out"),
            "record from before the excitation to a second after its end",
        )
    })
}

/// Across a load there is never more voltage than before the sense resistor, and 1 + R_s/Z of it when the two are swapped.
fn swapped(evidence: &Evidence<'_>) -> Option<Finding> {
    let larger = evidence.share(|at| evidence.ratio.values[at].norm() > ABOVE_ONE);
    let varies = {
        let magnitudes: Vec<f64> = evidence.ratio.values.iter().map(|value| value.norm()).collect();
        let [least, most] = magnitudes.iter().fold([f64::MAX, 0.0], |[a, b], &m| [a.min(m), b.max(m)]);
        most / least > ABOVE_ONE
    };
    let sense_ohm = evidence.settings.facts.sense_ohm;
    // Seen the other way round the load would be one that can be.
    let other_way = evidence.share(|at| (sense_ohm / (evidence.ratio.values[at] - 1.0)).re > 0.0);
    let negative = evidence.share(|at| evidence.solved[at].ohm.re < 0.0);
    if larger.min(other_way) < MOST || (negative < MOST && evidence.measured.gain_db.is_none()) || !varies {
        return None;
    }
    let told = evidence.calibrations.iter().any(|(name, ..)| *name == "open" || *name == "known");
    // A calibrated gain of more than one explains it as well, where the result can be.
    let possible = evidence.share(|at| evidence.measured.impedance.values()[at].re > 0.0);
    if told && possible > NEARLY_ALL && evidence.measured.gain_db.is_some_and(|db| db > 0.0 && db < MOST_GAIN_DB) {
        return None;
    }
    let [drive, load] = [evidence.captures.load.drive + 1, evidence.captures.load.load + 1];
    Some(Finding {
        at: Whereabouts { channel: Some(load), ..Whereabouts::default() },
        ..finding(
            Code::ChannelsSwapped,
            Severity::Fault,
            format!(
                "channel {load}, said to be across the load, has more voltage than channel {drive}, said to be before \
                 the sense resistor"
            ),
            &format!("swap the two: --drive {load} --load {drive}"),
        )
    })
}

fn nothing_connected(evidence: &Evidence<'_>) -> Option<Finding> {
    let is_open = evidence.share(|at| (evidence.open_ratio(at) - 1.0).norm() < NOTHING) > NEARLY_ALL;
    let is_short = evidence.share(|at| evidence.open_ratio(at).norm() < NOTHING) > NEARLY_ALL;
    let at = Whereabouts { channel: Some(evidence.captures.load.load + 1), ..Whereabouts::default() };
    let fault =
        |says: &str, advice: &str| Finding { at, ..finding(Code::Implausible, Severity::Fault, says.into(), advice) };
    if is_open {
        return Some(fault(
            "both channels hold the same: the load draws next to nothing",
            "connect the load, and check that the load channel taps behind the sense resistor; for a load far above the \
             sense resistor use a larger one",
        ));
    }
    is_short.then(|| {
        fault(
            "the load channel holds next to nothing of the drive: the load is a short, or its tap is not connected",
            "check the wires of the load channel, and that no wire shorts the load",
        )
    })
}

/// A load that gives back more than it takes is none.
fn negative(evidence: &Evidence<'_>) -> Option<Finding> {
    let impedance = &evidence.measured.impedance;
    let u = impedance.u_ohm()?;
    let is_negative = |at: usize| impedance.values()[at].re < -2.0 * u[at];
    let points: Vec<usize> = (0..u.len()).filter(|&at| is_negative(at)).collect();
    let (&first, &last) = (points.first()?, points.last()?);
    let severity = if points.len() * 2 > u.len() { Severity::Fault } else { Severity::Caution };
    Some(Finding {
        at: Whereabouts { band_hz: Some([impedance.hz()[first], impedance.hz()[last]]), ..Whereabouts::default() },
        ..finding(
            Code::Implausible,
            severity,
            format!("the resistance is below zero at {} of {} points, which no load's is", points.len(), u.len()),
            "set both inputs to the same gain, and measure a known resistor too: --known WAV --known-ohm R",
        )
    })
}

fn sense_resistor(evidence: &Evidence<'_>) -> Option<Finding> {
    let facts = &evidence.settings.facts;
    if let Some(found) = evidence.measured.sense {
        let off = found.value - facts.sense_ohm;
        let u_stated = facts.u_sense_ratio() * facts.sense_ohm;
        return (off.abs() > 2.0 * found.u.hypot(u_stated)).then(|| {
            finding(
                Code::SenseResistor,
                Severity::Caution,
                format!(
                    "the captures tell a sense resistor of {found}, {} Ω was said; what they tell was used",
                    facts.sense_ohm
                ),
                "measure the resistor, and check the value of the known one",
            )
        });
    }
    if let Some(gain_db) = evidence.measured.gain_db.filter(|gain_db| gain_db.abs() > MOST_GAIN_DB) {
        return Some(finding(
            Code::SenseResistor,
            Severity::Caution,
            format!("as it was said, the load channel would have {gain_db:+.1} dB of gain over the drive channel"),
            "check the value of the sense resistor and of the known one, and set both inputs to the same gain",
        ));
    }
    let lowest_ohm = evidence.measured.minimum.ohm;
    let usual = |ohm: f64| (USUAL_COIL_OHM[0]..=USUAL_COIL_OHM[1]).contains(&ohm);
    let slipped = [lowest_ohm * SLIP, lowest_ohm / SLIP].into_iter().find(|ohm| usual(*ohm))?;
    let has_peak = !evidence.measured.peaks.is_empty();
    (!usual(lowest_ohm) && has_peak && evidence.measured.gain_db.is_none()).then(|| {
        finding(
            Code::SenseResistor,
            Severity::Caution,
            format!(
                "the lowest impedance is {lowest_ohm:.3} Ω, which few loudspeakers have; a slip of ten in the sense \
                 resistor would explain it ({slipped:.2} Ω)"
            ),
            "measure the sense resistor, or measure a known resistor in the load's place",
        )
    })
}

fn leads(evidence: &Evidence<'_>) -> Option<Finding> {
    let (lead, facts) = (evidence.measured.lead, &evidence.settings.facts);
    let is_measured = evidence.calibrations.iter().any(|(name, ..)| *name == "short");
    if is_measured {
        let stated = facts.lead_ohm?;
        let u_stated = facts.u_lead_ohm();
        return ((lead.value - stated).abs() > 3.0 * lead.u.hypot(u_stated)).then(|| {
            finding(
                Code::LeadResistance,
                Severity::Note,
                format!("the short tells leads of {lead}, {stated} Ω was said; what the short tells was taken off"),
                "leave --lead-ohm out when you give --short",
            )
        });
    }
    let share = lead.u / evidence.measured.minimum.ohm;
    let severity = if share > LEAD_SPOILS_SHARE { Severity::Caution } else { Severity::Note };
    (share > LEAD_SHARE).then(|| {
        let known = match facts.lead_ohm {
            Some(ohm) => format!("leads of {ohm} Ω were said"),
            None => "the leads' resistance is not known".to_owned(),
        };
        finding(
            Code::LeadResistance,
            severity,
            format!(
                "{known}: that leaves ± {:.1} % of the lowest impedance of {:.2} Ω in doubt",
                200.0 * share,
                evidence.measured.minimum.ohm
            ),
            "measure with the far ends of the leads together (--short), or give --lead-ohm",
        )
    })
}

fn hum(evidence: &Evidence<'_>) -> Option<Finding> {
    let lines = &evidence.heard.noise.as_ref()?.lines;
    let of_hum = |hz: f64| {
        let at = nearest(evidence.hz(), hz);
        let solved = &evidence.solved[at];
        let slope_ohm = solved.terms.slope_ohm(evidence.ratio.values[at]);
        let (hum, noise) = (slope_ohm * evidence.ratio.u_hum[at], slope_ohm * evidence.ratio.u_noise[at]);
        (hum > noise).then(|| hum / solved.ohm.norm())
    };
    let inside = |hz: f64| evidence.band_hz().is_some_and(|[from, to]| (from..=to).contains(&hz));
    let worst = lines.iter().filter(|line| inside(line.hz)).filter_map(|line| Some((line.hz, of_hum(line.hz)?)));
    let (hz, share) = worst.filter(|(_, share)| *share > HUM_SHARE).max_by(|a, b| a.1.total_cmp(&b.1))?;
    let on_flank = |&(_, peak): &(usize, f64)| (peak / FLANK_RATIO..=peak * FLANK_RATIO).contains(&hz);
    let peaks = evidence.measured.peaks.iter().map(|peak| peak.hz).enumerate();
    let flank = peaks.into_iter().find(on_flank);
    let (severity, place) = match flank {
        Some((_, peak_hz)) => (Severity::Caution, format!(", on the flank of the resonance at {peak_hz:.1} Hz")),
        None => (Severity::Note, String::new()),
    };
    Some(Finding {
        at: Whereabouts { band_hz: Some([hz - 2.0, hz + 2.0]), ..Whereabouts::default() },
        ..finding(
            Code::Hum,
            severity,
            format!("hum at {hz:.1} Hz moves the impedance there by ± {:.2} %{place}", 200.0 * share),
            "feed all of the bench from one outlet, keep its wires short and away from transformers, run a laptop from its \
             battery; never lift the protective earth",
        )
    })
}

fn noise(evidence: &Evidence<'_>) -> Vec<Finding> {
    let mut all = Vec::new();
    let impedance = &evidence.measured.impedance;
    let u = impedance.u_noise_ohm().unwrap_or(&[]);
    let share = evidence.share(|at| u[at] > NOISY_RATIO * impedance.values()[at].norm());
    if share > NOISY_SHARE {
        all.push(finding(
            Code::Noisy,
            Severity::Caution,
            format!("noise leaves {:.0} % of the points in doubt by more than 10 %", 100.0 * share),
            "use more repeats or a longer sweep, or a sense resistor nearer to the load, before you drive it harder",
        ));
    }
    if evidence.heard.noise.is_none() {
        all.push(finding(
            Code::Noisy,
            Severity::Note,
            "the recording has no silence: the noise was estimated from before the drive".into(),
            "record at least half a second before the excitation",
        ));
    }
    all
}

fn unstable(evidence: &Evidence<'_>) -> Option<Finding> {
    let shifts = &evidence.measured.shifts;
    let advice = "let the driver run in and rest at room temperature, then measure again with the same level; use the last capture";
    if let (Some(first), Some(last)) = (shifts.first(), shifts.last()) {
        let mut words = Vec::new();
        let moved_hz = last.peak_hz - first.peak_hz;
        let is_sure = moved_hz.abs() > SIGNIFICANT * first.u_peak_hz.hypot(last.u_peak_hz);
        if is_sure && moved_hz.abs() > MOVED_SHARE * first.peak_hz {
            words.push(format!(
                "the resonance moved from {:.2} Hz in the first sweep to {:.2} Hz in the last: the suspension is still \
                 breaking in or warming",
                first.peak_hz, last.peak_hz
            ));
        }
        let warmed = last.resistance_ohm.zip(first.resistance_ohm).map(|(last, first)| last - first);
        let u = last.u_resistance_ohm.zip(first.u_resistance_ohm).map(|(last, first)| last.hypot(first));
        if let Some((warmed_ohm, u)) = warmed.zip(u)
            && warmed_ohm.abs() > (SIGNIFICANT * u).max(WARMED_SHARE * evidence.measured.minimum.ohm)
        {
            words.push(format!("the resistance changed by {warmed_ohm:+.3} Ω: the coil warms up or cools down"));
        }
        if !words.is_empty() {
            return Some(finding(Code::UnstableRepeat, Severity::Caution, words.join("; "), advice));
        }
    }
    let disagreement = evidence.ratio.disagreement?;
    Some(Finding {
        at: Whereabouts { band_hz: Some([disagreement.worst_hz; 2]), ..Whereabouts::default() },
        ..finding(
            Code::UnstableRepeat,
            Severity::Caution,
            format!(
                "the repeats lie {:.1} times further apart than the noise of the silences explains; the uncertainty \
                 follows the repeats",
                disagreement.times
            ),
            advice,
        )
    })
}

fn large_signal(evidence: &Evidence<'_>) -> Option<Finding> {
    if let Some(found) = evidence.harmonics.filter(|found| found.ratio > LARGE_HARMONICS) {
        return Some(Finding {
            at: Whereabouts { band_hz: Some([found.at_hz; 2]), ..Whereabouts::default() },
            ..finding(
                Code::LargeSignal,
                Severity::Caution,
                format!(
                    "harmonics of {:.2} % at {:.1} Hz: this was no small signal, the resonance may lie off by {:.0} %",
                    100.0 * found.ratio,
                    found.at_hz,
                    100.0 * SHIFT_PER_HARMONIC * found.ratio
                ),
                "lower the drive by 10 dB and measure again; the parameters of a data sheet are those of a small signal",
            )
        });
    }
    let volts = evidence.measured.voltage?;
    let volts = volts.at_peak_v.unwrap_or(volts.highest_v);
    (volts > LARGE_V && !evidence.measured.peaks.is_empty()).then(|| {
        finding(
            Code::LargeSignal,
            Severity::Note,
            format!("{volts:.2} V (rms) across the load at its resonance: small drivers move far with so much"),
            "measure once more at a tenth of it; where the resonance stays, it was small enough",
        )
    })
}
