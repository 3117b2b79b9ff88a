//! The jig against its truth: what the differential equations record, and what the circuit diagram says.

use super::*;
use num_complex::Complex64;
use std::f64::consts::TAU;

const RATE_HZ: f64 = 48_000.0;

fn jig(load: Load, change: impl FnOnce(JigSettings) -> JigSettings) -> Jig {
    Jig::new(change(JigSettings { load, ..JigSettings::default() })).unwrap()
}

fn hung(change: impl FnOnce(&mut HungDriver)) -> Load {
    let mut hung = HungDriver::mid();
    change(&mut hung);
    Load::Driver(Box::new(hung))
}

/// A sixth-octave grid from 10 Hz to 18 kHz.
fn grid_hz() -> Vec<f64> {
    (0..=64).map(|n| 10.0 * 2f64.powf(f64::from(n) / 6.0)).filter(|&hz| hz <= 18_000.0).collect()
}

/// The definition of the spectrum at one frequency, by Horner's rule from the last sample.
fn spectrum_at(samples: &[f64], hz: f64) -> Complex64 {
    let turn = Complex64::cis(-TAU * hz / RATE_HZ);
    samples.iter().rev().fold(Complex64::ZERO, |sum, &sample| sum * turn + sample)
}

fn polar(magnitude: f64, degrees: f64) -> Complex64 {
    Complex64::from_polar(magnitude, degrees.to_radians())
}

/// Every load that has an impedance.
fn loads() -> Vec<(&'static str, Load)> {
    let in_a_box = Enclosure { ql: Some(12.0), qa: Some(40.0), ..Enclosure::closed(2.4e-3) };
    // Resistors across the drivers make currents follow the node's voltage at once.
    let mut padded = Speaker::rear_satellite();
    padded.ways[0].filter = Filter::None;
    padded.ways[0].pad = Pad { series_ohm: 1.0, across_ohm: Some(15.0) };
    padded.ways[1].pad.across_ohm = Some(8.0);
    vec![
        ("padded", Load::Loudspeaker(padded)),
        ("driver", hung(|_| ())),
        ("added mass", hung(|hung| hung.added_mass_kg = 3e-3)),
        ("box", hung(|hung| hung.enclosure = Some(in_a_box))),
        ("first box", Load::Driver(Box::new(HungDriver::first_box()))),
        ("vented box", Load::Driver(Box::new(HungDriver::vented_box()))),
        ("passive radiator", Load::Driver(Box::new(HungDriver::radiator_box()))),
        ("capacitor", hung(|hung| hung.series_capacitor_f = Some(47e-6))),
        ("creep", hung(|hung| hung.creep_per_decade = 0.12)),
        ("satellite", Load::Loudspeaker(Speaker::rear_satellite())),
        ("resistor", Load::Resistor { ohm: 8.2 }),
        ("short", Load::Short),
    ]
}

/// q = A + B/(Z_lead + Z) with A = (1 + R_s·Y_in)/k and B = R_s/k, where k is the ratio of the inputs' gains.
#[test]
fn a_small_impulse_gives_the_impedance_of_the_circuit_diagram() {
    let unequal = |settings: JigSettings| {
        let mut settings = settings.ideal();
        settings.wiring.load_input_ohm = Some(4_700.0);
        settings.wiring.source_ohm = 2.0;
        settings.load_input = JigInput { gain_db: -1.0, delay_s: 8e-6, high_pass_hz: 3.0, ..settings.load_input };
        settings
    };
    for (name, load) in loads() {
        // Inputs and wiring come before the load and don't know what it is: two kinds of load are enough for them.
        let wirings: &[fn(JigSettings) -> JigSettings] =
            if matches!(name, "padded" | "short") { &[JigSettings::ideal, unequal] } else { &[JigSettings::ideal] };
        for wiring in wirings {
            let jig = jig(load.clone(), wiring);
            // 50 µV for one sample: bends of the driver are below 1e-8.
            let channels = jig.record(&[1e-5], 3 * 48_000);
            let truth = jig.truth(&grid_hz(), 0.0, 1.0);
            let impedance = truth.at[0].impedance.as_ref().unwrap();
            let (sense_ohm, input_ohm) = (truth.wiring.sense_ohm, truth.wiring.load_input_ohm.unwrap_or(f64::INFINITY));
            for (point, &hz) in impedance.frequency_hz.iter().enumerate() {
                let [drive, load] = [0, 1].map(|channel| spectrum_at(&channels[channel], hz));
                let gain =
                    polar(10f64.powf(truth.gain_ratio.level_db[point] / 20.0), truth.gain_ratio.phase_deg[point]);
                let seen = drive / load * gain - (1.0 + sense_ohm / input_ohm);
                let found = sense_ohm / seen - truth.wiring.lead_ohm;
                let expected = polar(impedance.magnitude_ohm[point], impedance.phase_deg[point]);
                let off = (found - expected).norm() / (expected.norm() + truth.wiring.lead_ohm);
                // 1e-4: the step turns 18 kHz by a seventh of a radian, which costs 3e-5 there; in the bass it is 1e-7.
                let tolerance = if hz < 2_000.0 { 1e-5 } else { 1e-4 };
                assert!(off < tolerance, "{name}, {hz:.0} Hz: {found} {expected}, {off:e}");
            }
        }
    }
}

