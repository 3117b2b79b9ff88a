//! A capture: sweeps go out, the reply comes in, and both lie on the disk with a description.
//!
//! No equation: an order of doing things, chosen so that nothing that sounded is lost, at whatever moment the program ends. The
//! recording's file is claimed first, then the excitation is written and read back, and what was read is played: the file is what was
//! heard. The description is written before the first sound, as that of a recording that broke off, and replaced at the end.
//! The recording gets its name last: whoever finds `NAME.wav` finds all that belongs to it.
//!
//! | file | holds |
//! |---|---|
//! | `NAME.wav.part`, `NAME.toml.part` | recording and description until they are whole; the recorder holds a lock on the first |
//! | `NAME.wav` | inputs 1 to the highest one used, so that a channel has one number on the card and in the file |
//! | `NAME.toml` | the description of the capture |
//! | `NAME.excitation.wav`, `.toml` | what was played, 24 bits, and its description |
//! | `NAME.truth.json` | what a simulated bench knows of itself |

use super::SignalSettings;
use super::capture_findings::findings;
use super::capture_names::Names;
use super::chain::{Chain, Inputs};
use super::record::way;
use crate::audio::{self, AudioError, Channels, MarksApart, Order, SoundCard, Take, Tell, TruthWanted};
use crate::files::{self, BenchUsed, CaptureDescription, FileError, Played, SignalDescription, Stream, WavWriter};
use crate::quantity::Finding;
use crate::signal::{Excitation, Plan, Recording, SampleFormat, Sequence, SignalError};
use std::io::Cursor;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

/// What is to be captured, and where to.
#[derive(Debug, Clone, PartialEq)]
pub struct CaptureOrder {
    /// The sweeps; their rate and level are those of the chain.
    pub sequence: Sequence,
    /// Devices and channels.
    pub chain: Chain,
    /// How the recording is stored.
    pub format: SampleFormat,
    /// A folder, which is made if it is not there, or a file whose name ends in `.wav`.
    pub out: PathBuf,
    /// Now, as RFC 3339 writes it.
    pub when: String,
    /// What the person knows of it.
    pub known: Known,
}

/// What the person knows of a capture, and no program can find out.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Known {
    /// Which loudspeaker.
    pub unit: Option<String>,
    /// At which stage of building.
    pub stage: Option<String>,
    /// Anything else.
    pub note: Option<String>,
    /// The microphone's table.
    pub mic: Option<PathBuf>,
    /// What 94 dB SPL give in the recording.
    pub mic_sensitivity_dbfs_at_94db: Option<f64>,
    /// From loudspeaker to microphone.
    pub distance_m: Option<f64>,
    /// Sense resistor of the impedance jig.
    pub sense_ohm: Option<f64>,
    /// How far the gains of the jig's two inputs may lie apart.
    pub gain_limit_db: Option<f64>,
    /// Peak voltage at the inputs that a sample value of 1 stands for.
    pub input_full_scale_v: Option<f64>,
}

/// A capture that lies on the disk; whether it is complete says its description.
#[derive(Debug, Clone, PartialEq)]
pub struct Captured {
    /// The recording.
    pub wav: PathBuf,
    /// Its description.
    pub toml: PathBuf,
    /// What was played.
    pub excitation_wav: PathBuf,
    /// Its description.
    pub excitation_toml: PathBuf,
    /// What the simulated bench knows of itself.
    pub truth: Option<PathBuf>,
    /// What [`Self::toml`] says.
    pub description: CaptureDescription,
    /// How the take went.
    pub take: Take,
    /// What was noticed.
    pub findings: Vec<Finding>,
}

/// Why there is no capture.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // the messages say what each field is
pub enum CaptureError {
    #[error(transparent)]
    Signal(#[from] SignalError),
    #[error(transparent)]
    File(#[from] FileError),
    #[error(transparent)]
    Audio(#[from] AudioError),
    #[error("{}: neither a folder nor a name that ends in .wav", path.display())]
    Out { path: PathBuf },
    #[error("{error}; the {kept_s:.2} s that were recorded are in {}", kept.display())]
    CutOff { error: Box<CaptureError>, kept: PathBuf, kept_s: f64 },
}

impl CaptureError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::Signal(error) => error.advice(),
            Self::File(FileError::Exists { .. }) => "give another --out; a capture never overwrites anything",
            Self::File(error) => error.advice(),
            Self::Audio(error) => error.advice(),
            Self::Out { .. } => "give --out a folder, or a name such as captures/rear-left.wav",
            Self::CutOff { error, .. } => error.advice(),
        }
    }
}

