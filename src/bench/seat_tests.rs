//! Satellite, subwoofer, receiver and seat, against what geometry and the circuit say.

use super::air::{AIR_DENSITY_KG_M3, SPEED_OF_SOUND_M_S};
use super::phasor::volume_acceleration;
use super::*;
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};

const RATE_HZ: f64 = 48_000.0;
const SEAT_M: [f64; 3] = [1.9, 0.6, -0.2];

/// Both loudspeakers without noise, drift and room.
fn quiet() -> BenchSettings {
    BenchSettings { subwoofer: Some(Subwoofer::default()), seat_m: Some(SEAT_M), ..BenchSettings::default() }.quiet()
}

/// The same in the living room, behind a receiver that does all it can.
fn at_home() -> BenchSettings {
    BenchSettings {
        surroundings: Surroundings::Room(Room::living_room()),
        seat_m: Some(LIVING_ROOM_SEATS[0].1),
        receiver: Receiver {
            high_pass: Some(Cut { slope: Slope::LinkwitzRiley4, corner_hz: 90.0 }),
            low_pass: Some(Cut { slope: Slope::Butterworth4, corner_hz: 80.0 }),
            satellite_delay_s: 2.0137e-3,
            subwoofer_delay_s: 0.5071e-3,
            subwoofer_gain_db: -4.0,
            subwoofer_polarity: Polarity::Reversed,
        },
        ..quiet()
    }
}

/// The definition of the spectrum at one frequency.
fn spectrum_at(samples: &[f64], hz: f64) -> Complex64 {
    let turn = Complex64::cis(-TAU * hz / RATE_HZ);
    samples.iter().rev().fold(Complex64::ZERO, |sum, &sample| sum * turn + sample)
}

fn close(found: Complex64, expected: Complex64, tolerance: f64, says: &str) {
    assert!((found - expected).norm() < tolerance * expected.norm(), "{says}: {found} {expected}");
}

/// Anechoic, in the bass: ρ·q'/(4π·r), r/c late; where the baffle is a hundredth of a wavelength, its step is nothing.
#[test]
fn each_loudspeaker_sounds_by_one_over_its_distance_and_as_late_as_that() {
    let mut settings = quiet();
    settings.speaker.baffle_width_m = 0.01;
    settings.subwoofer.as_mut().unwrap().speaker.baffle_width_m = 0.01;
    let bench = Bench::new(settings.clone()).unwrap();
    let subwoofer = settings.subwoofer.as_ref().unwrap();
    let mid = &settings.speaker.ways[0];
    // By hand: √(1.9² + 0.6² + 0.12²) to the mid-woofer 0.08 m below the axis, √(2.15² + 1.15² + 0.55²) to the subwoofer.
    let lengths_m = [3.984_4_f64.sqrt(), 6.247_5_f64.sqrt()];
    let hz = 50.0;
    let per_pascal = settings.microphone.per_pascal();
    let interface = settings.interface;
    // Output coupling, input coupling and droop, by their closed forms; the microphone is flat at 50 Hz.
    let high = |corner_hz: f64| Complex64::new(0.0, hz / corner_hz) / Complex64::new(1.0, hz / corner_hz);
    let chain = high(interface.output_high_pass_hz) * high(interface.input_high_pass_hz) * per_pascal;
    for (playing, way, length_m, drive_v, late_s) in [
        (Playing::Satellite, mid, lengths_m[0], 20.0, 0.0),
        (Playing::Subwoofer, &subwoofer.speaker.ways[0], lengths_m[1], 25.0, 4e-3),
    ] {
        let late_s = late_s + length_m / SPEED_OF_SOUND_M_S;
        let pressure = AIR_DENSITY_KG_M3 * volume_acceleration(way, hz) * drive_v / (4.0 * PI * length_m);
        let expected = chain * pressure * Complex64::cis(-TAU * hz * late_s);
        let found = bench.response_at_seat(playing, &[hz])[0];
        // 1 %: the step of a baffle of 1 cm is 0.3 % at 50 Hz, the microphone's rise 0.4 %, the treble way's bass 0.1 %.
        close(found, expected, 1e-2, &format!("{playing:?}"));
    }
}

