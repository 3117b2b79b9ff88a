//! A jig that is not what it was a moment ago, and inputs that are not alike: each has words, and none where nothing is wrong.
#![allow(clippy::unwrap_used)] // a test that can't go on may stop

#[path = "systems/jig.rs"]
mod systems;

use boxwright::impedance::{JigCapture, JigCaptures, JigFacts, MeasureSettings, Measured, measure_impedance};
use boxwright::quantity::{Code, Severity};
use boxwright::signal::{Excitation, Recording};
use num_complex::Complex64;
use systems::{RATE_HZ, Twin, driver_ohm, excitation};

fn measured(recording: &Recording, excitation: &Excitation, gain_limit_db: Option<f64>) -> Measured {
    let load = JigCapture { recording, excitation, drive: 0, load: 1 };
    let facts = JigFacts { lead_ohm: Some(0.0), gain_limit_db, ..JigFacts::of_sense(10.0) };
    let settings = MeasureSettings { facts, points_per_octave: 48, band_hz: None, input_full_scale_v: None };
    measure_impedance(&JigCaptures { load, open: None, short: None, known: None }, &settings).unwrap()
}

fn said(found: &Measured) -> Vec<(Code, Severity)> {
    found.findings.iter().map(|finding| (finding.code, finding.severity)).collect()
}

fn twin() -> Twin {
    Twin { noise: 1e-5, ..Twin::default() }
}

/// d ln Z = (1 + Z/R_s)·d ln k: 1 dB is up to 40 % at the peak, and inside of ± 2u where nothing was said of the inputs.
#[test]
fn inputs_of_which_nothing_is_said_are_in_the_doubt() {
    let excitation = excitation(1, -20.0);
    for db in [0.0, 1.0, -1.0] {
        let gain = Complex64::from(10f64.powf(db / 20.0));
        let recording = Twin { gain, ..twin() }.record(&excitation, driver_ohm);
        let found = measured(&recording, &excitation, None);
        assert_eq!(said(&found), [(Code::InputGain, Severity::Caution)], "{db}: {:?}", found.findings);
        let u = found.impedance.u_ohm().unwrap();
        for ((&hz, ohm), u) in found.impedance.hz().iter().zip(found.impedance.magnitude_ohm()).zip(u) {
            let off = (ohm - driver_ohm(hz).norm()).abs();
            // 2u of limits of 1 dB is 1.15 dB to first order; the second order at the peak, where Z is five times R_s, adds half.
            assert!(off < 3.0 * u, "{db} dB, {hz} Hz: {off} {u}");
        }
    }
    let found = measured(&twin().record(&excitation, driver_ohm), &excitation, Some(0.1));
    assert!(found.findings.is_empty(), "{:?}", found.findings);
}

/// One channel by 0.5 dB over the sequence: the two marks tell ratios that differ by 6 %.
#[test]
fn a_gain_that_drifts_in_one_channel_shows_between_the_marks() {
    let excitation = excitation(1, -20.0);
    let clean = twin().record(&excitation, driver_ohm);
    let drifted = |channels: &[usize]| {
        let mut recording = clean.clone();
        let frames = recording.frames() as f64;
        for &channel in channels {
            let samples = recording.channels[channel].iter_mut().enumerate();
            samples.for_each(|(frame, x)| *x *= 10f64.powf(0.5 / 20.0 * frame as f64 / frames));
        }
        measured(&recording, &excitation, Some(0.1))
    };
    for channel in [0, 1] {
        let found = drifted(&[channel]);
        assert!(said(&found).iter().any(|(code, _)| *code == Code::LevelDrift), "{:?}", found.findings);
    }
    // What the source does is in both, and does no harm.
    let both = drifted(&[0, 1]);
    assert!(both.findings.is_empty(), "{:?}", both.findings);
}

/// Three samples at 48 kHz.
#[test]
fn a_channel_that_is_late_is_told_with_its_samples() {
    let excitation = excitation(1, -20.0);
    let mut recording = twin().record(&excitation, driver_ohm);
    recording.channels[1].rotate_right(3);
    let found = measured(&recording, &excitation, Some(0.1));
    let late = found.findings.iter().find(|finding| finding.code == Code::InputDelay).unwrap();
    assert_eq!((late.severity, late.at.channel), (Severity::Fault, Some(2)));
    // 62.5 µs; a tenth of a sample is what the magnitude above the band leaves open.
    assert!(late.says.contains("(3.0") || late.says.contains("(2.9"), "{}", late.says);
}

/// A contact that opens by 2 Ω for a second and closes again: both marks are as they were.
#[test]
fn a_contact_that_opens_and_closes_within_a_sweep_is_told() {
    let excitation = excitation(1, -20.0);
    let mut recording = twin().record(&excitation, driver_ohm);
    let loose = Twin { lead_ohm: 2.0, ..twin() }.record(&excitation, driver_ohm);
    let start = excitation.plan.starts[0] + RATE_HZ as usize;
    let open = start..start + RATE_HZ as usize;
    recording.channels[1][open.clone()].copy_from_slice(&loose.channels[1][open]);
    let found = measured(&recording, &excitation, Some(0.1));
    let is_word = |code| matches!(code, Code::Disturbed | Code::Dropout | Code::Processed);
    assert!(
        said(&found).iter().any(|(code, severity)| is_word(*code) && *severity >= Severity::Caution),
        "{:?}",
        found.findings
    );
}
