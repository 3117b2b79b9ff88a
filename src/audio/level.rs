//! A level that uses the input well: a quiet tone, what came back, what was there before it.
//!
//! ```text
//! proposed = played + (target − reply)        never above the limit
//! a = (2/N)·|Σ x[n]·exp(−jω n)|               the tone's own amplitude in the reply
//! ```
//!
//! All levels in dBFS; x: recorded samples where the tone is steady, N of them, ω its frequency in radians a sample.
//! The first line holds while the chain is linear, which a quiet tone makes likely; a driver or a room answers other
//! frequencies up to some 10 dB more strongly than the tone's, for which the target of −12 dBFS leaves room (ours).
//! Second line: the discrete Fourier transform at one frequency.

use super::{AudioError, Channels, Ended, Meter, Order, SoundCard, Take, Tell};
use crate::quantity::{SampleRate, db_from_amplitude};
use crate::signal::{Excitation, Kind, steady, with_ramps};
use num_complex::Complex64;
use std::f64::consts::TAU;
use std::sync::atomic::AtomicBool;

/// What is played and how loud it may become.
#[derive(Debug, Clone, PartialEq)]
pub struct LevelSettings {
    /// Frames a second.
    pub rate: SampleRate,
    /// Where the tone goes and what is listened to.
    pub channels: Channels,
    /// Frequency of the tone.
    pub at_hz: f64,
    /// How long it sounds.
    pub duration_s: f64,
    /// Peak level of the tone.
    pub play_dbfs: f64,
    /// Neither the tone nor the proposal is louder than this.
    pub highest_dbfs: f64,
    /// The peak that the reply should have.
    pub target_dbfs: f64,
}

impl LevelSettings {
    /// A quiet tone of 1 kHz on these channels: −40 dBFS for 2 s, a reply of −12 dBFS wanted, never above −20 dBFS.
    pub fn quiet(rate: SampleRate, channels: Channels) -> Self {
        let (at_hz, duration_s) = (1_000.0, 2.0);
        Self { rate, channels, at_hz, duration_s, play_dbfs: -40.0, highest_dbfs: -20.0, target_dbfs: -12.0 }
    }

    /// The tone and its channels, as a card is asked for them.
    ///
    /// # Errors
    /// [`AudioError::OverTheLimit`], `ToneLength`, `Signal` and those of [`Order::new`].
    pub fn order(&self) -> Result<Order, AudioError> {
        Order::new(self.rate, tone(self)?.samples, self.channels.clone())
    }
}

/// What came back, and what to play.
#[derive(Debug, Clone, PartialEq)]
pub struct LevelReport {
    /// The tone's peak level.
    pub played_dbfs: f64,
    /// Each kept channel, in the order's sequence.
    pub channels: Vec<ChannelLevel>,
    /// What follows from it.
    pub proposal: Proposal,
    /// The take itself.
    pub take: Take,
}

/// One channel before and during the tone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChannelLevel {
    /// Before the tone.
    pub noise: Meter,
    /// While it was steady: everything that came.
    pub reply: Meter,
    /// While it was steady: the tone alone.
    pub tone_peak: f64,
}

/// What level to play at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Proposal {
    /// This level brings the reply to its target.
    Play {
        /// Peak level.
        level_dbfs: f64,
    },
    /// This level is the limit, and the reply stays below its target.
    PlayAtLimit {
        /// Peak level.
        level_dbfs: f64,
        /// Peak level of the reply to be expected.
        reply_dbfs: f64,
    },
    /// The input is full already: turn its gain down, then try again.
    InputOverloaded,
    /// The tone does not stand out of the noise: check the wiring, then the gains.
    NotHeard,
}

/// Shortest and longest tone that can be asked for, s: long enough to be steady, short enough to bear.
const LENGTH_S: [f64; 2] = [0.5, 30.0];
/// Soft enough not to startle.
const RAMP_S: f64 = 0.1;
/// The search for the tone steps by this.
const STEP_S: f64 = 0.01;
/// The noise is read from here to there: after the card has settled, before the tone can come.
const NOISE_S: [f64; 2] = [0.1, 0.9];
/// A sample this near to full scale may have been cut off (0.1 dB).
const FULL: f64 = 0.9886;
/// The tone is heard when its power is at least this share of the reply's: else it is mostly something else.
const LEAST_SHARE: f64 = 0.5;

