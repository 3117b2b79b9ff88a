//! Bad captures of the simulated jig: each has its own finding with words that help, and good ones have none.
#![allow(clippy::unwrap_used, clippy::print_stdout)] // a test that can't go on may stop; figures are for --nocapture

#[path = "systems/simulated.rs"]
mod simulated;

use boxwright::bench::{Change, Hum, HungDriver, JigSettings, Load, Speaker};
use boxwright::driver::{DriverError, FitSettings, fit_driver};
use boxwright::impedance::{JigCapture, JigCaptures, JigFacts, Measured};
use boxwright::quantity::{Code, Severity};
use boxwright::signal::Excitation;
use simulated::{alone, capture, codes, facts, hung, measured, noisy, recorded, sweep};

fn driver() -> Load {
    hung(|_| ())
}

fn usual() -> Excitation {
    sweep(20.0, 1, -30.0)
}

fn heard(excitation: &Excitation, load: Load, change: impl FnOnce(&mut JigSettings)) -> Measured {
    measured(&alone(&recorded(excitation, load, change), excitation), facts())
}

/// That this and nothing else is said.
fn only(found: &Measured, code: Code, severity: Severity, word: &str) {
    assert_eq!(codes(found), [(code, severity)], "{:?}", found.findings);
    assert!(found.findings[0].says.contains(word), "{}", found.findings[0].says);
    assert!(!found.findings[0].advice.is_empty());
}

/// That this is said, beside other things.
fn among(found: &Measured, code: Code, severity: Severity, word: &str) {
    let is_it = |finding: &&boxwright::quantity::Finding| {
        (finding.code, finding.severity) == (code, severity) && finding.says.contains(word)
    };
    let it = found.findings.iter().find(is_it);
    assert!(it.is_some_and(|finding| !finding.advice.is_empty()), "{:?}", found.findings);
}

#[test]
fn clean_captures_of_any_noise_raise_nothing() {
    let excitation = sweep(20.0, 2, -30.0);
    let quiet = |load| {
        recorded(&excitation, load, |jig| {
            jig.drive_input.noise_dbfs = None;
            jig.load_input.noise_dbfs = None;
        })
    };
    let (load, known) = (quiet(driver()), quiet(Load::Resistor { ohm: 10.0 }));
    for seed in 0..20 {
        // −105 dBFS re a sine.
        let noise = |recording, seed| noisy(recording, 4e-6, seed);
        let (load, known) = (noise(&load, 2 * seed), noise(&known, 2 * seed + 1));
        let captures = JigCaptures { known: Some(capture(&known, &excitation)), ..alone(&load, &excitation) };
        let found = measured(&captures, facts());
        assert!(found.findings.is_empty(), "{seed}: {:?}", found.findings);
    }
}

#[test]
fn swapped_channels() {
    let excitation = usual();
    let recording = recorded(&excitation, driver(), |_| ());
    let load = JigCapture { drive: 1, load: 0, ..capture(&recording, &excitation) };
    let found = measured(&JigCaptures { load, ..alone(&recording, &excitation) }, facts());
    only(&found, Code::ChannelsSwapped, Severity::Fault, "more voltage");
}

#[test]
fn a_tap_that_is_upside_down() {
    let excitation = usual();
    let mut recording = recorded(&excitation, driver(), |_| ());
    recording.channels[1].iter_mut().for_each(|x| *x = -*x);
    let found = measured(&alone(&recording, &excitation), facts());
    only(&found, Code::ReversedPolarity, Severity::Fault, "upside down");
}

/// The curve alone knows a wrong sense resistor only where the voice coil would be none: all of it scales alike.
#[test]
fn a_wrong_sense_resistor_by_the_coil_that_follows_from_it() {
    let excitation = usual();
    let recording = recorded(&excitation, driver(), |jig| jig.wiring.sense_ohm = 33.0);
    among(&measured(&alone(&recording, &excitation), facts()), Code::SenseResistor, Severity::Caution, "wrong value");
    let right = recorded(&excitation, driver(), |_| ());
    let slip = JigFacts { lead_ohm: Some(0.0), ..JigFacts::of_sense(1.0) };
    among(&measured(&alone(&right, &excitation), slip), Code::SenseResistor, Severity::Caution, "slip of ten");
}

/// 4.7 Ω instead of 10 make 3.4 Ω look like 7.3, a coil that exists: nothing can be said without a meter or a known resistor.
#[test]
fn a_wrong_sense_resistor_that_makes_a_usual_coil_is_told_by_a_meter_or_a_known_resistor() {
    let excitation = usual();
    let jig = |jig: &mut JigSettings| jig.wiring.sense_ohm = 4.7;
    let recording = recorded(&excitation, driver(), jig);
    let found = measured(&alone(&recording, &excitation), facts());
    assert!(found.findings.is_empty(), "{:?}", found.findings);
    let metered = FitSettings { dc_resistance_ohm: Some(3.4), ..FitSettings::default() };
    let fit = fit_driver(&found.impedance, &metered).unwrap();
    let told = fit.findings.iter().find(|finding| finding.code == Code::SenseResistor).unwrap();
    assert!(told.severity == Severity::Fault && told.says.contains("the meter shows 3.40"), "{}", told.says);
    let known = recorded(&excitation, Load::Resistor { ohm: 10.0 }, jig);
    let open = recorded(&excitation, Load::Open, jig);
    let by_known = JigCaptures { known: Some(capture(&known, &excitation)), ..alone(&recording, &excitation) };
    among(&measured(&by_known, facts()), Code::SenseResistor, Severity::Caution, "dB of gain");
    let by_both = JigCaptures { open: Some(capture(&open, &excitation)), ..by_known };
    among(
        &measured(&by_both, facts()),
        Code::SenseResistor,
        Severity::Caution,
        "the captures tell a sense resistor of 4.",
    );
}