#[test]
fn a_seat_straight_ahead_is_the_distance() {
    let ahead = BenchSettings { seat_m: Some([0.5, 0.0, 0.0]), ..BenchSettings::default() };
    let one = Bench::new(ahead).unwrap().record(&[0.1], 4_000);
    assert_eq!(one, Bench::new(BenchSettings::default()).unwrap().record(&[0.1], 4_000));
}

/// The recording of an impulse that is too small to bend anything, and the circuit diagram with its images.
#[test]
fn what_each_loudspeaker_sends_to_the_seat_is_what_the_truth_says() {
    let bench = Bench::new(at_home()).unwrap();
    let grid: Vec<f64> = (0..20).map(|n| 25.0 * 2f64.powf(0.4 * f64::from(n))).collect();
    let truth = bench.truth(&grid, -20.0);
    let at_seat = truth.at_seat.unwrap();
    let drive = 1e-5;
    let play = [drive];
    let outputs: [(&str, [&[f64]; 3], &Curve); 3] = [
        ("satellite", [&play, &play, &[]], &at_seat.satellite),
        ("subwoofer", [&[], &play, &play], at_seat.subwoofer.as_ref().unwrap()),
        ("both", [&play, &[], &play], at_seat.both.as_ref().unwrap()),
    ];
    let most = |curve: &Curve| curve.level_db.iter().copied().fold(f64::MIN, f64::max);
    for (name, outputs, curve) in outputs {
        let reply = &bench.record_outputs(outputs, 144_000)[0];
        for (point, &hz) in curve.frequency_hz.iter().enumerate() {
            let found = spectrum_at(reply, hz) / drive * Complex64::cis(TAU * hz * truth.latency_s);
            let expected =
                Complex64::from_polar(10f64.powf(curve.level_db[point] / 20.0), curve.phase_deg[point].to_radians());
            // 5e-5 where it is loud, of the loudest where it is not: the fine grid's steps, 1e-4 dB below 5 kHz.
            let tolerance = 5e-5 * expected.norm().max(1e-3 * 10f64.powf(most(curve) / 20.0));
            assert!((found - expected).norm() < tolerance, "{name} {hz}: {found} {expected}");
        }
    }
    // 3.2 m and 2.01 ms; 4.51 ms and √(3.35² + 1² + 0.8²) = 3.587 m.
    assert!((at_seat.satellite_arrival_s - (10.175_f64.sqrt() / 343.2 + 2.0137e-3)).abs() < 1e-12);
    assert!((at_seat.subwoofer_arrival_s.unwrap() - (12.862_5_f64.sqrt() / 343.2 + 4.5071e-3)).abs() < 1e-12);
}

/// Small signals, no noise: pressures add.
#[test]
fn both_together_are_the_sum_of_each_alone() {
    let bench = Bench::new(at_home()).unwrap();
    let play: Vec<f64> = (0..4_800).map(|n| 1e-5 * (TAU * 70.0 * f64::from(n) / RATE_HZ).sin()).collect();
    let reply = |outputs: [&[f64]; 3]| bench.record_outputs(outputs, 24_000).swap_remove(0);
    let (one, other, both) = (reply([&play, &[], &[]]), reply([&[], &[], &play]), reply([&play, &[], &play]));
    let loudest = both.iter().fold(0.0, |high: f64, sample| high.max(sample.abs()));
    for (frame, both) in both.iter().enumerate() {
        // 1e-9: transforms of a few hundred thousand points.
        assert!((one[frame] + other[frame] - both).abs() < 1e-9 * loudest, "{frame}");
    }
    // Neither is nothing.
    assert!([&one, &other].iter().all(|alone| alone.iter().any(|sample| sample.abs() > 0.05 * loudest)));
}

