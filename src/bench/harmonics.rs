//! What a steady tone becomes: fundamental and harmonics of each way, from the equations in `circuit.rs`.
//!
//! ```text
//! A_k = (2/N)·Σ q'[n]·e^{−2πikn/N}        over one period of N steps, once the tone has settled
//! ```
//!
//! A step divides the period exactly, so that neither window nor leakage enters. The rest of the way (air, microphone,
//! interface) is linear and multiplies each A_k by its response at k·f.
//! Source: the Fourier coefficients of a periodic function.

use super::circuit::Circuit;
use super::motion::{Hear, Motion};
use super::record::{LEAST_GRID_HZ, MOST_SETTLING_SHARE};
use num_complex::Complex64;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::f64::consts::TAU;

/// The highest order in the truth.
pub const HIGHEST_ORDER: usize = 5;

/// Harmonics of steady tones at one level, straight from loudspeaker to microphone, without room and noise.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HarmonicTruth {
    /// Peak level of the tones as played.
    pub level_dbfs: f64,
    /// The tones.
    pub frequency_hz: Vec<f64>,
    /// Fundamental at this level over the one at very small level.
    pub compression_db: Vec<f64>,
    /// For each order, "2" to "5", sample value at order·f over sample value at f on the microphone channel; absent
    /// where it lies above the valid band or nothing is there.
    pub relative_db: BTreeMap<String, Vec<Option<f64>>>,
}

/// Phasors of orders 1 to [`HIGHEST_ORDER`].
pub type Orders = [Complex64; HIGHEST_ORDER];

