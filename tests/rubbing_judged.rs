//! Scraping coils and loose parts of the simulated bench, told from sound units.
#![allow(clippy::unwrap_used, clippy::print_stdout)] // a test that can't go on may stop; figures are for --nocapture

use boxwright::bench::{Bench, BenchSettings, Defect, LoosePart, Rub};
use boxwright::quantity::{Code, SampleRate};
use boxwright::response::{Analysis, Settings, analyse};
use boxwright::signal::{Marks, Recording, SampleFormat, Sequence, SweepSettings};

fn heard(defect: Option<Defect>, level_dbfs: f64, seed: u64) -> Analysis {
    let rate = SampleRate::new(48_000).unwrap();
    let sweep = SweepSettings { rate, from_hz: 20.0, to_hz: 20_000.0, lowest_hz: None, duration_s: 2.0 };
    let excitation = Sequence { sweep, level_dbfs, repeats: 2, marks: Marks::None, pause_s: 0.6 }.excitation().unwrap();
    let play = [vec![0.0; 24_000], excitation.samples.clone(), vec![0.0; 72_000]].concat();
    let mut settings = BenchSettings { seed, ..BenchSettings::default() };
    settings.speaker.ways[0].defect = defect;
    let bench = Bench::new(settings).unwrap();
    let channels = bench.record(&play, bench.frames_needed(play.len()));
    let recording = Recording { rate, channels, format: SampleFormat::Float32 };
    analyse(&recording, &excitation, &Settings::of_reply(0)).unwrap()
}

/// At −12 dBFS the coil travels 1.3 mm up to 160 Hz, and only there beyond 0.8 mm (the bench's own excursion).
#[test]
fn a_coil_that_scrapes_is_told_with_the_notes_at_which_it_does() {
    let found = heard(Some(Defect::Rub(Rub::hard(0.8e-3))), -12.0, 1);
    let rubbing = found.high_order.as_ref().unwrap().rubbing.unwrap();
    println!("{rubbing:?}");
    // The stroke falls below 0.8 mm between 160 and 320 Hz.
    assert!(rubbing.band_hz[0] < 30.0 && (130.0..400.0).contains(&rubbing.band_hz[1]), "{rubbing:?}");
    assert!(found.findings.iter().any(|finding| finding.code == Code::Rubbing));
}

/// 900 m/s² are exceeded from about 110 Hz to 1 kHz.
#[test]
fn a_loose_part_is_told() {
    let found = heard(Some(Defect::Loose(LoosePart::lead(900.0))), -12.0, 2);
    let rubbing = found.high_order.unwrap().rubbing.unwrap();
    println!("{rubbing:?}");
    assert!((60.0..250.0).contains(&rubbing.band_hz[0]) && rubbing.band_hz[1] > 200.0, "{rubbing:?}");
}

#[test]
fn sound_units_are_not_accused_however_loud() {
    for (level_dbfs, seed) in [(-30.0, 3), (-12.0, 4), (-6.0, 5)] {
        let found = heard(None, level_dbfs, seed);
        assert!(found.high_order.unwrap().rubbing.is_none(), "{level_dbfs}");
        assert!(found.findings.iter().all(|finding| finding.code != Code::Rubbing));
    }
}
