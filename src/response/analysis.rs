//! From a recording to everything it tells about a system: the order of the steps.
//!
//! Locate the excitation, bring the recording onto the player's clock, cut and average the repeats, deconvolve, find the
//! arrival, gate, transform; then the harmonics, the calibration, and what there is to say about trust.
//! No equation of its own: each step has its file.

use super::admission::check;
use super::band_wall::walls;
use super::continuity::broken;
use super::crosstalk::leak;
use super::curve::{
    DividedBy, calibrated, finished_response, loopback_gain, noise_of_response, noise_through, plain_response,
};
use super::fading::Fading;
use super::frequency::GatedResponse;
use super::hearing::{Heard, hear};
use super::level_steps::{Channel, LevelSteps, level_steps};
use super::levels::Levels;
use super::mark_arrival::mark_arrival;
use super::octave_arrivals::octaves_apart_s;
use super::offset::without_offset;
use super::phases::{Phases, phases};
use super::quantised::widen_by_steps;
use super::rubbing::{HighOrder, high_order};
use super::sounding_noise::widen_by_sounding_noise;
use super::spread::widen_by_spread;
use super::timeline::{Correction, Timeline, on_players_clock};
use super::verdict::{Evidence, findings, noisy_share};
use super::view::{View, seen_within};
use super::{
    Arrival, Distortion, Drift, EnergyTime, FrequencyResponse, Gate, GateChoice, LevelReference, MarkArrival,
    MarksPath, MicrophoneTable, NoiseDensity, OctaveFraction, Pattern, ResponseError, WrappedImpulse, distortion,
    locate,
};
use crate::math::both;
use crate::quantity::{Finding, POINTS_PER_OCTAVE, SampleRate};
use crate::signal::{Excitation, Recording};

/// How a recording is to be read.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// The channel with the reply, from 0.
    pub reply: usize,
    /// The loopback channel, from 0, where there is one.
    pub reference: Option<usize>,
    /// Which way the time marks go.
    pub marks: MarksPath,
    /// Which part of the reply counts.
    pub gate: GateChoice,
    /// When the first reflection is due by the geometry of the room, after the direct sound, s; a proposed gate ends there at
    /// the latest.
    pub reflection_due_s: Option<f64>,
    /// Smoothing of the data; none unless asked for.
    pub smoothing: Option<OctaveFraction>,
    /// Points an octave of the curve.
    pub points_per_octave: u32,
    /// The microphone's own response.
    pub microphone: Option<MicrophoneTable>,
    /// What 0 dB means.
    pub level: LevelReference,
}

impl Settings {
    /// The usual ones for a reply in one channel (from 0): no loopback, a gate up to the first reflection, plain ratios on
    /// the grid of results, nothing smoothed, no microphone.
    pub fn of_reply(reply: usize) -> Self {
        Self {
            reply,
            reference: None,
            marks: MarksPath::Shared,
            gate: GateChoice::Auto,
            reflection_due_s: None,
            smoothing: None,
            points_per_octave: POINTS_PER_OCTAVE,
            microphone: None,
            level: LevelReference::ReplyOverDrive,
        }
    }
}

/// Everything a recording tells.
pub struct Analysis {
    /// Frames a second.
    pub rate: SampleRate,
    /// The response: level reference and microphone applied, smoothed where asked for.
    pub response: FrequencyResponse,
    /// Where it may be believed.
    pub valid_hz: [f64; 2],
    /// When the first sound arrived: after the loopback's, after that of marks that go their own way less where they lie in the
    /// excitation, or after the start of the recording less where the excitation would lie if it had started with it.
    pub arrival_s: f64,
    /// Which of these it is.
    pub time_reference: TimeReference,
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
    /// The phase taken apart, and the group delay.
    pub phases: Phases,
    /// What sounds far above the note that is played; absent where there was no sweep or no silence.
    pub high_order: Option<HighOrder>,
    /// How the sound dies away within the gate.
    pub fading: Fading,
    /// The impulse response around the arrival, ungated.
    pub impulse: ImpulseResponse,
    /// Repeats that were used, from 0.
    pub repeats: Vec<usize>,
    /// What there is to say about trust.
    pub findings: Vec<Finding>,
}