/// A tone of 100 Hz through delays that are no whole number of frames: the phase at the seat turns by just that.
#[test]
fn a_delay_of_a_part_of_a_frame_is_heard_as_that() {
    let delay_s = 10.37 / RATE_HZ;
    let play: Vec<f64> = (0..96_000).map(|n| 1e-5 * (TAU * 100.0 * f64::from(n) / RATE_HZ).sin()).collect();
    let phasor = |receiver: Receiver, outputs: [&[f64]; 3]| {
        let reply = Bench::new(BenchSettings { receiver, ..quiet() }).unwrap().record_outputs(outputs, 96_000);
        // From 1.5 s on: 5 periods of 480 frames that the AC coupling has settled for.
        spectrum_at(&reply[0][72_000..74_400], 100.0)
    };
    let plain = Receiver::default();
    let later = Receiver { satellite_delay_s: delay_s, subwoofer_delay_s: 2.0 * delay_s, ..plain };
    for (outputs, times) in [([&play[..], &[], &[]], 1.0), ([&[], &[], &play[..]], 2.0)] {
        let turned = phasor(later, outputs) / phasor(plain, outputs);
        // 1e-5: the AC couplings have settled to e^{−14} by 1.5 s, 1e-6, at both ends of the stretch.
        close(turned, Complex64::cis(-TAU * 100.0 * times * delay_s), 1e-5, &format!("{times}"));
    }
}

/// The low-pass is a factor of what the subwoofer does, the high-pass of what the satellite does, and of nothing else.
#[test]
fn the_receiver_cuts_each_loudspeaker_by_its_own_filter() {
    let plain = Bench::new(quiet()).unwrap();
    let cut = Cut { slope: Slope::LinkwitzRiley4, corner_hz: 80.0 };
    let receiver = Receiver { high_pass: Some(cut), low_pass: Some(cut), ..Receiver::default() };
    let filtered = Bench::new(BenchSettings { receiver, ..quiet() }).unwrap();
    let grid = [40.0, 80.0, 160.0];
    for (playing, expected_db) in [
        // LR4: 1/(1 + x⁴) and x⁴/(1 + x⁴) at x = ½, 1, 2.
        (Playing::Satellite, [-24.608_978, -6.020_600, -0.526_578]),
        (Playing::Subwoofer, [-0.526_578, -6.020_600, -24.608_978]),
    ] {
        let before = plain.response_at_seat(playing, &grid);
        for (point, after) in filtered.response_at_seat(playing, &grid).into_iter().enumerate() {
            let found_db = 20.0 * (after / before[point]).norm().log10();
            // 1e-6 dB: the figures above have so many places.
            assert!((found_db - expected_db[point]).abs() < 1e-6, "{playing:?} {point}: {found_db}");
        }
    }
}

/// What the living room is for: at each seat a mode stands out, and the bass rings for about half a second.
#[test]
fn the_living_room_has_modes_that_stand_out_and_ring_for_half_a_second() {
    for (name, seat_m) in LIVING_ROOM_SEATS {
        let settings = BenchSettings { seat_m: Some(seat_m), receiver: Receiver::default(), ..at_home() };
        let free = BenchSettings { surroundings: Surroundings::Anechoic, ..settings.clone() };
        let grid: Vec<f64> = (0..=280).map(|n| 20.0 + 0.5 * f64::from(n)).collect();
        let of = |settings| Bench::new(settings).unwrap().response_at_seat(Playing::Subwoofer, &grid);
        let gain: Vec<Complex64> = of(settings).iter().zip(of(free)).map(|(room, free)| room / free).collect();
        let gain_db: Vec<f64> = gain.iter().map(|gain| 20.0 * gain.norm().log10()).collect();
        // Over the mean of 12 Hz to each side.
        let stands_out = |at: usize| gain_db[at] - gain_db[at - 24..=at + 24].iter().sum::<f64>() / 49.0;
        let most_db = (24..grid.len() - 24).map(stands_out).fold(f64::MIN, f64::max);
        // Ours: 6 to 12 dB is what such a room is told by.
        assert!((6.0..12.0).contains(&most_db), "{name}: {most_db}");
        let ringing_s = reverberation_s(&grid, &gain);
        assert!((0.4..0.65).contains(&ringing_s), "{name}: {ringing_s}");
    }
}

