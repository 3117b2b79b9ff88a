//! What a defect does to a record.

use super::*;
use crate::math::{InverseSpectrum, Spectrum};
use std::f64::consts::TAU;

const RATE_HZ: f64 = 48_000.0;
/// Half a second, a power of two of frames: its spectrum takes the whole of it.
const FRAMES: usize = 1 << 15;

/// The small satellite without room, noise and drift, its mid-woofer with this defect.
fn bench(defect: Option<Defect>) -> Bench {
    let mut settings = BenchSettings::default().quiet();
    settings.speaker.ways[0].defect = defect;
    Bench::new(settings).unwrap()
}

fn tone(hz: f64, peak: f64) -> Vec<f64> {
    (0..FRAMES).map(|n| peak * (TAU * hz * n as f64 / RATE_HZ).sin()).collect()
}

/// The microphone's record with the defect less the one without.
fn added(defect: Defect, play: &[f64]) -> Vec<f64> {
    let [with, without] = [Some(defect), None].map(|defect| bench(defect).record(play, FRAMES).swap_remove(0));
    with.iter().zip(without).map(|(a, b)| a - b).collect()
}

/// What of it lies above an octave up to this frequency, faded in over that octave.
fn above(samples: &[f64], hz: f64) -> Vec<f64> {
    let mut bins = Spectrum::new(FRAMES).bins(samples);
    for (bin, value) in bins.iter_mut().enumerate() {
        let octaves = (bin as f64 * RATE_HZ / FRAMES as f64 / hz).log2().clamp(-1.0, 0.0);
        *value *= 0.5 + 0.5 * (0.5 * TAU * octaves).cos();
    }
    InverseSpectrum::new(FRAMES).samples(&bins)
}

fn power(samples: impl IntoIterator<Item = f64>) -> f64 {
    samples.into_iter().map(|sample| sample * sample).sum()
}

/// Frames from what is played to what is heard of the mid-woofer, 8 cm below the axis, half a metre away.
fn late_frames() -> usize {
    let late_s = BenchSettings::default().interface.latency_s + 0.5_f64.hypot(0.08) / 343.2;
    (late_s * RATE_HZ).round() as usize
}

/// As long as the cone stays short of the place, the record is the healthy one to the last bit.
#[test]
fn a_coil_that_does_not_touch_is_healthy() {
    let play = tone(60.0, 0.1);
    let reach_m = bench(None).excursion_m(0, &play).into_iter().fold(0.0, f64::max);
    // 1 %: the cone's reach between the samples that were taken of it.
    let [short, beyond] = [1.01, 0.9].map(|share| Some(Defect::Rub(Rub::hard(share * reach_m))));
    let record = |defect| bench(defect).record(&play, FRAMES);
    let healthy = record(None);
    assert_eq!(record(short), healthy);
    assert_ne!(record(beyond), healthy);
}

#[test]
fn a_coil_scrapes_while_it_is_beyond_the_place_and_up_into_the_treble() {
    let (hz, from_m) = (60.0, -0.8e-3);
    let play = tone(hz, 0.25);
    let x_m = bench(None).excursion_m(0, &play);
    let scrape = added(Defect::Rub(Rub::hard(from_m)), &play);
    let treble = above(&scrape, 4_000.0);
    // 1.5 ms: what the filter's and the box's own vibrations last that a scrape excites, and the fading's ringing.
    let guard = 72;
    let first = late_frames();
    let beyond = |frame: usize| x_m[frame - first] < from_m;
    let (mut inside, mut outside, mut outside_frames) = (0.0, 0.0, 0_usize);
    for (frame, sample) in treble.iter().enumerate().take(FRAMES - guard).skip(first + 2 * guard) {
        if (frame - guard..frame + guard).any(beyond) {
            inside += sample * sample;
        } else {
            outside += sample * sample;
            outside_frames += 1;
        }
    }
    assert!(outside_frames > FRAMES / 4, "{outside_frames}");
    // 60 dB: the filter's own ringing has died to that.
    assert!(outside < 1e-6 * inside, "{inside:e} {outside:e}");
    let [all, high] = [power(above(&scrape, 1_000.0)), power(above(&scrape, 10_000.0))];
    // At 0.4 m/s the wall is read up to 10 kHz, at half that speed to half of it: −18 dB.
    assert!(high > 0.01 * all, "{all:e} {high:e}");
}

/// The truth of a defect: its small signals are the healthy ones, its tones are not; and it reads as it was written.
#[test]
fn a_defect_changes_the_harmonics_of_the_truth_only() {
    let hz = [50.0, 500.0, 5_000.0];
    let [healthy, rubbing] = [None, Some(Defect::Rub(Rub::hard(0.5e-3)))].map(|it| bench(it).truth(&hz, -12.0));
    assert_eq!(healthy.direct, rubbing.direct);
    assert_eq!(healthy.ways, rubbing.ways);
    let fifth_db = |truth: &Truth, tone: usize| truth.harmonics.relative_db["5"][tone];
    // 63 Hz reaches far beyond half a millimetre, 400 Hz does not.
    assert_eq!([1, 5].map(|tone| healthy.harmonics.frequency_hz[tone]), [63.0, 400.0]);
    assert!(fifth_db(&rubbing, 1).unwrap() > fifth_db(&healthy, 1).unwrap() + 10.0);
    assert_eq!(fifth_db(&rubbing, 5), fifth_db(&healthy, 5));
    let written = serde_json::to_string(&rubbing).unwrap();
    assert_eq!(serde_json::from_str::<Truth>(&written).unwrap(), rubbing);
    assert!(!serde_json::to_string(&healthy).unwrap().contains("defect"));
    let part = Defect::Loose(LoosePart::lead(300.0));
    assert_eq!(serde_json::from_str::<Defect>(&serde_json::to_string(&part).unwrap()).unwrap(), part);
}

