//! How far down a satellite, or up a subwoofer, is of use.
//!
//! ```text
//! L₀ = mean level over the reference band      F₃, F₆, F₁₀: where the level leaves L₀ − 3, − 6, − 10 dB, coming from that band
//! u(F)/F = ln 2·√(u²(L) + u²(L₀))/|dL/d(log₂ f)|
//! ```
//!
//! Means over the logarithm of the frequency. u: standard uncertainties; the slope is that of the straight line through the
//! half octave around F. The reference band lies beside the end that is looked for, not where the loudspeaker is loudest: a small
//! front makes the treble some decibels louder than the bass, and the crossover has to fit the latter.
//! Common practice for the names; IEC 60268-5 limits its effective frequency range at −10 dB, of another reference.

use crate::math::weighted_line;
use crate::quantity::{Quantity, Unit};
use crate::response::Reader;

/// The ends of a band by how much the level has fallen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UsefulEnd {
    /// L₀, dB.
    pub reference_db: f64,
    /// F₃, F₆, F₁₀ in Hz, as far as the curve reaches and tells them to better than [`MOST_DOUBT_RATIO`].
    pub fallen: [Option<Quantity>; 3],
}

/// Which end is looked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// Below the reference band.
    Lower,
    /// Above it.
    Upper,
}

/// By how much the level has fallen at F₃, F₆, F₁₀, dB.
pub const FALLS_DB: [f64; 3] = [3.0, 6.0, 10.0];
/// An end that is less certain than this, u over F, is none: the level lies there without falling.
pub const MOST_DOUBT_RATIO: f64 = 0.25;
const STEPS_PER_OCTAVE: f64 = 96.0;
const FARTHEST_OCTAVES: f64 = 6.0;
/// The slope is taken over so much to each side.
const SLOPE_OCTAVES: f64 = 0.25;

/// The end of a curve's useful band. `None` if the curve does not cover the reference band.
pub fn useful_end(curve: &Reader, reference_hz: [f64; 2], end: End) -> Option<UsefulEnd> {
    let [from_hz, to_hz] = reference_hz;
    let steps = ((to_hz / from_hz).log2() * STEPS_PER_OCTAVE).round().max(1.0) as usize;
    let within = (0..=steps).map(|n| from_hz * (to_hz / from_hz).powf(n as f64 / steps as f64));
    let points = within.map(|hz| curve.at(hz)).collect::<Option<Vec<_>>>()?;
    let mean = |of: fn(&crate::response::Point) -> f64| points.iter().map(of).sum::<f64>() / points.len() as f64;
    let reference_db = mean(|point| point.level_db);
    // Neighbouring points share their doubt, so that a mean over them gains nothing.
    let u_reference_db = mean(|point| point.u_db);
    let fallen = FALLS_DB.map(|fall_db| {
        let hz = leaves_hz(curve, reference_hz, end, reference_db - fall_db)?;
        let slope = slope_db_per_octave(curve, hz)?;
        let u_db = curve.at(hz)?.u_db.hypot(u_reference_db);
        let u_ratio = std::f64::consts::LN_2 * u_db / slope.abs();
        (u_ratio < MOST_DOUBT_RATIO).then_some(Quantity { value: hz, u: hz * u_ratio, unit: Unit::Hz })
    });
    Some(UsefulEnd { reference_db, fallen })
}

/// Where the level first lies below, going away from the reference band; between two steps on a straight line.
fn leaves_hz(curve: &Reader, [from_hz, to_hz]: [f64; 2], end: End, level_db: f64) -> Option<f64> {
    let (start_hz, sign) = match end {
        End::Lower => (from_hz, -1.0),
        End::Upper => (to_hz, 1.0),
    };
    let at_step = |n: u32| start_hz * (sign * f64::from(n) / STEPS_PER_OCTAVE).exp2();
    let mut before = (start_hz, curve.at(start_hz)?.level_db);
    for n in 1..=(FARTHEST_OCTAVES * STEPS_PER_OCTAVE) as u32 {
        let here = (at_step(n), curve.at(at_step(n))?.level_db);
        if before.1 >= level_db && here.1 < level_db {
            let share = (before.1 - level_db) / (before.1 - here.1);
            return Some(before.0 * (here.0 / before.0).powf(share));
        }
        before = here;
    }
    None
}