#[test]
fn clipping() {
    let excitation = sweep(20.0, 1, -10.0);
    let found = heard(&excitation, driver(), |jig| jig.wiring.input_full_scale_v = 0.5);
    among(&found, Code::Clipped, Severity::Fault, "clipped");
    assert!(found.findings.iter().all(|finding| finding.code != Code::Disturbed), "{:?}", found.findings);
}

#[test]
fn no_resonance_in_range() {
    let found = heard(&sweep(300.0, 1, -30.0), driver(), |_| ());
    only(&found, Code::NoResonance, Severity::Caution, "starts too high");
    assert!(matches!(fit_driver(&found.impedance, &FitSettings::default()), Err(DriverError::NoResonance { .. })));
    let resistor = heard(&usual(), Load::Resistor { ohm: 6.8 }, |_| ());
    only(&resistor, Code::NoResonance, Severity::Note, "a resistor");
}

#[test]
fn a_sweep_that_starts_above_half_of_the_resonance() {
    let found = heard(&sweep(80.0, 1, -30.0), driver(), |_| ());
    only(&found, Code::OutOfBand, Severity::Caution, "lower flank");
}

#[test]
fn a_capacitor_in_the_path() {
    // 10 µF without a calibration is not told: 800 Ω in a jig of 10 Ω with inputs that are 0.15 dB apart show a resistance below zero.
    for farad in [47e-6, 200e-6] {
        let found = heard(&usual(), hung(|hung| hung.series_capacitor_f = Some(farad)), |_| ());
        among(&found, Code::NotADriver, Severity::Fault, "capacitor");
        println!("{:.0} µF: {}", 1e6 * farad, found.findings[0].says);
    }
}

/// Two resonances are no fault of an impedance, but of a driver.
#[test]
fn a_whole_crossover_in_the_path() {
    let found = heard(&usual(), Load::Loudspeaker(Speaker::rear_satellite()), |_| ());
    assert!(found.findings.iter().all(|finding| finding.severity != Severity::Fault), "{:?}", found.findings);
    let error = fit_driver(&found.impedance, &FitSettings::default()).unwrap_err();
    assert!(error.to_string().contains("not-a-driver"), "{error}");
}

#[test]
fn unknown_leads_to_a_coil_of_few_ohms() {
    let excitation = usual();
    let low = hung(|hung| hung.driver.re_ohm = 1.8);
    let recording = recorded(&excitation, low, |_| ());
    let found = measured(&alone(&recording, &excitation), JigFacts::of_sense(10.0));
    only(&found, Code::LeadResistance, Severity::Caution, "leads' resistance is not known");
}

/// The resonance of a signal that is too large lies elsewhere; what is said of it is within a factor of three of the truth.
#[test]
fn a_large_signal_is_told_by_how_far_it_moves_the_resonance() {
    let small = heard(&sweep(20.0, 1, -30.0), driver(), |_| ());
    for (level_dbfs, full_v) in [(-10.0, 1.0), (-10.0, 5.0), (0.0, 2.0), (-3.0, 5.0), (0.0, 5.0)] {
        let excitation = sweep(20.0, 1, level_dbfs);
        let found = heard(&excitation, driver(), |jig| {
            jig.wiring.drive_v_at_full_scale = full_v;
            jig.wiring.input_full_scale_v = 1.2 * full_v;
        });
        let moved = 100.0 * (found.peaks[0].hz / small.peaks[0].hz - 1.0);
        let words: Vec<&str> = found.findings.iter().map(|finding| finding.says.as_str()).collect();
        println!("{level_dbfs} dBFS of {full_v} V: {moved:.2} %, {:?} {words:?}", found.harmonics_ratio);
        let is_said = codes(&found).contains(&(Code::LargeSignal, Severity::Caution));
        // Between 0.2 and 1 % it may be said or not.
        assert!(if moved > 1.0 { is_said } else { moved > 0.2 || !is_said }, "{moved}: {words:?}");
    }
}

