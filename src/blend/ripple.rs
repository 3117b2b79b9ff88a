//! How uneven the sum is, at one setting and, as a bound, over a whole range of delays and gains.
//!
//! ```text
//! |T|² = a² + G²b² + 2·G·a·b·cos θ        a = |H_hp·S|, b = |H_lp·W|, θ = arg(H_lp·W) − arg(H_hp·S) + ω·τ (+ π)
//! ripple of a seat = max L − min L over the band, L = 20·log₁₀|T|;    of a setting: that of its worst seat
//! ```
//!
//! Where it is smoothed, |T|² is the mean over so many points to each side, and so are its bounds.
//! Over a range of τ and G the angle θ and the gain are independent of each other, so that the least and the largest |T|²
//! at each frequency are exact: cos θ runs over the cosines of its range, and |T|² is a parabola in G. No ripple in the range
//! is less than the largest of the least levels over the smallest of the largest ones.
//! Derivation: the law of cosines; ripple as interface and README define it.

use super::parts::{Filters, Parts, Polarity};
use crate::math::{Looked, Region, mean_around};
use crate::quantity::{amplitude_from_db, db_from_power};
use crate::response::OctaveFraction;
use std::collections::HashMap;
use std::f64::consts::{PI, TAU};
use std::ops::Range;
use std::sync::{Arc, Mutex, PoisonError};

/// Satellite and subwoofer of some filters in a band, ready to be added with many delays and gains.
pub struct Overlap {
    /// Of the band, and of what smoothing needs beside it.
    omega: Vec<f64>,
    seats: Vec<Vec<Point>>,
    /// The band among these.
    band: Range<usize>,
    /// Over so many points to each side.
    reach: usize,
    /// For each width of a range of delays that was looked at: half of what it turns each frequency. Boxes are halved, so that there are few widths.
    halves: Mutex<HashMap<u64, Arc<Vec<Half>>>>, // by picoseconds
}

/// Cosine and sine of half a range of ω·τ; none where that is half a turn or more.
type Half = Option<[f64; 2]>;

/// One frequency at one seat.
struct Point {
    /// a².
    satellite: f64,
    /// b².
    subwoofer: f64,
    /// 2·a·b.
    cross: f64,
    /// The same times cosine and sine of θ without delay.
    turned: [f64; 2],
}

/// How a range of delays turns one frequency.
struct Turn {
    /// Cosine and sine of ω·τ in the middle.
    middle: [f64; 2],
    half: Half,
}

impl Overlap {
    /// Of these filters in this band.
    pub fn new(parts: &Parts, filters: &Filters, band_hz: [f64; 2], smoothing: Option<OctaveFraction>) -> Self {
        let (within, reach) = (parts.within(band_hz), parts.reach(smoothing));
        let known = within.start.saturating_sub(reach)..(within.end + reach).min(parts.hz.len());
        let of_seat = |seat: &super::PartsAtSeat| {
            let one = |at: usize| {
                let [high, low] = filters.at(parts.hz[at]);
                let (s, w) = (high * seat.satellite[at], low * seat.subwoofer[at]);
                let cross = 2.0 * s.conj() * w;
                let turned = [cross.re, cross.im];
                Point { satellite: s.norm_sqr(), subwoofer: w.norm_sqr(), cross: cross.norm(), turned }
            };
            known.clone().map(one).collect()
        };
        Self {
            omega: parts.hz[known.clone()].iter().map(|hz| TAU * hz).collect(),
            seats: parts.seats.iter().map(of_seat).collect(),
            band: within.start - known.start..within.end - known.start,
            reach,
            halves: Mutex::default(),
        }
    }

    fn halves(&self, half_s: f64) -> Arc<Vec<Half>> {
        // Rounded up, so that the bound stays one and rounding makes no new widths.
        let picoseconds = (half_s * 1e12).ceil();
        let of = |omega: &f64| Some(1e-12 * omega * picoseconds).filter(|half| *half < PI).map(turned);
        let mut known = self.halves.lock().unwrap_or_else(PoisonError::into_inner);
        let of_all = || Arc::new(self.omega.iter().map(of).collect());
        known.entry(picoseconds as u64).or_insert_with(of_all).clone()
    }

