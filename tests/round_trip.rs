//! What is written is read back equal, by our own reader and by another library.

#![allow(clippy::unwrap_used)] // helpers of tests are tests, which clippy's own exception does not see

use boxwright::files::{self, Curve, FileError, Measure, WavWriter, read_wav, write_wav_new};
use boxwright::math::Random;
use boxwright::quantity::SampleRate;
use boxwright::signal::{Kind, Plan, Recording, SampleFormat, SweepPlan};
use proptest::prelude::*;
use std::io::Cursor;
use std::path::Path;

const FORMATS: [SampleFormat; 5] =
    [SampleFormat::Pcm16, SampleFormat::Pcm24, SampleFormat::Pcm32, SampleFormat::Float32, SampleFormat::Float64];

fn rate() -> SampleRate {
    SampleRate::new(48_000).unwrap()
}

fn noise(format: SampleFormat, channels: usize, frames: usize) -> Recording {
    let mut random = Random::new(5);
    let channels = (0..channels).map(|_| (0..frames).map(|_| 1.98 * random.uniform() - 0.99).collect()).collect();
    Recording { rate: rate(), channels, format }
}

/// Half a step of the format; a float32 keeps 24 bits of numbers below 1.
fn rounding(format: SampleFormat) -> f64 {
    match format {
        SampleFormat::Pcm16 => 2f64.powi(-16),
        SampleFormat::Pcm24 => 2f64.powi(-24),
        SampleFormat::Pcm32 => 2f64.powi(-32),
        SampleFormat::Float32 => 2f64.powi(-25),
        SampleFormat::Float64 => 0.0,
    }
}

#[test]
fn every_format_and_channel_count_comes_back_within_half_a_step() {
    let folder = tempfile::tempdir().unwrap();
    for format in FORMATS {
        for channels in [1, 2, 3, 8] {
            let path = folder.path().join(format!("{format:?}-{channels}.wav"));
            // More frames than the reader takes at a time, and an odd number of bytes for 24 bits.
            let recording = noise(format, channels, 20_001);
            assert_eq!(write_wav_new(&path, &recording).unwrap().frames, 20_001);
            let read = read_wav(&path).unwrap();
            assert_eq!((read.cut_short, read.recording.format, read.recording.rate), (None, format, rate()));
            assert_eq!(read.recording.channels.len(), channels);
            let mut largest = 0f64;
            for (read, written) in read.recording.channels.iter().zip(&recording.channels) {
                assert_eq!(read.len(), written.len());
                largest = read.iter().zip(written).fold(largest, |high, (a, b)| high.max((a - b).abs()));
            }
            let allowed = rounding(format);
            // Of 20,000 values at random some come close to the full half step; the top one of
            // an integer format, which has no +1, is not reached.
            assert!(largest <= allowed && largest >= 0.9 * allowed, "{format:?}: {largest:e} of {allowed:e}");
        }
    }
}

#[test]
fn another_library_reads_the_same_samples_from_our_files() {
    for (format, bits) in [(SampleFormat::Pcm16, 16), (SampleFormat::Pcm24, 24), (SampleFormat::Pcm32, 32)] {
        for channels in [1, 2, 3] {
            let (bytes, _) = files::wav_bytes(Path::new("t.wav"), &noise(format, channels, 999)).unwrap();
            let mut other = hound::WavReader::new(Cursor::new(&bytes)).unwrap();
            assert_eq!((other.spec().bits_per_sample, usize::from(other.spec().channels)), (bits, channels));
            let ours = files::read_wav_from(&mut Cursor::new(&bytes), Path::new("t"), files::Keep::All).unwrap();
            let scale = 2f64.powi(i32::from(bits) - 1);
            let theirs: Vec<f64> = other.samples::<i32>().map(|sample| f64::from(sample.unwrap()) / scale).collect();
            assert_eq!(theirs.len(), 999 * channels);
            for (at, sample) in theirs.iter().enumerate() {
                assert_eq!(ours.recording.channels[at % channels][at / channels], *sample, "{bits} bits, {at}");
            }
        }
    }
    let recording = noise(SampleFormat::Float32, 2, 999);
    let (bytes, _) = files::wav_bytes(Path::new("t.wav"), &recording).unwrap();
    let mut other = hound::WavReader::new(Cursor::new(&bytes)).unwrap();
    for (at, sample) in other.samples::<f32>().enumerate() {
        assert_eq!(sample.unwrap(), recording.channels[at % 2][at / 2] as f32);
    }
}

