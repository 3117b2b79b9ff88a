//! The jig's impedances against closed forms: accuracy, calibration, coverage, and bad input told apart.
#![allow(clippy::unwrap_used)] // a test that can't go on may stop

#[path = "systems/jig.rs"]
mod systems;

use boxwright::impedance::{
    ImpedanceError, JigCapture, JigCaptures, JigFacts, MeasureSettings, Measured, measure_impedance,
};
use boxwright::quantity::{Code, Severity};
use boxwright::signal::{Excitation, Recording};
use num_complex::Complex64;
use systems::{Twin, driver_of, driver_ohm, excitation};

fn settings(facts: JigFacts) -> MeasureSettings {
    MeasureSettings { facts, points_per_octave: 48, band_hz: None, input_full_scale_v: None }
}

fn capture<'a>(recording: &'a Recording, excitation: &'a Excitation) -> JigCapture<'a> {
    JigCapture { recording, excitation, drive: 0, load: 1 }
}

fn alone<'a>(recording: &'a Recording, excitation: &'a Excitation) -> JigCaptures<'a> {
    JigCaptures { load: capture(recording, excitation), open: None, short: None, known: None }
}

fn stated() -> JigFacts {
    JigFacts { lead_ohm: Some(0.0), ..JigFacts::of_sense(10.0) }
}

fn measured(recording: &Recording, excitation: &Excitation) -> Measured {
    measure_impedance(&alone(recording, excitation), &settings(stated())).unwrap()
}

/// The largest relative error of |Z| against a closed form.
fn worst(found: &Measured, expected: impl Fn(f64) -> Complex64) -> (f64, f64) {
    let errors = found.impedance.hz().iter().zip(found.impedance.values());
    errors
        .map(|(&hz, z)| (hz, (z - expected(hz)).norm() / expected(hz).norm()))
        .fold((0.0, 0.0), |a, b| if b.1 > a.1 { b } else { a })
}

fn codes(found: &Measured) -> Vec<(Code, Severity)> {
    found.findings.iter().map(|finding| (finding.code, finding.severity)).collect()
}

#[test]
fn without_noise_an_impedance_is_right_to_a_hundred_thousandth() {
    for repeats in [1, 2] {
        let excitation = excitation(repeats, -20.0);
        // Without any noise the pauses between repeats would look like lost buffers.
        let noise = if repeats == 1 { 0.0 } else { 1e-9 };
        let found = measured(&Twin { noise, ..Twin::default() }.record(&excitation, driver_ohm), &excitation);
        let (hz, error) = worst(&found, driver_ohm);
        // 1e-5 in |Z| and in phase: what the window cuts off.
        assert!(error < 1e-5, "{repeats} repeats: {error:e} at {hz} Hz");
        assert!(found.impedance.hz()[0] < 20.3 && *found.impedance.hz().last().unwrap() > 19_700.0);
        assert_eq!(found.peaks.len(), 1);
        assert!((found.peaks[0].hz / 42.0 - 1.0).abs() < 1e-3, "{:?}", found.peaks);
        assert!(found.findings.is_empty(), "{:?}", found.findings);
    }
}

/// 1 dB and 3 degrees between the channels: wrong by tens of percent without, right to 0.05 % with a known resistor.
#[test]
fn a_known_resistor_takes_off_a_gain_mismatch_of_1_db_and_3_degrees() {
    let excitation = excitation(1, -20.0);
    let gain = Complex64::from_polar(10f64.powf(1.0 / 20.0), 3f64.to_radians());
    let twin = Twin { gain, noise: 1e-6, ..Twin::default() };
    let load = twin.record(&excitation, driver_ohm);
    let known = Twin { seed: 7, ..twin }.record(&excitation, |_| 8.2.into());
    let facts = JigFacts { known_ohm: Some(8.2), known_tolerance_ratio: 0.001, ..stated() };
    let captures = JigCaptures { known: Some(capture(&known, &excitation)), ..alone(&load, &excitation) };
    let found = measure_impedance(&captures, &settings(facts)).unwrap();
    let magnitude = |found: &Measured| {
        let points = found.impedance.hz().iter().zip(found.impedance.magnitude_ohm());
        points.map(|(&hz, ohm)| (ohm / driver_ohm(hz).norm() - 1.0).abs()).fold(0.0, f64::max)
    };
    let without = measured(&load, &excitation);
    assert!(magnitude(&without) > 0.1);
    // 0.05 %: what is asked for; noise at −120 dBFS leaves 0.01 % where |Z| is six times the sense resistor.
    assert!(magnitude(&found) < 5e-4, "{}", magnitude(&found));
    // 0.001 dB: the noise.
    assert!((found.gain_db.unwrap() - 1.0).abs() < 1e-3, "{:?}", found.gain_db);
    assert!(found.findings.is_empty(), "{:?}", found.findings);
}

