//! What there is to say about an impedance's trust, in words.
//!
//! No equation: thresholds, each with its reason.

use super::hum::Line;
use super::jig::Solved;
use super::loudness::LoadHarmonics;
use super::measure::{JigCaptures, MeasureSettings, Measured, median, nearest};
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
    /// What share of the drive's voltage the load channel of each of them holds, at all points.
    pub told_shares: &'a [(&'static str, Vec<f64>)],
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
/// Inputs of one interface that are set alike are rarely 1.5 dB apart.
const MOST_GAIN_DB: f64 = 1.5;
/// Leads that are unknown by this share of the lowest impedance deserve a word, …
const LEAD_SHARE: f64 = 0.005;
/// … by this they spoil R_e and all that follows from it.
const LEAD_SPOILS_SHARE: f64 = 0.02;
/// An open load leaves the divider only the input itself, 10 kΩ or more, and the inputs' gains.
const LEAST_OPEN: f64 = 0.6;
/// Leads longer than any that a jig should have, Ω.
const MOST_LEAD_OHM: f64 = 1.5;
/// A known resistor whose voltage is this many times off is another one, or none; a slip of two in the sense resistor is less.
const FAR_OFF: f64 = 2.5;
/// Fewer points than this below the resonance tell no slope.
const FEWEST_LOW: usize = 8;
/// One capacitor has one capacitance: within this ratio, what else is in the path counts little …
const ALIKE: f64 = 1.3;
/// … where its reactance is more than this share of the lowest impedance.
const CAPACITIVE_SHARE: f64 = 0.5;
/// Peaks of drivers rise to ten times their lowest impedance; half an octave above, a third of that is left.
const MORE_THAN_A_MASS: f64 = 10.0;
/// A resonance needs an octave of band below it.
const STARTS_LATE: f64 = 2.0;
/// Six degrees: more than a resistor shows whose inputs have unlike lower ends.
const FALLING_RAD: f64 = 0.1;
/// Hum counts where it moves |Z| by more than this and stands above the noise.
const HUM_SHARE: f64 = 0.001;
/// The flanks of a resonance: a little more than an octave to each side.
const FLANK_RATIO: f64 = 2.5;
/// A quarter of a percent of third harmonic goes with one percent of f_s (see [`super::loudness`]); a third of that counts.
const LARGE_SHIFT: f64 = 0.003;
/// By which a resonance moves for each of third harmonic.
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
    let misplaced = strangers(evidence);
    if misplaced.is_empty() {
        let wrong = upside_down(evidence).or_else(|| swapped(evidence)).or_else(|| nothing_connected(evidence));
        let wrong = wrong.or_else(|| capacitor(evidence));
        all.extend(if wrong.is_none() { no_resonance(evidence) } else { None });
        all.extend(wrong.or_else(|| negative(evidence)));
        all.extend(sense_resistor(evidence));
    }
    all.extend(misplaced);
    all.extend(leads(evidence));
    all.extend(hum(evidence));
    all.extend(noise(evidence));
    all.extend(unstable(evidence));
    all.extend(large_signal(evidence));
    all.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    all
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
        ..Finding::new(
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
            all.push(Finding { at, ..Finding::new(code, severity, says, advice) });
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
        Finding::new(
            Code::Truncated,
            Severity::Caution,
            format!("{whole} of {planned} sweeps lie whole in the recording; the others were left out"),
            "record from before the excitation to a second after its end",
        )
    })
}

