//! The simulated bench behind the same door as a sound card.
//!
//! No equation: the physics is in [`bench`](mod@crate::bench). How it is wired:
//!
//! ```text
//! output 1 → amplifier, loudspeaker, air, microphone → input 1
//! output 2 → a cable (loopback)                      → input 2
//!
//! or, with the jig:  output 1 → sense resistor, lead, load;  before the resistor → input 1,  behind it → input 2
//! ```
//!
//! It takes no real time: the whole reply is computed, then handed over in pieces of a tenth of a second, so that whoever
//! listens sees the same as from a card. A stop counts from the piece that was handed over last.

use super::stand::Stand;
use super::{
    AudioError, CardFacts, DeviceFacts, Ended, FADE_OUT_S, Hear, Meters, Order, Progress, RateRange, Route, SideFacts,
    SimulatedSettings, SimulatedTruth, SoundCard, Take, Tell, Trouble, TruthWanted,
};
use crate::bench::{BenchError, BenchSettings, JigSettings};
use crate::quantity::{FrequencyGrid, SampleRate};
use crate::signal::{SampleFormat, fall};
use std::borrow::Cow;
use std::sync::atomic::{AtomicBool, Ordering};

/// The name by which a person asks for it.
pub const SIMULATED: &str = "simulated";

/// A simulated bench that plays and records.
#[derive(Debug, Clone, PartialEq)]
pub struct Simulated {
    settings: SimulatedSettings,
}

/// Rates of common converters; the bench needs half of the lowest to hold what is heard.
const RATES_HZ: [u32; 6] = [44_100, 48_000, 88_200, 96_000, 176_400, 192_000];
const PIECE_S: f64 = 0.1;
/// What is still recorded after the sound has faded: the same as the tail of a whole take.
const TAIL_S: f64 = 0.5;
/// The truth is given from here …
const TRUTH_FROM_HZ: f64 = 10.0;
/// … in steps of so many to the octave, as curves are.
const TRUTH_POINTS_PER_OCTAVE: u32 = 48;

impl Simulated {
    /// A loudspeaker in a room of these settings; its rate is that of each order, whatever the settings say.
    ///
    /// # Errors
    /// [`BenchError`] for settings that make no bench.
    pub fn new(settings: BenchSettings) -> Result<Self, BenchError> {
        Self::of(SimulatedSettings::Loudspeaker(Box::new(settings)))
    }

    /// An impedance jig of these settings; its rate is that of each order.
    ///
    /// # Errors
    /// [`BenchError`] for settings that make no jig.
    pub fn jig(settings: JigSettings) -> Result<Self, BenchError> {
        Self::of(SimulatedSettings::Jig(Box::new(settings)))
    }

    /// Either of them.
    ///
    /// # Errors
    /// [`BenchError`] for settings that make no bench.
    pub fn of(settings: SimulatedSettings) -> Result<Self, BenchError> {
        settings.stand(settings.rate())?;
        Ok(Self { settings })
    }

    /// What it was set up from.
    pub fn settings(&self) -> &SimulatedSettings {
        &self.settings
    }

    /// What it says of itself among other devices.
    pub fn facts() -> DeviceFacts {
        let rates = RATES_HZ.map(|hz| RateRange { from_hz: hz, to_hz: hz }).to_vec();
        let side = SideFacts { channels: 2, rates, formats: vec![SampleFormat::Float32], is_default: false };
        DeviceFacts {
            id: SIMULATED.to_owned(),
            name: "Simulated bench".to_owned(),
            output: Some(side.clone()),
            input: Some(side),
            route: Route::Direct,
        }
    }
}

impl SoundCard for Simulated {
    fn describe(&self) -> CardFacts {
        CardFacts { output: Self::facts(), input: Self::facts() }
    }

    fn take(
        &mut self,
        order: &Order,
        stop: &AtomicBool,
        hear: &mut Hear<'_>,
        tell: &mut Tell<'_>,
    ) -> Result<Take, AudioError> {
        self.describe().check(order.rate(), &order.needed_channels())?;
        let stand = self.settings.stand(order.rate())?;
        Running { order, frames: stand.frames_needed(order.play().len()), stand: &stand }.run(stop, hear, tell)
    }

    fn truth(&self, wanted: TruthWanted) -> Option<SimulatedTruth> {
        let band_hz = [TRUTH_FROM_HZ, wanted.rate.hz() / 2.0];
        let grid = FrequencyGrid::of_octave_fractions(band_hz, TRUTH_POINTS_PER_OCTAVE).ok()?;
        let stand = self.settings.stand(wanted.rate).ok()?;
        Some(stand.truth(grid.hz(), wanted.level_dbfs, wanted.duration_s))
    }
}