fn slope_db_per_octave(curve: &Reader, hz: f64) -> Option<f64> {
    let steps = (SLOPE_OCTAVES * STEPS_PER_OCTAVE) as i32;
    let octaves = (-steps..=steps).map(|n| f64::from(n) / STEPS_PER_OCTAVE);
    let points: Vec<(f64, f64)> =
        octaves.filter_map(|octave| Some((octave, curve.at(hz * octave.exp2())?.level_db))).collect();
    let middle = points.iter().map(|(octave, _)| octave).sum::<f64>() / points.len() as f64;
    let slope = weighted_line(points.iter().map(|(octave, db)| (octave - middle, *db, 1.0)))?.slope_ratio;
    (slope.abs() > 0.0).then_some(slope)
}

/// The crossovers that a satellite's lower end allows, Hz: from here on with a high-pass of second order, and with a steeper one.
///
/// A closed box of Q 0.71 falls to −3 dB at its resonance and by a second order below; a second-order Butterworth high-pass there makes
/// a fourth-order Linkwitz-Riley of it. A steeper one wants the satellite flat through the overlap: an octave above (common practice).
pub fn crossovers_from_hz(f3_hz: f64) -> [f64; 2] {
    [f3_hz, 2.0 * f3_hz]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::response::Sampled;

    fn high_pass(u_db: f64) -> Reader {
        // A second-order Butterworth high-pass at 100 Hz: −10·log₁₀(1 + (100/f)⁴).
        let hz: Vec<f64> = (0..400).map(|n| 20.0 * 2f64.powf(f64::from(n) / 48.0)).collect();
        let level_db = hz.iter().map(|hz| 90.0 - 10.0 * (1.0 + (100.0 / hz).powi(4)).log10()).collect();
        let u_db = vec![u_db; hz.len()];
        Sampled { hz, level_db, phase_rad: Vec::new(), u_db }.reader().unwrap()
    }

    /// Closed form: −x dB at 100·(10^(x/10) − 1)^(−1/4) Hz.
    #[test]
    fn a_butterworth_falls_where_its_formula_says() {
        let found = useful_end(&high_pass(0.2), [400.0, 1_600.0], End::Lower).unwrap();
        for (fall_db, found) in FALLS_DB.into_iter().zip(found.fallen) {
            let expected_hz = 100.0 * (10f64.powf(fall_db / 10.0) - 1.0).powf(-0.25);
            let found = found.unwrap();
            // 0.1 %: the mean over the reference band is 0.003 dB below the top, and between points the curve is straight.
            assert!((found.value / expected_hz - 1.0).abs() < 1e-3, "{found:?} {expected_hz}");
        }
        // At F₃ the slope is 12.04·(1 − 10^(−0.3)) = 6.01 dB an octave; 0.2·√2 dB over that, in hertz.
        let f3 = found.fallen[0].unwrap();
        let expected = 100.0 * std::f64::consts::LN_2 * 0.2 * 2f64.sqrt() / 6.01;
        assert!((f3.u / expected - 1.0).abs() < 0.03, "{f3:?} {expected}");
        assert_eq!(crossovers_from_hz(f3.value)[1], 2.0 * f3.value);
        // ln 2·2·√2/6.01 = 0.33 of it at F₃, 0.19 at F₁₀, where the fall is twice as steep.
        let vague = useful_end(&high_pass(2.0), [400.0, 1_600.0], End::Lower).unwrap();
        assert!(vague.fallen[0].is_none() && vague.fallen[2].is_some());
    }

    #[test]
    fn what_the_curve_does_not_reach_is_not_told() {
        assert!(useful_end(&high_pass(0.0), [400.0, 40_000.0], End::Lower).is_none());
        let upper = useful_end(&high_pass(0.0), [400.0, 1_600.0], End::Upper).unwrap();
        assert_eq!(upper.fallen, [None; 3]);
    }
}
