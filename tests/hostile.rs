//! Broken files: never a panic; an error with what, where and what to do, or a correct partial reading.

#![allow(clippy::unwrap_used)] // helpers of tests are tests, which clippy's own exception does not see

use boxwright::files::{self, FileError, Keep, WavFile};
use boxwright::impedance::Impedance;
use boxwright::quantity::{FrequencyGrid, SampleRate};
use boxwright::signal::{Recording, SampleFormat};
use proptest::prelude::*;
use std::io::Cursor;
use std::path::Path;

fn wav(bytes: &[u8]) -> Result<WavFile, FileError> {
    files::read_wav_from(&mut Cursor::new(bytes), Path::new("t.wav"), Keep::All)
}

fn chunk(name: &[u8; 4], content: &[u8]) -> Vec<u8> {
    let mut bytes = [&name[..], &(content.len() as u32).to_le_bytes(), content].concat();
    bytes.resize(bytes.len().next_multiple_of(2), 0);
    bytes
}

fn fmt(tag: u16, channels: u16, rate_hz: u32, block: u16, bits: u16) -> Vec<u8> {
    let mut content = [tag.to_le_bytes(), channels.to_le_bytes()].concat();
    content.extend(rate_hz.to_le_bytes());
    content.extend((rate_hz.wrapping_mul(u32::from(block))).to_le_bytes());
    content.extend([block.to_le_bytes(), bits.to_le_bytes()].concat());
    content
}

fn extensible(channels: u16, block: u16, bits: u16, valid: u16, tag: u16) -> Vec<u8> {
    let mut content = fmt(0xfffe, channels, 48_000, block, bits);
    content.extend([22u16.to_le_bytes(), valid.to_le_bytes()].concat());
    content.extend([0; 4]);
    content.extend(tag.to_le_bytes());
    content.extend([0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xaa, 0, 0x38, 0x9b, 0x71]);
    content
}

/// A file whose RIFF length is right.
fn riff(chunks: &[Vec<u8>]) -> Vec<u8> {
    let body = chunks.concat();
    [b"RIFF", &(body.len() as u32 + 4).to_le_bytes()[..], b"WAVE", &body].concat()
}

fn mono_16() -> Vec<u8> {
    fmt(1, 1, 48_000, 2, 16)
}

/// 0.5, −0.5 in 16 bits.
const HALVES: [u8; 4] = [0x00, 0x40, 0x00, 0xc0];

fn with_length(mut file: Vec<u8>, name: &[u8; 4], length: u32) -> Vec<u8> {
    let at = file.windows(4).position(|four| four == name).unwrap();
    file[at + 4..at + 8].copy_from_slice(&length.to_le_bytes());
    file
}

#[test]
fn twenty_four_bits_in_thirty_two_stand_in_the_high_bits() {
    let sample = 0x4000_0000i32.to_le_bytes();
    for content in [extensible(1, 4, 32, 24, 1), fmt(1, 1, 48_000, 4, 24)] {
        let read = wav(&riff(&[chunk(b"fmt ", &content), chunk(b"data", &sample)])).unwrap();
        assert_eq!((read.recording.channels[0].as_slice(), read.recording.format), (&[0.5][..], SampleFormat::Pcm24));
    }
}

#[test]
fn odd_chunks_are_stepped_over_with_their_pad_byte_and_without_it() {
    for text in ["x", "xyz", "five!", "12345678901"] {
        let mut list = chunk(b"LIST", text.as_bytes());
        let padded = riff(&[chunk(b"fmt ", &mono_16()), list.clone(), chunk(b"data", &HALVES)]);
        list.pop();
        let bare = riff(&[chunk(b"fmt ", &mono_16()), list.clone(), chunk(b"data", &HALVES)]);
        let before = riff(&[list, chunk(b"fmt ", &mono_16()), chunk(b"data", &HALVES)]);
        for file in [padded, bare, before] {
            let read = wav(&file).unwrap();
            assert_eq!((&read.recording.channels[0][..], read.cut_short), (&[0.5, -0.5][..], None), "{text}");
        }
    }
}