impl ChannelLevel {
    /// The tone over the noise, dB; `None` when either is digital silence.
    pub fn snr_db(&self) -> Option<f64> {
        let tone_rms = self.tone_peak / std::f64::consts::SQRT_2;
        (tone_rms > 0.0 && self.noise.rms > 0.0).then(|| db_from_amplitude(tone_rms / self.noise.rms))
    }

    fn is_heard(&self) -> bool {
        let tone_power = self.tone_peak * self.tone_peak / 2.0;
        let reply_power = self.reply.rms * self.reply.rms;
        tone_power > 0.0 && tone_power >= LEAST_SHARE * reply_power && self.reply.rms > self.noise.rms
    }
}

/// What came back from a quiet tone on each kept channel, and the level it suggests.
///
/// # Errors
/// [`AudioError::OverTheLimit`] when the tone itself would be louder than allowed, `ToneLength`, `Signal` for a frequency that can't be
/// played, `CutShort` when the take ended before the tone had been heard, and what [`SoundCard::take`] gives.
pub fn measure_level(
    card: &mut dyn SoundCard,
    settings: &LevelSettings,
    stop: &AtomicBool,
    tell: &mut Tell<'_>,
) -> Result<LevelReport, AudioError> {
    let order = settings.order()?;
    let mut channels = vec![Vec::new(); settings.channels.inputs.len()];
    let mut hear = |interleaved: &[f32]| {
        for frame in interleaved.chunks_exact(channels.len()) {
            for (channel, sample) in channels.iter_mut().zip(frame) {
                channel.push(f64::from(*sample));
            }
        }
        Ok(())
    };
    let take = card.take(&order, stop, &mut hear, tell)?;
    let too_short = || AudioError::CutShort { found_s: settings.rate.seconds(take.frames) };
    if take.ended != Ended::Complete {
        return Err(too_short());
    }
    let at = loudest(&channels, settings).ok_or_else(too_short)?;
    let levels: Vec<ChannelLevel> = channels.iter().map(|samples| channel_level(samples, at, settings)).collect();
    let proposal = proposal(&levels, settings);
    Ok(LevelReport { played_dbfs: settings.play_dbfs, channels: levels, proposal, take })
}

fn tone(settings: &LevelSettings) -> Result<Excitation, AudioError> {
    let LevelSettings { rate, at_hz, duration_s, play_dbfs, highest_dbfs, .. } = *settings;
    if play_dbfs > highest_dbfs {
        return Err(AudioError::OverTheLimit { found_dbfs: play_dbfs, limit_dbfs: highest_dbfs });
    }
    let [shortest_s, longest_s] = LENGTH_S;
    if !(shortest_s..=longest_s).contains(&duration_s) {
        return Err(AudioError::ToneLength { found_s: duration_s, shortest_s, longest_s });
    }
    if at_hz.is_nan() || at_hz <= 0.0 {
        return Err(crate::signal::SignalError::Band { from_hz: at_hz, to_hz: at_hz }.into());
    }
    let limit_hz = rate.hz() / 2.0;
    if at_hz >= limit_hz {
        let error = crate::signal::SignalError::AboveNyquist { to_hz: at_hz, rate_hz: rate.hz(), limit_hz };
        return Err(error.into());
    }
    let sine = (0..rate.frames(duration_s)).map(|frame| (TAU * at_hz * rate.seconds(frame)).sin()).collect();
    Ok(steady(rate, Kind::Tone, [at_hz; 2], play_dbfs, &with_ramps(sine, rate.frames(RAMP_S)))?)
}

fn steady_frames(settings: &LevelSettings) -> usize {
    settings.rate.frames(settings.duration_s - 2.0 * RAMP_S - 2.0 * STEP_S)
}

/// First frame of the stretch, as long as the tone is steady, that holds most power of all channels together.
fn loudest(channels: &[Vec<f64>], settings: &LevelSettings) -> Option<usize> {
    let step = settings.rate.frames(STEP_S).max(1);
    let steps = steady_frames(settings) / step;
    let all = channels.first()?.len() / step;
    let power = |at: usize| -> f64 {
        channels.iter().flat_map(|samples| &samples[at * step..(at + 1) * step]).map(|sample| sample * sample).sum()
    };
    let powers: Vec<f64> = (0..all).map(power).collect();
    let sums = powers.windows(steps.max(1)).map(|window| window.iter().sum::<f64>());
    sums.enumerate().max_by(|(_, one), (_, other)| one.total_cmp(other)).map(|(at, _)| at * step)
}

