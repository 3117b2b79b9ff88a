//! Takes the mains' hum off a recording: what the silences tell of it holds during the sweeps as well.
//!
//! ```text
//! x(t) − Re(a(t)·e^{2πift})        a(t) = m(t)·e^{iφ(t)}, m and φ straight from one silence to the next
//! ```
//!
//! a: complex amplitude of a line at f, read in each silence; between silences its phase may turn, since the mains' frequency
//! is never quite what it was. All lines of one mains turn together, the n-th n times as far: the strongest tells how often
//! a phase went round. What is left of a line is estimated from what its neighbours say of each silence; where there are but
//! two, from how unequal they are and a quarter of the turn between them (a phase that turns evenly leaves nothing, one that
//! turns at the end leaves half). Ours; a hum that is louder than its own steadiness allows is left where it is.

use super::silence::{LineReader, SHORTEST_FOR_LINES_S};
use num_complex::Complex64;
use std::f64::consts::TAU;
use std::ops::Range;

/// A steady sine in both channels, as complex amplitudes (peak) of one common time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Line {
    pub hz: f64,
    /// The mains of which it is a harmonic.
    pub mains_hz: f64,
    pub load: Complex64,
    pub drive: Complex64,
    /// What is left of it in the recording, as a ratio of amplitudes.
    pub left_ratio: f64,
}

/// A line of which more than this would be left stays: its phase is not understood.
const MOST_LEFT: f64 = 0.5;
/// Share of the turn between two silences that may be left.
const OF_TURN: f64 = 0.25;

impl Line {
    fn strength(&self) -> f64 {
        self.load.norm_sqr() + self.drive.norm_sqr()
    }
}

/// One channel's amplitude of a line along the recording.
struct Course {
    hz: f64,
    /// Middle of each silence, s.
    times_s: Vec<f64>,
    magnitudes: Vec<f64>,
    /// Unwrapped, relative to a sine of exactly `hz` that starts with the recording.
    phases_rad: Vec<f64>,
    /// What the spectrum holds beside the line.
    around: f64,
}

/// Both channels without the lines, which are told what is left of them; `None` where fewer than two silences tell.
pub(super) fn without_hum(
    channels: [&[f64]; 2],
    silences: &[Range<usize>],
    lines: &mut [Line],
    rate_hz: f64,
) -> Option<[Vec<f64>; 2]> {
    let long = |range: &&Range<usize>| range.len() as f64 >= SHORTEST_FOR_LINES_S * rate_hz;
    let silences: Vec<&Range<usize>> = silences.iter().filter(long).collect();
    if lines.is_empty() || silences.len() < 2 {
        return None;
    }
    let readers = channels.map(|samples| -> Vec<LineReader> {
        silences.iter().map(|range| LineReader::new(&samples[(*range).clone()], rate_hz)).collect()
    });
    let mut quiet = channels.map(<[f64]>::to_vec);
    for family in lines.chunk_by_mut(|one, other| one.mains_hz == other.mains_hz) {
        let Some(strongest) = family.iter().max_by(|a, b| a.strength().total_cmp(&b.strength())).copied() else {
            continue;
        };
        let louder = usize::from(strongest.drive.norm() > strongest.load.norm());
        let leading = Course::of(strongest.hz, &readers[louder], &silences, rate_hz, |_| 0.0);
        for line in family {
            let ratio = line.hz / strongest.hz;
            let turned_rad = |at: usize| ratio * (leading.phases_rad[at] - leading.phases_rad[0]);
            let courses = [0, 1].map(|which| Course::of(line.hz, &readers[which], &silences, rate_hz, turned_rad));
            let louder = usize::from(line.drive.norm() > line.load.norm());
            let left_ratio = courses[louder].left_ratio();
            if left_ratio < MOST_LEFT {
                line.left_ratio = left_ratio;
                quiet.iter_mut().zip(&courses).for_each(|(samples, course)| course.take_off(samples, rate_hz));
            }
        }
    }
    Some(quiet)
}

impl Course {
    /// `turned_rad`: by about how much the phase has turned since the first silence.
    fn of(
        hz: f64,
        readers: &[LineReader],
        silences: &[&Range<usize>],
        rate_hz: f64,
        turned_rad: impl Fn(usize) -> f64,
    ) -> Self {
        let mut phases_rad: Vec<f64> = Vec::new();
        let mut magnitudes = Vec::new();
        for (at, (reader, range)) in readers.iter().zip(silences).enumerate() {
            let amplitude = reader.amplitude(hz) * Complex64::cis(-TAU * hz * range.start as f64 / rate_hz);
            let about_rad = phases_rad.last().map_or(0.0, |before| before + turned_rad(at) - turned_rad(at - 1));
            let off_rad = (amplitude * Complex64::cis(-about_rad)).arg();
            phases_rad.push(about_rad + off_rad);
            magnitudes.push(amplitude.norm());
        }
        let times_s = silences.iter().map(|range| 0.5 * (range.start + range.end) as f64 / rate_hz).collect();
        let around =
            readers.iter().zip(silences).map(|(reader, range)| reader.around(hz, range.len() as f64 / rate_hz));
        let around = (around.sum::<f64>() / readers.len() as f64).sqrt();
        Self { hz, times_s, magnitudes, phases_rad, around }
    }

