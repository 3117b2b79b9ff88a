//! Peak and rms of each channel while samples pass by.
//!
//! ```text
//! peak = max |x|        rms = √(Σx²/N)
//! ```
//!
//! x: samples, full scale ±1. Definitions; levels from them are in dBFS as in AES17, where a full-scale sine has 0 dBFS
//! (`lib.rs`), hence the factor √2 between rms and level.

use crate::quantity::db_from_amplitude;
use std::f64::consts::SQRT_2;

/// One channel over a stretch of time.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Meter {
    /// Largest magnitude.
    pub peak: f64,
    /// Root of the mean square.
    pub rms: f64,
}

impl Meter {
    /// Level of the peak; `None` for digital silence.
    pub fn peak_dbfs(&self) -> Option<f64> {
        (self.peak > 0.0).then(|| db_from_amplitude(self.peak))
    }

    /// Level of the rms, that of the sine with this rms; `None` for digital silence.
    pub fn rms_dbfs(&self) -> Option<f64> {
        (self.rms > 0.0).then(|| db_from_amplitude(self.rms * SQRT_2))
    }

    /// Peak and rms of samples.
    pub fn of(samples: &[f64]) -> Self {
        let peak = samples.iter().fold(0.0, |high: f64, sample| high.max(sample.abs()));
        let power = samples.iter().map(|sample| sample * sample).sum::<f64>() / samples.len().max(1) as f64;
        Self { peak, rms: power.sqrt() }
    }
}

/// One channel over a whole take.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct ChannelFacts {
    /// Peak and rms over everything.
    pub meter: Meter,
    /// Frames of exact zeros in a row, the longest run. A real converter's noise leaves no long ones: they stand for a
    /// missing permission, a muted input or lost buffers.
    pub longest_zero_run: usize,
    /// Frame at which that run begins.
    pub zero_run_at: usize,
}

impl ChannelFacts {
    /// Whether nothing but exact zeros came.
    pub fn is_all_zero(&self) -> bool {
        self.meter.peak == 0.0
    }
}

/// Gathers both while interleaved frames pass; for whoever implements a card.
#[derive(Debug)]
pub struct Meters {
    since_news: Vec<Sums>,
    whole: Vec<Sums>,
    runs: Vec<Run>,
    frames: usize,
}

#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    peak: f64,
    squares: f64,
    frames: usize,
}

#[derive(Debug, Clone, Copy, Default)]
struct Run {
    now: usize,
    longest: usize,
    longest_at: usize,
}

impl Sums {
    fn add(&mut self, sample: f64) {
        self.peak = self.peak.max(sample.abs());
        self.squares += sample * sample;
        self.frames += 1;
    }

    fn meter(&self) -> Meter {
        Meter { peak: self.peak, rms: (self.squares / self.frames.max(1) as f64).sqrt() }
    }
}

impl Meters {
    /// For frames of so many channels.
    pub fn new(channels: usize) -> Self {
        Self {
            since_news: vec![Sums::default(); channels],
            whole: vec![Sums::default(); channels],
            runs: vec![Run::default(); channels],
            frames: 0,
        }
    }

    /// Counts whole frames, interleaved.
    pub fn add(&mut self, interleaved: &[f32]) {
        for frame in interleaved.chunks_exact(self.whole.len().max(1)) {
            for (channel, &sample) in frame.iter().enumerate() {
                let sample = f64::from(sample);
                self.since_news[channel].add(sample);
                self.whole[channel].add(sample);
                self.runs[channel].add(sample, self.frames);
            }
            self.frames += 1;
        }
    }

    /// Each channel since the last call of this.
    pub fn news(&mut self) -> Vec<Meter> {
        self.since_news.iter_mut().map(|sums| std::mem::take(sums).meter()).collect()
    }

    /// Each channel over everything.
    pub fn whole(&self) -> Vec<ChannelFacts> {
        let facts = |(sums, run): (&Sums, &Run)| ChannelFacts {
            meter: sums.meter(),
            longest_zero_run: run.longest,
            zero_run_at: run.longest_at,
        };
        self.whole.iter().zip(&self.runs).map(facts).collect()
    }

    /// Frames counted so far.
    pub fn frames(&self) -> usize {
        self.frames
    }
}

impl Run {
    fn add(&mut self, sample: f64, frame: usize) {
        self.now = if sample == 0.0 { self.now + 1 } else { 0 };
        if self.now > self.longest {
            self.longest = self.now;
            self.longest_at = frame + 1 - self.now;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_full_scale_sine_reads_zero_dbfs_both_ways() {
        let sine: Vec<f64> = (0..4_800).map(|at| (std::f64::consts::TAU * f64::from(at) / 48.0).sin()).collect();
        let meter = Meter::of(&sine);
        // 1e-12: a sum of 4,800 squares in double precision; the 12th sample of each period is the exact top.
        assert!(meter.peak_dbfs().unwrap().abs() < 1e-12, "{meter:?}");
        assert!(meter.rms_dbfs().unwrap().abs() < 1e-12, "{meter:?}");
        assert_eq!(Meter::of(&[0.0; 9]).rms_dbfs(), None);
    }

    #[test]
    fn channels_are_told_apart_and_news_starts_afresh() {
        let mut meters = Meters::new(2);
        meters.add(&[0.5, 0.0, -0.5, 0.0]);
        assert_eq!(meters.news(), [Meter { peak: 0.5, rms: 0.5 }, Meter::default()]);
        meters.add(&[0.0, 0.25]);
        assert_eq!(meters.news(), [Meter::default(), Meter { peak: 0.25, rms: 0.25 }]);
        let whole = meters.whole();
        assert_eq!(whole[0].meter.peak, 0.5);
        // Two of three frames at 0.5: rms = 0.5·√(2/3).
        assert!((whole[0].meter.rms - 0.5 * (2.0f64 / 3.0).sqrt()).abs() < 1e-15);
        assert_eq!(meters.frames(), 3);
    }

    #[test]
    fn the_longest_run_of_zeros_is_found_across_calls() {
        let mut meters = Meters::new(1);
        meters.add(&[0.0, 0.1, 0.0, 0.0]);
        meters.add(&[0.0, 0.1, 0.0]);
        let facts = meters.whole()[0];
        assert_eq!((facts.longest_zero_run, facts.zero_run_at, facts.is_all_zero()), (3, 2, false));
        let mut silent = Meters::new(1);
        silent.add(&[0.0; 4]);
        assert!(silent.whole()[0].is_all_zero());
    }
}
