//! A capture of both as the sum of what satellite and subwoofer are expected to do, each at its own time and level.
//!
//! ```text
//! M = α·A·e^{−jωt₁} + β·B·e^{−jωt₂}        minimise Σ |M − model|²/(|A| + |B|)²
//! ```
//!
//! A, B: what satellite and subwoofer are expected to do alone; M: what was measured with both. α > 0 takes up the microphone's
//! gain, t₁ its zero of time. For given t₁ and t₂ the model is linear in α and β; the times are searched step by step, for either sign
//! of β, and the best is improved by least squares. Weighing by |A| + |B|, what is loudest there, lets a dip count no more than its
//! neighbours. Derivation: linear least squares.

use crate::math::{Effort, Linearised, Sensitivity, highest_place, independent_points, least_squares};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// What is expected of both, and what was measured; columns of one length.
#[derive(Debug, Clone, Copy)]
pub struct BothPlaying<'a> {
    /// Rising frequencies.
    pub hz: &'a [f64],
    /// A.
    pub satellite: &'a [Complex64],
    /// B.
    pub subwoofer: &'a [Complex64],
    /// M.
    pub measured: &'a [Complex64],
    /// From which spacing on two points are independent, Hz.
    pub resolution_hz: f64,
}

/// How far off what was measured may be in time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimeRange {
    /// The zero of time of the measurement, at most so far off to either side, s.
    pub zero_s: f64,
    /// The subwoofer against the satellite, likewise.
    pub between_s: f64,
}

/// How the subwoofer may stand to the satellite.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stand {
    /// By how much it comes later than expected, s.
    pub delay_s: f64,
    /// β/α: its level against what was expected, less than zero for the other polarity.
    pub ratio: f64,
}

impl Stand {
    /// As expected.
    pub const EXPECTED: Self = Self { delay_s: 0.0, ratio: 1.0 };
}

const STEP_S: f64 = 1e-4;

/// What is left of a capture, rms over |A| + |B|, when both stand like this; α and t₁ are those that suit best.
pub fn left_with(curves: &BothPlaying<'_>, stand: Stand, range: TimeRange) -> f64 {
    Weighted::of(curves).left(stand, range)
}

/// The curves over |A| + |B|.
pub(super) struct Weighted {
    pub hz: Vec<f64>,
    satellite: Vec<Complex64>,
    subwoofer: Vec<Complex64>,
    measured: Vec<Complex64>,
    /// Points that are independent of each other.
    pub independent: f64,
}

/// t₁, t₂, α, β, and how well they fit.
pub(super) struct Fitted {
    pub values: [f64; 4],
    /// Of the residuals.
    pub squares: f64,
    /// (JᵀJ)⁻¹.
    pub covariance: Vec<Vec<f64>>,
}

impl Weighted {
    /// Of these curves.
    pub fn of(curves: &BothPlaying<'_>) -> Self {
        let scale: Vec<f64> =
            curves.satellite.iter().zip(curves.subwoofer).map(|(a, b)| (a.norm() + b.norm()).recip()).collect();
        let scaled = |column: &[Complex64]| column.iter().zip(&scale).map(|(value, scale)| value * scale).collect();
        Self {
            hz: curves.hz.to_vec(),
            satellite: scaled(curves.satellite),
            subwoofer: scaled(curves.subwoofer),
            measured: scaled(curves.measured),
            independent: independent_points(curves.hz, curves.resolution_hz),
        }
    }

    /// Re Σ one*·other·e^{jωt}.
    fn along(&self, one: &[Complex64], other: &[Complex64], time_s: f64) -> f64 {
        let terms = self.hz.iter().zip(one.iter().zip(other));
        terms.map(|(hz, (one, other))| (one.conj() * other * Complex64::cis(TAU * hz * time_s)).re).sum()
    }

