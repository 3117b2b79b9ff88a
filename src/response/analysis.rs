//! From a recording to everything it tells about a system: the order of the steps.
//!
//! Locate the excitation, bring the recording onto the player's clock, cut and average the repeats, deconvolve, find the
//! arrival, gate, transform; then the harmonics, the calibration, and what there is to say about trust.
//! No equation of its own: each step has its file.

use super::admission::check;
use super::excess::arrival;
use super::frequency::{GatedResponse, NoiseSource, NoiseThrough, frequency_response};
use super::locate::strongest;
use super::spread::widen_by_spread;
use super::timeline::{Correction, Timeline, on_players_clock};
use super::truncation::widen_by_truncation;
use super::verdict::{Evidence, findings};
use super::{
    Arrival, Cut, Deconvolution, Distortion, Drift, EnergyTime, FrequencyResponse, Gate, GateChoice, Interruption,
    LevelReference, MicrophoneTable, NoiseDensity, OctaveFraction, Pattern, Repeats, ResponseError, Step,
    WrappedImpulse, distortion, energy_time, interruption, locate,
};
use crate::quantity::{Finding, FrequencyGrid, SampleRate};
use crate::signal::{Excitation, Recording};

/// How a recording is to be read.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// The channel with the reply, from 0.
    pub reply: usize,
    /// The loopback channel, from 0, where there is one.
    pub reference: Option<usize>,
    /// Which part of the reply counts.
    pub gate: GateChoice,
    /// Smoothing of the data; none unless asked for.
    pub smoothing: Option<OctaveFraction>,
    /// Points an octave of the curve.
    pub points_per_octave: u32,
    /// The microphone's own response.
    pub microphone: Option<MicrophoneTable>,
    /// What 0 dB means.
    pub level: LevelReference,
}

/// Everything a recording tells.
pub struct Analysis {
    /// Frames a second.
    pub rate: SampleRate,
    /// The response: level reference and microphone applied, smoothed where asked for.
    pub response: FrequencyResponse,
    /// Where it may be believed.
    pub valid_hz: [f64; 2],
    /// When the first sound arrived: after the loopback's, or after the start of the recording less where the excitation
    /// would lie if it had started with it.
    pub arrival_s: f64,
    /// Its standard uncertainty.
    pub u_arrival_s: f64,
    /// The gate that was used.
    pub gate: Gate,
    /// The clocks' difference; absent where nothing tells it.
    pub drift: Option<Drift>,
    /// What was done about it.
    pub correction: Correction,
    /// Signal over noise in the reply, dB; absent where there was no silence to tell.
    pub snr_db: Option<f64>,
    /// Highest sample of the reply, dBFS.
    pub peak_dbfs: f64,
    /// The reply's noise, as the level of a sine of the same power, dBFS; absent likewise.
    pub noise_dbfs: Option<f64>,
    /// Harmonics; absent for anything but a sweep.
    pub distortion: Option<Distortion>,
    /// Energy-time curve and first reflection.
    pub energy_time: EnergyTime,
    /// The impulse response around the arrival, ungated.
    pub impulse: ImpulseResponse,
    /// Repeats that were used, from 0.
    pub repeats: Vec<usize>,
    /// What there is to say about trust.
    pub findings: Vec<Finding>,
}

/// An impulse response as it is stored: samples and the place of time zero among them.
#[derive(Debug, Clone, PartialEq)]
pub struct ImpulseResponse {
    /// Reply unit over drive unit.
    pub samples: Vec<f64>,
    /// Index of the arrival, fractions included.
    pub arrival_index: f64,
}

/// The impulse response is kept from this long before the arrival …
const KEPT_BEFORE_S: f64 = 0.1;
/// … to at most this long after.
const KEPT_AFTER_S: f64 = 1.0;
/// Where no reflection is seen, this is as long as a gate needs to be.
const LONG_GATE_S: f64 = 0.5;
/// No proposed gate is shorter than this.
const SHORTEST_PROPOSED_S: f64 = 0.001_5;
/// Reflections are looked for within this after the arrival.
const LOOK_S: f64 = 0.1;