/// One take.
struct Running<'a> {
    order: &'a Order,
    stand: &'a Stand,
    frames: usize,
}

impl Running<'_> {
    fn run(&self, stop: &AtomicBool, hear: &mut Hear<'_>, tell: &mut Tell<'_>) -> Result<Take, AudioError> {
        let rate = self.order.rate();
        let mut meters = Meters::new(self.order.channels().inputs.len());
        let mut recorded = self.recorded(None);
        let (mut end, mut ended) = (self.frames, Ended::Complete);
        while meters.frames() < end {
            let at = meters.frames();
            if ended == Ended::Complete && stop.load(Ordering::Relaxed) {
                ended = Ended::Stopped;
                recorded = self.recorded(Some(at));
                end = end.min(at + rate.frames(FADE_OUT_S + self.stand.latency_s() + TAIL_S));
            }
            let piece = interleaved(&recorded, at, end.min(at + rate.frames(PIECE_S)));
            meters.add(&piece);
            hear(&piece).map_err(AudioError::NotKept)?;
            let (done_s, total_s) = (rate.seconds(meters.frames()), rate.seconds(end));
            tell(&Progress { done_s, total_s, channels: &meters.news() });
        }
        Ok(self.take(&meters, ended))
    }

    /// The kept channels, in the order's sequence; what is played fades from a frame on if somebody wants silence.
    fn recorded(&self, faded_from: Option<usize>) -> Vec<Vec<f64>> {
        // Each signal is played once, whoever hears it.
        let (mut played, mut heard): (Vec<Cow<'_, [f64]>>, Vec<_>) = (Vec::new(), Vec::new());
        let mut kept = Vec::new();
        for &input in &self.order.channels().inputs {
            let signal = self.order.signal_on(self.stand.output_of(input));
            let place = played.iter().position(|other| *other == signal).unwrap_or_else(|| {
                heard.push(match faded_from {
                    Some(at) => self.stand.record(&faded(&signal, at, self.order.rate()), self.frames),
                    None => self.stand.record(&signal, self.frames),
                });
                played.push(signal);
                heard.len() - 1
            });
            kept.push(heard[place][input].clone());
        }
        kept
    }

    fn take(&self, meters: &Meters, ended: Ended) -> Take {
        let fast = 1.0 + 1e-6 * self.stand.drift_ppm();
        Take {
            frames: meters.frames(),
            wall_clock_s: self.order.rate().seconds(meters.frames()) / fast,
            trouble: Trouble::default(),
            ended,
            channels: meters.whole(),
            remarks: Vec::new(),
        }
    }
}

/// The samples to play when somebody asks for silence at frame `at`.
fn faded(play: &[f64], at: usize, rate: SampleRate) -> Vec<f64> {
    let ramp = rate.frames(FADE_OUT_S).max(1) as f64;
    let gain = |frame: usize| fall(frame.saturating_sub(at) as f64 / ramp);
    play.iter().enumerate().map(|(frame, sample)| sample * gain(frame)).collect()
}

