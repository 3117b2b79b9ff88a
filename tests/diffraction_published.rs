//! Edge diffraction against a boundary-element solution (`tests/reference/box_diffraction.py`).
#![allow(clippy::unwrap_used, clippy::print_stdout)] // a test that can't go on may stop, and says how near it comes

use boxwright::baffle::{FlatBaffle, Outline};
use std::collections::BTreeMap;

/// Single edge sources leave out second-order diffraction and the depth of the box: the error is bounded, not nil.
#[test]
fn edges_of_boxes_come_within_a_decibel_of_boundary_elements() {
    let mut cases: BTreeMap<String, (f64, f64, usize)> = BTreeMap::new();
    for line in include_str!("reference/box_diffraction.csv").lines().filter(|line| !line.starts_with('#')).skip(1) {
        let numbers: Vec<f64> = line.split(',').map(|field| field.parse().unwrap()).collect();
        let [case, width, height, _, x, y, angle, hz, level_db, _] = numbers[..].try_into().unwrap();
        if case == 1.0 {
            continue;
        }
        let baffle = FlatBaffle { outline: Outline::rectangle(1e-3 * width, 1e-3 * height), edge_radius_m: 0.0 };
        let (far_m, place) = (1e4, [1e-3 * x, 1e-3 * y]);
        let (sine, cosine) = f64::to_radians(angle).sin_cos();
        let ear = [place[0] + far_m * sine, place[1], far_m * cosine];
        let seen = baffle.diffraction(place, 0.0, ear).unwrap().at(std::f64::consts::TAU * hz / 343.2);
        let off = 20.0 * seen.norm().log10() - level_db;
        let entry = cases.entry(format!("{case} at {angle}")).or_default();
        *entry = (entry.0.max(off.abs()), entry.1 + off * off, entry.2 + 1);
    }
    assert_eq!(cases.len(), 6);
    for (case, (worst, squares, count)) in cases {
        let rms = (squares / count as f64).sqrt();
        println!("box {case} degrees: worst {worst:.2} dB, rms {rms:.2} dB");
        // 1.3 dB and 0.75 dB: what second-order diffraction of such boxes comes to.
        assert!(worst < 1.3 && rms < 0.75, "{case}: {worst}, {rms}");
    }
}