#[test]
fn a_file_with_64_bit_lengths_is_read() {
    let mut ds64 = 1000u64.to_le_bytes().to_vec();
    ds64.extend(4u64.to_le_bytes());
    ds64.extend(2u64.to_le_bytes());
    ds64.extend([0; 4]);
    for name in [b"RF64", b"BW64"] {
        let data = [chunk(b"data", &HALVES), chunk(b"LIST", b"more")].concat();
        let mut file = riff(&[chunk(b"ds64", &ds64), chunk(b"fmt ", &mono_16()), data]);
        file[..4].copy_from_slice(name);
        file[4..8].copy_from_slice(&u32::MAX.to_le_bytes());
        let read = wav(&with_length(file, b"data", u32::MAX)).unwrap();
        assert_eq!((&read.recording.channels[0][..], read.cut_short), (&[0.5, -0.5][..], None));
    }
    // Its recorder lost its power before it counted.
    let mut crashed = riff(&[chunk(b"ds64", &[0; 28]), chunk(b"fmt ", &mono_16()), chunk(b"data", &HALVES)]);
    crashed[..4].copy_from_slice(b"RF64");
    let read = wav(&with_length(crashed, b"data", u32::MAX)).unwrap();
    assert_eq!(read.recording.channels[0], [0.5, -0.5]);
    assert_eq!(read.cut_short.map(|cut| cut.promised_frames), Some(None));
}

#[test]
fn a_recorder_that_lost_its_power_leaves_what_it_had() {
    let whole = riff(&[chunk(b"fmt ", &mono_16()), chunk(b"data", &HALVES)]);
    let crashed = with_length(with_length(whole.clone(), b"data", 0), b"RIFF", 0);
    let streamed = with_length(whole.clone(), b"data", u32::MAX);
    let too_long = with_length(whole.clone(), b"data", 1000);
    for (file, promised) in [(crashed, None), (streamed, None), (too_long, Some(500))] {
        let read = wav(&file).unwrap();
        assert_eq!(read.recording.channels[0], [0.5, -0.5]);
        let cut = read.cut_short.unwrap();
        assert_eq!((cut.promised_frames, cut.found_frames, cut.stray_bytes), (promised, 2, 0));
    }
    let half_frame = wav(&whole[..whole.len() - 1]).unwrap();
    assert_eq!(half_frame.recording.channels[0], [0.5]);
    let cut = half_frame.cut_short.unwrap();
    assert_eq!((cut.promised_frames, cut.found_frames, cut.stray_bytes), (Some(2), 1, 1));
    assert_eq!(cut.to_string(), "the header promises 2 frames, the file holds 1 and 1 bytes of a broken one");
    // Closed without a sample: its own length says so.
    let empty = riff(&[chunk(b"fmt ", &mono_16()), chunk(b"data", &[]), chunk(b"LIST", b"more")]);
    assert!(matches!(wav(&empty), Err(FileError::NoSamples { .. })));
}

#[test]
fn samples_that_are_no_numbers_are_refused_with_their_place() {
    for (bytes, bits) in [(f32::NAN.to_le_bytes().to_vec(), 32), (f64::INFINITY.to_le_bytes().to_vec(), 64)] {
        let block = 2 * bits / 8;
        // Far enough in to lie in the reader's second piece.
        let mut data = vec![0; 10_000 * usize::from(block)];
        data.extend(vec![0; bytes.len()]);
        data.extend(bytes);
        let file = riff(&[chunk(b"fmt ", &fmt(3, 2, 48_000, block, bits)), chunk(b"data", &data)]);
        let error = wav(&file).unwrap_err();
        assert!(matches!(error, FileError::NotFinite { frame: 10_000, channel: 2, .. }), "{error}");
    }
}