/// From when on the arrival counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TimeReference {
    /// From the loopback's: it is a time of flight.
    Loopback,
    /// From that of marks that go their own way: captures with the same way of the marks have one zero.
    Mark,
    /// From the start of the recording: it is another one in each capture.
    Recording,
}

impl TimeReference {
    /// As documents say it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Loopback => "loopback",
            Self::Mark => "mark",
            Self::Recording => "recording",
        }
    }
}

/// An impulse response as it is stored: samples and the place of time zero among them.
#[derive(Debug, Clone, PartialEq)]
pub struct ImpulseResponse {
    /// Reply unit over drive unit.
    pub samples: Vec<f64>,
    /// Index of the arrival, fractions included.
    pub arrival_index: f64,
}

/// Marks whose arrival is more doubtful than this (3° at 80 Hz) are no zero of time.
const WORST_MARK_U_S: f64 = 1e-4;
/// The impulse response is kept from this long before the arrival …
const KEPT_BEFORE_S: f64 = 0.1;
/// … to at most this long after.
const KEPT_AFTER_S: f64 = 1.0;

impl Analysis {
    /// Puts all times onto the time of a recording in which the stretch that was analysed begins `from_s` after its start.
    pub fn begin_at(&mut self, from_s: f64) {
        if self.time_reference == TimeReference::Recording {
            self.arrival_s += from_s;
        }
        let times = self.findings.iter_mut().filter_map(|finding| finding.at.time_s.as_mut());
        times.flatten().for_each(|time_s| *time_s += from_s);
    }
}

/// What `recording` tells about what lies between `excitation` and it.
///
/// # Shape
/// Rates must be equal; the recording may begin and end anywhere as long as one repeat lies in it whole.
///
/// # Errors
/// [`ResponseError`] when the recording can't be used; what can be used with care is a finding instead.
pub fn analyse(recording: &Recording, excitation: &Excitation, settings: &Settings) -> Result<Analysis, ResponseError> {
    let Listened { pattern, timeline, mut heard } = listen(recording, excitation, settings)?;
    let look = || {
        let mut view = View::of(&heard, settings, &pattern)?;
        let gated = GatedResponse::new(&heard.impulse, view.arrived.frames, view.gate, &heard.deconvolution);
        let mut plain = plain_response(&gated, &heard, &timeline, settings, &view);
        let walls = walls(plain.grid.hz(), &plain.magnitude_db());
        if let Some(walls) = walls {
            // Beyond a wall nothing was heard: the curve ends before it.
            (view.valid_hz, view.grid) = seen_within(walls.within_hz, &view, settings)?;
            plain = plain_response(&gated, &heard, &timeline, settings, &view);
        }
        Ok((view, gated, plain, walls))
    };
    let (looked, broken_into) = both(look, || heard.broken_into());
    let (view, gated, mut plain, walls) = looked?;
    heard.interruptions.extend(broken_into);
    let silence = timeline.noise[timeline.noise.len() - 1].as_ref();
    widen_by_steps(&mut plain, recording, drive_peak(&heard, excitation), silence.map(NoiseDensity::power));
    let disagreement = widen_by_spread(&mut plain, &heard, &gated, view.arrived.frames, view.gate);
    let through = noise_of_response(&heard, &timeline, settings, &view);
    let louder = widen_by_sounding_noise(&mut plain, &heard.impulse, &view, &through);
    let leak = settings.reference.and_then(|_| leak(&heard.impulse, view.arrived.frames, &pattern));
    let noisy_share = noisy_share(&plain);
    let (response, (level_steps, octaves_apart_s)) = both(
        || finished_response(plain, &gated, &heard, &timeline, settings, &view),
        || (steps_of_level(&heard, &timeline), octaves_apart_s(&heard.impulse, view.arrived.frames, &pattern)),
    );
    let evidence = Evidence {
        recording,
        excitation,
        settings,
        pattern: &pattern,
        timeline: &timeline,
        heard: &heard,
        disagreement: disagreement.as_ref(),
        louder,
        level_steps,
        leak,
        walls,
        octaves_apart_s,
        noisy_share,
    };
    Ok(conclude(&evidence, view, &gated, response))
}

