//! How good the search for a setting is: random rooms with three seats, against a search by brute force on a much finer grid.
//!
//! `cargo run --release --example blend_table -- [ROOMS] [SEED]`
//!
//! Rooms, places and loudspeakers are random. A room is the sum of its modes (H. Kuttruff, "Room Acoustics", section 3.2), damped
//! alike. The brute force looks at every 0.05 ms and 0.1 dB of each combination of filters and both polarities.
#![allow(clippy::print_stdout)]

mod blend_room;

use blend_room::{DELAYS_S, OVER_MATCH_DB, choices, room};
use boxwright::blend::{Choices, Filters, Parts, best_setting, level_match_db, overlap_hz};
use boxwright::math::Random;
use boxwright::quantity::{amplitude_from_db, db_from_power};
use num_complex::Complex64;
use std::f64::consts::TAU;
use std::time::Instant;

const FINE_S: f64 = 5e-5;
const FINE_DB: f64 = 0.1;

fn main() {
    let numbers: Vec<u64> = std::env::args().skip(1).filter_map(|argument| argument.parse().ok()).collect();
    let (rooms, seed) = (numbers.first().copied().unwrap_or(20), numbers.get(1).copied().unwrap_or(1));
    let mut random = Random::new(seed);
    let (mut worse_db, mut better_db, mut searched_s, mut forced_s) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let mut ripples_db = Vec::new();
    for _ in 0..rooms {
        let parts = room(&mut random);
        let choices = choices();
        let begun = Instant::now();
        let found = best_setting(&parts, &choices).expect("there are filters and polarities");
        searched_s.push(begun.elapsed().as_secs_f64());
        let begun = Instant::now();
        let forced_db = brute_force_db(&parts, &choices);
        forced_s.push(begun.elapsed().as_secs_f64());
        worse_db.push(found.best.ripple_db - forced_db);
        better_db.push(forced_db - found.at_least_db);
        ripples_db.push(found.best.ripple_db);
    }
    let most = |values: &[f64]| values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let least = |values: &[f64]| values.iter().copied().fold(f64::INFINITY, f64::min);
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    println!("{rooms} rooms, seed {seed}, three seats each, {} combinations of filters", choices().filters.len());
    println!("ripple of the worst seat      {:.2} to {:.2} dB", least(&ripples_db), most(&ripples_db));
    println!("found over brute force        {:+.3} to {:+.3} dB", least(&worse_db), most(&worse_db));
    println!("brute force over the bound    {:+.3} dB at the least (never below zero)", least(&better_db));
    println!("worse by more than 0.1 dB     {}", worse_db.iter().filter(|db| **db > 0.1).count());
    println!(
        "time of the search            {:.2} s in the mean, {:.2} s at the most",
        mean(&searched_s),
        most(&searched_s)
    );
    println!("time of the brute force       {:.2} s in the mean", mean(&forced_s));
}

/// The least ripple on the fine grid.
fn brute_force_db(parts: &Parts, choices: &Choices) -> f64 {
    let half = choices.filters.len() / 2;
    std::thread::scope(|scope| {
        let both = [&choices.filters[..half], &choices.filters[half..]].map(|some| {
            scope.spawn(move || some.iter().map(|filters| forced(parts, filters)).fold(f64::INFINITY, f64::min))
        });
        both.into_iter().map(|thread| thread.join().expect("no panic")).fold(f64::INFINITY, f64::min)
    })
}

fn forced(parts: &Parts, filters: &Filters) -> f64 {
    let within = parts.within(overlap_hz(filters.crossover_hz));
    let matched_db = level_match_db(parts, filters);
    let gains: Vec<f64> = (0..=((OVER_MATCH_DB[1] - OVER_MATCH_DB[0]) / FINE_DB).round() as u32)
        .map(|n| amplitude_from_db(matched_db + OVER_MATCH_DB[0] + FINE_DB * f64::from(n)))
        .collect();
    let mut least = f64::INFINITY;
    let (mut a, mut b, mut cross) = (Vec::new(), Vec::new(), Vec::new());
    for n in 0..=((DELAYS_S[1] - DELAYS_S[0]) / FINE_S).round() as u32 {
        let delay_s = DELAYS_S[0] + FINE_S * f64::from(n);
        [&mut a, &mut b, &mut cross].into_iter().for_each(Vec::clear);
        for seat in &parts.seats {
            for at in within.clone() {
                let hz = parts.hz[at];
                let [high, low] = filters.at(hz);
                let s = high * seat.satellite[at] * Complex64::cis(-TAU * hz * delay_s);
                let w = low * seat.subwoofer[at];
                a.push(s.norm_sqr());
                b.push(w.norm_sqr());
                cross.push(2.0 * (s.conj() * w).re);
            }
        }
        for gain in gains.iter().flat_map(|gain| [*gain, -gain]) {
            let worst = (0..parts.seats.len()).map(|seat| {
                let of_seat = seat * within.len()..(seat + 1) * within.len();
                let (mut most, mut low) = (0.0f64, f64::INFINITY);
                for ((a, b), cross) in a[of_seat.clone()].iter().zip(&b[of_seat.clone()]).zip(&cross[of_seat]) {
                    let power = a + gain * (gain * b + cross);
                    most = if power > most { power } else { most };
                    low = if power < low { power } else { low };
                }
                most / low
            });
            least = least.min(worst.fold(0.0, f64::max));
        }
    }
    db_from_power(least)
}
