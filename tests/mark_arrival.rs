//! Arrivals that count from time marks of another loudspeaker, against two ways with closed forms: the marks go one, the sweeps the
//! other, each through a recursive filter and a delay by Fourier series.

#![allow(clippy::unwrap_used, clippy::print_stdout)] // a test that can't go on may stop; figures are for --nocapture

mod systems;

use boxwright::quantity::{Code, SampleRate, Severity};
use boxwright::response::{Analysis, MarksPath, Settings, TimeReference, ToldBy, analyse};
use boxwright::signal::{Excitation, Marks, SampleFormat, Sequence, SweepSettings};
use num_complex::Complex64;
use std::f64::consts::TAU;
use systems::{Filter, Noise, delayed, drifted, recording};

const RATE_HZ: f64 = 48_000.0;

fn excitation(repeats: u32) -> Excitation {
    let rate = SampleRate::new(48_000).unwrap();
    let sweep = SweepSettings { rate, from_hz: 20.0, to_hz: 20_000.0, lowest_hz: None, duration_s: 3.0 };
    Sequence { sweep, level_dbfs: -6.0, repeats, marks: Marks::BeforeAndAfter, pause_s: 1.0 }.excitation().unwrap()
}

/// From an output to the microphone.
#[derive(Clone, Copy)]
struct Way<'a> {
    filter: &'a Filter,
    delay_frames: f64,
    gain_ratio: f64,
}

impl Way<'_> {
    fn reply(&self, samples: &[f64]) -> Vec<f64> {
        let late = delayed(&self.filter.run(samples), self.delay_frames);
        late.iter().map(|x| self.gain_ratio * x).collect()
    }

    /// When the envelope of a flat band through this way is highest, by a plain sum over frequencies at each moment.
    fn top_of_envelope_frames(&self) -> f64 {
        let height = |frames: f64| {
            let sum: Complex64 = (1..=1_000)
                .map(|n| {
                    let hz = 20.0 * f64::from(n);
                    self.filter.response(hz, RATE_HZ) * Complex64::cis(TAU * hz * frames / RATE_HZ)
                })
                .sum();
            sum.norm()
        };
        let places = (-4_000..4_000).map(|n| 0.01 * f64::from(n));
        self.delay_frames + places.max_by(|a, b| height(*a).total_cmp(&height(*b))).unwrap()
    }
}

/// What differs between two captures at one seat.
#[derive(Clone, Copy)]
struct Take {
    /// When the recorder was started, before the player.
    early_frames: f64,
    drift_ppm: f64,
    noise_rms: f64,
    seed: u64,
}

const TAKES: [Take; 2] = [
    Take { early_frames: 4_321.0, drift_ppm: 35.0, noise_rms: 3e-5, seed: 3 },
    Take { early_frames: 977.37, drift_ppm: -18.0, noise_rms: 3e-5, seed: 8 },
];

fn recorded(excitation: &Excitation, marks: Way<'_>, sweeps: Way<'_>, take: Take) -> Vec<f64> {
    let plan = &excitation.plan;
    let is_mark =
        |frame: usize| plan.mark_starts.iter().any(|&start| (start..start + plan.mark_frames).contains(&frame));
    let only = |wanted: bool| -> Vec<f64> {
        let kept = |(frame, &x): (usize, &f64)| if is_mark(frame) == wanted { x } else { 0.0 };
        excitation.samples.iter().enumerate().map(kept).collect()
    };
    let (of_marks, of_sweeps) = (marks.reply(&only(true)), sweeps.reply(&only(false)));
    let frames = of_marks.len().min(of_sweeps.len());
    let both: Vec<f64> = (0..frames).map(|n| of_marks[n] + of_sweeps[n]).collect();
    Noise::new(take.seed).added(&drifted(&delayed(&both, take.early_frames), take.drift_ppm), take.noise_rms)
}

fn analysed(excitation: &Excitation, samples: Vec<f64>) -> Analysis {
    let settings = Settings { marks: MarksPath::Own, ..Settings::of_reply(0) };
    analyse(&recording(vec![samples], SampleFormat::Float32), excitation, &settings).unwrap()
}

fn codes(analysis: &Analysis) -> Vec<(Code, Severity)> {
    analysis.findings.iter().map(|finding| (finding.code, finding.severity)).collect()
}

/// By how much the phase, its arrival put back, is late against the filter behind a delay, over a band; weighted by frequency, s.
fn late_s(analysis: &Analysis, filter: &Filter, expected_s: f64, band_hz: [f64; 2]) -> f64 {
    let (mut over, mut under) = (0.0, 0.0);
    for (&hz, value) in analysis.response.grid.hz().iter().zip(&analysis.response.values) {
        if (band_hz[0]..=band_hz[1]).contains(&hz) {
            let turned = value * Complex64::cis(-TAU * hz * (analysis.arrival_s - expected_s));
            let phase = (turned / filter.response(hz, RATE_HZ)).arg();
            over += -phase * TAU * hz;
            under += (TAU * hz).powi(2);
        }
    }
    over / under
}

