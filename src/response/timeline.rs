//! A recording brought onto the player's clock: where the excitation lies, how the clocks differ, the correction.
//!
//! The correction resamples the recording (`y(t) = y_rec(t·(1 + δ))`, see [`crate::math::stretched`]); it never bends
//! phases. It is made only when δ stands out of its own uncertainty and matters, so that a recording on a common clock
//! stays untouched to the last bit. Samples that got lost would pass for drift: see [`super::continuity`].
//! Ours, because a loopback or a microphone on another device's clock is the rule, not the exception.

use super::clock::{Hearing, drift_between};
use super::continuity::Sounds;
use super::excess::drift_of_sweep;
use super::locate::{locate, strongest};
use super::mark_arrival::{find_marks, plan_as_heard, without_marks};
use super::{
    Cut, Deconvolution, Drift, MarksPath, NoiseDensity, Pattern, ResponseError, Step, ToldBy, WrappedImpulse, silences,
};
use crate::math::{both, stretched};
use crate::signal::{Excitation, Plan, Recording};
use std::borrow::Cow;
use std::ops::Range;

/// A recording on the player's clock.
pub(super) struct Timeline {
    /// The channels that were asked for, in that order.
    pub channels: Vec<Vec<f64>>,
    /// Frame of the first arrival of the excitation's frame 0, in the first of the channels.
    pub offset_frames: i64,
    /// The excitation's plan, with marks that go their own way where they are heard against the sweeps.
    pub plan: Plan,
    /// Frame of the reply at which the first of such marks begins, to a few frames; absent where they can't be heard, or go the
    /// sweeps' way.
    pub first_mark: Option<i64>,
    /// The clocks' difference; absent where nothing tells it.
    pub drift: Option<Drift>,
    /// Whether the channels were resampled.
    pub correction: Correction,
    /// Where samples got lost: steps of half a frame or more between the sounds, which are told once these were heard.
    pub broken: Vec<Step>,
    /// The sounds that were played, each ready to be deconvolved; sweeps with all that a [`Cut`] leaves after them.
    pub(super) sounds: Sounds,
    /// Where the excitation and marks that go their own way lie in the recording as it is.
    as_recorded: (i64, Option<i64>),
    /// The silences.
    pub silences: Vec<Range<usize>>,
    /// Noise of each channel; absent where there is no silence.
    pub noise: Vec<Option<NoiseDensity>>,
}

/// What was done about the clocks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Correction {
    /// The channels were resampled.
    Resampled,
    /// They are as recorded.
    None,
}

/// A drift is corrected when it is this many times its uncertainty …
const SIGNIFICANT: f64 = 3.0;
/// … and moves one end of the sweep against the other by this many frames, a degree at 20 kHz and 48 kHz.
const MATTERS_FRAMES: f64 = 0.007;
/// Beyond this no clock is off; something else is wrong.
const LARGEST_RATIO: f64 = 2e-3;