#[test]
fn our_reader_reads_the_same_samples_from_the_files_of_another_library() {
    for (bits, sample_format) in [
        (16, hound::SampleFormat::Int),
        (24, hound::SampleFormat::Int),
        (32, hound::SampleFormat::Int),
        (32, hound::SampleFormat::Float),
    ] {
        for channels in [1u16, 2, 5] {
            let spec = hound::WavSpec { channels, sample_rate: 44_100, bits_per_sample: bits, sample_format };
            let mut bytes = Cursor::new(Vec::new());
            let mut other = hound::WavWriter::new(&mut bytes, spec).unwrap();
            let whole = |at: i32| (at * 7919) % (1 << (bits - 1).min(30));
            for at in 0..i32::from(channels) * 333 {
                match sample_format {
                    hound::SampleFormat::Int => other.write_sample(whole(at)).unwrap(),
                    hound::SampleFormat::Float => other.write_sample(whole(at) as f32).unwrap(),
                }
            }
            other.finalize().unwrap();
            bytes.set_position(0);
            let read = files::read_wav_from(&mut bytes, Path::new("t"), files::Keep::All).unwrap();
            assert_eq!((read.cut_short, read.recording.frames()), (None, 333));
            assert_eq!(read.recording.rate.whole_hz(), 44_100);
            let is_float = sample_format == hound::SampleFormat::Float;
            let scale = if is_float { 1.0 } else { 2f64.powi(i32::from(bits) - 1) };
            for at in 0..i32::from(channels) * 333 {
                let expected = if is_float { f64::from(whole(at) as f32) } else { f64::from(whole(at)) / scale };
                let channel = &read.recording.channels[at as usize % usize::from(channels)];
                assert_eq!(channel[at as usize / usize::from(channels)], expected);
            }
        }
    }
}

#[test]
fn the_channels_asked_for_are_kept_in_the_order_asked_for() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    let recording = noise(SampleFormat::Float64, 4, 100);
    write_wav_new(&path, &recording).unwrap();
    let read = files::read_wav_channels(&path, &[3, 1]).unwrap().recording;
    assert_eq!(read.channels, [recording.channels[3].clone(), recording.channels[1].clone()]);
    let error = files::read_wav_channels(&path, &[4]).unwrap_err();
    assert!(matches!(error, FileError::NoSuchChannel { asked: 5, found: 4, .. }), "{error}");
    let facts = files::wav_facts(&path).unwrap();
    assert_eq!((facts.channels, facts.frames, facts.format), (4, 100, SampleFormat::Float64));
}

#[test]
fn full_scale_and_beyond_are_held_and_only_what_is_beyond_is_counted() {
    let recording =
        Recording { rate: rate(), channels: vec![vec![1.0, -1.0, 1.5, -1.5, 0.5]], format: SampleFormat::Pcm16 };
    let (bytes, written) = files::wav_bytes(Path::new("t"), &recording).unwrap();
    assert_eq!(written, files::Written { frames: 5, clipped: 2 });
    let read = files::read_wav_from(&mut Cursor::new(bytes), Path::new("t"), files::Keep::All).unwrap();
    let top = 1.0 - 2f64.powi(-15);
    assert_eq!(read.recording.channels[0], [top, -1.0, top, -1.0, 0.5]);
}

#[test]
fn a_recording_that_is_never_finished_can_be_read_up_to_its_last_half_second() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    let mut writer = WavWriter::create_new(&path, rate(), 2, SampleFormat::Pcm24).unwrap();
    let part = writer.part_path().to_owned();
    for block in 0..100u32 {
        let sample = f64::from(block) / 128.0;
        writer.write_f64(&vec![sample; 2 * 1000]).unwrap();
        let Ok(found) = read_wav(&part) else {
            // Half a second at 48 kHz.
            assert!(block < 24, "nothing to read after {block} blocks");
            continue;
        };
        let frames = found.recording.frames();
        let lag = (block as usize + 1) * 1000 - frames;
        assert!(lag < 24_000, "{lag} frames are not on the disk");
        assert_eq!(found.recording.channels[1][frames - 1], ((frames - 1) / 1000) as f64 / 128.0);
    }
    // As a killed program leaves it: nothing more is written.
    std::mem::forget(writer);
    let left = read_wav(&part).unwrap();
    assert!(left.recording.frames() >= 76_000 && !path.exists());
    // Neither the part nor the name is ever taken again.
    let again = WavWriter::create_new(&path, rate(), 2, SampleFormat::Pcm24).unwrap_err();
    assert!(matches!(again, FileError::Exists { .. }), "{again}");
}

