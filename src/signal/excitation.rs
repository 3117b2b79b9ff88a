//! A whole excitation: silence, mark, sweeps, mark, silence; and the plan that says what lies where.
//!
//! No equation: an order of things. The silence before the first mark is the noise sample of the capture, the pause
//! after each sweep is where the room dies away, and the last silence holds the latency of the chain.

use super::{Mark, SignalError, Sweep, SweepSettings};
use crate::quantity::{SampleRate, amplitude_from_db};

/// Samples to play, and what lies where in them.
#[derive(Debug, Clone, PartialEq)]
pub struct Excitation {
    /// Frames a second.
    pub rate: SampleRate,
    /// One channel, full scale ±1.
    pub samples: Vec<f64>,
    /// What lies where.
    pub plan: Plan,
}

/// What lies where in an excitation.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// Which kind of signal.
    pub kind: Kind,
    /// Peak level.
    pub level_dbfs: f64,
    /// The band it excites at full level.
    pub band_hz: [f64; 2],
    /// First frame of each repeat of the signal proper.
    pub starts: Vec<usize>,
    /// Frames of one repeat.
    pub frames: usize,
    /// First frame of each time mark: none, or two.
    pub mark_starts: Vec<usize>,
    /// Frames of one mark; 0 without marks.
    pub mark_frames: usize,
    /// What only a sweep has.
    pub sweep: Option<SweepPlan>,
}

/// What the analysis needs to know of a sweep beside its samples.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SweepPlan {
    /// L, the time in which the frequency grows by e.
    pub rate_constant_s: f64,
    /// First and last frequency that is played at all.
    pub played_hz: [f64; 2],
}

/// The kinds of signals.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Exponential sine sweep.
    Sweep,
    /// Pink noise.
    Pink,
    /// Steady sine.
    Tone,
    /// Shaped sine burst.
    Burst,
    /// Any other known signal.
    Other,
}

/// How a sweep is laid out in time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sequence {
    /// The sweep.
    pub sweep: SweepSettings,
    /// Peak level.
    pub level_dbfs: f64,
    /// How many sweeps, 1 to [`MOST_REPEATS`].
    pub repeats: u32,
    /// Whether time marks stand before and after.
    pub marks: Marks,
    /// Silence after each sweep but the last, at least [`SHORTEST_PAUSE_S`]; the last has twice that, a second at least.
    pub pause_s: f64,
}

/// Whether time marks stand before and after the sweeps.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Marks {
    /// A mark before and after.
    BeforeAndAfter,
    /// The sweeps alone.
    None,
}

/// More repeats than this gain nothing that an evening has time for.
pub const MOST_REPEATS: u32 = 64;
/// Repeats are separated by at least this much silence.
pub const SHORTEST_PAUSE_S: f64 = 0.5;
/// Silence before everything, the noise sample.
const LEAD_S: f64 = 1.0;
/// Silence after everything.
const TAIL_S: f64 = 2.0;
/// Duration of a mark, long enough to carry energy and short against any pause.
const MARK_S: f64 = 0.25;
const QUIETEST_DBFS: f64 = -120.0;