/// `channels` (counted from 0) of `recording` on the player's clock. The first one tells the time; the last one is the reply, in which
/// marks that go their own way are heard.
///
/// # Errors
/// [`ResponseError`] when the excitation is not found in the first channel.
pub(super) fn on_players_clock(
    recording: &Recording,
    excitation: &Excitation,
    pattern: &Pattern,
    channels: &[usize],
    marks: MarksPath,
) -> Result<Timeline, ResponseError> {
    let telling = &recording.channels[channels[0]];
    let heard = match marks {
        MarksPath::Own => find_marks(&recording.channels[channels[channels.len() - 1]], excitation, pattern),
        MarksPath::Shared => None,
    };
    let sweeps = Sweeps { plan: &excitation.plan, marks, heard, rate_hz: pattern.rate_hz };
    let located = locate(&sweeps.alone(telling), channels[0], &sweeps.located_by(), pattern)?.offset_frames;
    let plan = sweeps.plan_as_heard(located);
    let quiet = silences(&plan, located, telling.len(), pattern.rate_hz);
    let cut = Cut::of(&plan, pattern.rate_hz, located, telling.len());
    let tell = || {
        let of_telling = noise_of(telling, &quiet, recording);
        let noise = of_telling.clone().unwrap_or(NoiseDensity::white(rounding(recording, telling)));
        let told = match (marks, heard) {
            (MarksPath::Shared, _) => tell_drift(telling, &excitation.plan, pattern, located, &noise),
            (MarksPath::Own, None) => tell_drift(telling, &sweeps.located_by(), pattern, located, &noise),
            (MarksPath::Own, Some(_)) => {
                let reply = &recording.channels[channels[channels.len() - 1]];
                let of_reply =
                    noise_of(reply, &quiet, recording).unwrap_or(NoiseDensity::white(rounding(recording, reply)));
                let equals = Equals { recorded: reply, pattern, offset_frames: located, noise: &of_reply };
                equals
                    .drift(&plan.mark_starts, plan.mark_frames, ToldBy::Marks)
                    .or_else(|| tell_drift(telling, &sweeps.located_by(), pattern, located, &noise))
            }
        };
        (of_telling, told)
    };
    let (sounds, (of_telling, told)) = both(|| Sounds::of(excitation, pattern, marks, cut.before + cut.after), tell);
    let wanted = told.filter(|drift| is_worth_correcting(drift, pattern));
    let mut timeline = Timeline {
        channels: Vec::new(),
        offset_frames: located,
        plan,
        first_mark: heard.map(|[first, _]| first),
        drift: told,
        correction: Correction::None,
        broken: Vec::new(),
        sounds,
        as_recorded: (located, heard.map(|[first, _]| first)),
        silences: Vec::new(),
        noise: Vec::new(),
    };
    let as_recorded = |channel: &usize| recording.channels[*channel].clone();
    if let Some(drift) = wanted {
        timeline.channels =
            channels.iter().map(|&channel| stretched(&recording.channels[channel], 1.0 + drift.ratio)).collect();
        let expected = (located as f64 / (1.0 + drift.ratio)).round() as i64;
        timeline.first_mark = timeline.first_mark.map(|first| (first as f64 / (1.0 + drift.ratio)).round() as i64);
        timeline.offset_frames = settled(&timeline.channels[0], pattern, excitation, expected);
        timeline.correction = Correction::Resampled;
    } else {
        timeline.channels = channels.iter().map(as_recorded).collect();
    }
    let of_telling = (timeline.correction == Correction::None).then_some(of_telling);
    timeline.listen_to_silences(recording, of_telling);
    Ok(timeline)
}

impl Timeline {
    /// What looked like a drift may be a gap: better leave the recording as it is. Whether the channels are others than before.
    pub(super) fn leave_as_recorded(&mut self, recording: &Recording, channels: &[usize]) -> bool {
        self.drift = None;
        if self.correction == Correction::None {
            return false;
        }
        self.channels = channels.iter().map(|&channel| recording.channels[channel].clone()).collect();
        (self.offset_frames, self.first_mark) = self.as_recorded;
        self.correction = Correction::None;
        self.listen_to_silences(recording, None);
        true
    }

    /// Silences and noise; that of the first channel may be known.
    fn listen_to_silences(&mut self, recording: &Recording, of_first: Option<Option<NoiseDensity>>) {
        let rate_hz = self.sounds.sweep.rate_hz();
        self.silences = silences(&self.plan, self.offset_frames, self.channels[0].len(), rate_hz);
        let noise_of = |samples: &Vec<f64>| noise_of(samples, &self.silences, recording);
        let first = of_first.unwrap_or_else(|| noise_of(&self.channels[0]));
        self.noise = std::iter::once(first).chain(self.channels[1..].iter().map(noise_of)).collect();
    }