#[test]
fn the_voltage_on_the_load_is_the_source_divided_by_all_that_lies_before_it() {
    let jig = jig(hung(|_| ()), |settings| {
        let mut settings = settings;
        (settings.drive_input.noise_dbfs, settings.load_input.noise_dbfs) = (None, None);
        settings.wiring.input_full_scale_v = 7.0;
        settings
    });
    let hz = 110.0;
    // 0.05 V of the source's 5 V; −40 dBFS.
    let play: Vec<f64> = (0..96_000).map(|n| 0.01 * (TAU * hz * f64::from(n) / RATE_HZ).sin()).collect();
    let load = &jig.record(&play, 96_000)[1][48_000..];
    let truth = jig.truth(&[hz], -40.0, 1.0);
    let impedance = truth.at[0].impedance.as_ref().unwrap();
    let lead = impedance.with_lead_magnitude_ohm[0] / impedance.magnitude_ohm[0];
    let peak_v = spectrum_at(load, hz).norm() * 2.0 / 48_000.0 * 7.0;
    // AC coupling takes 3e-4 at 110 Hz, the input's gain is 0.15 dB; at 18 µm the bends of the driver add some 1e-5.
    let expected_v = impedance.load_v_rms[0] * 2f64.sqrt() * lead * 10f64.powf(0.15 / 20.0);
    assert!((peak_v / expected_v - 1.0).abs() < 1e-3, "{peak_v} {expected_v}");
    let z = polar(impedance.magnitude_ohm[0], impedance.phase_deg[0]);
    // 10 kΩ across the input stay out of this plain divider: 1e-3.
    let divided_v = 0.05 * (z / (z + 10.35)).norm();
    assert!((impedance.load_v_rms[0] * 2f64.sqrt() / divided_v - 1.0).abs() < 2e-3);
}

#[test]
fn an_open_jig_has_the_same_voltage_on_both_taps_and_no_impedance() {
    let jig = jig(Load::Open, JigSettings::ideal);
    let channels = jig.record(&[0.5, -0.2], 9_600);
    assert!(channels[0].iter().any(|sample| sample.abs() > 0.1));
    // Rounding of two transforms.
    assert!(channels[0].iter().zip(&channels[1]).all(|(drive, load)| (drive - load).abs() < 1e-12));
    assert_eq!(jig.truth(&grid_hz(), 0.0, 1.0).at[0].impedance, None);
}

/// Ratio of the taps for a steady tone, in windows of whole periods from these times on.
fn ratios_at(jig: &Jig, hz: f64, times_s: &[f64]) -> Vec<Complex64> {
    let frames = ((times_s.last().unwrap() + 0.5) * RATE_HZ) as usize;
    let play: Vec<f64> = (0..frames).map(|n| 1e-3 * (TAU * hz * n as f64 / RATE_HZ).sin()).collect();
    let channels = jig.record(&play, frames);
    let window = |channel: usize, from: usize| spectrum_at(&channels[channel][from..from + 9_600], hz);
    let one = |time_s: &f64| (time_s * RATE_HZ) as usize;
    times_s.iter().map(one).map(|from| window(1, from) / window(0, from)).collect()
}