fn interleaved(channels: &[Vec<f64>], from: usize, to: usize) -> Vec<f32> {
    (from..to).flat_map(|frame| channels.iter().map(move |samples| samples[frame] as f32)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audio::Channels;
    use crate::bench::{Bench, Jig};
    use std::f64::consts::TAU;

    const RATE_HZ: u32 = 48_000;

    fn tone() -> Vec<f64> {
        (0..RATE_HZ).map(|n| 0.1 * (TAU * 1000.0 * f64::from(n) / f64::from(RATE_HZ)).sin()).collect()
    }

    fn taken(outputs: &[usize], inputs: &[usize], stop_at_s: f64) -> (Vec<f32>, Take) {
        let channels = Channels { outputs: outputs.to_vec(), inputs: inputs.to_vec() };
        let order = Order::new(SampleRate::new(RATE_HZ).unwrap(), tone(), channels).unwrap();
        let mut card = Simulated::new(BenchSettings::default().quiet()).unwrap();
        let stop = AtomicBool::new(false);
        let mut heard = Vec::new();
        let mut hear = |piece: &[f32]| {
            heard.extend_from_slice(piece);
            Ok(())
        };
        let mut tell = |news: &Progress<'_>| stop.store(news.done_s >= stop_at_s, Ordering::Relaxed);
        let take = card.take(&order, &stop, &mut hear, &mut tell).unwrap();
        (heard, take)
    }

    fn peak(samples: impl IntoIterator<Item = f32>) -> f32 {
        samples.into_iter().fold(0.0, |high, sample| high.max(sample.abs()))
    }

    #[test]
    fn a_take_is_what_the_bench_records() {
        let (heard, take) = taken(&[0, 1], &[1, 0], f64::INFINITY);
        let bench = Bench::new(BenchSettings::default().quiet()).unwrap();
        let expected = bench.record(&tone(), bench.frames_needed(RATE_HZ as usize));
        assert_eq!((take.ended, take.frames, heard.len()), (Ended::Complete, expected[0].len(), 2 * take.frames));
        for (frame, pair) in heard.chunks_exact(2).enumerate() {
            assert_eq!(pair, [expected[1][frame] as f32, expected[0][frame] as f32], "frame {frame}");
        }
        assert_eq!(take.channels[0].meter.peak, f64::from(peak(heard.iter().step_by(2).copied())));
    }

    #[test]
    fn an_output_that_plays_nothing_is_heard_nowhere() {
        // Without noise: nothing at all, but for the rounding of transforms.
        let (loudspeaker_only, _) = taken(&[0], &[0, 1], f64::INFINITY);
        assert!(peak(loudspeaker_only.iter().step_by(2).copied()) > 1e-3);
        assert!(peak(loudspeaker_only.iter().skip(1).step_by(2).copied()) < 1e-9);
        let (cable_only, _) = taken(&[1], &[0, 1], f64::INFINITY);
        assert!(peak(cable_only.iter().step_by(2).copied()) < 1e-9);
        // −6 dB of 0.1.
        assert!((0.045..0.055).contains(&peak(cable_only.iter().skip(1).step_by(2).copied())));
    }

    #[test]
    fn a_stop_fades_out_and_keeps_what_was_heard() {
        let (whole, _) = taken(&[0, 1], &[1], f64::INFINITY);
        let (heard, take) = taken(&[0, 1], &[1], 0.5);
        assert_eq!(take.ended, Ended::Stopped);
        assert_eq!(heard.len(), take.frames);
        // 0.5 s, the fade of 0.03 s, the latency of 0.0427 s, the tail of 0.5 s; half a frame of rounding.
        assert!((take.frames as f64 / f64::from(RATE_HZ) - 1.0727).abs() < 2e-5, "{}", take.frames);
        let at = |time_s: f64| (time_s * f64::from(RATE_HZ)) as usize;
        // 1e-7 of 0.05: 24 bits of a float; both are the same bench up to the fade (and the ringing before it).
        let differ = heard[..at(0.54)].iter().zip(&whole).map(|(one, other)| one - other);
        assert!(peak(differ) < 1e-7);
        // 0.5 + 0.0427 + 0.03 s is where the fade is over; the AC coupling's answer to it is left, from 1.5 Hz on.
        assert!(peak(heard[at(0.575)..].iter().copied()) < 1e-4);
        assert!(peak(whole[at(0.575)..at(0.9)].iter().copied()) > 0.045);
    }

    #[test]
    fn both_taps_of_the_jig_hear_the_first_output_and_nothing_else() {
        let taken = |output| {
            let channels = Channels { outputs: vec![output], inputs: vec![0, 1] };
            let order = Order::new(SampleRate::new(RATE_HZ).unwrap(), tone(), channels).unwrap();
            let mut heard = Vec::new();
            let mut hear = |piece: &[f32]| {
                heard.extend_from_slice(piece);
                Ok(())
            };
            let mut card = Simulated::jig(JigSettings::default().ideal()).unwrap();
            card.take(&order, &AtomicBool::new(false), &mut hear, &mut |_| {}).unwrap();
            heard
        };
        let jig = Jig::new(JigSettings::default().ideal()).unwrap();
        let expected = jig.record(&tone(), jig.frames_needed(RATE_HZ as usize));
        let heard = taken(0);
        assert_eq!(heard.len(), 2 * expected[0].len());
        for (frame, pair) in heard.chunks_exact(2).enumerate() {
            assert_eq!(pair, [expected[0][frame] as f32, expected[1][frame] as f32], "frame {frame}");
        }
        assert_eq!(peak(taken(1)), 0.0);
    }

    #[test]
    fn what_it_lacks_is_refused_like_on_any_card() {
        let channels = Channels { outputs: vec![0], inputs: vec![2] };
        let order = Order::new(SampleRate::new(RATE_HZ).unwrap(), tone(), channels).unwrap();
        let mut card = Simulated::new(BenchSettings::default()).unwrap();
        let refused = card.take(&order, &AtomicBool::new(false), &mut |_| Ok(()), &mut |_| {});
        assert!(matches!(refused, Err(AudioError::Channel { found: 3, has: 2, .. })), "{refused:?}");
    }
}