    fn left_ratio(&self) -> f64 {
        let count = self.times_s.len();
        let mean = self.magnitudes.iter().sum::<f64>() / count as f64;
        let by_noise = self.around / mean;
        let by_wander = if count == 2 {
            let unequal = (self.magnitudes[1] - self.magnitudes[0]).abs() / (2.0 * mean);
            unequal + OF_TURN * (self.phases_rad[1] - self.phases_rad[0]).abs()
        } else {
            (1..count - 1).map(|at| self.off_its_neighbours(at)).fold(0.0, f64::max) / mean
        };
        by_noise.hypot(by_wander)
    }

    /// Distance of a silence's amplitude from what the ones before and after it would say.
    fn off_its_neighbours(&self, at: usize) -> f64 {
        let share = (self.times_s[at] - self.times_s[at - 1]) / (self.times_s[at + 1] - self.times_s[at - 1]);
        let between = |of: &[f64]| of[at - 1] + share * (of[at + 1] - of[at - 1]);
        let told = Complex64::from_polar(self.magnitudes[at], self.phases_rad[at]);
        (told - Complex64::from_polar(between(&self.magnitudes), between(&self.phases_rad))).norm()
    }

    fn take_off(&self, samples: &mut [f64], rate_hz: f64) {
        let count = self.times_s.len();
        let middles: Vec<usize> = self.times_s.iter().map(|time_s| (time_s * rate_hz) as usize).collect();
        for part in 0..=count {
            let from = if part == 0 { 0 } else { middles[part - 1] };
            let to = middles.get(part).copied().unwrap_or(samples.len());
            // Beyond the outer silences the phase goes on as it did, the magnitude stays.
            let segment = part.clamp(1, count - 1);
            let length_s = self.times_s[segment] - self.times_s[segment - 1];
            let turn_rad_s = (self.phases_rad[segment] - self.phases_rad[segment - 1]) / length_s;
            let since_s = from as f64 / rate_hz - self.times_s[segment - 1];
            let phase_rad = TAU * self.hz * from as f64 / rate_hz + self.phases_rad[segment - 1] + turn_rad_s * since_s;
            let step = Complex64::cis((TAU * self.hz + turn_rad_s) / rate_hz);
            let outer = part == 0 || part == count;
            let growth = if outer { 0.0 } else { self.magnitudes[part] - self.magnitudes[part - 1] };
            let mut magnitude = self.magnitudes[part.max(1) - 1];
            let growth = growth / (to.saturating_sub(from)).max(1) as f64;
            let mut turning = Complex64::cis(phase_rad);
            for sample in &mut samples[from..to] {
                *sample -= magnitude * turning.re;
                turning *= step;
                magnitude += growth;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::Random;

    const RATE_HZ: f64 = 8_000.0;

    /// A mains that is 0.013 Hz faster at the end than at the start, with a third harmonic; a few ten-thousandths of noise.
    fn humming() -> Vec<f64> {
        let mut random = Random::new(5);
        let phase = |t: f64| TAU * (50.01 * t + 0.013 / 20.0 * t * t / 2.0);
        (0..80_000)
            .map(|n| phase(n as f64 / RATE_HZ))
            .map(|phase| 0.01 * (phase + 0.4).cos() + 0.003 * (3.0 * phase).cos() + 1e-5 * random.normal())
            .collect()
    }

    fn line(hz: f64, load: f64) -> Line {
        Line { hz, mains_hz: 50.015, load: load.into(), drive: (load / 10.0).into(), left_ratio: 1.0 }
    }

    #[test]
    fn a_hum_whose_frequency_wanders_is_taken_off_between_the_silences_too() {
        let load = humming();
        let drive: Vec<f64> = load.iter().map(|x| 0.1 * x).collect();
        let mut lines = [line(50.015, 0.01), line(150.045, 0.003)];
        for silences in [vec![0..8_000, 40_000..46_000, 72_000..80_000], vec![0..8_000, 72_000..80_000]] {
            let quiet = without_hum([&load, &drive], &silences, &mut lines, RATE_HZ).unwrap();
            for (hum, quiet) in [(&load, &quiet[0]), (&drive, &quiet[1])] {
                let rms = |x: &[f64]| (x.iter().map(|x| x * x).sum::<f64>() / x.len() as f64).sqrt();
                let left = rms(&quiet[20_000..60_000]) / rms(&hum[20_000..60_000]);
                let told = lines.iter().map(|line| line.left_ratio).fold(0.0, f64::max);
                // Told within its meaning: not less than what is left, and of its order (0.15 of the hum at worst).
                assert!(left < told && told < 0.15, "{silences:?}: {left} {told}");
                assert!(left < 0.1, "{silences:?}: {left}");
            }
        }
    }

    #[test]
    fn what_is_not_steady_is_left_where_it_is() {
        // Switched off half-way.
        let load: Vec<f64> =
            humming().into_iter().enumerate().map(|(n, x)| if n < 40_000 { x } else { 0.01 * x }).collect();
        let mut lines = [line(50.015, 0.01)];
        let quiet = without_hum([&load, &load], &[0..8_000, 72_000..80_000], &mut lines, RATE_HZ).unwrap();
        assert_eq!((quiet[0] == load, lines[0].left_ratio), (true, 1.0));
        let one = std::slice::from_ref(&(0..8_000)).to_vec();
        assert!(without_hum([&load, &load], &one, &mut lines, RATE_HZ).is_none());
    }
}