#[test]
fn open_short_and_known_together_need_no_sense_resistor_and_no_leads() {
    let excitation = excitation(1, -20.0);
    let twin =
        Twin { sense_ohm: 11.3, lead_ohm: 0.23, gain: Complex64::new(0.9, 0.02), noise: 1e-7, ..Twin::default() };
    let of = |ohm: f64, seed| Twin { seed, ..twin }.record(&excitation, move |_| ohm.into());
    let (load, open, short, known) = (twin.record(&excitation, driver_ohm), of(1e12, 2), of(0.0, 3), of(8.2, 4));
    let captures = JigCaptures {
        load: capture(&load, &excitation),
        open: Some(capture(&open, &excitation)),
        short: Some(capture(&short, &excitation)),
        known: Some(capture(&known, &excitation)),
    };
    let facts = JigFacts { known_ohm: Some(8.2), known_tolerance_ratio: 0.001, ..JigFacts::of_sense(10.0) };
    let found = measure_impedance(&captures, &settings(facts)).unwrap();
    let (hz, error) = worst(&found, driver_ohm);
    // 1e-4: noise at −140 dBFS.
    assert!(error < 1e-4, "{error:e} at {hz}");
    assert!((found.lead.value - 0.23).abs() < 4.0 * found.lead.u && found.lead.u < 0.001, "{:?}", found.lead);
    let sense = found.sense.unwrap();
    assert!((sense.value - 11.3).abs() < 2.0 * sense.u && sense.u < 0.02, "{sense:?}");
    // 13 % off what was said: told, and not used.
    assert_eq!(codes(&found), [(Code::SenseResistor, Severity::Caution)], "{:?}", found.findings);
}

/// Monte Carlo: how often the error of real and imaginary part lies within 2u of noise.
#[test]
fn the_uncertainty_by_noise_covers_as_often_as_it_says() {
    for repeats in [1, 2] {
        let excitation = excitation(repeats, -20.0);
        let (mut inside, mut all, mut squares) = (0.0, 0.0, 0.0);
        let clean = measured(&Twin::default().record(&excitation, driver_ohm), &excitation);
        for seed in 0..12 {
            let twin = Twin { noise: 1e-4, seed: 100 + seed, ..Twin::default() };
            let found = measured(&twin.record(&excitation, driver_ohm), &excitation);
            let u = found.impedance.u_noise_ohm().unwrap();
            for ((found, clean), u) in found.impedance.values().iter().zip(clean.impedance.values()).zip(u) {
                let off = found - clean;
                for part in [off.re, off.im] {
                    inside += f64::from(u8::from(part.abs() < 2.0 * u));
                    squares += (part / u).powi(2);
                    all += 1.0;
                }
            }
        }
        let (share, spread) = (100.0 * inside / all, f64::sqrt(squares / all));
        // A normal error lies within 2u in 95.4 %; 93 to 97 is what is asked for.
        assert!((93.0..=97.0).contains(&share), "{repeats} repeats: {share} %, {spread}");
    }
}

#[test]
fn channels_that_are_swapped_are_told_from_all_else() {
    let excitation = excitation(1, -20.0);
    let recording = Twin { noise: 1e-5, ..Twin::default() }.record(&excitation, driver_ohm);
    let captures = JigCaptures {
        load: JigCapture { drive: 1, load: 0, ..capture(&recording, &excitation) },
        ..alone(&recording, &excitation)
    };
    let found = measure_impedance(&captures, &settings(stated())).unwrap();
    assert_eq!(codes(&found), [(Code::ChannelsSwapped, Severity::Fault)], "{:?}", found.findings);
    assert!(found.findings[0].advice.contains("--drive 1 --load 2"), "{}", found.findings[0].advice);
    let same = JigCaptures { load: JigCapture { load: 0, ..capture(&recording, &excitation) }, ..captures };
    assert!(matches!(measure_impedance(&same, &settings(stated())), Err(ImpedanceError::SameChannel { channel: 1 })));
}

#[test]
fn a_load_that_is_open_or_shorted_is_told() {
    let excitation = excitation(1, -20.0);
    for (ohm, word) in [(1e12, "draws next to nothing"), (0.02, "short")] {
        let recording = Twin { noise: 1e-6, ..Twin::default() }.record(&excitation, |_| ohm.into());
        let found = measured(&recording, &excitation);
        let first = &found.findings[0];
        assert_eq!((first.code, first.severity), (Code::Implausible, Severity::Fault), "{:?}", found.findings);
        assert!(first.says.contains(word), "{}", first.says);
    }
}