/// Calibrations that can't be what they were given as: by how much of the drive's voltage their load channel holds.
fn strangers(evidence: &Evidence<'_>) -> Vec<Finding> {
    let facts = &evidence.settings.facts;
    let of_calibration = |(name, shares): &(&'static str, Vec<f64>)| {
        let share = median(shares.clone());
        let divided = |ohm: f64| ohm / (ohm + facts.sense_ohm);
        let (fits, wanted) = match *name {
            "open" => (share > LEAST_OPEN, "nearly all of it"),
            "short" => (share < divided(MOST_LEAD_OHM), "next to nothing"),
            _ => {
                let expected = divided(facts.known_ohm.unwrap_or(facts.sense_ohm));
                ((expected / FAR_OFF..=expected * FAR_OFF).contains(&share), "its share by the resistors")
            }
        };
        (!fits).then(|| {
            Finding::new(
                Code::Implausible,
                Severity::Fault,
                format!(
                    "{name} capture: its load channel holds {:.1} % of the drive's voltage, where {wanted} is to be \
                     expected: this is no capture of that kind",
                    100.0 * share
                ),
                match *name {
                    "open" => "give --open a capture with nothing on the clips",
                    "short" => "give --short a capture with the far ends of the leads together",
                    _ => "give --known a capture with that resistor on the clips, and check its value and --sense-ohm",
                },
            )
        })
    };
    evidence.told_shares.iter().filter_map(of_calibration).collect()
}

/// A load takes power: what it lets through never has the opposite sign over the whole band.
fn upside_down(evidence: &Evidence<'_>) -> Option<Finding> {
    let negative = evidence.share(|at| evidence.ratio.values[at].re < 0.0);
    if negative < NEARLY_ALL {
        return None;
    }
    let load = evidence.captures.load.load + 1;
    Some(Finding {
        at: Whereabouts { channel: Some(load), ..Whereabouts::default() },
        ..Finding::new(
            Code::ReversedPolarity,
            Severity::Fault,
            format!(
                "channel {load}, across the load, goes down where the drive goes up: one of the two is upside down"
            ),
            "swap signal and ground of one of the two taps, or the halves of a balanced cable, and measure again",
        )
    })
}

/// A capacitor in series: below the resonance a driver's reactance is positive, that of a capacitor is `−1/(2πfC)`.
fn capacitor(evidence: &Evidence<'_>) -> Option<Finding> {
    let (hz, values) = (evidence.hz(), evidence.measured.impedance.values());
    let peak_hz = evidence.measured.peaks.first().map_or(f64::MAX, |peak| peak.hz);
    let from_hz = hz[0];
    let low: Vec<usize> = (0..hz.len()).filter(|&at| hz[at] < (2.0 * from_hz).min(0.6 * peak_hz)).collect();
    if low.len() < FEWEST_LOW {
        return None;
    }
    // In series with little it is seen in Z, beside inputs that are not alike in 1/Z.
    let of_points = |farad: fn(f64, Complex64) -> f64| -> Option<f64> {
        let farads: Vec<f64> = low.iter().map(|&at| farad(std::f64::consts::TAU * hz[at], values[at])).collect();
        let middle = median(farads.clone());
        let is_one = farads.iter().all(|farad| (middle / ALIKE..=middle * ALIKE).contains(farad));
        (middle > 0.0 && is_one).then_some(middle)
    };
    let farad = of_points(|omega, z| z.inv().im / omega).or_else(|| of_points(|omega, z| -1.0 / (omega * z.im)))?;
    let at_start = values[0];
    // Without a peak in sight the moving mass above its resonance could look alike, but not that large.
    let least = if evidence.measured.peaks.is_empty() { MORE_THAN_A_MASS } else { CAPACITIVE_SHARE };
    let dominates = -at_start.im > least * evidence.measured.minimum.ohm;
    dominates.then(|| Finding {
        at: Whereabouts { band_hz: Some([from_hz, hz[low[low.len() - 1]]]), ..Whereabouts::default() },
        ..Finding::new(
            Code::NotADriver,
            Severity::Fault,
            format!(
                "at the low end the impedance is that of a capacitor of about {:.2} µF in series (−{:.0} Ω at \
                 {from_hz:.1} Hz): a crossover or a protective capacitor is in the path",
                1e6 * farad,
                -at_start.im
            ),
            "connect the leads to the driver's own terminals, with nothing in between",
        )
    })
}