fn channel_level(samples: &[f64], at: usize, settings: &LevelSettings) -> ChannelLevel {
    let rate = settings.rate;
    let end = (at + steady_frames(settings)).min(samples.len());
    let steady = &samples[at..end];
    let [from, to] = NOISE_S.map(|time_s| rate.frames(time_s).min(samples.len()));
    let step_rad = TAU * settings.at_hz / rate.hz();
    let sum: Complex64 =
        steady.iter().enumerate().map(|(n, sample)| sample * Complex64::cis(-step_rad * n as f64)).sum();
    ChannelLevel {
        noise: Meter::of(&samples[from..to]),
        reply: Meter::of(steady),
        tone_peak: 2.0 * sum.norm() / steady.len().max(1) as f64,
    }
}

fn proposal(levels: &[ChannelLevel], settings: &LevelSettings) -> Proposal {
    if levels.iter().any(|level| level.reply.peak >= FULL) {
        return Proposal::InputOverloaded;
    }
    let highest = levels.iter().filter(|level| level.is_heard()).map(|level| level.reply.peak).fold(0.0, f64::max);
    if highest <= 0.0 {
        return Proposal::NotHeard;
    }
    let gain_db = db_from_amplitude(highest) - settings.play_dbfs;
    let wanted_dbfs = settings.target_dbfs - gain_db;
    if wanted_dbfs <= settings.highest_dbfs {
        return Proposal::Play { level_dbfs: wanted_dbfs };
    }
    Proposal::PlayAtLimit { level_dbfs: settings.highest_dbfs, reply_dbfs: settings.highest_dbfs + gain_db }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audio::{CardFacts, DeviceFacts, Hear, Meters, Route, Trouble};
    use crate::math::Random;
    use crate::quantity::amplitude_from_db as amplitude;

    /// A chain of a gain on each input, a delay, and noise; it hands everything over at once.
    struct Chain {
        gains: Vec<f64>,
        noise_rms: f64,
        ended: Ended,
    }

    impl SoundCard for Chain {
        fn describe(&self) -> CardFacts {
            let facts = DeviceFacts {
                id: "chain".into(),
                name: "chain".into(),
                output: None,
                input: None,
                route: Route::Direct,
            };
            CardFacts { output: facts.clone(), input: facts }
        }

        fn take(
            &mut self,
            order: &Order,
            _: &AtomicBool,
            hear: &mut Hear<'_>,
            _: &mut Tell<'_>,
        ) -> Result<Take, AudioError> {
            let mut random = Random::new(7);
            let delay = 12_345;
            let frames = order.play().len() + 24_000;
            let mut all = Vec::new();
            for frame in 0..frames {
                let played = frame.checked_sub(delay).and_then(|at| order.play().get(at)).copied().unwrap_or(0.0);
                for gain in &self.gains {
                    all.push((gain * played + self.noise_rms * random.normal()).clamp(-1.0, 1.0) as f32);
                }
            }
            hear(&all).map_err(AudioError::NotKept)?;
            let mut meters = Meters::new(self.gains.len());
            meters.add(&all);
            let (trouble, remarks, channels) = (Trouble::default(), Vec::new(), meters.whole());
            let wall_clock_s = order.rate().seconds(frames);
            Ok(Take { frames, wall_clock_s, trouble, ended: self.ended, channels, remarks })
        }
    }

    fn report(chain: Chain, change: impl Fn(&mut LevelSettings)) -> Result<LevelReport, AudioError> {
        let channels = Channels { outputs: vec![0], inputs: (0..chain.gains.len()).collect() };
        let mut settings = LevelSettings::quiet(SampleRate::new(48_000).unwrap(), channels);
        change(&mut settings);
        let mut chain = chain;
        measure_level(&mut chain, &settings, &AtomicBool::new(false), &mut |_| {})
    }

    fn chain(gains: &[f64], noise_rms: f64) -> Chain {
        Chain { gains: gains.to_vec(), noise_rms, ended: Ended::Complete }
    }

    #[test]
    fn the_loudest_reply_is_brought_to_its_target() {
        // Gains of +14 and 0 dB: the first replies with -26 dBFS to -40, so -26 brings it to -12.
        let report = report(chain(&[amplitude(14.0), 1.0], amplitude(-90.0)), |_| {}).unwrap();
        let Proposal::Play { level_dbfs } = report.proposal else { panic!("{report:?}") };
        // The highest of 86,000 noise samples of rms 3.2e-5 is 4.3 times that: 0.27 % or 0.024 dB on a peak of 0.05.
        assert!((level_dbfs + 26.0).abs() < 0.03, "{level_dbfs}");
        let [first, second] = report.channels.as_slice() else { panic!() };
        // The tone alone is known far better: 92,000 samples average the noise.
        assert!((db_from_amplitude(first.tone_peak) + 26.0).abs() < 0.001, "{first:?}");
        assert!((db_from_amplitude(second.tone_peak) + 40.0).abs() < 0.005, "{second:?}");
        // -26 dBFS sine is -29.01 dB rms, noise -90 dB rms; 38,400 noise samples know their rms to 0.03 dB.
        assert!((first.snr_db().unwrap() - 60.99).abs() < 0.15, "{first:?}");
        assert!((first.noise.rms / amplitude(-90.0) - 1.0).abs() < 0.02);
    }

    #[test]
    fn the_proposal_never_exceeds_the_limit() {
        let report =
            report(chain(&[amplitude(-6.0)], amplitude(-120.0)), |settings| settings.highest_dbfs = -25.0).unwrap();
        let Proposal::PlayAtLimit { level_dbfs, reply_dbfs } = report.proposal else { panic!("{report:?}") };
        assert_eq!(level_dbfs, -25.0);
        // As above, noise of rms 1e-6 on a peak of 0.005: 0.1 % or 0.0075 dB.
        assert!((reply_dbfs + 31.0).abs() < 0.01, "{reply_dbfs}");
    }

    #[test]
    fn noise_or_silence_or_overload_gives_no_level() {
        let proposal = |chain| report(chain, |_| {}).unwrap().proposal;
        assert_eq!(proposal(chain(&[0.0], amplitude(-60.0))), Proposal::NotHeard);
        assert_eq!(proposal(chain(&[0.0], 0.0)), Proposal::NotHeard);
        assert_eq!(proposal(chain(&[amplitude(45.0)], 0.0)), Proposal::InputOverloaded);
    }

    #[test]
    fn what_is_out_of_range_or_cut_short_is_refused() {
        let quiet = || chain(&[1.0], 0.0);
        let loud = report(quiet(), |settings| settings.play_dbfs = -19.0);
        assert!(matches!(loud, Err(AudioError::OverTheLimit { .. })));
        assert!(matches!(report(quiet(), |settings| settings.duration_s = 0.1), Err(AudioError::ToneLength { .. })));
        assert!(matches!(report(quiet(), |settings| settings.at_hz = 24_000.0), Err(AudioError::Signal(_))));
        assert!(matches!(report(quiet(), |settings| settings.at_hz = f64::NAN), Err(AudioError::Signal(_))));
        let stopped = Chain { ended: Ended::Stopped, ..quiet() };
        assert!(matches!(report(stopped, |_| {}), Err(AudioError::CutShort { .. })));
    }

    #[test]
    fn the_tone_rises_over_a_tenth_of_a_second() {
        let settings =
            LevelSettings::quiet(SampleRate::new(48_000).unwrap(), Channels { outputs: vec![0], inputs: vec![0] });
        let tone = tone(&settings).unwrap();
        let start = tone.plan.starts[0];
        let peak = |from_s: f64, to_s: f64| {
            let frames = start + settings.rate.frames(from_s)..start + settings.rate.frames(to_s);
            Meter::of(&tone.samples[frames]).peak / amplitude(-40.0)
        };
        // Raised cosine: (1 - cos(π·0.1))/2 = 0.0245 after a tenth of the way, 0.5 half way.
        assert!(peak(0.0, 0.01) < 0.0246 && (0.4..0.51).contains(&peak(0.04, 0.05)));
        assert!((peak(0.1, 0.2) - 1.0).abs() < 1e-9 && peak(0.0, 2.0) <= 1.0 + 1e-12);
    }
}