impl Sequence {
    /// The samples and their plan.
    ///
    /// # Errors
    /// [`SignalError`] for settings that make no sweep, or a level or number of repeats out of range.
    pub fn excitation(&self) -> Result<Excitation, SignalError> {
        let sweep = Sweep::new(self.sweep)?;
        let gain = peak(self.level_dbfs)?;
        if !(1..=MOST_REPEATS).contains(&self.repeats) {
            return Err(SignalError::Repeats { found: self.repeats, most: MOST_REPEATS });
        }
        let rate = self.sweep.rate;
        let pauses_s = f64::from(self.repeats + 2) * self.pause_s.max(SHORTEST_PAUSE_S);
        check_length(rate, pauses_s + f64::from(self.repeats) * self.sweep.duration_s)?;
        let pause = rate.frames(self.pause_s.max(SHORTEST_PAUSE_S));
        let last_pause = (2 * pause).max(rate.frames(1.0));
        let one = sweep.samples();
        let mark = match self.marks {
            Marks::BeforeAndAfter => Mark { rate, band_hz: sweep.band_hz(), duration_s: MARK_S }.samples(),
            Marks::None => Vec::new(),
        };
        let mut samples = vec![0.0; rate.frames(LEAD_S)];
        let mut mark_starts = Vec::new();
        let mut add_mark = |samples: &mut Vec<f64>| {
            if !mark.is_empty() {
                mark_starts.push(samples.len());
                samples.extend_from_slice(&mark);
            }
        };
        add_mark(&mut samples);
        if self.marks == Marks::BeforeAndAfter {
            silence(&mut samples, pause);
        }
        let mut starts = Vec::new();
        for repeat in 1..=self.repeats {
            starts.push(samples.len());
            samples.extend_from_slice(&one);
            silence(&mut samples, if repeat < self.repeats { pause } else { last_pause });
        }
        add_mark(&mut samples);
        silence(&mut samples, rate.frames(TAIL_S));
        samples.iter_mut().for_each(|sample| *sample *= gain);
        let plan = Plan {
            kind: Kind::Sweep,
            level_dbfs: self.level_dbfs,
            band_hz: sweep.band_hz(),
            starts,
            frames: one.len(),
            mark_starts,
            mark_frames: mark.len(),
            sweep: Some(SweepPlan { rate_constant_s: sweep.rate_constant_s(), played_hz: sweep.played_hz() }),
        };
        Ok(Excitation { rate, samples, plan })
    }
}

/// An excitation of one piece between silences, of the usual lead and tail.
///
/// # Errors
/// [`SignalError::Level`] when the level is out of range.
pub fn steady(
    rate: SampleRate,
    kind: Kind,
    band_hz: [f64; 2],
    level_dbfs: f64,
    one: &[f64],
) -> Result<Excitation, SignalError> {
    let gain = peak(level_dbfs)?;
    let mut samples = vec![0.0; rate.frames(LEAD_S)];
    let starts = vec![samples.len()];
    samples.extend(one.iter().map(|sample| sample * gain));
    silence(&mut samples, rate.frames(TAIL_S));
    let plan = Plan {
        kind,
        level_dbfs,
        band_hz,
        starts,
        frames: one.len(),
        mark_starts: Vec::new(),
        mark_frames: 0,
        sweep: None,
    };
    Ok(Excitation { rate, samples, plan })
}

fn silence(samples: &mut Vec<f64>, frames: usize) {
    samples.resize(samples.len() + frames, 0.0);
}

fn peak(level_dbfs: f64) -> Result<f64, SignalError> {
    if (QUIETEST_DBFS..=0.0).contains(&level_dbfs) {
        Ok(amplitude_from_db(level_dbfs))
    } else {
        Err(SignalError::Level { found_dbfs: level_dbfs, quietest_dbfs: QUIETEST_DBFS })
    }
}

/// Refuses what can't be played at this rate.
pub(super) fn check_band(rate: SampleRate, [from_hz, to_hz]: [f64; 2]) -> Result<(), SignalError> {
    let limit_hz = rate.hz() * 0.5;
    if !(from_hz > 0.0 && to_hz >= from_hz) {
        Err(SignalError::Band { from_hz, to_hz })
    } else if to_hz >= limit_hz {
        Err(SignalError::AboveNyquist { to_hz, rate_hz: rate.hz(), limit_hz })
    } else {
        Ok(())
    }
}

/// Refuses what would not fit into the memory of a small computer: 2²⁶ frames, 23 minutes at 48 kHz.
pub(super) fn check_length(rate: SampleRate, duration_s: f64) -> Result<(), SignalError> {
    const MOST_FRAMES: f64 = (1u32 << 26) as f64;
    let longest_s = MOST_FRAMES / rate.hz();
    if duration_s <= longest_s { Ok(()) } else { Err(SignalError::TooLong { found_s: duration_s, longest_s }) }
}