/// What `recording` tells about what lies between `excitation` and it.
///
/// # Shape
/// Rates must be equal; the recording may begin and end anywhere as long as one repeat lies in it whole.
///
/// # Errors
/// [`ResponseError`] when the recording can't be used; what can be used with care is a finding instead.
pub fn analyse(recording: &Recording, excitation: &Excitation, settings: &Settings) -> Result<Analysis, ResponseError> {
    check(recording, excitation, settings)?;
    let pattern = Pattern::of(excitation)?;
    let channels: Vec<usize> = settings.reference.into_iter().chain([settings.reply]).collect();
    let timeline = on_players_clock(recording, excitation, &pattern, &channels)?;
    let flight_frames = match settings.reference {
        // The reply must be a reply too, and tells how much later than the loopback it comes.
        Some(_) => {
            let located = locate(&timeline.channels[1], settings.reply, &excitation.plan, &pattern)?;
            located.offset_frames - timeline.offset_frames
        }
        None => 0,
    };
    let mut heard = hear(&timeline, excitation, &pattern, flight_frames)?;
    let view = View::of(&heard, settings, &pattern)?;
    let mut response = plain_response(&heard, &timeline, settings, &view, &pattern);
    let disagreement = widen_by_spread(&mut response, &mut heard, view.arrived.frames, view.gate);
    let evidence = Evidence {
        recording,
        excitation,
        settings,
        pattern: &pattern,
        timeline: &timeline,
        heard: &heard,
        disagreement: disagreement.as_ref(),
    };
    Ok(conclude(&evidence, view, response))
}

/// The averaged repeats, deconvolved.
pub(super) struct Heard {
    pub deconvolution: Deconvolution,
    /// From loopback (or excitation) to reply.
    pub impulse: WrappedImpulse,
    /// From the excitation's file to reply: where the harmonics are.
    pub from_file: Option<WrappedImpulse>,
    /// What was divided by.
    pub drive: Vec<num_complex::Complex64>,
    /// Index of the strongest arrival in `impulse`, and in `from_file`.
    pub peak: i64,
    pub file_peak: i64,
    pub repeats: Repeats,
    /// The loopback's repeats, where there is a loopback.
    pub loopback: Option<Repeats>,
    pub disturbed: Vec<usize>,
    /// What broke into the repeats, each with the repeat's number.
    pub interruptions: Vec<(usize, Interruption)>,
    pub cut: Cut,
    /// Frames of reply after the last frame of a sweep.
    pub longest_after: usize,
}

impl Heard {
    /// The impulse response that one repeat alone tells.
    pub(super) fn impulse_of_repeat(&mut self, index: usize) -> WrappedImpulse {
        let reply = self.deconvolution.spectrum(&self.repeats.pieces[index]);
        match &self.loopback {
            Some(loopback) => {
                let drive = self.deconvolution.spectrum(&loopback.pieces[index]);
                self.deconvolution.impulse(&reply, &drive)
            }
            None => self.deconvolution.impulse(&reply, &self.drive),
        }
    }
}

fn hear(
    timeline: &Timeline,
    excitation: &Excitation,
    pattern: &Pattern,
    flight_frames: i64,
) -> Result<Heard, ResponseError> {
    let plan = &excitation.plan;
    let reply = &timeline.channels[timeline.channels.len() - 1];
    let cut = Cut::of(plan, pattern.rate_hz, timeline.offset_frames, reply.len());
    let all = Repeats::cut(reply, plan, timeline.offset_frames, cut);
    if all.pieces.is_empty() {
        return Err(ResponseError::NoWholeSweep {
            recorded_s: reply.len() as f64 / pattern.rate_hz,
            sweep_s: pattern.samples.len() as f64 / pattern.rate_hz,
        });
    }
    let disturbed = all.disturbed();
    let disturbed_numbers: Vec<usize> = disturbed.iter().map(|&index| all.numbers[index]).collect();
    let mut deconvolution = Deconvolution::new(pattern, cut.before + cut.after);
    let expected = cut.before as i64 + flight_frames;
    let interruptions = all_interruptions(&mut deconvolution, &all, cut, expected);
    let repeats = all.without(&disturbed);
    let replied = deconvolution.spectrum(&repeats.mean());
    let played = deconvolution.played().to_vec();
    let before = cut.before as i64;
    let reach = (0.01 * pattern.rate_hz) as i64;
    let mut loopback = None;
    let (impulse, from_file, drive) = if timeline.channels.len() > 1 {
        let references = Repeats::cut(&timeline.channels[0], plan, timeline.offset_frames, cut).without(&disturbed);
        let drive = deconvolution.spectrum(&references.mean());
        loopback = Some(references);
        let impulse = deconvolution.impulse(&replied, &drive);
        (impulse, Some(deconvolution.impulse(&replied, &played)), drive)
    } else {
        (deconvolution.impulse(&replied, &played), None, played)
    };
    let file_peak = strongest(from_file.as_ref().unwrap_or(&impulse), before + flight_frames, reach);
    let peak = if from_file.is_some() { strongest(&impulse, flight_frames, reach) } else { file_peak };
    let longest_after = (cut.before + cut.after).saturating_sub(pattern.samples.len() + file_peak.max(0) as usize);
    Ok(Heard {
        deconvolution,
        impulse,
        from_file,
        drive,
        peak,
        file_peak,
        repeats,
        loopback,
        disturbed: disturbed_numbers,
        interruptions,
        cut,
        longest_after,
    })
}