#[test]
fn a_coil_that_warms_up_and_a_suspension_that_breaks_in_are_followed() {
    let load = hung(|hung| {
        hung.warm_up = Change { share: 0.05, time_s: 2.0 };
        hung.break_in = Change { share: 0.2, time_s: 3.0 };
        hung.loss_share = -0.1;
    });
    let jig = jig(load, JigSettings::ideal);
    for hz in [60.0, 400.0] {
        let times_s = [1.0, 3.0];
        let found = ratios_at(&jig, hz, &times_s);
        for (ratio, time_s) in found.into_iter().zip(times_s) {
            // The middle of the window, as the player counts; the reply comes later by the latency.
            let truth = jig.truth(&[hz], 0.0, time_s + 0.1 - 0.0427);
            let curve = truth.at[1].impedance.as_ref().unwrap();
            let z = polar(curve.with_lead_magnitude_ohm[0], curve.with_lead_phase_deg[0]);
            let expected = z / (z + 10.0);
            // 0.2 s of a curve with a bend of 0.1/s² share: 3e-4 of the change; the cone is a few periods behind.
            assert!((ratio / expected - 1.0).norm() < 3e-4, "{hz} Hz, {time_s} s: {ratio} {expected}");
            let start = truth.at[0].impedance.as_ref().unwrap().magnitude_ohm[0];
            assert!((curve.magnitude_ohm[0] / start - 1.0).abs() > 0.01, "there is something to follow");
        }
    }
    let times: Vec<f64> = jig.truth(&[100.0], 0.0, 7.5).at.iter().map(|at| at.time_s).collect();
    assert_eq!(times, [0.0, 7.5]);
}

#[test]
fn a_loud_tone_bends_the_driver_and_a_quiet_one_does_not() {
    let jig = jig(hung(|_| ()), |settings| {
        let mut settings = settings.ideal();
        settings.wiring.drive_v_at_full_scale = 20.0;
        settings.wiring.input_full_scale_v = 40.0;
        settings
    });
    let third_db = |peak: f64| {
        let play: Vec<f64> = (0..48_000).map(|n| peak * (TAU * 80.0 * f64::from(n) / RATE_HZ).sin()).collect();
        let load = &jig.record(&play, 48_000)[1][24_000..];
        20.0 * (spectrum_at(load, 240.0) / spectrum_at(load, 80.0)).norm().log10()
    };
    let (quiet_db, loud_db) = (third_db(1e-3), third_db(0.5));
    // The third harmonic grows with the square of the drive: 108 dB here, less where the stiffness takes hold.
    assert!(quiet_db < -110.0 && loud_db > -40.0, "{quiet_db} {loud_db}");
}

#[test]
fn without_creep_and_box_the_truth_has_the_textbook_parameters() {
    let mut mid = HungDriver::mid();
    let one = |hung: &HungDriver| {
        let load = Load::Driver(Box::new(hung.clone()));
        jig(load, |settings| settings).truth(&[100.0], 0.0, 1.0).at.swap_remove(0)
    };
    let (found, d) = (one(&mid).driver.unwrap(), mid.driver.clone());
    for (found, expected) in [
        (found.fs_hz, d.fs_hz()),
        (found.qms, d.qms()),
        (found.qes, d.qes()),
        (found.qts, d.qts()),
        (found.vas_m3, d.vas_m3()),
        (found.rms_kg_s, d.rms_kg_s),
    ] {
        // Rounding; the halving ends at 1e-16 of twenty octaves.
        assert!((found / expected - 1.0).abs() < 1e-12, "{found} {expected}");
    }
    mid.enclosure = Some(Enclosure::closed(1.9e-3));
    let boxed = one(&mid).boxed.unwrap().closed.unwrap();
    assert!((boxed.fc_hz / d.fs_hz() / (1.0 + d.vas_m3() / 1.9e-3).sqrt() - 1.0).abs() < 1e-12);
    // Mass doubles: fs falls by √2.
    (mid.enclosure, mid.added_mass_kg) = (None, mid.driver.mms_kg);
    assert!((one(&mid).driver.unwrap().fs_hz * 2f64.sqrt() / d.fs_hz() - 1.0).abs() < 1e-12);
    mid.creep_per_decade = 0.1;
    let creeping = one(&mid).driver.unwrap();
    assert!(creeping.qms < 2f64.sqrt() * d.qms() && creeping.cms_m_n > d.cms_m_n, "{creeping:?}");
}