/// Whether a capture can begin: what was asked for can be played, and what is said about it can be read.
///
/// So that a person is told of a sound only when there will be one; [`capture`] relies on nothing of it.
///
/// # Errors
/// [`CaptureError`]; nothing is written.
pub fn can_begin(card: &dyn SoundCard, order: &CaptureOrder) -> Result<(), CaptureError> {
    if let Some(mic) = &order.known.mic {
        files::read_curve(mic)?;
    }
    super::capture_names::is_free(&order.out)?;
    let rate = order.sequence.sweep.rate;
    let excitation = order.sequence.excitation()?;
    files::has_room(&order.out, Expected::of(order, excitation.samples.len()).bytes())?;
    card.describe().check(rate, &to_play(order, &excitation.plan, excitation.samples)?.needed_channels())?;
    Ok(())
}

/// Outputs that play, and inputs up to the highest one used.
fn channels(chain: &Chain) -> Channels {
    let inputs = (0..chain.used_inputs().into_iter().max().unwrap_or(1)).collect();
    Channels { outputs: chain.outputs_from_0(), inputs }
}

/// What the card is asked for; time marks go to their own output where there is one.
fn to_play(order: &CaptureOrder, plan: &Plan, samples: Vec<f64>) -> Result<Order, AudioError> {
    let play = Order::new(order.sequence.sweep.rate, samples, channels(&order.chain))?;
    let spans = plan.mark_starts.iter().map(|&start| start..start + plan.mark_frames).collect();
    Ok(match order.chain.marks_output {
        Some(output) => play.with_marks_apart(MarksApart { output: output - 1, spans }),
        None => play,
    })
}

/// Plays, records, and leaves everything on the disk.
///
/// # Errors
/// [`CaptureError`]. Before the first sound nothing stays on the disk but what was there; after it the recording does,
/// under its own name where the disk allows ([`CaptureError::CutOff`] says where).
/// A device that went away or a stop is no error: see the description.
pub fn capture(
    card: &mut dyn SoundCard,
    order: &CaptureOrder,
    stop: &AtomicBool,
    tell: &mut Tell<'_>,
) -> Result<Captured, CaptureError> {
    if let Some(mic) = &order.known.mic {
        files::read_curve(mic)?;
    }
    let sequence = order.sequence;
    let excitation = sequence.excitation()?;
    let expected = Expected::of(order, excitation.samples.len());
    files::has_room(&order.out, expected.bytes())?;
    let (names, mut writer) = claim(order, &expected)?;
    let begun = Prepared::new(&names, &excitation, sequence).and_then(|prepared| {
        let description = description(card, order, &names, &prepared, not_yet_whole());
        files::create_new(&names.toml_part, description.text(&names.toml)?.as_bytes())?;
        Ok((prepared, description))
    });
    let (prepared, description) = match begun {
        Ok(begun) => begun,
        Err(error) => return Err(cut_off(error, writer, &names, None)),
    };
    let taken = to_play(order, &excitation.plan, prepared.samples).and_then(|play| {
        let mut hear = |frames: &[f32]| Ok(writer.write_f32(frames)?);
        card.take(&play, stop, &mut hear, tell)
    });
    let taken = taken.map_err(CaptureError::from).and_then(|take| Ok(writer.settle().map(|()| take)?));
    match taken {
        Ok(take) => complete(card, order, Recorded { names, description, take }, writer),
        Err(error) => Err(cut_off(error, writer, &names, Some(description))),
    }
}

/// What a capture will need.
struct Expected {
    frames: u64,
    channels: usize,
    format: SampleFormat,
    excitation_bytes: u64,
}

/// What a card records beside the excitation: silence before it, its latency, the tail.
const AROUND_S: f64 = 5.0;

impl Expected {
    fn of(order: &CaptureOrder, excitation_frames: usize) -> Self {
        let frames = (excitation_frames + order.sequence.sweep.rate.frames(AROUND_S)) as u64;
        let excitation_bytes = excitation_frames as u64 * u64::from(SampleFormat::Pcm24.bits() / 8);
        Self { frames, channels: channels(&order.chain).inputs.len(), format: order.format, excitation_bytes }
    }

    fn bytes(&self) -> u64 {
        self.frames * self.channels as u64 * u64::from(self.format.bits() / 8) + self.excitation_bytes
    }
}