    /// The steps of both times at which the linear model explains most, with β of this sign.
    pub fn scanned(&self, range: TimeRange, sign: f64) -> Option<[f64; 4]> {
        let [zero, between] = [range.zero_s, range.between_s].map(|reach_s| (reach_s / STEP_S).ceil() as i64);
        let time = |step: i64| step as f64 * STEP_S;
        let all = zero + between;
        let of_satellite: Vec<f64> =
            (-zero..=zero).map(|n| self.along(&self.satellite, &self.measured, time(n))).collect();
        let of_subwoofer: Vec<f64> =
            (-all..=all).map(|n| self.along(&self.subwoofer, &self.measured, time(n))).collect();
        let of_both: Vec<f64> =
            (-between..=between).map(|n| self.along(&self.satellite, &self.subwoofer, -time(n))).collect();
        let power = |column: &[Complex64]| column.iter().map(Complex64::norm_sqr).sum::<f64>();
        let [a, b] = [power(&self.satellite), power(&self.subwoofer)];
        let mut best: Option<(f64, [f64; 4])> = None;
        for n in -zero..=zero {
            for apart in -between..=between {
                let d = of_satellite[(n + zero) as usize];
                let e = of_subwoofer[(n + apart + all) as usize];
                let c = of_both[(apart + between) as usize];
                let determinant = a * b - c * c;
                let [alpha, beta] = [(b * d - c * e) / determinant, (a * e - c * d) / determinant];
                let explained = alpha * d + beta * e;
                let is_allowed = alpha > 0.0 && beta * sign > 0.0 && explained.is_finite();
                if is_allowed && best.is_none_or(|(most, _)| explained > most) {
                    best = Some((explained, [time(n), time(n + apart), alpha, beta]));
                }
            }
        }
        best.map(|(_, values)| values)
    }

    /// The least squares from there.
    pub fn improved(&self, start: [f64; 4]) -> Option<Fitted> {
        let found = least_squares(&start, Effort::Full, |values| self.linearised(values))?;
        let squares = found.linearised.residuals.iter().map(|residual| residual * residual).sum();
        let covariance = Sensitivity::new(&found.linearised, 4)?.covariance;
        Some(Fitted { values: found.values.try_into().ok()?, squares, covariance })
    }

    fn linearised(&self, values: &[f64]) -> Linearised {
        let count = self.hz.len();
        let mut residuals = vec![0.0; 2 * count];
        let mut slopes = vec![0.0; 8 * count];
        for at in 0..count {
            let omega = TAU * self.hz[at];
            let a = self.satellite[at] * Complex64::cis(-omega * values[0]);
            let b = self.subwoofer[at] * Complex64::cis(-omega * values[1]);
            let turned = Complex64::new(0.0, -omega);
            let left = values[2] * a + values[3] * b - self.measured[at];
            let columns = [values[2] * turned * a, values[3] * turned * b, a, b];
            (residuals[at], residuals[count + at]) = (left.re, left.im);
            for (number, slope) in columns.into_iter().enumerate() {
                slopes[2 * count * number + at] = slope.re;
                slopes[2 * count * number + count + at] = slope.im;
            }
        }
        Linearised { residuals, slopes }
    }

    /// What is left of M when B stands to A as given, at the zero of time and the level that suit them best.
    pub fn left(&self, stand: Stand, range: TimeRange) -> f64 {
        let late = |(b, hz): (&Complex64, &f64)| stand.ratio * b * Complex64::cis(-TAU * hz * stand.delay_s);
        let moved = self.subwoofer.iter().zip(&self.hz).map(late);
        let expected: Vec<Complex64> = self.satellite.iter().zip(moved).map(|(a, b)| a + b).collect();
        let power: f64 = expected.iter().map(Complex64::norm_sqr).sum();
        let along = |time_s: f64| self.along(&expected, &self.measured, time_s);
        let most = along(highest_place(along, range.zero_s, STEP_S)).max(0.0);
        let all: f64 = self.measured.iter().map(Complex64::norm_sqr).sum();
        ((all - most * most / power).max(0.0) / self.hz.len() as f64).sqrt()
    }
}