/// Refuses what is too short to be heard or too long to be meant.
pub(super) fn check_duration(rate: SampleRate, duration_s: f64) -> Result<(), SignalError> {
    let (shortest_s, longest_s) = (0.05, 3600.0);
    if (shortest_s..=longest_s).contains(&duration_s) {
        check_length(rate, duration_s)
    } else {
        Err(SignalError::Duration { found_s: duration_s, shortest_s, longest_s })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sequence(repeats: u32, marks: Marks) -> Sequence {
        let rate = SampleRate::new(8_000).unwrap();
        let sweep = SweepSettings { rate, from_hz: 50.0, to_hz: 3_000.0, lowest_hz: None, duration_s: 0.25 };
        Sequence { sweep, level_dbfs: -20.0, repeats, marks, pause_s: 0.6 }
    }

    /// Written out by hand at 8 kHz: a second of silence, a mark of 0.25 s, 0.6 s of pause, two sweeps of 0.25 s with
    /// 0.6 and 1.2 s behind them, a mark, two seconds of silence.
    #[test]
    fn everything_lies_where_the_plan_says_and_nothing_else_sounds() {
        let Excitation { samples, plan, .. } = sequence(2, Marks::BeforeAndAfter).excitation().unwrap();
        assert_eq!(plan.mark_starts, [8_000, 33_200]);
        assert_eq!(plan.starts, [14_800, 21_600]);
        assert_eq!((plan.frames, plan.mark_frames, samples.len()), (2_000, 2_000, 51_200));
        let one = Sweep::new(sequence(2, Marks::None).sweep).unwrap().samples();
        for &start in &plan.starts {
            // 1e-15: one product.
            let same = samples[start..start + 2_000].iter().zip(&one).all(|(x, y)| (x - 0.1 * y).abs() < 1e-15);
            assert!(same, "{start}");
        }
        assert_eq!(samples[8_000..10_000], samples[33_200..35_200]);
        let sounds =
            |at: usize| plan.starts.iter().chain(&plan.mark_starts).any(|&start| (start..start + 2_000).contains(&at));
        assert!(samples.iter().enumerate().all(|(at, &x)| x == 0.0 || sounds(at)));
    }

    #[test]
    fn a_short_pause_is_lengthened_and_a_single_sweep_has_a_second_behind_it() {
        let alone = Sequence { pause_s: 0.1, ..sequence(1, Marks::None) }.excitation().unwrap();
        assert_eq!((alone.plan.starts, alone.samples.len()), (vec![8_000], 8_000 + 2_000 + 8_000 + 16_000));
        let twice = Sequence { pause_s: 0.1, ..sequence(2, Marks::None) }.excitation().unwrap();
        assert_eq!(twice.plan.starts, [8_000, 8_000 + 2_000 + 4_000]);
    }

    #[test]
    fn the_limits_of_band_and_length_are_where_they_are_said_to_be() {
        let rate = SampleRate::new(8_000).unwrap();
        assert!(check_band(rate, [50.0, 3_999.0]).is_ok());
        assert!(matches!(check_band(rate, [50.0, 4_000.0]), Err(SignalError::AboveNyquist { .. })));
        for band_hz in [[0.0, 50.0], [50.0, 49.0], [f64::NAN, 50.0]] {
            assert!(matches!(check_band(rate, band_hz), Err(SignalError::Band { .. })));
        }
        // 2²⁶ frames at 8 kHz.
        assert!(check_length(rate, 8_388.6).is_ok() && check_length(rate, 8_388.7).is_err());
        // Pauses count: 64 of 130 s are 8,320 s, two more for the last are too long.
        let long = Sequence { pause_s: 130.0, ..sequence(64, Marks::None) }.excitation();
        assert!(matches!(long, Err(SignalError::TooLong { .. })));
    }

    #[test]
    fn levels_and_repeats_out_of_range_are_refused() {
        for level_dbfs in [0.1, -120.1, f64::NAN] {
            let refused = Sequence { level_dbfs, ..sequence(1, Marks::None) }.excitation();
            assert!(matches!(refused, Err(SignalError::Level { .. })), "{level_dbfs}");
        }
        for repeats in [0, 65] {
            assert!(matches!(sequence(repeats, Marks::None).excitation(), Err(SignalError::Repeats { .. })));
        }
        assert!(Sequence { level_dbfs: 0.0, ..sequence(64, Marks::None) }.excitation().is_ok());
    }
}