/// A recording that was listened to: what was played, the recording on the player's clock, the averaged repeats.
pub(super) struct Listened {
    pub pattern: Pattern,
    pub timeline: Timeline,
    pub heard: Heard,
}

/// Everything up to the impulse response.
pub(super) fn listen(
    recording: &Recording,
    excitation: &Excitation,
    settings: &Settings,
) -> Result<Listened, ResponseError> {
    check(recording, excitation, settings)?;
    let pattern = Pattern::of(excitation)?;
    let channels: Vec<usize> = settings.reference.into_iter().chain([settings.reply]).collect();
    let without_offset = without_offset(recording, &channels);
    let mut timeline = on_players_clock(&without_offset, excitation, &pattern, &channels, settings.marks)?;
    let hear_it = |timeline: &Timeline| {
        let flight_frames = match settings.reference {
            // The reply must be a reply too, and tells how much later than the loopback it comes.
            Some(_) => {
                let (reply, plan) = timeline.located_reply(pattern.rate_hz, settings.marks);
                let located = locate(&reply, settings.reply, &plan, &pattern)?;
                located.offset_frames - timeline.offset_frames
            }
            None => 0,
        };
        hear(timeline, &pattern, flight_frames)
    };
    let mut heard = hear_it(&timeline)?;
    timeline.broken = broken(&heard.first_sounds[0], &pattern);
    if !timeline.broken.is_empty() && timeline.leave_as_recorded(&without_offset, &channels) {
        heard = hear_it(&timeline)?;
    }
    Ok(Listened { pattern, timeline, heard })
}

/// The sweep's peak in what the response was divided by.
fn drive_peak(heard: &Heard, excitation: &Excitation) -> f64 {
    let power = |bins: &[num_complex::Complex64]| bins.iter().map(|bin| bin.norm_sqr()).sum::<f64>();
    let gain = (power(&heard.drive) / power(heard.deconvolution.played()).max(f64::MIN_POSITIVE)).sqrt();
    let start = excitation.plan.starts[0];
    let sweep = &excitation.samples[start..start + excitation.plan.frames];
    gain * sweep.iter().fold(0.0, |peak: f64, x| peak.max(x.abs()))
}

/// The levels of all sounds of the reply, less what the loopback says of them.
fn steps_of_level(heard: &Heard, timeline: &Timeline) -> LevelSteps {
    let channels = heard.first_sounds.iter().zip(&timeline.noise);
    let channels: Vec<Channel<'_>> =
        channels.map(|(sounds, noise)| Channel { sounds, noise: noise.as_ref() }).collect();
    match channels.as_slice() {
        // Where one of the channels misses a sound, nobody knows which belong together.
        [loopback, reply] if loopback.sounds.len() != reply.sounds.len() => LevelSteps::default(),
        [loopback, reply] => level_steps(*reply, Some(*loopback), &timeline.sounds),
        [reply, ..] => level_steps(*reply, None, &timeline.sounds),
        [] => LevelSteps::default(),
    }
}

