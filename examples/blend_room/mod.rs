//! A random room with three seats, and what a receiver lets one set: for the table of searches and their benchmark.

use boxwright::blend::{Choices, Filters, Parts, PartsAtSeat, Polarity};
use boxwright::math::Random;
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};

const SOUND_M_S: f64 = 343.2;
pub const DELAYS_S: [f64; 2] = [-10e-3, 10e-3];
pub const OVER_MATCH_DB: [f64; 2] = [-12.0, 6.0];

/// All delays and gains, with 34 combinations of filters.
pub fn choices() -> Choices {
    let shapes = ["BW2", "LR4"].map(|name| name.parse().ok());
    let crossovers_hz = (4..=20).map(|tens| 10.0 * f64::from(tens));
    let filters = crossovers_hz.flat_map(|hz| {
        shapes.map(|high_pass| Filters { crossover_hz: hz, high_pass, low_pass_hz: hz, low_pass: "LR4".parse().ok() })
    });
    Choices {
        filters: filters.collect(),
        delay_s: DELAYS_S,
        over_match_db: OVER_MATCH_DB,
        gain_db: None,
        polarities: Polarity::ALL.to_vec(),
        band_hz: None,
        smoothing: None,
        delay_error_s: 2e-4,
    }
}

/// Loudspeakers in a room.
pub fn room(random: &mut Random) -> Parts {
    let between = |random: &mut Random, low: f64, high: f64| low + (high - low) * random.uniform();
    let sides = [between(random, 3.5, 6.5), between(random, 2.8, 4.8), between(random, 2.3, 2.8)];
    let place = |random: &mut Random, heights: [f64; 2]| {
        [
            between(random, 0.3, sides[0] - 0.3),
            between(random, 0.3, sides[1] - 0.3),
            between(random, heights[0], heights[1]),
        ]
    };
    let (satellite, subwoofer) = (place(random, [0.8, 1.2]), place(random, [0.2, 0.4]));
    let (q, late_s) = (between(random, 8.0, 25.0), between(random, 0.0, 5e-3));
    let [satellite_fc, subwoofer_fc, subwoofer_top] =
        [between(random, 60.0, 120.0), between(random, 25.0, 40.0), between(random, 150.0, 400.0)];
    let hz: Vec<f64> = (0..=206).map(|n| 20.0 * 2f64.powf(f64::from(n) / 48.0)).collect();
    let high_pass = |hz: f64, fc: f64| {
        let s = Complex64::new(0.0, hz / fc);
        s * s / (s * s + s * 2f64.sqrt() + 1.0)
    };
    let seats = (0..3).map(|number| {
        let seat = place(random, [0.9, 1.2]);
        let one = |at: &f64| high_pass(*at, satellite_fc) * transfer(sides, q, satellite, seat, *at);
        let other = |at: &f64| {
            let top = Complex64::new(1.0, at / subwoofer_top).inv();
            let late = Complex64::cis(-TAU * at * late_s);
            high_pass(*at, subwoofer_fc) * top * late * transfer(sides, q, subwoofer, seat, *at)
        };
        PartsAtSeat {
            name: format!("seat {}", number + 1),
            satellite: hz.iter().map(one).collect(),
            subwoofer: hz.iter().map(other).collect(),
            u_ratio: vec![[0.0; 2]; hz.len()],
        }
    });
    Parts { seats: seats.collect(), hz: hz.clone() }
}

/// Pressure for a volume acceleration, by the modes up to 500 Hz.
fn transfer(sides: [f64; 3], q: f64, from: [f64; 3], to: [f64; 3], hz: f64) -> Complex64 {
    let most = |side: f64| (2.0 * side * 500.0 / SOUND_M_S) as u32;
    let mut sum = Complex64::ZERO;
    for l in 0..=most(sides[0]) {
        for m in 0..=most(sides[1]) {
            for n in 0..=most(sides[2]) {
                let waves = [l, m, n].map(f64::from);
                let squares: f64 = waves.iter().zip(sides).map(|(count, side)| (count / side).powi(2)).sum();
                let mode_hz = 0.5 * SOUND_M_S * squares.sqrt();
                let shape = |at: [f64; 3]| -> f64 {
                    (0..3).map(|axis| (waves[axis] * PI * at[axis] / sides[axis]).cos()).product()
                };
                let weight: f64 = waves.iter().map(|count| if *count > 0.0 { 2.0 } else { 1.0 }).product();
                let damped = Complex64::new(mode_hz * mode_hz - hz * hz, hz * mode_hz.max(10.0) / q);
                sum += weight * shape(from) * shape(to) * hz * hz / damped;
            }
        }
    }
    sum
}