/// Names that nobody has, and the recording's file under the first of them; who comes second takes the next one.
fn claim(order: &CaptureOrder, expected: &Expected) -> Result<(Names, WavWriter), CaptureError> {
    const MOST_TRIES: usize = 100;
    let (rate, format) = (order.sequence.sweep.rate, order.format);
    let mut tries = 0;
    loop {
        tries += 1;
        let names = Names::free(&order.out, order.chain.inputs.kind(), order.known.unit.as_deref())?;
        match WavWriter::create_new_of(&names.wav, rate, expected.channels, format, expected.frames) {
            Ok(writer) => return Ok((names, writer)),
            Err(FileError::Exists { .. }) if order.out.is_dir() && tries < MOST_TRIES => {}
            Err(error) => return Err(error.into()),
        }
    }
}

/// The excitation as it lies on the disk.
struct Prepared {
    samples: Vec<f64>,
    sha256: String,
}

impl Prepared {
    /// Writes the excitation, and reads it back: 24 bits round it.
    fn new(names: &Names, excitation: &Excitation, sequence: Sequence) -> Result<Self, CaptureError> {
        let (path, format) = (&names.excitation_wav, SampleFormat::Pcm24);
        let channels = vec![excitation.samples.clone()];
        let (bytes, _) = files::wav_bytes(path, &Recording { rate: excitation.rate, channels, format })?;
        let sha256 = files::sha256_of_bytes(&bytes);
        let mut description = SignalDescription::of(excitation, &sha256);
        let settings = SignalSettings::Sweep(sequence);
        description.command = settings.command(format);
        description.settings = settings.table();
        description.settings.insert("format".into(), "24".into());
        files::create_new(path, &bytes)?;
        files::create_new(&names.excitation_toml, description.text().as_bytes())?;
        let mut read = files::read_wav_from(&mut Cursor::new(&bytes), path, files::Keep::All)?;
        Ok(Self { samples: read.recording.channels.remove(0), sha256 })
    }
}

/// Puts away what a take that failed has left: nothing recorded, nothing stays; else the recording does, as one that broke off.
fn cut_off(
    error: CaptureError,
    mut writer: WavWriter,
    names: &Names,
    description: Option<CaptureDescription>,
) -> CaptureError {
    // What could not be written has been left out, and is not counted.
    let _ = writer.settle();
    let frames = writer.written().frames;
    let Some(mut description) = description.filter(|_| frames > 0) else {
        drop(writer);
        // All of them are ours and hold nothing that sounded; one that can't be removed does no harm. The claim goes last.
        for path in [&names.toml_part, &names.excitation_wav, &names.excitation_toml, &names.part] {
            let _ = std::fs::remove_file(path);
        }
        return error;
    };
    description.stream.frames = frames;
    let kept_s = frames as f64 / f64::from(description.bench.rate_hz.unwrap_or(1).max(1));
    // Where there is no room for it, all keep the names of what is not whole; `status --do` counts and names them later.
    let is_named = describe(names, &description)
        .and_then(|()| files::rename_new(&names.toml_part, &names.toml))
        .and_then(|()| writer.finish())
        .is_ok();
    kept_in(if is_named { &names.wav } else { &names.part }, kept_s, error)
}

/// The sound was recorded, but something after it failed; the recording is named.
fn kept_in(kept: &Path, kept_s: f64, error: impl Into<CaptureError>) -> CaptureError {
    CaptureError::CutOff { error: Box::new(error.into()), kept: kept.to_owned(), kept_s }
}

/// A take that came to its end.
struct Recorded {
    names: Names,
    description: CaptureDescription,
    take: Take,
}

/// Writes truth and description beside the recording, and then gives all of them their names.
fn complete(
    card: &dyn SoundCard,
    order: &CaptureOrder,
    recorded: Recorded,
    writer: WavWriter,
) -> Result<Captured, CaptureError> {
    let Recorded { names, mut description, take } = recorded;
    let rate = order.sequence.sweep.rate;
    let kept_s = rate.seconds(take.frames);
    let unnamed = |error: FileError| kept_in(&names.part, kept_s, error);
    let wanted = TruthWanted { rate, level_dbfs: order.sequence.level_dbfs, duration_s: kept_s };
    let truth = match card.truth(wanted) {
        Some(truth) => {
            let text = serde_json::to_string_pretty(&truth).map_err(|error| {
                unnamed(FileError::NotWritable { path: names.truth.clone(), says: error.to_string() })
            })?;
            files::create_new(&names.truth, format!("{text}\n").as_bytes()).map_err(unnamed)?;
            Some(names.truth.clone())
        }
        None => None,
    };
    description.truth = truth.as_deref().map(file_name);
    description.stream = stream(&take);
    describe(&names, &description).map_err(unnamed)?;
    files::rename_new(&names.toml_part, &names.toml).map_err(unnamed)?;
    writer.finish().map_err(unnamed)?;
    Ok(Captured {
        wav: names.wav,
        toml: names.toml,
        excitation_wav: names.excitation_wav,
        excitation_toml: names.excitation_toml,
        truth,
        description,
        findings: findings(&take, &order.chain),
        take,
    })
}