#[test]
fn headers_that_can_not_be_are_refused_with_the_byte_at_fault() {
    let with = |fmt: Vec<u8>| riff(&[chunk(b"fmt ", &fmt), chunk(b"data", &HALVES)]);
    let mut foreign = extensible(1, 4, 32, 32, 1);
    foreign[30] = 7;
    for (file, expected) in [
        (vec![], "byte 0: found the end of the file (0 bytes, truncated), needed RIFF and WAVE at the start"),
        (
            b"RIFF\0\0\0\0".to_vec(),
            "byte 0: found the end of the file (8 bytes, truncated), needed RIFF and WAVE at the start",
        ),
        (b"RIFX\0\0\0\0WAVE".to_vec(), "byte 0: found \"RIFX\", needed RIFF, RF64 or BW64"),
        (b"RIFF\0\0\0\0AVI LIST".to_vec(), "byte 8: found \"AVI \", needed WAVE"),
        (riff(&[]), "byte 12: found the end of the file (12 bytes, truncated), needed a fmt chunk, then a data chunk"),
        (
            riff(&[chunk(b"fmt ", &mono_16())]),
            "byte 36: found the end of the file (36 bytes, truncated), needed a data chunk",
        ),
        (riff(&[chunk(b"data", &HALVES)]), "byte 12: found data, needed a fmt chunk before it"),
        (with(mono_16()[..14].to_vec()), "byte 16: found a fmt chunk of 14 bytes, needed at least 16"),
        (with(fmt(0xfffe, 1, 48_000, 2, 16)), "byte 16: found an extensible fmt chunk of 16 bytes, needed at least 40"),
        (with(fmt(1, 0, 48_000, 2, 16)), "byte 22: found 0 channels, needed at least one"),
        (with(fmt(1, 2, 48_000, 0, 16)), "byte 32: found 0 bytes a frame for 2 channels, needed a whole number each"),
        (with(fmt(1, 2, 48_000, 3, 16)), "byte 32: found 3 bytes a frame for 2 channels, needed a whole number each"),
        (with(fmt(1, 1, 48_000, 2, 24)), "byte 34: found 24 bits in 2 bytes, needed no more bits than the bytes hold"),
        (with(fmt(1, 1, 0, 2, 16)), "byte 24: a sample rate of 0 Hz, the range is 1000 to 768000 Hz"),
        (with(fmt(1, 1, u32::MAX, 2, 16)), "byte 24: a sample rate of 4294967295 Hz, the range is 1000 to 768000 Hz"),
        (with(fmt(1, 1, 48_000, 1, 8)), "byte 20: samples stored as 8 bits in 1 bytes, format number 0x0001"),
        (with(fmt(2, 1, 48_000, 2, 4)), "byte 20: samples stored as 4 bits in 2 bytes, format number 0x0002"),
        (with(foreign), "byte 44: samples stored as an extensible format of its own"),
        (riff(&[chunk(b"fmt ", &mono_16()), chunk(b"data", &[1])]), "truncated: holds no sample"),
    ] {
        let error = wav(&file).unwrap_err();
        assert_eq!(error.to_string(), format!("t.wav: {expected}"));
        assert!(!error.advice().is_empty());
    }
}

/// A header that claims 65535 channels or 4 GiB of samples takes no more memory than the file has bytes.
#[test]
fn an_absurd_header_takes_no_memory() {
    let file = riff(&[chunk(b"fmt ", &fmt(3, 65_528 / 8, 48_000, 65_528, 64)), chunk(b"data", &HALVES)]);
    assert!(matches!(wav(&with_length(file, b"data", u32::MAX - 1)), Err(FileError::NoSamples { .. })));
    let many: Vec<u8> = (0..20_000).flat_map(|_| chunk(b"junk", b"")).collect();
    let error = wav(&riff(&[many])).unwrap_err();
    assert!(error.to_string().contains("10000 chunks"), "{error}");
}

