//! A gate that is moved on an open recording shows the numbers of the whole analysis with that gate, and at once.

#![allow(clippy::unwrap_used)] // a test that can't go on may stop
#![allow(clippy::print_stdout)] // figures, with --nocapture

mod program;

use boxwright::files;
use boxwright::job::known_excitation;
use boxwright::response::{GateChoice, LevelReference, MicrophoneTable, MovableGate, ResponseError, Settings, analyse};
use boxwright::signal::{Excitation, Recording};
use program::said;
use std::time::Instant;

/// A capture on the simulated bench, in a room, with a loopback, two repeats and another clock.
fn captured(words: &str) -> (Recording, Excitation) {
    let folder = tempfile::tempdir().unwrap();
    let capture =
        format!("capture response --output simulated --reference 2 --simulated-seed 7 --from 50 --out a.wav {words}");
    let done = said(folder.path(), &capture);
    assert_eq!(done.status, 0, "{}", done.err);
    let recording = files::read_wav(&folder.path().join("a.wav")).unwrap().recording;
    (recording, known_excitation(&folder.path().join("a.excitation.wav")).unwrap().excitation)
}

fn settings(reference: Option<usize>) -> Settings {
    let level = LevelReference::PressureAtOneMetre {
        sensitivity_dbfs_at_94db: -26.0,
        excitation_dbfs: -20.0,
        drive_v: 2.0,
        distance_m: 0.5,
    };
    let microphone = MicrophoneTable::new(&[30.0, 1_000.0, 18_000.0], vec![-1.0, 0.0, 2.5], None);
    Settings { reference, level, microphone, ..Settings::of_reply(0) }
}

#[test]
fn each_gate_shows_the_numbers_of_the_whole_analysis_to_the_last_digit() {
    let (recording, excitation) = captured("--seconds 0.5 --repeats 2 --pause 0.5");
    for reference in [None, Some(1)] {
        let settings = settings(reference);
        let open = MovableGate::open(&recording, &excitation, settings.clone()).unwrap();
        let automatic = analyse(&recording, &excitation, &settings).unwrap();
        assert_eq!(open.proposed_s(), automatic.gate.after_frames / automatic.rate.hz());
        assert_eq!(open.reflection(), automatic.energy_time.reflection);
        for after_s in [0.002, 0.004_7, 0.03, open.proposed_s(), open.range_s()[1]] {
            let gate = GateChoice::Length { after_s };
            let whole = analyse(&recording, &excitation, &Settings { gate, ..settings.clone() }).unwrap();
            let curve = open.curve(after_s).unwrap();
            assert_eq!((curve.gate, curve.valid_hz), (whole.gate, whole.valid_hz), "{after_s}");
            assert_eq!(curve.hz, whole.response.grid.hz(), "{after_s}");
            assert_eq!(curve.values, whole.response.values, "{after_s}");
            assert_eq!(curve.level_db(), whole.response.magnitude_db(), "{after_s}");
        }
    }
}

#[test]
fn a_gate_that_can_not_be_is_refused_as_everywhere() {
    let (recording, excitation) = captured("--seconds 0.5 --pause 0.5");
    let open = MovableGate::open(&recording, &excitation, settings(None)).unwrap();
    let [shortest_s, longest_s] = open.range_s();
    for after_s in [0.9 * shortest_s, 1.001 * longest_s, f64::NAN, -1.0] {
        let gate = GateChoice::Length { after_s };
        let refused = analyse(&recording, &excitation, &Settings { gate, ..settings(None) }).err().unwrap();
        let moved = open.curve(after_s).unwrap_err();
        assert!(matches!(moved, ResponseError::Gate { .. }), "{after_s}: {moved}");
        assert_eq!(moved.to_string(), refused.to_string());
    }
    assert!(open.curve(shortest_s).is_ok() && open.curve(longest_s).is_ok());
}

/// A drag needs 30 curves a second; the longest impulse response that a page shows, at the highest usual rate.
#[test]
fn a_drag_is_followed() {
    let (recording, excitation) = captured("--seconds 1 --rate 96k --pause 1");
    let opening = Instant::now();
    let open = MovableGate::open(&recording, &excitation, settings(Some(1))).unwrap();
    let opened_s = opening.elapsed().as_secs_f64();
    assert_eq!(open.impulse(0.003, 65_536).samples.len(), 65_536);
    let [shortest_s, longest_s] = [0.002, open.range_s()[1].min(0.68)];
    let took = |step: u32| {
        let began = Instant::now();
        let after_s = shortest_s * (longest_s / shortest_s).powf(f64::from(step) / 60.0);
        open.curve(after_s).unwrap();
        began.elapsed().as_secs_f64()
    };
    let mut times: Vec<f64> = (0..=60).map(took).collect();
    times.sort_by(f64::total_cmp);
    let [median_s, worst_s] = [times[30], times[60]];
    println!("opened in {opened_s:.2} s; a curve in {:.1} ms, {:.1} ms at most", 1e3 * median_s, 1e3 * worst_s);
    // The median, because other work shares the machine.
    assert!(median_s < 1.0 / 30.0, "{median_s}");
}