#[test]
fn a_finished_recording_has_its_name_and_no_part() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    let mut writer = WavWriter::create_new(&path, rate(), 1, SampleFormat::Pcm24).unwrap();
    writer.write_f32(&[0.5, 0.25, -0.125]).unwrap();
    let part = writer.part_path().to_owned();
    assert_eq!(writer.finish().unwrap(), files::Written { frames: 3, clipped: 0 });
    assert_eq!(read_wav(&path).unwrap().recording.channels, [vec![0.5, 0.25, -0.125]]);
    assert!(!part.exists());
    let error = WavWriter::create_new(&path, rate(), 1, SampleFormat::Pcm24).unwrap_err();
    assert!(matches!(error, FileError::Exists { .. }));
    assert!(matches!(write_wav_new(&path, &noise(SampleFormat::Pcm16, 1, 9)), Err(FileError::Exists { .. })));
    assert_eq!(read_wav(&path).unwrap().recording.frames(), 3);
    files::replace_wav(&path, &noise(SampleFormat::Pcm16, 1, 9)).unwrap();
    assert_eq!(read_wav(&path).unwrap().recording.frames(), 9);
}

#[test]
fn a_name_taken_during_the_recording_is_left_alone_and_the_recording_kept() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    let mut writer = WavWriter::create_new(&path, rate(), 1, SampleFormat::Float32).unwrap();
    writer.write_f32(&[0.5]).unwrap();
    std::fs::write(&path, b"theirs").unwrap();
    let part = writer.part_path().to_owned();
    assert!(matches!(writer.finish(), Err(FileError::Exists { .. })));
    assert_eq!(std::fs::read(&path).unwrap(), b"theirs");
    assert_eq!(read_wav(&part).unwrap().recording.channels, [vec![0.5]]);
}

#[test]
fn what_can_not_be_stored_is_refused_before_it_spoils_the_file() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    let mut writer = WavWriter::create_new(&path, rate(), 2, SampleFormat::Float32).unwrap();
    writer.write_f32(&[0.5, 0.5]).unwrap();
    assert!(matches!(writer.write_f32(&[0.1, f32::NAN]), Err(FileError::NotFinite { frame: 1, channel: 2, .. })));
    assert!(matches!(writer.write_f32(&[0.1]), Err(FileError::HalfFrame { found: 1, channels: 2, .. })));
    writer.finish().unwrap();
    assert_eq!(read_wav(&path).unwrap().recording.channels, [vec![0.5], vec![0.5]]);
    for channels in [0, 5000] {
        let error = WavWriter::create_new(&folder.path().join("b.wav"), rate(), channels, SampleFormat::Pcm16);
        assert!(matches!(error, Err(FileError::ChannelCount { .. })));
    }
    let unequal = Recording { rate: rate(), channels: vec![vec![0.0], vec![]], format: SampleFormat::Pcm16 };
    assert!(matches!(files::wav_bytes(&path, &unequal), Err(FileError::UnequalChannels { .. })));
}

fn numbers(count: usize) -> impl Strategy<Value = Vec<f64>> {
    prop::collection::vec(-1e3f64..1e3, count)
}