    /// The reply as [`locate`] wants it, and the plan of what is in it: without marks that go their own way.
    pub(super) fn located_reply(&self, rate_hz: f64, marks: MarksPath) -> (Cow<'_, [f64]>, Plan) {
        let last = match self.plan.mark_starts.as_slice() {
            [first, .., last] => (last - first) as i64,
            _ => 0,
        };
        let heard = self.first_mark.map(|first| [first, first + last]);
        let sweeps = Sweeps { plan: &self.plan, marks, heard, rate_hz };
        (sweeps.alone(&self.channels[self.channels.len() - 1]), sweeps.located_by())
    }
}

/// Noise of one channel of a recording.
fn noise_of(samples: &[f64], silences: &[Range<usize>], recording: &Recording) -> Option<NoiseDensity> {
    NoiseDensity::of(samples, silences, recording.rate.hz(), rounding(recording, samples))
}

/// Rounding noise of the format for samples as large as these.
fn rounding(recording: &Recording, samples: &[f64]) -> f64 {
    let power = samples.iter().map(|x| x * x).sum::<f64>() / samples.len().max(1) as f64;
    recording.format.rounding_power(power.sqrt().max(1e-9))
}

fn is_worth_correcting(drift: &Drift, pattern: &Pattern) -> bool {
    let moved_frames = drift.ratio.abs() * pattern.samples.len() as f64;
    drift.ratio.abs() > SIGNIFICANT * drift.u_ratio
        && moved_frames > MATTERS_FRAMES
        && drift.ratio.abs() < LARGEST_RATIO
}

/// The drift from the best witness there is: marks, repeats, the sweep itself.
fn tell_drift(
    recorded: &[f64],
    plan: &Plan,
    pattern: &Pattern,
    offset_frames: i64,
    noise: &NoiseDensity,
) -> Option<Drift> {
    let equals = Equals { recorded, pattern, offset_frames, noise };
    equals
        .drift(&plan.mark_starts, plan.mark_frames, ToldBy::Marks)
        .or_else(|| equals.drift(&plan.starts, plan.frames, ToldBy::Repeats))
        .or_else(|| drift_of_one_sweep(recorded, pattern, offset_frames + plan.starts[0] as i64))
}

/// A recording whose equal sounds tell the drift by their distance.
struct Equals<'a> {
    recorded: &'a [f64],
    pattern: &'a Pattern,
    offset_frames: i64,
    noise: &'a NoiseDensity,
}

impl Equals<'_> {
    fn drift(&self, starts: &[usize], frames: usize, told_by: ToldBy) -> Option<Drift> {
        let [first, .., last] = starts else { return None };
        let hearing = Hearing { rate_hz: self.pattern.rate_hz, band_hz: self.pattern.band_hz, noise: self.noise };
        let at = [first, last].map(|&start| self.offset_frames + start as i64);
        let (ratio, u_ratio) = drift_between(self.recorded, at, frames, &hearing)?;
        Some(Drift { ratio, u_ratio, told_by })
    }
}

/// The sweeps among marks that may go their own way.
struct Sweeps<'a> {
    plan: &'a Plan,
    marks: MarksPath,
    /// Where such marks begin.
    heard: Option<[i64; 2]>,
    rate_hz: f64,
}

impl Sweeps<'_> {
    /// The recording without marks of another loudspeaker: they may hold more energy than all sweeps of a woofer.
    fn alone<'r>(&self, recorded: &'r [f64]) -> Cow<'r, [f64]> {
        match self.heard {
            Some(places) => Cow::Owned(without_marks(recorded, places, self.plan, self.rate_hz)),
            None => Cow::Borrowed(recorded),
        }
    }

    /// The plan of what goes the sweeps' way.
    fn located_by(&self) -> Plan {
        match self.marks {
            MarksPath::Shared => self.plan.clone(),
            MarksPath::Own => Plan { mark_starts: Vec::new(), ..self.plan.clone() },
        }
    }

    fn plan_as_heard(&self, offset_frames: i64) -> Plan {
        self.heard.map_or_else(|| self.plan.clone(), |[first, _]| plan_as_heard(self.plan, first, offset_frames))
    }
}

