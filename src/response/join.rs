//! A curve from near the cone and one from far away, made one.
//!
//! ```text
//! H = w·N·s·e^{−2πifτ}·10^{g/20} + (1 − w)·F        w = (1 + cos(π·log₂(f/f_j·√2)))/2   within half an octave of f_j
//! g = Σ q·(L_F − L_N)/Σ q,   q = 1/(u_N² + u_F² + u_0²)        (τ, s) make |Σ q·Re(s·e^{i(φ_N − φ_F − 2πfτ)})| largest
//! u² = w²·(u_N² + u_g²) + (1 − w)²·u_F² + w·(1 − w)·d²
//! ```
//!
//! N: near field as it would be far away, F: gated far field; L, φ, u: their levels, phases and uncertainties, dB and rad; f_j: where they are
//! joined, an octave around it is the overlap; g: level, τ: delay, s = ±1: polarity that bring N to F; d: what is then
//! left between them, u_g its rms over the root of the independent values, u_0 = 0.1 dB. Unless f_j is given it is where the sum of
//! the disagreement and both uncertainties over the octave is least.
//! Source: C. J. Struck, S. F. Temme, "Simulated Free Field Measurements", J. Audio Eng. Soc. 42 (June 1994) 467–482, for joining
//! in the band where both hold (quoted in public excerpts); weights and the choice of f_j are ours.

use super::ResponseError;
use super::sampled::{Point, Reader, Sampled};
use crate::math::highest_place;
use crate::quantity::FrequencyGrid;
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// Both made one.
#[derive(Debug, Clone, PartialEq)]
pub struct Joined {
    /// The curve, on a grid.
    pub whole: Sampled,
    /// The near field as it was brought to the far one, on the near field's own frequencies.
    pub near: Sampled,
    /// f_j.
    pub at_hz: f64,
    /// The band in which one gives way to the other.
    pub overlap_hz: [f64; 2],
    /// g and its standard uncertainty, dB.
    pub level_db: [f64; 2],
    /// τ: how much later the far one was referred.
    pub delay_s: f64,
    /// Whether the near field had to be turned over.
    pub turned: bool,
    /// Root mean square of d over the overlap, dB.
    pub rms_db: f64,
    /// The largest d, dB, and where.
    pub worst: [f64; 2],
    /// Root mean square of what is left of the phase, rad.
    pub rms_rad: f64,
    /// Uncertainty of the near side at f_j, that of its level included, and of the far side, dB.
    pub u_at_db: [f64; 2],
}

/// No level is trusted beyond this.
const LEAST_U_DB: f64 = 0.1;
/// The overlap, where there is room for it, and the least.
const OCTAVE: f64 = 2.0;
const LEAST_OVERLAP: f64 = 1.26;
/// Where it can lie, in steps of a twelfth of an octave.
const STEP: f64 = 1.059_463_094_359_295_3;
/// Levels are compared at so many points an octave …
const POINTS: u32 = 48;
/// … of which so many neighbours say the same.
const ALIKE: f64 = 8.0;
/// Widest delay that is looked for, and the step, in turns of the highest frequency.
const WIDEST_S: f64 = 20e-3;
const STEP_TURNS: f64 = 0.05;