/// What broke into each of the repeats, whose first frame's reply is expected at `expected`.
fn all_interruptions(
    deconvolution: &mut Deconvolution,
    repeats: &Repeats,
    cut: Cut,
    expected: i64,
) -> Vec<(usize, Interruption)> {
    let found = |(piece, &number): (&Vec<f64>, &usize)| {
        Some((number, interruption(deconvolution, piece, cut.before, expected)?))
    };
    repeats.pieces.iter().zip(&repeats.numbers).filter_map(found).collect()
}

/// Arrival, gate and band: through what the impulse response is looked at.
struct View {
    arrived: Arrival,
    energy_time: EnergyTime,
    gate: Gate,
    valid_hz: [f64; 2],
    grid: FrequencyGrid,
    /// Noise of the impulse response itself, for recordings without silence.
    before_arrival: NoiseDensity,
    longest_s: f64,
}

impl View {
    fn of(heard: &Heard, settings: &Settings, pattern: &Pattern) -> Result<Self, ResponseError> {
        let arrived = arrival(&heard.impulse, heard.peak, pattern);
        let longest_s = heard.longest_after as f64 / pattern.rate_hz;
        let energy_time = energy_time(&heard.impulse, arrived.frames, LOOK_S.min(longest_s), pattern);
        let gate = chosen_gate(settings.gate, &energy_time, longest_s, pattern)?;
        let valid_hz = valid_band_hz(gate, settings, pattern)?;
        let grid = FrequencyGrid::of_octave_fractions(valid_hz, settings.points_per_octave)
            .map_err(|_| ResponseError::NoValidBand { lowest_hz: valid_hz[0], highest_hz: valid_hz[1] })?;
        let before_arrival = noise_before_arrival(&heard.impulse, arrived.frames, pattern);
        Ok(Self { arrived, energy_time, gate, valid_hz, grid, before_arrival, longest_s })
    }
}

/// The noise that comes through the deconvolution by the loopback, or by the excitation's file.
fn noise_through<'a>(
    heard: &'a Heard,
    timeline: &'a Timeline,
    view: &'a View,
    divided_by: DividedBy,
) -> NoiseThrough<'a> {
    let reply = timeline.noise[timeline.noise.len() - 1].as_ref();
    let (drive, reference) = match divided_by {
        DividedBy::Loopback => (heard.drive.as_slice(), timeline.noise[0].as_ref()),
        DividedBy::File => (heard.deconvolution.played(), None),
    };
    let told_by = match reply {
        Some(reply) => NoiseSource::Silences { drive, reply, reference },
        None => NoiseSource::Impulse(&view.before_arrival),
    };
    NoiseThrough { deconvolution: &heard.deconvolution, told_by, repeats: heard.repeats.pieces.len() }
}

#[derive(Clone, Copy)]
enum DividedBy {
    Loopback,
    File,
}

fn plain_response(
    heard: &Heard,
    timeline: &Timeline,
    settings: &Settings,
    view: &View,
    pattern: &Pattern,
) -> FrequencyResponse {
    let divided_by = if settings.reference.is_some() { DividedBy::Loopback } else { DividedBy::File };
    let noise = noise_through(heard, timeline, view, divided_by);
    let gated = GatedResponse::new(&heard.impulse, view.arrived.frames, view.gate, &heard.deconvolution);
    let mut plain = frequency_response(&gated, &view.grid, view.gate, &noise);
    widen_by_truncation(&mut plain, &heard.impulse, view.arrived.frames, view.gate, &noise);
    smoothed(plain, &gated, view, settings, pattern.rate_hz)
}