    /// Ripple of the worst seat, dB.
    pub fn ripple_db(&self, delay_s: f64, polarity: Polarity, gain_db: f64) -> f64 {
        let here = [delay_s, gain_db];
        let all = self.over(&Region { low: here, high: here }, 0.0, polarity, f64::INFINITY);
        all.in_the_middle.unwrap_or(HOPELESS_DB)
    }

    /// The ripple over a range of delay (s) and gain (dB), moved by a delay.
    ///
    /// Stops as soon as it is clear that the range has nothing below `enough_db`.
    pub fn over(&self, range: &Region<2>, moved_s: f64, polarity: Polarity, enough_db: f64) -> Looked {
        let [delay_s, gain_db] = range.middle();
        let half_s = 0.5 * (range.high[0] - range.low[0]);
        let halves = self.halves(half_s);
        let turn = |(omega, half): (&f64, &Half)| Turn { middle: turned(omega * (delay_s + moved_s)), half: *half };
        let turns: Vec<Turn> = self.omega.iter().zip(halves.iter()).map(turn).collect();
        let gains = [range.low[1], range.high[1]].map(amplitude_from_db);
        let gain = amplitude_from_db(gain_db);
        let sign = polarity.sign();
        let (mut at_least, mut in_the_middle) = (0.0f64, 0.0f64);
        for points in &self.seats {
            let mut powers: [Vec<f64>; 3] = std::array::from_fn(|_| Vec::with_capacity(points.len()));
            for (point, turn) in points.iter().zip(&turns) {
                let [least, here, most] = point.crosses(turn, sign);
                powers[0].push(point.least_power(gains, least));
                powers[1].push(point.power(gain, here));
                powers[2].push(point.most_power(gains, most));
            }
            let [least, middle, most] = powers.map(|powers| self.smoothed(powers));
            let most_of = |powers: &[f64]| powers[self.band.clone()].iter().copied().fold(0.0, f64::max);
            let least_of = |powers: &[f64]| powers[self.band.clone()].iter().copied().fold(f64::INFINITY, f64::min);
            // The largest of the least powers in the range and the smallest of the largest; then those of the middle.
            let surely = [most_of(&least), least_of(&most)];
            let middle = [most_of(&middle), least_of(&middle)];
            at_least = at_least.max(ratio_db(surely));
            in_the_middle = in_the_middle.max(ratio_db(middle));
            if at_least >= enough_db {
                return Looked { at_least, in_the_middle: None };
            }
        }
        Looked { at_least, in_the_middle: Some(in_the_middle) }
    }
}

impl Overlap {
    fn smoothed(&self, powers: Vec<f64>) -> Vec<f64> {
        if self.reach == 0 { powers } else { mean_around(&powers, |_| self.reach) }
    }
}

/// Cosine and sine.
fn turned(angle: f64) -> [f64; 2] {
    let (sin, cos) = angle.sin_cos();
    [cos, sin]
}

impl Point {
    /// 2·a·b·cos θ: the least in the range, that of the middle, and the largest.
    fn crosses(&self, turn: &Turn, sign: f64) -> [f64; 3] {
        let ([re, im], [cos, sin]) = (self.turned, turn.middle);
        let (along, across) = (sign * (re * cos - im * sin), sign * (im * cos + re * sin));
        let Some([cos_half, sin_half]) = turn.half else { return [-self.cross, along, self.cross] };
        let ends = [along * cos_half + across * sin_half, along * cos_half - across * sin_half];
        // The range holds θ = 0 where the middle is nearer to it than half the range, and θ = π likewise.
        let edge = self.cross * cos_half;
        let most = if along >= edge { self.cross } else { ends[0].max(ends[1]) };
        let least = if along <= -edge { -self.cross } else { ends[0].min(ends[1]) };
        [least, along, most]
    }

    fn power(&self, gain: f64, cross: f64) -> f64 {
        self.satellite + gain * (gain * self.subwoofer + cross)
    }

    /// At an end of the range, the parabola being open upwards.
    fn most_power(&self, gains: [f64; 2], cross: f64) -> f64 {
        self.power(gains[0], cross).max(self.power(gains[1], cross))
    }