/// What each kind of file says of itself, or the error as people see it.
fn reading(path: &Path) -> String {
    let says = match path.extension().and_then(|extension| extension.to_str()) {
        Some("wav") => files::read_wav(path).map(|file| {
            let cut = file.cut_short.map_or_else(String::new, |cut| format!("; {cut}"));
            let (frames, channels) = (file.recording.frames(), file.recording.channels.len());
            format!("{frames} frames of {channels} channels{cut}")
        }),
        Some("toml") if path.ends_with("job.toml") || name(path).starts_with("job") => {
            files::read_job(path).map(|_| "a job".to_owned())
        }
        Some("toml") if name(path).starts_with("capture") => {
            files::read_capture_description(path).map(|_| "a capture".to_owned())
        }
        Some("toml") => files::read_signal_description(path).map(|_| "a signal".to_owned()),
        _ => files::read_curve(path).map(|curve| curve.says()),
    };
    says.unwrap_or_else(|error| format!("error: {error}\n  try: {}", error.advice()))
}

fn name(path: &Path) -> String {
    path.file_name().unwrap().to_string_lossy().into_owned()
}

/// Each file in `tests/regressions/` has a `.says` beside it: what its reading has to say. With `WRITE_SAYS` in the environment
/// they are written anew; read the difference before it is committed.
#[test]
fn every_broken_file_of_the_collection_says_what_it_said_before() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/regressions");
    let mut seen = 0;
    for entry in std::fs::read_dir(&folder).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|extension| extension == "says") {
            continue;
        }
        let says = folder.join(format!("{}.says", name(&path)));
        let found = reading(&path).replace(&format!("{}/", folder.display()), "");
        if std::env::var_os("WRITE_SAYS").is_some() {
            std::fs::write(&says, format!("{found}\n")).unwrap();
        }
        assert_eq!(found, std::fs::read_to_string(&says).unwrap_or_default().trim_end(), "{}", name(&path));
        seen += 1;
    }
    assert!(seen >= 30, "{seen} files only");
}

fn small_file(format: SampleFormat) -> Vec<u8> {
    let channels = vec![vec![0.5, -0.25, 0.125], vec![0.0, 0.75, -1.0]];
    let recording = Recording { rate: SampleRate::new(48_000).unwrap(), channels, format };
    files::wav_bytes(Path::new("t"), &recording).unwrap().0
}

const A_SIGNAL: &str = include_str!("regressions/signal-good.toml");
const A_CAPTURE: &str = include_str!("regressions/capture-good.toml");

/// An error must name the file and advise; a success needs nothing.
const A_SHEET: &str = "[driver.mid]\nre_ohm = 3.4\nfs_hz = 110\nqms = 4.2\nqes = 0.71\nvas_l = 2.3\nsd_cm2 = 50\n";

fn speaks<T>(result: Result<T, FileError>) {
    if let Err(error) = result {
        assert!(error.to_string().starts_with("t: ") && !error.advice().is_empty(), "{error}");
    }
}

fn changed(mut text: Vec<u8>, changes: &[(prop::sample::Index, u8)], cut: prop::sample::Index) -> Vec<u8> {
    for (at, byte) in changes {
        let at = at.index(text.len());
        text[at] = *byte;
    }
    text.truncate(cut.index(text.len() + 1));
    text
}