/// Both sides as one, joined at `at_hz` or where it is best; `points_per_octave` of the result.
///
/// # Errors
/// [`ResponseError::NoOverlap`] where the bands share less than a third of an octave, or not the frequency that was asked for.
pub fn join(
    near: &Sampled,
    far: &Sampled,
    at_hz: Option<f64>,
    points_per_octave: u32,
) -> Result<Joined, ResponseError> {
    let (near_at, far_at) = (readable(near)?, readable(far)?);
    let shared = [near.hz[0].max(far.hz[0]), last(&near.hz).min(last(&far.hz))];
    let none = ResponseError::NoOverlap {
        near_from_hz: near.hz[0],
        near_to_hz: last(&near.hz),
        far_from_hz: far.hz[0],
        far_to_hz: last(&far.hz),
    };
    let width = (shared[1] / shared[0]).min(OCTAVE);
    if width < LEAST_OVERLAP {
        return Err(none);
    }
    let half = width.sqrt();
    let room = [shared[0] * half, shared[1] / half];
    let at_hz = match at_hz {
        Some(hz) if (room[0] / 1.001..=room[1] * 1.001).contains(&hz) => hz,
        Some(hz) => return Err(ResponseError::JoinOutside { hz, from_hz: room[0], to_hz: room[1] }),
        None => {
            let steps = ((room[1] / room[0]).ln() / STEP.ln()).floor().max(0.0) as i32;
            let places = (0..=steps).map(|step| room[0] * STEP.powi(step));
            let cost = |hz: f64| {
                Meeting::at(&near_at, &far_at, [hz / half, hz * half]).map_or(f64::MAX, |meeting| meeting.cost())
            };
            places.min_by(|a, b| cost(*a).total_cmp(&cost(*b))).unwrap_or(room[0])
        }
    };
    let overlap_hz = [at_hz / half, at_hz * half];
    let meeting = Meeting::at(&near_at, &far_at, overlap_hz).ok_or(none)?;
    let grid = FrequencyGrid::of_octave_fractions([near.hz[0], last(&far.hz)], points_per_octave)
        .map_err(|_| ResponseError::NoValidBand { lowest_hz: near.hz[0], highest_hz: last(&far.hz) })?;
    let mut whole = Sampled { hz: grid.hz().to_vec(), ..Sampled::default() };
    for &hz in grid.hz() {
        let w = weight(hz, overlap_hz);
        let (one, other) = (near_at.nearest(hz), far_at.nearest(hz));
        let near_part = if w > 0.0 { meeting.moved(one, hz).value() * w } else { Complex64::ZERO };
        let far_part = if w < 1.0 { other.value() * (1.0 - w) } else { Complex64::ZERO };
        let sum = near_part + far_part;
        let between_db = if w > 0.0 && w < 1.0 { one.level_db + meeting.level_db - other.level_db } else { 0.0 };
        let square = w * w * (one.u_db.powi(2) + meeting.u_level_db.powi(2))
            + (1.0 - w).powi(2) * other.u_db.powi(2)
            + w * (1.0 - w) * between_db * between_db;
        whole.level_db.push(20.0 * sum.norm().log10());
        whole.phase_rad.push(sum.arg());
        whole.u_db.push(square.sqrt());
    }
    let moved: Vec<Point> = near.hz.iter().map(|&hz| meeting.moved(near_at.nearest(hz), hz)).collect();
    let (one, other) = (near_at.nearest(at_hz), far_at.nearest(at_hz));
    Ok(Joined {
        whole,
        near: Sampled {
            hz: near.hz.clone(),
            level_db: moved.iter().map(|point| point.level_db).collect(),
            phase_rad: moved.iter().map(|point| point.phase_rad).collect(),
            u_db: near.u_db.iter().map(|u| u.hypot(meeting.u_level_db)).collect(),
        },
        at_hz,
        overlap_hz,
        level_db: [meeting.level_db, meeting.u_level_db],
        delay_s: meeting.delay_s,
        turned: meeting.turned,
        rms_db: meeting.rms_db,
        worst: meeting.worst,
        rms_rad: meeting.rms_rad,
        u_at_db: [one.u_db.hypot(meeting.u_level_db), other.u_db],
    })
}

/// A curve with its phase.
fn readable(curve: &Sampled) -> Result<Reader, ResponseError> {
    curve.reader().filter(Reader::has_phase).ok_or(ResponseError::BrokenCurve)
}

fn last(hz: &[f64]) -> f64 {
    hz[hz.len() - 1]
}

/// w: the near field's share.
fn weight(hz: f64, [from_hz, to_hz]: [f64; 2]) -> f64 {
    let place = (hz / from_hz).ln() / (to_hz / from_hz).ln();
    0.5 + 0.5 * (PI * place.clamp(0.0, 1.0)).cos()
}

/// How both sides meet in a band.
struct Meeting {
    level_db: f64,
    u_level_db: f64,
    delay_s: f64,
    turned: bool,
    rms_db: f64,
    worst: [f64; 2],
    rms_rad: f64,
    /// Mean square of both uncertainties.
    doubt: f64,
}

impl Meeting {
    fn at(near: &Reader, far: &Reader, band_hz: [f64; 2]) -> Option<Self> {
        let grid = FrequencyGrid::of_octave_fractions(band_hz, POINTS).ok()?;
        let points: Vec<(f64, Point, Point)> =
            grid.hz().iter().map(|&hz| (hz, near.nearest(hz), far.nearest(hz))).collect();
        let count = points.len() as f64;
        let trust = |one: &Point, other: &Point| {
            1.0 / (one.u_db * one.u_db + other.u_db * other.u_db + LEAST_U_DB * LEAST_U_DB)
        };
        let total: f64 = points.iter().map(|(_, one, other)| trust(one, other)).sum();
        let level_db =
            points.iter().map(|(_, one, other)| trust(one, other) * (other.level_db - one.level_db)).sum::<f64>()
                / total;
        let left: Vec<[f64; 2]> =
            points.iter().map(|(hz, one, other)| [one.level_db + level_db - other.level_db, *hz]).collect();
        let rms_db = (left.iter().map(|[db, _]| db * db).sum::<f64>() / count).sqrt();
        let worst = left.iter().copied().max_by(|a, b| a[0].abs().total_cmp(&b[0].abs()))?;
        let turns: Vec<(f64, f64, f64)> = points
            .iter()
            .map(|(hz, one, other)| (*hz, one.phase_rad - other.phase_rad, trust(one, other) / total))
            .collect();
        let (delay_s, turned) = delay(&turns, band_hz[1]);
        let sign = if turned { PI } else { 0.0 };
        let phase = |(hz, turn, _): &(f64, f64, f64)| Complex64::cis(turn + sign - TAU * hz * delay_s).arg();
        let rms_rad = (turns.iter().map(|turn| phase(turn).powi(2)).sum::<f64>() / count).sqrt();
        let doubt =
            points.iter().map(|(_, one, other)| one.u_db * one.u_db + other.u_db * other.u_db).sum::<f64>() / count;
        let independent = (count / ALIKE).max(1.0);
        let u_level_db = rms_db.max(LEAST_U_DB) / independent.sqrt();
        Some(Self { level_db, u_level_db, delay_s, turned, rms_db, worst, rms_rad, doubt })
    }