    /// At the parabola's foot, or the nearest end.
    fn least_power(&self, gains: [f64; 2], cross: f64) -> f64 {
        let foot = -0.5 * cross / self.subwoofer;
        let gain = if foot.is_finite() { foot.clamp(gains[0], gains[1]) } else { gains[0] };
        // Rounding can leave less than nothing.
        self.power(gain, cross).max(0.0)
    }
}

/// What a ripple counts as where the sum vanishes, dB: more than any that can be measured.
const HOPELESS_DB: f64 = 200.0;

/// Of the largest power over the smallest; nothing where the order of the two is the other way round, and so nothing is proven.
fn ratio_db([most, least]: [f64; 2]) -> f64 {
    db_from_power(most / least).clamp(0.0, HOPELESS_DB)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::blend::PartsAtSeat;
    use crate::math::Random;
    use num_complex::Complex64;

    fn parts(random: &mut Random) -> Parts {
        let hz: Vec<f64> = (0..103).map(|n| 38.3 * 2f64.powf(f64::from(n) / 48.0)).collect();
        let value = |random: &mut Random| Complex64::from_polar(0.3 + random.uniform(), TAU * random.uniform());
        let seats = (0..2).map(|_| PartsAtSeat {
            name: String::new(),
            satellite: hz.iter().map(|_| value(random)).collect(),
            subwoofer: hz.iter().map(|_| value(random)).collect(),
            u_ratio: vec![[0.0; 2]; hz.len()],
        });
        Parts { seats: seats.collect(), hz }
    }

    /// The slow twin: sums by complex numbers, levels over a mean of powers.
    #[test]
    fn the_ripple_is_that_of_the_sum_and_a_range_never_holds_less_than_its_bound() {
        for smoothing in [None, OctaveFraction::new(1.0 / 6.0).ok()] {
            holds(smoothing);
        }
    }

    fn holds(smoothing: Option<OctaveFraction>) {
        let mut random = Random::new(5);
        let parts = parts(&mut random);
        let filters = Filters {
            crossover_hz: 80.0,
            high_pass: "BW2".parse().ok(),
            low_pass_hz: 80.0,
            low_pass: "LR4".parse().ok(),
        };
        let band_hz = [40.0, 160.0];
        let overlap = Overlap::new(&parts, &filters, band_hz, smoothing);
        let slow = |delay_s: f64, polarity, gain_db: f64| {
            let setting = super::super::Setting { filters, delay_s, polarity, gain_db };
            let of_seat = |seat: usize| {
                let sum = parts.sum(seat, &setting);
                let levels = &parts.levels_db(&sum, smoothing)[parts.within(band_hz)];
                let most = levels.iter().copied().fold(f64::MIN, f64::max);
                most - levels.iter().copied().fold(f64::MAX, f64::min)
            };
            of_seat(0).max(of_seat(1))
        };
        let mut tight = 0;
        for polarity in Polarity::ALL {
            for width in [1e-5, 3e-4, 4e-3] {
                let [delay_s, gain_db] = [0.02 * (random.uniform() - 0.5), 12.0 * (random.uniform() - 0.5)];
                let range = Region { low: [delay_s, gain_db], high: [delay_s + width, gain_db + 800.0 * width] };
                let looked = overlap.over(&range, 0.0, polarity, f64::INFINITY);
                let [middle_s, middle_db] = range.middle();
                let middle = slow(middle_s, polarity, middle_db);
                // 1e-9: two ways of adding.
                assert!((looked.in_the_middle.unwrap() - middle).abs() < 1e-9);
                assert!((overlap.ripple_db(middle_s, polarity, middle_db) - middle).abs() < 1e-9);
                for _ in 0..200 {
                    let place = [delay_s + width * random.uniform(), gain_db + 800.0 * width * random.uniform()];
                    assert!(slow(place[0], polarity, place[1]) >= looked.at_least - 1e-9);
                }
                tight += usize::from(middle - looked.at_least < 1.0);
            }
        }
        // A narrow range has a bound that is worth something.
        assert!(tight >= 2, "{tight}");
    }
}