#[test]
fn noise_hum_and_full_scale_are_those_of_each_input() {
    let with = |change: fn(&mut JigSettings)| {
        jig(Load::Open, |mut settings| {
            settings = settings.ideal();
            change(&mut settings);
            settings
        })
    };
    let noisy = with(|settings| settings.load_input.noise_dbfs = Some(-60.0)).record(&[], 96_000);
    let level_dbfs = |samples: &[f64]| 10.0 * (2.0 * samples.iter().map(|x| x * x).sum::<f64>() / 96_000.0).log10();
    // 96,000 normal values: 0.02 dB of spread.
    assert!((level_dbfs(&noisy[1]) + 60.0).abs() < 0.1, "{}", level_dbfs(&noisy[1]));
    assert!(noisy[0].iter().all(|&sample| sample == 0.0));
    let hum = Hum { frequency_hz: 50.0, level_dbfs: -50.0 };
    let mut humming = with(|_| ());
    humming.settings.drive_input.hum = Some(hum);
    let tone = spectrum_at(&humming.record(&[], 96_000)[0], 50.0).norm() * 2.0 / 96_000.0;
    assert!((20.0 * tone.log10() + 50.0).abs() < 0.01, "{tone}");
    let loud: Vec<f64> = (0..4_800).map(|n| (TAU * f64::from(n) / 48.0).sin()).collect();
    let full = with(|settings| settings.load_input.gain_db = 20.0).record(&loud, 9_600);
    assert!(full[1].contains(&1.0) && full[1].iter().all(|sample| sample.abs() <= 1.0));
    let [one, same, other] =
        [3, 3, 4].map(|seed| jig(Load::Short, |settings| JigSettings { seed, ..settings }).record(&[0.1], 2_000));
    assert!(one == same && one != other);
}

#[test]
fn a_fast_recorder_stretches_both_taps() {
    let jig = jig(Load::Resistor { ohm: 8.0 }, |settings| {
        let mut settings = settings.ideal();
        settings.recorder.drift_ppm = 120.0;
        settings
    });
    let play: Vec<f64> = (0..96_000).map(|n| 0.01 * (TAU * 1_000.0 * f64::from(n) / RATE_HZ).sin()).collect();
    for channel in jig.record(&play, 96_000) {
        let phase = |from: usize| spectrum_at(&channel[from..from + 9_600], 1_000.0);
        let turned_rad = (phase(81_600) / phase(33_600)).arg();
        let expected_rad = TAU * 1_000.0 * (1.0 / (1.0 + 120e-6) - 1.0);
        // One second apart; 0.01 ppm.
        assert!((turned_rad - expected_rad).abs() < TAU * 1e-5, "{turned_rad} {expected_rad}");
    }
}

#[test]
fn a_jig_without_sense_is_refused_with_its_numbers() {
    let refuse = |change: fn(&mut JigSettings)| {
        let mut settings = JigSettings::default();
        change(&mut settings);
        Jig::new(settings).err().unwrap()
    };
    let sense = refuse(|settings| settings.wiring.sense_ohm = 0.0);
    assert!(matches!(sense, BenchError::OutOfRange { what: "sense resistor in ohm", .. }), "{sense}");
    let capacitor = refuse(|settings| settings.load = hung(|hung| hung.series_capacitor_f = Some(f64::NAN)));
    assert!(matches!(capacitor, BenchError::OutOfRange { .. }), "{capacitor}");
    let fast = refuse(|settings| settings.load = hung(|hung| hung.driver.le_h = 2e-7));
    assert!(matches!(fast, BenchError::TooFast { .. }), "{fast}");
    let ways = refuse(|settings| {
        let mut speaker = Speaker::rear_satellite();
        speaker.ways.push(speaker.ways[0].clone());
        settings.load = Load::Loudspeaker(speaker);
    });
    assert_eq!(ways, BenchError::TooManyWays { found: 3, most: 2 });
    assert!([sense, capacitor, fast, ways].iter().all(|error| !error.advice().is_empty()));
}

/// What is written beside a capture reads back as it was.
#[test]
fn the_truth_of_a_jig_reads_as_it_was_written() {
    for (_, load) in loads() {
        let truth = jig(load, |settings| settings).truth(&grid_hz(), -30.0, 10.0);
        let written = serde_json::to_string(&truth).unwrap();
        assert_eq!(serde_json::from_str::<JigTruth>(&written).unwrap(), truth);
    }
}