/// The drift that one sweep tells, improved once on the corrected recording.
fn drift_of_one_sweep(recorded: &[f64], pattern: &Pattern, start: i64) -> Option<Drift> {
    pattern.rate_constant_s?;
    let once = |samples: &[f64], start: i64| {
        let near = SweepNear::of(samples, pattern, start)?;
        drift_of_sweep(&near.impulse, near.strongest(), pattern)
    };
    let first = once(recorded, start)?;
    if !is_worth_correcting(&first, pattern) {
        return Some(first);
    }
    let corrected = stretched(recorded, 1.0 + first.ratio);
    let rest = once(&corrected, (start as f64 / (1.0 + first.ratio)).round() as i64)?;
    Some(Drift { ratio: (1.0 + first.ratio) * (1.0 + rest.ratio) - 1.0, ..rest })
}

/// The offset on a corrected recording: the strongest arrival near the expected one.
fn settled(recorded: &[f64], pattern: &Pattern, excitation: &Excitation, expected: i64) -> i64 {
    let start = excitation.plan.starts[0] as i64;
    SweepNear::of(recorded, pattern, expected + start).map_or(expected, |near| near.strongest() + near.first - start)
}

/// The impulse response of one sweep whose place is nearly known.
struct SweepNear {
    impulse: WrappedImpulse,
    /// Frame of the recording at which the piece begins.
    first: i64,
    /// Where in the piece the arrival is expected.
    expected: i64,
    reach: i64,
}

impl SweepNear {
    /// `None` where nothing of it was recorded.
    fn of(recorded: &[f64], pattern: &Pattern, start: i64) -> Option<Self> {
        let reach = (0.005 * pattern.rate_hz) as i64;
        let first = (start - 10 * reach).max(0);
        let last = (start + pattern.samples.len() as i64 + 40 * reach).clamp(0, recorded.len() as i64);
        let piece = recorded.get(first as usize..last as usize).filter(|piece| !piece.is_empty())?;
        let impulse = Deconvolution::new(pattern, piece.len()).impulse_of(piece);
        Some(Self { impulse, first, expected: start - first, reach })
    }