/// A driver has its resonance in sight.
fn no_resonance(evidence: &Evidence<'_>) -> Option<Finding> {
    if let Some(peak) = evidence.measured.peaks.first() {
        let from_hz = evidence.hz()[0];
        return (peak.hz < STARTS_LATE * from_hz).then(|| Finding {
            at: Whereabouts { band_hz: evidence.band_hz(), ..Whereabouts::default() },
            ..Finding::new(
                Code::OutOfBand,
                Severity::Caution,
                format!(
                    "the curve starts at {from_hz:.1} Hz, above half of the resonance at {:.1} Hz: its lower flank is missing",
                    peak.hz
                ),
                "start the sweep two octaves below the resonance (--from); for a treble driver at a level it bears there",
            )
        });
    }
    let band_hz = evidence.band_hz()?;
    let values = evidence.measured.impedance.values();
    // Above its resonance a moving mass looks like a capacitor.
    let falls = values[0].arg() < -FALLING_RAD;
    let why = if falls {
        format!("it falls from {:.1} Hz on, as it does above a resonance: the sweep starts too high", band_hz[0])
    } else {
        "a resistor, a driver whose cone is held, or a resonance out of the band".to_owned()
    };
    Some(Finding {
        at: Whereabouts { band_hz: Some(band_hz), ..Whereabouts::default() },
        ..Finding::new(
            Code::NoResonance,
            if falls { Severity::Caution } else { Severity::Note },
            format!("no peak of the impedance between {:.1} and {:.0} Hz: {why}", band_hz[0], band_hz[1]),
            "for a driver's parameters let the sweep start two octaves below its resonance (--from)",
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
        ..Finding::new(
            Code::ChannelsSwapped,
            Severity::Fault,
            format!(
                "channel {load}, said to be across the load, has more voltage than channel {drive}, said to be before \
                 the sense resistor"
            ),
            format!("swap the two: --drive {load} --load {drive}"),
        )
    })
}

fn nothing_connected(evidence: &Evidence<'_>) -> Option<Finding> {
    let is_open = evidence.share(|at| (evidence.open_ratio(at) - 1.0).norm() < NOTHING) > NEARLY_ALL;
    let is_short = evidence.share(|at| evidence.open_ratio(at).norm() < NOTHING) > NEARLY_ALL;
    let at = Whereabouts { channel: Some(evidence.captures.load.load + 1), ..Whereabouts::default() };
    let fault =
        |says: &str, advice: &str| Finding { at, ..Finding::new(Code::Implausible, Severity::Fault, says, advice) };
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
        ..Finding::new(
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
        if off.abs() > 2.0 * found.u.hypot(u_stated) {
            return Some(Finding::new(
                Code::SenseResistor,
                Severity::Caution,
                format!(
                    "the captures tell a sense resistor of {found}, {} Ω was said; what they tell was used",
                    facts.sense_ohm
                ),
                "measure the resistor, and check the value of the known one",
            ));
        }
    }
    if let Some(gain_db) = evidence.measured.gain_db.filter(|gain_db| gain_db.abs() > MOST_GAIN_DB) {
        return Some(Finding::new(
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
    let why = match evidence.measured.gain_db {
        None => format!("a wrong value of the sense resistor would explain it (a slip of ten: {slipped:.2} Ω)"),
        Some(_) => "captures of another jig, or with another sense resistor, would explain it".to_owned(),
    };
    (!usual(lowest_ohm) && has_peak).then(|| {
        Finding::new(
            Code::SenseResistor,
            Severity::Caution,
            format!("the lowest impedance is {lowest_ohm:.3} Ω, which few loudspeakers have; {why}"),
            "compare with the driver's resistance by a meter; measure the sense resistor, or a known one in the load's place",
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
            Finding::new(
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
        Finding::new(
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
    // As it was recorded: what is left of it is in the doubt already.
    let of_hum = |line: &Line| {
        let at = nearest(evidence.hz(), line.hz);
        let solved = &evidence.solved[at];
        let slope_ohm = solved.terms.slope_ohm(evidence.ratio.values[at]);
        let raw = evidence.ratio.u_hum[at] / line.left_ratio;
        (raw > evidence.ratio.u_noise[at]).then(|| slope_ohm * raw / solved.ohm.norm())
    };
    let inside = |line: &&Line| evidence.band_hz().is_some_and(|[from, to]| (from..=to).contains(&line.hz));
    let worst = lines.iter().filter(inside).filter_map(|line| Some((line, of_hum(line)?)));
    let (line, share) = worst.filter(|(_, share)| *share > HUM_SHARE).max_by(|a, b| a.1.total_cmp(&b.1))?;
    let hz = line.hz;
    let taken_off = match line.left_ratio {
        left if left < 1.0 => format!("; taken off but for ± {:.2} %", 200.0 * share * left),
        _ => String::new(),
    };
    let on_flank = |&(_, peak): &(usize, f64)| (peak / FLANK_RATIO..=peak * FLANK_RATIO).contains(&hz);
    let peaks = evidence.measured.peaks.iter().map(|peak| peak.hz).enumerate();
    let flank = peaks.into_iter().find(on_flank);
    let (severity, place) = match flank {
        Some((_, peak_hz)) => (Severity::Caution, format!(", on the flank of the resonance at {peak_hz:.1} Hz")),
        None => (Severity::Note, String::new()),
    };
    Some(Finding {
        at: Whereabouts { band_hz: Some([hz - 2.0, hz + 2.0]), ..Whereabouts::default() },
        ..Finding::new(
            Code::Hum,
            severity,
            format!("hum at {hz:.1} Hz moves the impedance there by ± {:.2} %{place}{taken_off}", 200.0 * share),
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
        all.push(Finding::new(
            Code::Noisy,
            Severity::Caution,
            format!("noise leaves {:.0} % of the points in doubt by more than 10 %", 100.0 * share),
            "use more repeats or a longer sweep, or a sense resistor nearer to the load, before you drive it harder",
        ));
    }
    if evidence.heard.noise.is_none() {
        all.push(Finding::new(
            Code::Noisy,
            Severity::Note,
            "the recording has no silence: the noise was estimated from before the drive",
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
            return Some(Finding::new(Code::UnstableRepeat, Severity::Caution, words.join("; "), advice));
        }
    }
    let disagreement = evidence.ratio.disagreement?;
    Some(Finding {
        at: Whereabouts { band_hz: Some([disagreement.worst_hz; 2]), ..Whereabouts::default() },
        ..Finding::new(
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
    let shift = |found: &LoadHarmonics| SHIFT_PER_HARMONIC * found.third_ratio;
    if let Some(found) = evidence.harmonics.filter(|found| shift(found) > LARGE_SHIFT) {
        return Some(Finding {
            at: Whereabouts { band_hz: Some([found.at_hz; 2]), ..Whereabouts::default() },
            ..Finding::new(
                Code::LargeSignal,
                Severity::Caution,
                format!(
                    "harmonics of {:.2} % at {:.1} Hz: this was no small signal, by their third the resonance may lie off \
                     by some {:.1} %",
                    100.0 * found.ratio,
                    found.at_hz,
                    100.0 * shift(&found)
                ),
                "lower the drive by 10 dB and measure again; the parameters of a data sheet are those of a small signal",
            )
        });
    }
    let volts = evidence.measured.voltage?;
    let volts = volts.at_peak_v.unwrap_or(volts.highest_v);
    (volts > LARGE_V && !evidence.measured.peaks.is_empty()).then(|| {
        Finding::new(
            Code::LargeSignal,
            Severity::Note,
            format!("{volts:.2} V (rms) across the load at its resonance: small drivers move far with so much"),
            "measure once more at a tenth of it; where the resonance stays, it was small enough",
        )
    })
}