/// Schroeder's backward integral over the impulse response in the band of the grid, its slope from −5 to −25 dB.
fn reverberation_s(grid: &[f64], gain: &[Complex64]) -> f64 {
    let middle = 0.5 * (grid.len() - 1) as f64;
    let at = |time_s: f64| -> f64 {
        let bins = grid.iter().zip(gain).enumerate();
        let window = |point: usize| (0.5 * PI * (point as f64 - middle) / middle).cos().powi(2);
        bins.map(|(point, (hz, gain))| gain * window(point) * Complex64::cis(TAU * hz * time_s))
            .sum::<Complex64>()
            .norm_sqr()
    };
    let step_s = 2e-3;
    let energy: Vec<f64> = (0..700).map(|step| at(step_s * f64::from(step))).collect();
    let left = |from: usize| 10.0 * (energy[from..].iter().sum::<f64>() / energy.iter().sum::<f64>()).log10();
    let falls_to = |level_db: f64| (0..700).position(|step| left(step) < level_db).unwrap() as f64 * step_s;
    3.0 * (falls_to(-25.0) - falls_to(-5.0))
}

#[test]
fn a_place_without_sense_is_refused_with_its_numbers() {
    let refuse = |change: fn(&mut BenchSettings)| {
        let mut settings = at_home();
        change(&mut settings);
        Bench::new(settings).err().unwrap()
    };
    let seat = refuse(|settings| settings.seat_m = Some([1.0, 3.0, 0.0]));
    assert!(matches!(seat, BenchError::OutsideRoom { what: "microphone", axis: 2, .. }), "{seat}");
    let subwoofer = refuse(|settings| settings.subwoofer.as_mut().unwrap().beside_m[0] = -0.8);
    assert!(matches!(subwoofer, BenchError::OutsideRoom { what: "subwoofer", axis: 1, .. }), "{subwoofer}");
    let touching = refuse(|settings| settings.seat_m = Some([0.02, 0.0, -0.08]));
    assert!(matches!(touching, BenchError::OutOfRange { .. }), "{touching}");
    let inside = refuse(|settings| settings.seat_m = Some([-0.25, 1.75, -0.72]));
    assert!(matches!(inside, BenchError::OutOfRange { found, .. } if (found - 0.03).abs() < 1e-12), "{inside}");
    let early = refuse(|settings| settings.receiver.subwoofer_delay_s = -1e-3);
    assert!(matches!(early, BenchError::OutOfRange { .. }), "{early}");
    let endless = refuse(|settings| {
        settings.surroundings = Surroundings::Room(Room { late_s: 2.0, ..Room::living_room() });
    });
    assert!(matches!(endless, BenchError::OutOfRange { what: "number of images in the bass", .. }), "{endless}");
}

/// What is written beside a capture reads back as it was; without subwoofer and modes nothing is added to it.
#[test]
fn the_truth_at_the_seat_reads_as_it_was_written() {
    let truth = Bench::new(at_home()).unwrap().truth(&[30.0, 100.0], -20.0);
    let written = serde_json::to_string(&truth).unwrap();
    assert_eq!(serde_json::from_str::<Truth>(&written).unwrap(), truth);
    let plain = serde_json::to_value(Bench::new(BenchSettings::default()).unwrap().truth(&[30.0], -20.0)).unwrap();
    let added = ["at_seat", "seat_m", "subwoofer", "receiver"];
    assert!(added.iter().all(|key| plain.get(key).is_none() && written.contains(key)));
    assert!(plain["surroundings"]["room"].get("late_s").is_none());
}

/// A near field hears the satellite's cone as without a subwoofer, and the subwoofer from there, straight.
#[test]
fn a_near_field_wins_over_the_seat() {
    let near = BenchSettings { near: Some(NearField::cone(0)), ..at_home() };
    let alone = BenchSettings { subwoofer: None, seat_m: None, ..near.clone() };
    let (near, alone) = (Bench::new(near).unwrap(), Bench::new(alone).unwrap());
    let grid = [40.0, 400.0];
    let at = |bench: &Bench, playing| bench.response_at_seat(playing, &grid);
    assert_eq!(at(&near, Playing::Satellite), at(&alone, Playing::Satellite));
    assert_eq!(at(&alone, Playing::Subwoofer), [Complex64::ZERO; 2]);
    // Two metres against five millimetres.
    let [far, close] = [at(&near, Playing::Subwoofer)[0].norm(), at(&near, Playing::Satellite)[1].norm()];
    assert!(far > 0.0 && far < 0.1 * close, "{far} {close}");
}