/// A lead on a cone that shakes it at 1.5 times what it bears: one knock for each period, heard as such.
#[test]
fn a_loose_part_knocks_once_a_period() {
    let (hz, peak) = (100.0, 0.25);
    let play = tone(hz, peak);
    let x_m = bench(None).excursion_m(0, &play);
    let acceleration = |n: usize| (x_m[n + 1] - 2.0 * x_m[n] + x_m[n - 1]) * RATE_HZ * RATE_HZ;
    let strongest = (FRAMES / 2..FRAMES - 1).map(|n| -acceleration(n)).fold(0.0, f64::max);
    let part = LoosePart::lead(strongest / 1.5);
    let knocks = above(&added(Defect::Loose(part), &play), 2_000.0);
    // After the coupling of the output has settled; without the end, where the record is cut.
    let steady = &knocks[FRAMES / 2..FRAMES - 2_000];
    let loudest = steady.iter().fold(0.0, |loudest: f64, sample| loudest.max(sample.abs()));
    let mut last = 0;
    let mut starts = Vec::new();
    for (frame, _) in steady.iter().enumerate().filter(|(_, sample)| sample.abs() > 0.3 * loudest) {
        // 6 ms: the first landing and its bounces are one knock.
        if starts.is_empty() || frame - last > 288 {
            starts.push(frame);
        }
        last = frame;
    }
    let periods = steady.len() as f64 / (RATE_HZ / hz);
    assert!((starts.len() as f64 - periods).abs() <= 1.0, "{starts:?}");
    for pair in starts.windows(2) {
        // 0.5 ms: a twentieth of the period.
        assert!((pair[1] - pair[0]).abs_diff(480) <= 24, "{starts:?}");
    }
}

#[test]
fn a_defect_without_sense_is_refused_with_its_numbers() {
    let refuse = |defect| {
        let mut settings = BenchSettings::default();
        settings.speaker.ways[0].defect = Some(defect);
        Bench::new(settings).err().unwrap()
    };
    let rub = Rub::hard(1e-3);
    for rub in [
        Rub { from_m: 0.0, ..rub },
        Rub { friction_n: -1.0, ..rub },
        Rub { onset_m: 0.0, ..rub },
        Rub { roughness_ratio: 1.1, ..rub },
        Rub { grain_m: f64::NAN, ..rub },
    ] {
        assert!(matches!(refuse(Defect::Rub(rub)), BenchError::OutOfRange { .. }), "{rub:?}");
    }
    let part = LoosePart::lead(300.0);
    for part in [
        LoosePart { mass_kg: 1.7e-3, ..part },
        LoosePart { lifts_at_m_s2: 0.0, ..part },
        LoosePart { contact_hz: 50_000.0, ..part },
        LoosePart { damping_ratio: 2.0, ..part },
    ] {
        assert!(matches!(refuse(Defect::Loose(part)), BenchError::OutOfRange { .. }), "{part:?}");
    }
    // 100 N creep to rest within 2e-7 s on 3.2 g: no grid follows that.
    let stiff = refuse(Defect::Rub(Rub { friction_n: 100.0, ..rub }));
    assert!(matches!(stiff, BenchError::TooFast { .. }), "{stiff}");
    let mut speaker = Speaker::rear_satellite();
    speaker.ways[1].defect = Some(Defect::Loose(LoosePart { mass_kg: 1e-5, ..part }));
    let jig = Jig::new(JigSettings { load: Load::Loudspeaker(speaker), ..JigSettings::default() }).err().unwrap();
    assert!(matches!(jig, BenchError::LooseOnJig { .. }) && !jig.advice().is_empty(), "{jig}");
}

/// On the jig a coil that rubs draws another current, and only where it rubs.
#[test]
fn a_coil_that_rubs_shows_on_the_jig() {
    let record = |defect| {
        let mut speaker = Speaker::rear_satellite();
        speaker.ways[0].defect = defect;
        let jig = Jig::new(JigSettings { load: Load::Loudspeaker(speaker), ..JigSettings::default().ideal() }).unwrap();
        jig.record(&tone(60.0, 0.25)[..9_600], 9_600)
    };
    let healthy = record(None);
    assert_eq!(record(Some(Defect::Rub(Rub::hard(20e-3)))), healthy);
    let rubbing = record(Some(Defect::Rub(Rub::hard(1e-6))));
    let worst = rubbing[1].iter().zip(&healthy[1]).fold(0.0, |worst: f64, (a, b)| worst.max((a - b).abs()));
    let loudest = healthy[1].iter().fold(0.0, |loudest: f64, sample| loudest.max(sample.abs()));
    // 0.3 N beside the coil's 4 N.
    assert!(worst > 0.01 * loudest, "{worst:e} {loudest:e}");
}