fn conclude(evidence: &Evidence<'_>, view: View, response: FrequencyResponse) -> Analysis {
    let Evidence { recording, settings, pattern, timeline, heard, .. } = *evidence;
    let rate_hz = pattern.rate_hz;
    let noise = noise_through(heard, timeline, &view, DividedBy::File);
    let file_arrival = view.arrived.frames + (heard.file_peak - heard.peak) as f64;
    let microphone = |hz: f64| settings.microphone.as_ref().and_then(|table| table.at(hz)).map_or(1.0, |m| m.norm());
    let from_file = heard.from_file.as_ref().unwrap_or(&heard.impulse);
    let distortion = distortion(from_file, file_arrival, pattern, &noise, microphone);
    let levels = Levels::of(evidence, timeline.noise[timeline.noise.len() - 1].as_ref());
    let mut analysis = Analysis {
        rate: recording.rate,
        response: calibrated(response, settings, loopback_gain(heard, settings)),
        valid_hz: view.valid_hz,
        arrival_s: absolute_arrival(evidence, &view.arrived) / rate_hz,
        u_arrival_s: view.arrived.u_frames / rate_hz,
        gate: view.gate,
        drift: timeline.drift,
        correction: timeline.correction,
        snr_db: levels.snr_db,
        peak_dbfs: levels.peak_dbfs,
        noise_dbfs: levels.noise_dbfs,
        distortion,
        energy_time: view.energy_time,
        impulse: kept(&heard.impulse, &view.arrived, rate_hz, view.longest_s),
        repeats: heard.repeats.numbers.clone(),
        findings: Vec::new(),
    };
    analysis.findings = findings(evidence, &analysis, view.arrived.polarity);
    analysis
}

/// Without a loopback the arrival counts from where the excitation would lie if it had begun with the recording.
fn absolute_arrival(evidence: &Evidence<'_>, arrived: &Arrival) -> f64 {
    if evidence.settings.reference.is_some() {
        arrived.frames
    } else {
        evidence.timeline.offset_frames as f64 + arrived.frames - evidence.heard.cut.before as f64
    }
}

fn chosen_gate(
    choice: GateChoice,
    curve: &EnergyTime,
    longest_s: f64,
    pattern: &Pattern,
) -> Result<Gate, ResponseError> {
    match choice {
        GateChoice::Length { after_s } => Gate::of(after_s, longest_s, pattern),
        GateChoice::None => {
            // A gate that is too short is refused in the same words.
            Gate::of(longest_s, longest_s, pattern)?;
            Ok(Gate::open(longest_s, pattern))
        }
        GateChoice::Auto => {
            let proposed_s = curve.reflection.map_or(LONG_GATE_S, |found| found.starts_s.max(SHORTEST_PROPOSED_S));
            Gate::of(proposed_s.min(longest_s), longest_s, pattern)
        }
    }
}

/// What gate, excitation and microphone table leave.
fn valid_band_hz(gate: Gate, settings: &Settings, pattern: &Pattern) -> Result<[f64; 2], ResponseError> {
    let [mut lowest_hz, mut highest_hz] = pattern.band_hz;
    lowest_hz = lowest_hz.max(pattern.rate_hz / gate.after_frames);
    if let Some(table) = &settings.microphone {
        let [from_hz, to_hz] = table.range_hz();
        lowest_hz = lowest_hz.max(from_hz);
        highest_hz = highest_hz.min(to_hz);
    }
    if lowest_hz < highest_hz {
        Ok([lowest_hz, highest_hz])
    } else {
        Err(ResponseError::NoValidBand { lowest_hz, highest_hz })
    }
}

/// The noise of the impulse response where nothing has arrived yet.
fn noise_before_arrival(impulse: &WrappedImpulse, arrival_frames: f64, pattern: &Pattern) -> NoiseDensity {
    let longest = (0.5 * pattern.rate_hz) as usize;
    let frames = longest.min(pattern.samples.len() / 2).max(64);
    let gap = (0.1 * pattern.rate_hz) as i64;
    let cut = impulse.cut(arrival_frames as i64 - gap - frames as i64, frames);
    let all = std::slice::from_ref(&(0..frames)).to_vec();
    NoiseDensity::of(&cut, &all, pattern.rate_hz, f64::MIN_POSITIVE).unwrap_or(NoiseDensity::white(f64::MIN_POSITIVE))
}

