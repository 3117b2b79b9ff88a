//! What the search for a blend costs: `cargo bench --bench blend`.
//!
//! Three seats in a room of modes, 206 frequencies, 34 combinations of filters and both polarities, delays of ±10 ms and gains of 18 dB, each searched
//! until nothing can be better by more than 0.01 dB.
#![allow(clippy::unwrap_used)] // a benchmark that can't go on may stop
#![allow(missing_docs)]

#[path = "../examples/blend_room/mod.rs"]
mod blend_room;

use blend_room::{choices, room};
use boxwright::blend::best_setting;
use boxwright::math::Random;
use divan::Bencher;
use std::fmt::Write;

/// The points are written to `target/blend_points.csv`, where `docs/speed.py` reads them to search the same room.
fn main() {
    let parts = room(&mut Random::new(1));
    let mut text = "frequency_hz".to_owned();
    for seat in 1..=parts.seats.len() {
        write!(text, ",s{seat}_re,s{seat}_im,w{seat}_re,w{seat}_im").unwrap();
    }
    for (at, hz) in parts.hz.iter().enumerate() {
        write!(text, "\n{hz:?}").unwrap();
        for seat in &parts.seats {
            let (s, w) = (seat.satellite[at], seat.subwoofer[at]);
            write!(text, ",{:?},{:?},{:?},{:?}", s.re, s.im, w.re, w.im).unwrap();
        }
    }
    std::fs::write(concat!(env!("CARGO_MANIFEST_DIR"), "/target/blend_points.csv"), text).unwrap();
    divan::main();
}

#[divan::bench(sample_count = 5)]
fn blend_search(bencher: Bencher<'_, '_>) {
    let (parts, choices) = (room(&mut Random::new(1)), choices());
    bencher.bench_local(|| best_setting(&parts, &choices).unwrap());
}