#[test]
fn a_suspension_that_breaks_in_and_a_coil_that_warms_up_are_told_apart() {
    let excitation = sweep(20.0, 3, -30.0);
    let change = |share| Change { share, time_s: 20.0 };
    let breaks_in = |hung: &mut HungDriver| hung.break_in = change(0.1);
    let warms_up = |hung: &mut HungDriver| hung.warm_up = change(0.05);
    let said = |load: Load| {
        let found = heard(&excitation, load, |_| ());
        among(&found, Code::UnstableRepeat, Severity::Caution, "");
        assert_eq!(found.findings.len(), 1, "{:?}", found.findings);
        let says = &found.findings[0].says;
        (says.contains("breaking in"), says.contains("coil warms"))
    };
    assert_eq!(said(hung(breaks_in)), (true, false));
    assert_eq!(said(hung(warms_up)), (false, true));
    assert_eq!(said(hung(|hung| (breaks_in(hung), warms_up(hung)).0)), (true, true));
}

/// Hum is named, and hurts as much as it says: the curve lies within four uncertainties of the one without it.
#[test]
fn hum_on_the_flank() {
    let excitation = sweep(20.0, 1, -30.0);
    let clean = heard(&excitation, driver(), |_| ());
    for (hz, level_dbfs) in
        [(50.0, -60.0), (50.03, -50.0), (49.98, -70.0), (60.0, -60.0), (60.02, -50.0), (60.0, -40.0)]
    {
        let hum = Some(Hum { frequency_hz: hz, level_dbfs });
        let found = heard(&excitation, driver(), |jig| jig.load_input.hum = hum);
        only(&found, Code::Hum, Severity::Caution, "flank");
        println!("{level_dbfs} dBFS at {hz} Hz: {}", found.findings[0].says);
        let u = found.impedance.u_noise_ohm().unwrap();
        let off = found.impedance.values().iter().zip(clean.impedance.values()).map(|(z, clean)| (z - clean).norm());
        let worst = off.zip(u).zip(found.impedance.hz()).map(|((off, u), hz)| (off / u, *hz));
        let worst = worst.fold((0.0f64, 0.0), |a, b| if b.0 > a.0 { b } else { a });
        println!("  worst {worst:?}; largest u {:?}", u.iter().copied().fold(0.0, f64::max));
        assert!(worst.0 < 4.5, "{hz} Hz at {level_dbfs} dBFS: {worst:?}");
    }
}

/// A strong magnet turns the phase towards the lowest frequency by more than inputs do: 80 Ω and Q 4 at 110 Hz leave 3.4 Ω of reactance at 20 Hz.
#[test]
fn inputs_that_part_towards_the_bass_are_told_from_a_driver_that_turns_the_phase_there() {
    let excitation = sweep(20.0, 1, -30.0);
    let heard =
        |load: Load, high_pass_hz: f64| heard(&excitation, load, |jig| jig.load_input.high_pass_hz = high_pass_hz);
    let is_told = |found: &Measured| found.findings.iter().any(|finding| finding.says.contains("the two inputs part"));
    let strong = || hung(|hung| hung.driver.bl_tm *= 2.0);
    // The other input has 2 Hz.
    for (high_pass_hz, told) in [(2.0, false), (3.0, false), (8.0, true), (12.0, true)] {
        for load in [driver(), strong()] {
            let found = heard(load, high_pass_hz);
            assert_eq!(is_told(&found), told, "{high_pass_hz} Hz: {:?}", found.findings);
        }
    }
}

#[test]
fn calibrations_that_are_not_what_they_are_said_to_be() {
    let excitation = usual();
    let of = |load| recorded(&excitation, load, |_| ());
    let [load, open, short, known] = [driver(), Load::Open, Load::Short, Load::Resistor { ohm: 10.0 }].map(of);
    let base = alone(&load, &excitation);
    let as_said = |recording| Some(capture(recording, &excitation));
    let wrong = [
        ("open capture", JigCaptures { open: as_said(&short), ..base }),
        ("open capture", JigCaptures { open: as_said(&known), ..base }),
        ("short capture", JigCaptures { short: as_said(&open), ..base }),
        ("short capture", JigCaptures { short: as_said(&known), ..base }),
        ("known capture", JigCaptures { known: as_said(&short), ..base }),
    ];
    for (word, captures) in wrong {
        among(&measured(&captures, facts()), Code::Implausible, Severity::Fault, word);
    }
    let right = JigCaptures { open: as_said(&open), short: as_said(&short), known: as_said(&known), ..base };
    let found = measured(&right, JigFacts { lead_ohm: None, ..facts() });
    assert!(found.findings.is_empty(), "{:?}", found.findings);
    assert!((found.lead.value - 0.05).abs() < 0.001, "{:?}", found.lead);
}

/// What was captured with another sense resistor than the load's: seen where the load becomes none that is built.
#[test]
fn calibrations_of_another_jig() {
    let excitation = usual();
    let load = recorded(&excitation, driver(), |jig| jig.wiring.sense_ohm = 22.0);
    let of = |load| recorded(&excitation, load, |_| ());
    let [open, short, known] = [Load::Open, Load::Short, Load::Resistor { ohm: 10.0 }].map(of);
    let as_said = |recording| Some(capture(recording, &excitation));
    let base = alone(&load, &excitation);
    let captures = JigCaptures { open: as_said(&open), short: as_said(&short), known: as_said(&known), ..base };
    among(&measured(&captures, facts()), Code::SenseResistor, Severity::Caution, "another jig");
}