fn smoothed(
    plain: FrequencyResponse,
    gated: &GatedResponse,
    view: &View,
    settings: &Settings,
    rate_hz: f64,
) -> FrequencyResponse {
    let Some(fraction) = settings.smoothing else { return plain };
    let (gate, band_hz) = (view.gate, view.valid_hz);
    let resolution_hz = rate_hz / (gate.before_frames + gate.after_frames);
    let FrequencyResponse { grid, mut values, mut u_ratio } = plain;
    for ((&hz, value), u) in grid.hz().iter().zip(&mut values).zip(&mut u_ratio) {
        let power = fraction.mean_power(hz, band_hz, resolution_hz, |f| gated.at(f).norm_sqr());
        // So many independent values are averaged; the phase stays as it is.
        let cells = (fraction.width_hz(hz) / (rate_hz / gate.noise_frames())).max(1.0);
        let magnitude = value.norm().max(f64::MIN_POSITIVE);
        *u *= power.sqrt() / magnitude / cells.sqrt();
        *value *= power.sqrt() / magnitude;
    }
    FrequencyResponse { grid, values, u_ratio }
}

/// What the loopback cable and its input do to the middle of the band: a pressure is counted from the reply itself, so this
/// comes back in where the response was divided by the loopback. 1 for a plain ratio, and without a loopback.
fn loopback_gain(heard: &Heard, settings: &Settings) -> f64 {
    if settings.level == LevelReference::ReplyOverDrive || heard.from_file.is_none() {
        return 1.0;
    }
    let [from_hz, to_hz] = heard.deconvolution.pattern().band_hz;
    let middle_hz = if (from_hz..=to_hz).contains(&1_000.0) { 1_000.0 } else { (from_hz * to_hz).sqrt() };
    let bin = |hz: f64| (hz / heard.deconvolution.bin_hz(1)) as usize;
    // A third of an octave.
    let middle = bin(middle_hz / 1.122)..=bin(middle_hz * 1.122);
    let power = |bins: &[num_complex::Complex64]| bins[middle.clone()].iter().map(|x| x.norm_sqr()).sum::<f64>();
    (power(&heard.drive) / power(heard.deconvolution.played())).sqrt()
}

/// The microphone taken off and the level reference put on.
fn calibrated(response: FrequencyResponse, settings: &Settings, loopback_gain: f64) -> FrequencyResponse {
    let gain = loopback_gain * 10f64.powf(settings.level.offset_db() / 20.0);
    let FrequencyResponse { grid, mut values, mut u_ratio } = response;
    for ((&hz, value), u) in grid.hz().iter().zip(&mut values).zip(&mut u_ratio) {
        let microphone = settings.microphone.as_ref().and_then(|table| table.at(hz)).unwrap_or(1.0.into());
        *value = *value * gain / microphone;
        *u *= gain / microphone.norm();
    }
    FrequencyResponse { grid, values, u_ratio }
}

/// The impulse response around the arrival.
fn kept(impulse: &WrappedImpulse, arrived: &Arrival, rate_hz: f64, longest_s: f64) -> ImpulseResponse {
    let before = (KEPT_BEFORE_S * rate_hz) as i64;
    let frames = before as usize + (KEPT_AFTER_S.min(longest_s) * rate_hz) as usize;
    let first = arrived.frames.floor() as i64 - before;
    ImpulseResponse { samples: impulse.cut(first, frames), arrival_index: arrived.frames - first as f64 }
}

/// How loud reply and noise are.
struct Levels {
    snr_db: Option<f64>,
    peak_dbfs: f64,
    noise_dbfs: Option<f64>,
}

impl Levels {
    fn of(evidence: &Evidence<'_>, noise: Option<&NoiseDensity>) -> Self {
        let recorded = &evidence.recording.channels[evidence.settings.reply];
        let peak = recorded.iter().fold(0.0f64, |peak, x| peak.max(x.abs()));
        let start = evidence.heard.cut.before;
        let sweep = &evidence.heard.repeats.pieces[0][start..start + evidence.excitation.plan.frames];
        let power = sweep.iter().map(|x| x * x).sum::<f64>() / sweep.len() as f64;
        Self {
            snr_db: noise.map(|noise| 10.0 * (power / noise.power()).log10()).filter(|level| level.is_finite()),
            peak_dbfs: 20.0 * peak.max(f64::MIN_POSITIVE).log10(),
            noise_dbfs: noise.map(|noise| 10.0 * (2.0 * noise.power()).log10()).filter(|level| level.is_finite()),
        }
    }
}

/// A step of the timeline in words.
pub(super) fn lost_in_words(step: &Step) -> String {
    match step.late_frames {
        Some(frames) if frames < 0.0 => format!("{:.1} frames are missing", -frames),
        Some(frames) => format!("{frames:.1} frames are too many"),
        None => "the sounds on both sides are not alike".to_owned(),
    }
}