fn changes() -> impl Strategy<Value = Vec<(prop::sample::Index, u8)>> {
    prop::collection::vec(any::<(prop::sample::Index, u8)>(), 0..6)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_bytes_are_read_or_refused(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        let path = Path::new("t");
        speaks(files::read_wav_from(&mut Cursor::new(&bytes), path, Keep::All));
        speaks(files::curve_from(&bytes, path));
        let text = String::from_utf8_lossy(&bytes);
        speaks(files::job_from(&text, path));
        speaks(files::signal_description_from(&text, path));
        speaks(files::capture_description_from(&text, path));
        speaks(files::datasheet_from(&text, path));
        speaks(files::driver_result_from(&text, path));
    }

    #[test]
    fn any_text_like_a_touchstone_file_is_read_or_refused(
        options in "# ?(GHz|MHz|kHz|Hz|)? ?[ZYSGH]? ?(RI|MA|DB|)? ?(R [0-9.e-]{0,5})?",
        text in "[0-9.e+! \t\n\r#\\[\\]a-z-]{0,160}",
        end in "(\\[End\\]|\n1 2 3\n)?",
    ) {
        speaks(files::curve_from(format!("{options}\n{text}{end}").as_bytes(), Path::new("t")));
    }

    #[test]
    fn an_impedance_comes_back_from_its_touchstone_file(
        parts in prop::collection::vec((-4.0f64..6.0, -4.0f64..6.0, any::<bool>(), 0.001f64..0.5), 1..40),
        from_hz in 0.01f64..1e5,
    ) {
        let mut hz = from_hz;
        let mut grid = Vec::new();
        let mut values = Vec::new();
        for (re, im, below, step) in parts {
            hz *= 1.0 + step;
            grid.push(hz);
            values.push(num_complex::Complex64::new(10f64.powf(re), 10f64.powf(im) * if below { -1.0 } else { 1.0 }));
        }
        let written = Impedance::new(FrequencyGrid::new(grid).unwrap(), values).unwrap();
        let text = files::touchstone_text(&written, &[("note".to_owned(), "a # b\n! c".to_owned())]);
        let read = files::impedance_of(&files::curve_from(text.as_bytes(), Path::new("t.s1p")).unwrap()).unwrap();
        prop_assert_eq!(read.hz(), written.hz());
        for (read, written) in read.values().iter().zip(written.values()) {
            // 1e-13: to magnitude and degrees and back, in double precision.
            prop_assert!((read - written).norm() <= 1e-13 * written.norm(), "{} {}", read, written);
        }
    }

    #[test]
    fn a_changed_data_sheet_is_read_or_refused(changes in changes(), cut in any::<prop::sample::Index>()) {
        let sheet = changed(A_SHEET.into(), &changes, cut);
        speaks(files::datasheet_from(&String::from_utf8_lossy(&sheet), Path::new("t")));
    }

    #[test]
    fn any_table_like_text_is_read_or_refused(text in "[0-9.,;\t \n\re+#a-zµ-]{0,200}") {
        speaks(files::curve_from(text.as_bytes(), Path::new("t")));
    }

    #[test]
    fn a_changed_wav_is_read_or_refused(
        which in 0usize..5,
        changes in changes(),
        cut in any::<prop::sample::Index>(),
    ) {
        let format = [
            SampleFormat::Pcm16, SampleFormat::Pcm24, SampleFormat::Pcm32, SampleFormat::Float32, SampleFormat::Float64,
        ][which];
        let bytes = changed(small_file(format), &changes, cut);
        let read = files::read_wav_from(&mut Cursor::new(&bytes), Path::new("t"), Keep::All);
        if let Ok(file) = &read {
            let samples = file.recording.channels.iter().flatten();
            prop_assert!(samples.clone().count() <= bytes.len() && samples.clone().all(|sample| sample.is_finite()));
        }
        speaks(read);
    }

    #[test]
    fn a_changed_description_is_read_or_refused(changes in changes(), cut in any::<prop::sample::Index>()) {
        let path = Path::new("t");
        let signal = changed(A_SIGNAL.into(), &changes, cut);
        speaks(files::signal_description_from(&String::from_utf8_lossy(&signal), path));
        let capture = changed(A_CAPTURE.into(), &changes, cut);
        speaks(files::capture_description_from(&String::from_utf8_lossy(&capture), path));
    }
}

#[cfg(unix)]
#[test]
fn a_path_that_is_no_text_is_an_error_where_text_is_written() {
    use std::os::unix::ffi::OsStrExt;
    let mut capture = files::capture_description_from(A_CAPTURE, Path::new("t")).unwrap();
    capture.bench.mic = Some(Path::new(std::ffi::OsStr::from_bytes(b"mic-\xff.txt")).to_owned());
    let error = capture.text(Path::new("take.toml")).unwrap_err();
    assert!(error.to_string().starts_with("take.toml: can't be written as text"), "{error}");
}