    fn cost(&self) -> f64 {
        self.rms_db * self.rms_db + self.doubt
    }

    fn moved(&self, point: Point, hz: f64) -> Point {
        let sign = if self.turned { PI } else { 0.0 };
        Point {
            level_db: point.level_db + self.level_db,
            phase_rad: point.phase_rad + sign - TAU * hz * self.delay_s,
            ..point
        }
    }
}

/// The delay and the sign that lay the phases over each other best.
fn delay(turns: &[(f64, f64, f64)], highest_hz: f64) -> (f64, bool) {
    let alike =
        |delay_s: f64| turns.iter().map(|(hz, turn, trust)| trust * (turn - TAU * hz * delay_s).cos()).sum::<f64>();
    let best = highest_place(|delay_s| alike(delay_s).abs(), WIDEST_S, STEP_TURNS / highest_hz);
    (best, alike(best) < 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A second-order high-pass in closed form.
    fn whole(hz: f64) -> Complex64 {
        let s = Complex64::I * hz / 90.0;
        s * s / (s * s + s / 0.8 + 1.0)
    }

    fn side(band_hz: [f64; 2], u_db: f64, of: impl Fn(f64) -> Complex64) -> Sampled {
        let hz = FrequencyGrid::of_octave_fractions(band_hz, 48).unwrap().hz().to_vec();
        let values: Vec<Complex64> = hz.iter().map(|&hz| of(hz)).collect();
        Sampled {
            level_db: values.iter().map(|value| 20.0 * value.norm().log10()).collect(),
            phase_rad: values.iter().map(|value| value.arg()).collect(),
            u_db: vec![u_db; hz.len()],
            hz,
        }
    }

    /// A near field that is 31 dB louder, reversed and 0.4 ms early comes back to the far field.
    #[test]
    fn level_delay_and_polarity_are_found_and_the_whole_is_the_closed_form() {
        let gain = -10f64.powf(31.0 / 20.0);
        let near = side([20.0, 1_200.0], 0.05, |hz| gain * whole(hz) * Complex64::cis(TAU * hz * 0.4e-3));
        let far = side([230.0, 15e3], 0.1, whole);
        let joined = join(&near, &far, None, 48).unwrap();
        assert!(
            (joined.level_db[0] + 31.0).abs() < 1e-6 && joined.turned && (joined.delay_s - 0.4e-3).abs() < 1e-7,
            "{joined:?}"
        );
        for (n, &hz) in joined.whole.hz.iter().enumerate() {
            // 1e-3 dB: between the points of the curves the level is straight on log f.
            let off = Complex64::from_polar(10f64.powf(joined.whole.level_db[n] / 20.0), joined.whole.phase_rad[n])
                / whole(hz);
            assert!((off - 1.0).norm() < 1e-3, "{hz}: {off}");
        }
        let u = |hz: f64| joined.whole.u_db[joined.whole.hz.iter().position(|f| *f > hz).unwrap()];
        // Far above only the far side's own; below the near one's and that of the level, 0.1 dB over six values.
        assert!(
            (u(5e3) - 0.1).abs() < 1e-9
                && (u(50.0) - 0.05f64.hypot(0.1 / (joined_points(&joined) / 8.0).sqrt())).abs() < 1e-3
        );
    }

    fn joined_points(joined: &Joined) -> f64 {
        FrequencyGrid::of_octave_fractions(joined.overlap_hz, 48).unwrap().hz().len() as f64
    }

    /// The far side is wrong below 500 Hz: it is joined above, and where it is told to join below, the disagreement is told.
    #[test]
    fn it_is_joined_where_both_agree() {
        let near = side([20.0, 1_200.0], 0.05, whole);
        let far = side([230.0, 15e3], 0.05, |hz| whole(hz) * (1.0 + (-(hz / 250.0).powi(2)).exp()));
        let joined = join(&near, &far, None, 48).unwrap();
        assert!(joined.at_hz > 650.0 && joined.rms_db < 0.05, "{} {}", joined.at_hz, joined.rms_db);
        let low = join(&near, &far, Some(330.0), 48).unwrap();
        assert!(low.rms_db > 0.5 && low.worst[0].abs() > 1.0 && (low.at_hz - 330.0).abs() < 1e-9);
        assert!(matches!(join(&near, &far, Some(5e3), 48), Err(ResponseError::JoinOutside { .. })));
        let high = side([2e3, 15e3], 0.05, whole);
        assert!(matches!(join(&near, &high, None, 48), Err(ResponseError::NoOverlap { .. })));
    }
}