/// Replaces the description by a truer one, at once.
fn describe(names: &Names, description: &CaptureDescription) -> Result<(), FileError> {
    files::replace(&names.toml_part, description.text(&names.toml)?.as_bytes())
}

/// The description as it is before the first sound.
fn description(
    card: &dyn SoundCard,
    order: &CaptureOrder,
    names: &Names,
    prepared: &Prepared,
    stream: Stream,
) -> CaptureDescription {
    let known = &order.known;
    CaptureDescription {
        schema: files::CAPTURE_SCHEMA.into(),
        made_by: crate::MADE_BY.into(),
        kind: order.chain.inputs.kind(),
        when: order.when.clone(),
        unit: known.unit.clone(),
        stage: known.stage.clone(),
        note: known.note.clone(),
        truth: None,
        excitation: Played { path: file_name(&names.excitation_wav), sha256: prepared.sha256.clone() },
        bench: bench_used(card, order),
        stream,
    }
}

/// A recording that will have broken off unless something else is said.
fn not_yet_whole() -> Stream {
    Stream {
        frames: 0,
        wall_clock_s: None,
        dropouts: 0,
        overruns: 0,
        other_errors: 0,
        ended: files::Ended::BrokenOff,
        remarks: Vec::new(),
    }
}

fn file_name(path: &Path) -> PathBuf {
    path.file_name().map_or_else(|| path.to_owned(), PathBuf::from)
}

fn bench_used(card: &dyn SoundCard, order: &CaptureOrder) -> BenchUsed {
    let (facts, chain, known) = (card.describe(), &order.chain, &order.known);
    let inputs = match chain.inputs {
        Inputs::Response { reply_channel, reference_channel } => {
            BenchUsed { reply_channel: Some(reply_channel), reference_channel, ..BenchUsed::default() }
        }
        Inputs::Impedance { drive_channel, load_channel } => {
            BenchUsed { drive_channel: Some(drive_channel), load_channel: Some(load_channel), ..BenchUsed::default() }
        }
    };
    BenchUsed {
        output: Some(facts.output.id),
        input: Some(facts.input.id),
        rate_hz: Some(order.sequence.sweep.rate.whole_hz()),
        output_channels: chain.output_channels.clone(),
        marks_output: chain.marks_output,
        level_dbfs: Some(order.sequence.level_dbfs),
        mic: known.mic.as_deref().map(|mic| from_captures(mic, &order.out)),
        mic_sensitivity_dbfs_at_94db: known.mic_sensitivity_dbfs_at_94db,
        distance_m: known.distance_m,
        sense_ohm: known.sense_ohm,
        gain_limit_db: known.gain_limit_db,
        input_full_scale_v: known.input_full_scale_v,
        ..inputs
    }
}

/// A file as the description names it: relative to the captures where it lies in the folder around them, so that a job can be moved; whole
/// elsewhere.
fn from_captures(file: &Path, out: &Path) -> PathBuf {
    let folder = if out.extension().is_some() { out.parent().unwrap_or(Path::new("")) } else { out };
    let way = way(folder, file);
    let is_of_job = way.components().filter(|part| *part == std::path::Component::ParentDir).count() <= 1;
    if is_of_job { way } else { std::path::absolute(file).unwrap_or_else(|_| file.to_owned()) }
}

fn stream(take: &Take) -> Stream {
    let trouble = take.trouble;
    Stream {
        frames: take.frames as u64,
        wall_clock_s: Some(take.wall_clock_s),
        dropouts: trouble.input_overruns + trouble.output_underruns,
        overruns: trouble.frames_dropped,
        other_errors: trouble.unexplained_errors + trouble.other_errors,
        ended: match take.ended {
            audio::Ended::Complete => files::Ended::Complete,
            audio::Ended::Stopped => files::Ended::Stopped,
            audio::Ended::DeviceLost { .. } => files::Ended::DeviceLost,
        },
        remarks: take.remarks.clone(),
    }
}