/// What is heard of a way for the drive `amplitude_v·cos(2πft)`, its volume accelerations for example.
///
/// A loose part that knocks in another way each period has no steady tone: then these are the orders of one of them.
pub fn steady_tone<const N: usize>(
    circuit: &Circuit,
    heard: &impl Hear<N>,
    frequency_hz: f64,
    amplitude_v: f64,
) -> [Orders; N] {
    let grid_hz = LEAST_GRID_HZ.max(circuit.fastest_per_s() / MOST_SETTLING_SHARE);
    let steps = (grid_hz / frequency_hz).ceil() as usize;
    let halves: Vec<f64> =
        (0..=2 * steps).map(|half| amplitude_v * (TAU * half as f64 / (2 * steps) as f64).cos()).collect();
    let step_s = 1.0 / (frequency_hz * steps as f64);
    let mut motion = Motion::new(circuit);
    let mut period = vec![[0.0; N]; steps];
    for _ in 0..=(circuit.settling_s() * frequency_hz).ceil() as usize {
        for (step, values) in period.iter_mut().enumerate() {
            let drive_v = [halves[2 * step], halves[2 * step + 1], halves[2 * step + 2]];
            *values = motion.heard_step(heard, drive_v, step_s);
        }
    }
    let order = |stream: usize, index: usize| {
        let turn = |step: usize| Complex64::cis(-TAU * ((index + 1) * step % steps) as f64 / steps as f64);
        let sum: Complex64 = period.iter().enumerate().map(|(step, values)| values[stream] * turn(step)).sum();
        2.0 / steps as f64 * sum
    };
    std::array::from_fn(|stream| std::array::from_fn(|index| order(stream, index)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::motion::{All, Excursion};
    use crate::bench::phasor::driver_impedance;
    use crate::bench::{Bend, Filter, Speaker, Way};

    /// The mid-woofer alone at the amplifier, only one of its curves bent.
    fn woofer(force_factor: Bend, stiffness: Bend, inductance: Bend) -> Way {
        let way = Speaker::rear_satellite().ways[0].straightened();
        let enclosure = crate::bench::Enclosure { ql: None, qa: None, ..way.enclosure };
        let driver = crate::bench::Driver { force_factor, stiffness, inductance, ..way.driver.clone() };
        Way { driver, enclosure, filter: Filter::None, ..way }
    }

    struct Linear {
        electrical: Complex64,
        mechanical: Complex64,
        s: Complex64,
    }

    /// Impedances of the straightened woofer, from its circuit.
    fn linear(way: &Way, hz: f64) -> Linear {
        let d = &way.driver;
        let s = Complex64::new(0.0, TAU * hz);
        let stiffness = 1.0 / d.cms_m_n + d.sd_m2 * d.sd_m2 / way.enclosure.compliance_m3_pa();
        let mechanical = d.rms_kg_s + s * d.mms_kg + stiffness / s;
        let lossy = d.lossy.unwrap();
        let eddy = s * lossy.l2_h * lossy.r2_ohm / (s * lossy.l2_h + lossy.r2_ohm);
        Linear { electrical: d.re_ohm + s * d.le_h + eddy, mechanical, s }
    }

    /// Velocity for a voltage in series with the coil and a force on the cone.
    fn velocity(way: &Way, at: &Linear, voltage: Complex64, force: Complex64) -> Complex64 {
        let bl = way.driver.bl_tm;
        (force + bl * voltage / at.electrical) / (at.mechanical + bl * bl / at.electrical)
    }

    /// First-order perturbation: the product of excursion and current (or velocity, or excursion) at f drives the linear
    /// woofer at 2f and 3f. cos² has ½ of its amplitude at 2f, cos³ a quarter at 3f.
    #[test]
    fn weak_bends_make_the_harmonics_that_perturbation_predicts() {
        let (hz, amplitude_v) = (90.0, 0.02);
        let (b1, b2, k1, k2) = (15.0, -4.0e4, -30.0, 5.0e4);
        let straight = Bend::STRAIGHT;
        let cases = [
            (2, woofer(Bend([b1, 0.0, 0.0, 0.0]), straight, straight)),
            (3, woofer(Bend([0.0, b2, 0.0, 0.0]), straight, straight)),
            (2, woofer(straight, Bend([k1, 0.0, 0.0, 0.0]), straight)),
            (3, woofer(straight, Bend([0.0, k2, 0.0, 0.0]), straight)),
        ];
        for (order, way) in cases {
            let (first, at) = (linear(&way, hz), linear(&way, f64::from(order) * hz));
            let v = velocity(&way, &first, amplitude_v.into(), Complex64::ZERO);
            let x = v / first.s;
            let i = amplitude_v / driver_impedance(&way, hz);
            let bend = |curve: Bend| curve.0[order as usize - 2] * 0.5f64.powi(order - 1) * x.powi(order - 1);
            let pushed = way.driver.bl_tm * bend(way.driver.force_factor);
            let force = pushed * i - bend(way.driver.stiffness) * x / way.driver.cms_m_n;
            let harmonic = velocity(&way, &at, -pushed * v, force);
            let expected = at.s * way.driver.sd_m2 * harmonic;
            let [tone] = steady_tone(&Circuit::new(&way), &All, hz, amplitude_v);
            let found = tone[order as usize - 1];
            // At 20 mV the excursion is 5 µm and second-order terms are below 1e-3 of these; 0.5 % is 0.04 dB.
            assert!((found / expected - 1.0).norm() < 5e-3, "order {order}: {found} {expected}");
        }
    }

    #[test]
    fn harmonics_grow_with_their_order() {
        let speaker = Speaker::rear_satellite();
        let circuit = Circuit::new(&speaker.ways[0]);
        let relative_db = |amplitude_v| {
            let [tone] = steady_tone(&circuit, &All, 100.0, amplitude_v);
            [1, 2].map(|index: usize| 20.0 * (tone[index].norm() / tone[0].norm()).log10())
        };
        let (quiet, louder) = (relative_db(0.1), relative_db(0.1 * 10f64.powf(0.1)));
        // Re the fundamental H2 grows 1 dB and H3 2 dB for each dB of the 2 dB; at 0.1 V higher orders add below 0.02 dB.
        assert!((louder[0] - quiet[0] - 2.0).abs() < 0.02, "{quiet:?} {louder:?}");
        assert!((louder[1] - quiet[1] - 4.0).abs() < 0.02, "{quiet:?} {louder:?}");
    }

    /// The reluctance force pulls the coil to where its inductance is greater, whichever way the current flows.
    #[test]
    fn current_pulls_the_coil_to_the_greater_inductance() {
        let inward = woofer(Bend::STRAIGHT, Bend::STRAIGHT, Bend([-50.0, 0.0, 0.0, 0.0]));
        let circuit = Circuit::new(&inward);
        let mut motion = Motion::new(&circuit);
        let (drive_v, step_s) = (2.0, 1.0 / 768_000.0);
        let (mut mean_m, periods, steps) = (0.0, 800, 768);
        for n in 0..periods * steps {
            // 1 kHz, above the resonance: the cone hardly moves, the force shows in the mean excursion.
            let at = |offset: f64| drive_v * (TAU * (f64::from(n) + offset) / f64::from(steps)).cos();
            let [x_m] = motion.heard_step(&Excursion, [at(0.0), at(0.5), at(1.0)], step_s);
            if n >= (periods - 100) * steps {
                mean_m += x_m / f64::from(100 * steps);
            }
        }
        let s = linear(&inward, 1000.0).s;
        let i = drive_v / driver_impedance(&inward, 1000.0);
        let lossy = inward.driver.lossy.unwrap();
        let i2 = i * lossy.r2_ohm / (lossy.r2_ohm + s * lossy.l2_h);
        let stiffness = 1.0 / inward.driver.cms_m_n + inward.driver.sd_m2.powi(2) / inward.enclosure.compliance_m3_pa();
        let squares = inward.driver.le_h * i.norm_sqr() + lossy.l2_h * i2.norm_sqr();
        let expected_m = 0.5 * -50.0 * 0.5 * squares / stiffness;
        // 2 %: terms of second order in an excursion of 0.03 mm, where the inductance changes by 0.2 %, and the
        // back-e.m.f.
        assert!(expected_m < 0.0 && (mean_m / expected_m - 1.0).abs() < 0.02, "{mean_m:e} {expected_m:e}");
    }
}