/// Delays as they occur: a subwoofer 5 ms behind the satellite's marks, one that its processor holds back by 46 ms, one in front of them.
#[test]
fn satellite_and_subwoofer_have_one_zero_of_time_in_all_captures_at_a_seat() {
    let (satellite, subwoofer) = (Filter::satellite(RATE_HZ), Filter::subwoofer(RATE_HZ));
    let marks = Way { filter: &satellite, delay_frames: 431.28, gain_ratio: 0.3 };
    let zero_frames = marks.top_of_envelope_frames();
    let below = |delay_frames, gain_ratio| Way { filter: &subwoofer, delay_frames, gain_ratio };
    for (sweeps, repeats, band_hz) in [
        (marks, 1, [100.0, 10_000.0]),
        (below(655.71, 0.3), 1, [40.0, 180.0]),
        (below(2_655.71, 0.1), 3, [40.0, 180.0]),
        (below(300.0, 1.0), 1, [40.0, 180.0]),
    ] {
        let excitation = excitation(repeats);
        let expected_s = (sweeps.delay_frames - zero_frames) / RATE_HZ;
        let late = TAKES.map(|take| {
            let analysis = analysed(&excitation, recorded(&excitation, marks, sweeps, take));
            assert_eq!(analysis.time_reference, TimeReference::Mark);
            let drift = analysis.drift.unwrap();
            // 0.01 ppm: a hundred times what the marks' noise leaves.
            assert!(drift.told_by == ToldBy::Marks && (1e6 * drift.ratio - take.drift_ppm).abs() < 0.01, "{drift:?}");
            let error_s = analysis.arrival_s - expected_s;
            // Of a subwoofer's own arrival little is sure; its phase with the arrival put back is.
            assert!(error_s.abs() < 2.0 * analysis.u_arrival_s + 20e-6, "{error_s} ± {}", analysis.u_arrival_s);
            if std::ptr::eq(sweeps.filter, &raw const satellite) {
                // 20 µs: 0.6° at 80 Hz, asked for.
                assert!(error_s.abs() < 20e-6, "{error_s}");
                assert_eq!(codes(&analysis), [(Code::ClockDrift, Severity::Note)]);
            } else {
                // A subwoofer plays nothing in the treble, which is said; nothing else is.
                assert_eq!(codes(&analysis), [(Code::Noisy, Severity::Caution), (Code::ClockDrift, Severity::Note)]);
            }
            let late = late_s(&analysis, sweeps.filter, expected_s, band_hz);
            println!(
                "{} {repeats}: arrival off by {:.2} µs, phase by {:.2} µs",
                sweeps.filter.name,
                1e6 * error_s,
                1e6 * late
            );
            late
        });
        // 20 µs as above; 5 µs between captures, asked for.
        assert!(late.iter().all(|late| late.abs() < 20e-6) && (late[0] - late[1]).abs() < 5e-6, "{late:?}");
    }
}

#[test]
fn marks_that_can_not_be_heard_are_missed_by_name_and_the_arrival_counts_from_the_recording() {
    let (satellite, subwoofer) = (Filter::satellite(RATE_HZ), Filter::subwoofer(RATE_HZ));
    let excitation = excitation(1);
    let take = Take { drift_ppm: 0.0, ..TAKES[0] };
    let missed = (Code::MarksUnheard, Severity::Caution);
    let found = |marks: Way<'_>, sweeps: Way<'_>| analysed(&excitation, recorded(&excitation, marks, sweeps, take));
    let way = |filter, gain_ratio| Way { filter, delay_frames: 431.28, gain_ratio };
    // Muted, deep in the noise, and without the treble by which an arrival is sure.
    for marks in [way(&satellite, 0.0), way(&satellite, 3e-6), way(&subwoofer, 0.003)] {
        let analysis = found(marks, way(&satellite, 0.3));
        assert_eq!(analysis.time_reference, TimeReference::Recording);
        assert_eq!(codes(&analysis)[0], missed, "{:?}", analysis.findings);
        assert!(codes(&analysis)[1..].iter().all(|one| *one == (Code::ClockDrift, Severity::Note)));
        let error_s = analysis.arrival_s - (take.early_frames + 431.28) / RATE_HZ;
        // 20 µs, as with marks.
        assert!(error_s.abs() < 20e-6, "{error_s}");
    }
}

/// 64 frames lost in a pause pass for a slow clock between the marks, but not between the sweeps.
#[test]
fn samples_lost_between_two_sweeps_are_still_told() {
    let satellite = Filter::satellite(RATE_HZ);
    let marks = Way { filter: &satellite, delay_frames: 431.28, gain_ratio: 0.3 };
    let excitation = excitation(2);
    let mut samples = recorded(&excitation, marks, Way { delay_frames: 655.71, ..marks }, TAKES[0]);
    let gap = 4_321 + excitation.plan.starts[1] - 10_000;
    samples.drain(gap..gap + 64);
    let analysis = analysed(&excitation, samples);
    assert_eq!(codes(&analysis)[0], (Code::Dropout, Severity::Fault));
    assert_eq!((analysis.time_reference, analysis.drift), (TimeReference::Recording, None));
}