#[test]
fn hum_on_the_flank_counts_in_the_doubt_and_is_said() {
    let excitation = excitation(1, -20.0);
    let twin = Twin { noise: 1e-6, hum: Some((50.0, 1e-3)), ..Twin::default() };
    let found = measured(&twin.record(&excitation, driver_ohm), &excitation);
    assert_eq!(codes(&found), [(Code::Hum, Severity::Caution)], "{:?}", found.findings);
    let u = found.impedance.u_noise_ohm().unwrap();
    for ((&hz, z), u) in found.impedance.hz().iter().zip(found.impedance.values()).zip(u) {
        let off = (z - driver_ohm(hz)).norm();
        // 4u: real and imaginary part of the noise together; 1e-5 is what the window cuts off.
        assert!(off < 4.0 * u + 1e-5 * z.norm(), "{hz} Hz: {off} {u}");
        // Hum 40 dB below the sweep, taken off to a thousandth.
        assert!(*u < 2e-3 * z.norm(), "{hz} Hz: {u}");
    }
    assert!(found.findings[0].says.contains("taken off"), "{}", found.findings[0].says);
}

#[test]
fn a_resonance_that_moves_between_repeats_is_told_with_its_numbers() {
    let excitation = excitation(3, -20.0);
    let twin = Twin { noise: 1e-5, ..Twin::default() };
    let moving = |repeat: usize, hz: f64| driver_of(hz, 42.0 - 0.3 * repeat as f64, 5.6);
    let found = measured(&twin.record_repeats(&excitation, moving), &excitation);
    let unstable = found.findings.iter().find(|finding| finding.code == Code::UnstableRepeat).unwrap();
    assert!(
        unstable.says.contains("the resonance moved") && unstable.says.contains("breaking in"),
        "{}",
        unstable.says
    );
    for (shift, peak_hz) in found.shifts.iter().zip([42.0, 41.7, 41.4]) {
        // 0.05 Hz: what the second order of a shift of 0.3 Hz leaves.
        assert!((shift.peak_hz - peak_hz).abs() < 0.05 && shift.u_peak_hz < 0.01, "{shift:?}");
    }
    let warming = |repeat: usize, hz: f64| driver_of(hz, 42.0, 5.6 + 0.03 * repeat as f64);
    let found = measured(&twin.record_repeats(&excitation, warming), &excitation);
    let unstable = found.findings.iter().find(|finding| finding.code == Code::UnstableRepeat).unwrap();
    assert!(unstable.says.contains("+0.06") && !unstable.says.contains("breaking in"), "{}", unstable.says);
    let still = measured(&twin.record(&excitation, driver_ohm), &excitation);
    assert!(still.findings.is_empty(), "{:?}", still.findings);
    assert_eq!(still.shifts.len(), 3);
}

#[test]
fn clipping_a_slip_of_ten_a_low_load_and_a_silent_channel_are_told_apart() {
    let excitation = excitation(1, -20.0);
    let twin = Twin { noise: 1e-6, ..Twin::default() };
    let good = twin.record(&excitation, driver_ohm);
    let mut clipped = good.clone();
    clipped.channels.iter_mut().flatten().for_each(|x| *x = (*x * 15.0).clamp(-1.0, 1.0));
    let found = measured(&clipped, &excitation);
    assert!(codes(&found).contains(&(Code::Clipped, Severity::Fault)), "{:?}", found.findings);

    let slip = JigFacts { lead_ohm: Some(0.0), ..JigFacts::of_sense(100.0) };
    let found = measure_impedance(&alone(&good, &excitation), &settings(slip)).unwrap();
    assert_eq!(codes(&found), [(Code::SenseResistor, Severity::Caution)], "{:?}", found.findings);

    let low = twin.record(&excitation, |hz| driver_of(hz, 60.0, 1.8));
    let found = measure_impedance(&alone(&low, &excitation), &settings(JigFacts::of_sense(10.0))).unwrap();
    assert_eq!(codes(&found), [(Code::LeadResistance, Severity::Caution)], "{:?}", found.findings);

    let mut silent = good.clone();
    silent.channels[1].fill(0.0);
    let error = measure_impedance(&alone(&silent, &excitation), &settings(stated())).unwrap_err();
    assert!(error.to_string().contains("too-quiet: channel 2"), "{error}");
}