    /// Index of the strongest arrival near the expected one.
    fn strongest(&self) -> i64 {
        strongest(&self.impulse, self.expected, self.reach)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::Random;
    use crate::quantity::SampleRate;
    use crate::response::analysis::{Settings, listen};
    use crate::signal::{Marks, SampleFormat, Sequence, SweepSettings};

    /// Frames between the start of the recording and the excitation's first.
    const LATE: usize = 5_000;

    fn excitation(marks: Marks) -> Excitation {
        let rate = SampleRate::new(48_000).unwrap();
        let sweep = SweepSettings { rate, from_hz: 100.0, to_hz: 16_000.0, lowest_hz: None, duration_s: 1.0 };
        Sequence { sweep, level_dbfs: -6.0, repeats: 1, marks, pause_s: 0.5 }.excitation().unwrap()
    }

    /// What a recorder hears whose clock is fast by `drift`: frame n holds the time n/(1 + δ).
    fn recording(excitation: &Excitation, drift: f64) -> Recording {
        let mut random = Random::new(12);
        let mut heard = vec![0.0; LATE];
        heard.extend_from_slice(&excitation.samples);
        let heard = if drift == 0.0 { heard } else { stretched(&heard, 1.0 / (1.0 + drift)) };
        let channel: Vec<f64> = heard.iter().map(|x| x + 1e-5 * random.normal()).collect();
        // Half as loud and 200 frames later: it must not tell the time.
        let half = (0..channel.len()).map(|n| if n < 200 { 0.0 } else { 0.5 * channel[n - 200] }).collect();
        Recording { rate: excitation.rate, channels: vec![half, channel], format: SampleFormat::Float64 }
    }

    fn timeline(recording: &Recording, excitation: &Excitation, reference: Option<usize>, reply: usize) -> Timeline {
        let settings = Settings { reference, ..Settings::of_reply(reply) };
        listen(recording, excitation, &settings).unwrap().timeline
    }

    #[test]
    fn a_fast_or_slow_recorder_is_put_on_the_players_clock() {
        for (marks, told_by) in [(Marks::BeforeAndAfter, ToldBy::Marks), (Marks::None, ToldBy::Sweep)] {
            let excitation = excitation(marks);
            for drift in [-400e-6, 90e-6] {
                let recording = recording(&excitation, drift);
                let timeline = timeline(&recording, &excitation, Some(1), 0);
                let found = timeline.drift.unwrap();
                assert_eq!((found.told_by, timeline.correction), (told_by, Correction::Resampled));
                // 0.5 ppm: a fortieth of a frame over the sweep; the marks are better by far.
                let most = if told_by == ToldBy::Marks { 0.05e-6 } else { 0.5e-6 };
                assert!((found.ratio - drift).abs() < most, "{drift}: {found:?}");
                assert_eq!(timeline.offset_frames, LATE as i64);
                // The corrected channel is the excitation again.
                let start = LATE + excitation.plan.starts[0];
                let wrong: f64 = (0..48_000)
                    .map(|n| (timeline.channels[0][start + n] - excitation.samples[start - LATE + n]).powi(2))
                    .sum();
                // Of a sine of 0.5: a hundredth of a frame at 1 kHz for the marks; less than −10 dB for the sweep's own word.
                let most = if told_by == ToldBy::Marks { 6e-6 } else { 0.0125 };
                assert!(wrong / 48_000.0 < most, "{marks:?} {drift}: {}", wrong / 48_000.0);
                // Channels come in the order asked for.
                let power = |samples: &[f64]| samples.iter().map(|x| x * x).sum::<f64>();
                // 1e-4: the noise.
                assert!((power(&timeline.channels[1]) / power(&timeline.channels[0]) - 0.25).abs() < 1e-4);
            }
        }
    }

    #[test]
    fn a_recording_on_the_players_clock_is_left_as_it_is_to_the_last_bit() {
        let excitation = excitation(Marks::BeforeAndAfter);
        let recording = recording(&excitation, 0.0);
        let timeline = timeline(&recording, &excitation, None, 1);
        assert_eq!((timeline.correction, timeline.offset_frames), (Correction::None, LATE as i64));
        assert!(timeline.channels[0] == recording.channels[1] && timeline.broken.is_empty());
        // The drift that was found is none, to three of its uncertainties.
        let drift = timeline.drift.unwrap();
        assert!(drift.ratio.abs() < 3.0 * drift.u_ratio, "{drift:?}");
        // The noise is the one that was put in; 20 %: some tens of pieces of half a second, all bins together.
        assert!((timeline.noise[0].as_ref().unwrap().power() / 1e-10 - 1.0).abs() < 0.2);
    }

    #[test]
    fn lost_frames_are_not_taken_for_a_slow_clock() {
        let excitation = excitation(Marks::BeforeAndAfter);
        let mut recording = recording(&excitation, 0.0);
        let gap = LATE + excitation.plan.starts[0] - 3_000;
        recording.channels.iter_mut().for_each(|channel| {
            channel.drain(gap..gap + 64);
        });
        let timeline = timeline(&recording, &excitation, None, 1);
        assert_eq!((timeline.correction, timeline.drift), (Correction::None, None));
        assert!(!timeline.broken.is_empty() && timeline.channels[0] == recording.channels[1]);
    }

    #[test]
    fn a_drift_is_corrected_where_it_is_sure_matters_and_can_be() {
        let excitation = excitation(Marks::None);
        // 48,000 frames of sweep: 0.007 frames are 0.146 ppm.
        let pattern = Pattern::of(&excitation).unwrap();
        let worth = |ratio, u_ratio| is_worth_correcting(&Drift { ratio, u_ratio, told_by: ToldBy::Marks }, &pattern);
        assert!(worth(31e-6, 10e-6) && worth(-31e-6, 10e-6) && !worth(29e-6, 10e-6));
        assert!(worth(0.15e-6, 1e-9) && !worth(0.14e-6, 1e-9));
        assert!(worth(1.9e-3, 1e-6) && !worth(2.1e-3, 1e-6));
    }
}