fn conclude(evidence: &Evidence<'_>, view: View, gated: &GatedResponse, response: FrequencyResponse) -> Analysis {
    let Evidence { recording, settings, pattern, timeline, heard, .. } = *evidence;
    let rate_hz = pattern.rate_hz;
    let noise = noise_through(heard, timeline, &view, DividedBy::File);
    let file_arrival = view.arrived.frames + (heard.file_peak - heard.peak) as f64;
    let microphone = |hz: f64| settings.microphone.as_ref().and_then(|table| table.at(hz)).map_or(1.0, |m| m.norm());
    let from_file = heard.from_file.as_ref().unwrap_or(&heard.impulse);
    let silence = timeline.noise[timeline.noise.len() - 1].as_ref();
    let rounding_power =
        recording.format.rounding_power(heard.repeats.pieces[0].iter().fold(0.0, |peak: f64, x| peak.max(x.abs())));
    let gain = loopback_gain(heard, settings);
    let impulse = kept(&heard.impulse, &view.arrived, rate_hz, view.longest_s);
    let through = noise_of_response(heard, timeline, settings, &view);
    let density = |hz: f64, width_hz: f64| through.density(hz, width_hz, gated.at(hz).norm());
    let u_rad: Vec<f64> = response.values.iter().zip(&response.u_ratio).map(|(value, u)| u / value.norm()).collect();
    let width_hz = rate_hz / view.gate.noise_frames();
    let whole = |hz: f64| settings.calibration(hz, gain) * gated.at(hz);
    let ((fading, phases), (distortion, high_order)) = both(
        || {
            let fading = Fading::of(&impulse, &view, pattern, density);
            (fading, phases(view.grid.hz(), view.valid_hz, &u_rad, width_hz, whole))
        },
        || {
            let distortion = distortion(from_file, file_arrival, pattern, &noise, microphone);
            let pieces = &heard.repeats.pieces;
            (distortion, silence.and_then(|noise| high_order(pieces, file_arrival, pattern, noise, rounding_power)))
        },
    );
    let levels = Levels::of(evidence, silence);
    let (arrival_frames, u_arrival_frames, time_reference) = arrival_from_zero(evidence, &view.arrived);
    let mut analysis = Analysis {
        rate: recording.rate,
        response: calibrated(response, settings, gain),
        valid_hz: view.valid_hz,
        arrival_s: arrival_frames / rate_hz,
        u_arrival_s: u_arrival_frames / rate_hz,
        time_reference,
        gate: view.gate,
        drift: timeline.drift,
        correction: timeline.correction,
        snr_db: levels.snr_db,
        peak_dbfs: levels.peak_dbfs,
        noise_dbfs: levels.noise_dbfs,
        distortion,
        energy_time: view.energy_time,
        phases,
        high_order,
        fading,
        impulse,
        repeats: heard.repeats.numbers.clone(),
        findings: Vec::new(),
    };
    analysis.findings = findings(evidence, &analysis, view.arrived.polarity);
    analysis
}

/// The arrival, its uncertainty, and from when on it counts: in frames.
fn arrival_from_zero(evidence: &Evidence<'_>, arrived: &Arrival) -> (f64, f64, TimeReference) {
    if evidence.settings.reference.is_some() {
        return (arrived.frames, arrived.u_frames, TimeReference::Loopback);
    }
    // Where the excitation would lie if it had begun with the recording.
    let in_recording = evidence.timeline.offset_frames as f64 + arrived.frames - evidence.heard.cut.before as f64;
    match heard_marks(evidence) {
        Some(mark) => (in_recording - mark.frames, arrived.u_frames.hypot(mark.u_frames), TimeReference::Mark),
        None => (in_recording, arrived.u_frames, TimeReference::Recording),
    }
}

/// The arrival of marks that go their own way, if it is sure enough for a zero of time.
fn heard_marks(evidence: &Evidence<'_>) -> Option<MarkArrival> {
    let Evidence { excitation, pattern, timeline, .. } = *evidence;
    let reply = &timeline.channels[timeline.channels.len() - 1];
    mark_arrival(reply, excitation, pattern, timeline.first_mark?)
        .filter(|mark| mark.u_frames < WORST_MARK_U_S * pattern.rate_hz)
}

/// The impulse response around the arrival.
fn kept(impulse: &WrappedImpulse, arrived: &Arrival, rate_hz: f64, longest_s: f64) -> ImpulseResponse {
    let before = (KEPT_BEFORE_S * rate_hz) as i64;
    let frames = before as usize + (KEPT_AFTER_S.min(longest_s) * rate_hz) as usize;
    let first = arrived.frames.floor() as i64 - before;
    ImpulseResponse { samples: impulse.cut(first, frames), arrival_index: arrived.frames - first as f64 }
}