fn curves() -> impl Strategy<Value = Curve> {
    (1usize..40).prop_flat_map(|count| {
        let steps = prop::collection::vec(1e-3f64..1e3, count);
        let header = prop::collection::vec(("[a-z][a-z_0-9]{0,8}", "[a-zA-Zäµ0-9 :,;.]{0,12}"), 0..4);
        (
            any::<bool>(),
            steps,
            numbers(count),
            prop::option::of(numbers(count)),
            prop::option::of(numbers(count)),
            prop::option::of(numbers(count)),
            header,
        )
            .prop_map(|(is_ohm, steps, values, phase_deg, u, u_noise, header)| {
                let sum = |total: &mut f64, step: f64| {
                    *total += step;
                    Some(*total)
                };
                let magnitude = |values: Vec<f64>| values.into_iter().map(f64::abs).collect::<Vec<_>>();
                let one_line = |text: String| text.split_whitespace().collect::<Vec<_>>().join(" ");
                Curve {
                    measure: if is_ohm { Measure::MagnitudeOhm } else { Measure::LevelDb },
                    frequency_hz: steps.into_iter().scan(0.0, sum).collect(),
                    values: if is_ohm { magnitude(values) } else { values },
                    phase_deg,
                    u: u.map(magnitude),
                    u_noise: u_noise.filter(|_| is_ohm).map(magnitude),
                    header: header.into_iter().map(|(key, value)| (key, one_line(value))).collect(),
                    notes: Vec::new(),
                }
            })
    })
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_curve_comes_back_bit_for_bit(curve in curves()) {
        let text = files::curve_text(&curve);
        let read = files::curve_from(text.as_bytes(), Path::new("t.csv")).unwrap();
        prop_assert_eq!(read, curve);
    }

    #[test]
    fn a_plan_comes_back_from_its_description(
        level_dbfs in -120.0f64..0.0,
        from_hz in 1.0f64..1000.0,
        lead in 0usize..100_000,
        frames in 1usize..100_000,
        repeats in 1usize..5,
        mark_frames in prop::option::of(1usize..1000),
        constant_s in 0.01f64..10.0,
        kind in prop::sample::select(vec![Kind::Sweep, Kind::Pink, Kind::Tone, Kind::Burst]),
    ) {
        let plan = Plan {
            kind,
            level_dbfs,
            band_hz: [from_hz, 2.5 * from_hz],
            starts: (0..repeats).map(|repeat| lead + 2 * repeat * frames).collect(),
            frames,
            mark_starts: mark_frames.map_or(vec![], |mark| vec![0, mark]),
            mark_frames: mark_frames.unwrap_or(0),
            sweep: (kind == Kind::Sweep)
                .then_some(SweepPlan { rate_constant_s: constant_s, played_hz: [0.7 * from_hz, 3.0 * from_hz] }),
        };
        let total = lead + 2 * repeats * frames + 2000;
        let excitation = boxwright::signal::Excitation { rate: rate(), samples: vec![0.0; total], plan };
        let written = files::SignalDescription::of(&excitation, "00ff");
        let read = files::signal_description_from(&written.text(), Path::new("t.toml")).unwrap();
        prop_assert_eq!(&read, &written);
        prop_assert_eq!(read.plan(), excitation.plan);
    }

    #[test]
    fn a_capture_comes_back_from_its_description(
        note in prop::option::of(".{0,40}"),
        level_dbfs in prop::option::of(-100.0f64..0.0),
        channel in prop::option::of(1usize..32),
        frames in 0..i64::MAX as u64,
        dropouts in 0u64..9,
        ended in prop::sample::select(vec![files::Ended::Complete, files::Ended::Stopped, files::Ended::DeviceLost]),
    ) {
        let written = files::CaptureDescription {
            schema: files::CAPTURE_SCHEMA.into(),
            made_by: boxwright::MADE_BY.into(),
            kind: files::CaptureKind::Response,
            when: "2026-01-31T18:05:00+01:00".into(),
            unit: Some("rear-left".into()),
            stage: None,
            note,
            truth: Some("truth.toml".into()),
            excitation: files::Played { path: "../sweep.wav".into(), sha256: "00ff".into() },
            bench: files::BenchUsed { level_dbfs, reply_channel: channel, output_channels: vec![1, 2], ..Default::default() },
            stream: files::Stream { frames, wall_clock_s: Some(11.5), dropouts, overruns: 0, other_errors: 1, ended, remarks: vec!["a remark".to_owned(); dropouts as usize] },
        };
        let read = files::capture_description_from(&written.text(Path::new("t.toml")).unwrap(), Path::new("t.toml")).unwrap();
        prop_assert_eq!(read, written);
    }
}
