//! From a capture on disk to its response on disk: the files, the settings, the result.
//!
//! What an option says comes first, then what the capture's own description says, then the job.

use super::capture_files::{CaptureFiles, description_beside, description_path, excitation_beside};
use super::capture_names::stem_of;
use super::known_excitation::{KnownExcitation, known_excitation};
use super::long_recording::{ReadChannels, read_channels};
use super::placement::{RoomOrder, first_reflection_s, placed_findings, placement};
use super::record::{LEAD_S, Ran, plain};
use super::response_document::document;
use super::response_pictures::{Look, response_pictures};
use super::results_folder::{Listing, make_folder, overwritten, replace_document};
use crate::files::{
    self, CaptureDescription, Curve, Ended, FileError, JobBench, Measure, ResponseDocument, WrittenFile,
};
use crate::quantity::Air;
use crate::report::{Picture, ReportError};
use crate::response::{
    Analysis, GateChoice, LevelReference, MarksPath, MicrophoneTable, OctaveFraction, Placement, ResponseError,
    Settings, analyse,
};
use crate::signal::{Recording, SampleFormat};
use std::path::{Path, PathBuf};

/// A response that is to be had from a capture; what is absent comes from the capture's description, the job, or a
/// default. Channels count from 1.
#[derive(Debug, Clone, PartialEq)]
pub struct ResponseOrder {
    /// The capture.
    pub wav: PathBuf,
    /// What was played.
    pub excitation: Option<PathBuf>,
    /// Channel with the reply.
    pub reply: Option<usize>,
    /// Channel with the loopback, or that there is none.
    pub reference: Option<ReferenceChoice>,
    /// Which part of the reply counts.
    pub gate: GateChoice,
    /// Smoothing of data and pictures; absent: none in the data, a twelfth of an octave in the pictures.
    pub smoothing: SmoothingChoice,
    /// Points an octave.
    pub points_per_octave: u32,
    /// The microphone's table.
    pub microphone: Option<PathBuf>,
    /// What the table holds.
    pub table_is: TableIs,
    /// What 94 dB SPL give in the recording.
    pub sensitivity_dbfs_at_94db: Option<f64>,
    /// From loudspeaker to microphone.
    pub distance_m: Option<f64>,
    /// The room it stands in: its walls bound a proposed gate.
    pub room: Option<RoomOrder>,
    /// The rms voltage at the loudspeaker for a sine of the excitation's level.
    pub drive_v: Option<f64>,
    /// Where results go; absent: beside the capture, in a folder named after it.
    pub out: Option<PathBuf>,
    /// The job's bench, for defaults.
    pub bench: JobBench,
    /// Whether pictures are drawn.
    pub pictures: Pictures,
    /// The command that asks for it, for the record.
    pub ran: Ran,
}

impl ResponseOrder {
    /// The folder for the results.
    pub fn folder(&self) -> PathBuf {
        self.out.clone().unwrap_or_else(|| stem_of(&self.wav))
    }
}

/// What a reply is divided by.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ReferenceChoice {
    /// The loopback in this channel.
    Channel(usize),
    /// The excitation's own samples, also where a loopback was recorded.
    None,
}

/// What is smoothed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SmoothingChoice {
    /// The pictures by a twelfth of an octave, the data not.
    PicturesOnly,
    /// Nothing.
    Nothing,
    /// Both, by a fraction of an octave.
    Both(OctaveFraction),
}

/// What a microphone's table holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TableIs {
    /// The microphone's own response: it is taken off.
    Response,
    /// What has to be added.
    Correction,
}

/// Whether pictures are drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pictures {
    /// As SVG and PNG.
    Drawn,
    /// None.
    None,
}

/// A response that was had.
pub struct Responded {
    /// All that the recording tells.
    pub analysis: Analysis,
    /// The result as a document.
    pub document: ResponseDocument,
    /// The pictures, by name.
    pub pictures: Vec<(&'static str, Picture)>,
    /// Where the result files are.
    pub folder: PathBuf,
}

/// Why a response could not be had.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // each carries its own message
pub enum RespondError {
    #[error(transparent)]
    File(#[from] FileError),
    #[error("{}: {source}", path.display())]
    Response { path: PathBuf, source: ResponseError },
    #[error(transparent)]
    Report(#[from] ReportError),
    #[error(transparent)]
    Room(ResponseError),
    #[error("{}: nothing says what was played: no description of a capture lies beside it", path.display())]
    NoExcitation { path: PathBuf },
    #[error("{}: this table is no microphone's: {found}", path.display())]
    Microphone { path: PathBuf, found: String },
    #[error("{}: it was played for {}, whose description names it, and is not there", excitation.display(), path.display())]
    ExcitationGone { path: PathBuf, excitation: PathBuf },
    #[error("{}: channel 0 was asked for, channels count from 1", path.display())]
    ChannelZero { path: PathBuf },
    #[error("{}: channel {channel} is both reply and reference, they are two channels", path.display())]
    SameChannel { path: PathBuf, channel: usize },
    #[error("{}: the results would take its place", path.display())]
    OverInput { path: PathBuf },
    #[error("{}: the results' folder can't be made, a file has that name", folder.display())]
    FileInTheWay { folder: PathBuf },
}

impl RespondError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::File(error) => error.advice(),
            Self::Response { source, .. } | Self::Room(source) => source.advice(),
            Self::Report(error) => error.advice(),
            Self::NoExcitation { .. } => "name the WAV that was played with --excitation",
            Self::Microphone { .. } => "give a table of frequency in Hz and level in dB",
            Self::ExcitationGone { .. } => "put it back beside the capture, or name what was played with --excitation",
            Self::ChannelZero { .. } => "count channels from 1",
            Self::SameChannel { .. } => "give --reply and --reference different channels, or --reference none",
            Self::OverInput { .. } => "give --out another folder; what was measured is never overwritten",
            Self::FileInTheWay { .. } => "give --out a folder",
        }
    }
}

/// The order with all defaults filled in.
pub(super) struct Filled {
    /// The capture's own description, where there is one.
    pub description: Option<PathBuf>,
    pub excitation: PathBuf,
    pub reply: usize,
    pub reference: Option<usize>,
    pub marks: MarksPath,
    pub microphone: Option<PathBuf>,
    pub sensitivity_dbfs_at_94db: Option<f64>,
    pub distance_m: Option<f64>,
    /// Where it was, if the room is known.
    pub placed: Option<Placement>,
}

/// The response of a capture, written to its folder.
///
/// # Errors
/// [`RespondError`] when a file can't be read or written, or the capture can't be used.
pub fn respond(order: &ResponseOrder) -> Result<Responded, RespondError> {
    let looked = LookedUp::of(order)?;
    let LookedUp { description, filled, known, settings, .. } = &looked;
    let folder = order.folder();
    check_out(&folder, order, filled)?;
    let ReadChannels { recording, cut_short, stretch_s } = looked.recording(order)?;
    let in_capture = |source| {
        let source = if_cut_short(source, &recording, known, description.as_ref());
        RespondError::Response { path: order.wav.clone(), source }
    };
    let mut analysis = analyse(&recording, &known.excitation, settings).map_err(in_capture)?;
    let of_files = CaptureFiles {
        wav: &order.wav,
        excitation: &filled.excitation,
        known,
        cut_short: cut_short.as_ref(),
        description: description.as_ref(),
        repeats: Some(analysis.repeats.len()),
    };
    if let Some([from_s, _]) = stretch_s {
        analysis.begin_at(from_s);
    }
    analysis.findings.extend(of_files.findings()?);
    if let (Some(placed), Some(room)) = (&filled.placed, &order.room) {
        analysis.findings.extend(placed_findings(placed, room, &Air::default()));
    }
    analysis.findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    let _held = make_folder(&folder)?;
    let pictures = match order.pictures {
        Pictures::Drawn => {
            let look = Look {
                unit: &title(order, description.as_ref()),
                level_reference: &settings.level.name().replace("uPa", "µPa"),
                played_hz: known.excitation.plan.band_hz,
                smoothing: order.smoothing,
            };
            response_pictures(&analysis, &look)
        }
        Pictures::None => Vec::new(),
    };
    let mut document = document(order, filled, known, settings, &analysis)?;
    document.settings.read_s = stretch_s;
    document.provenance = order.ran.told(&folder)?;
    document.files = write(&folder, &document, &analysis, &pictures)?;
    replace_document(&folder.join("result.json"), &document)?;
    Ok(Responded { analysis, document, pictures, folder })
}

/// Of a capture that is not whole, and can hold no whole sweep, that it has none: not that something else was played.
fn if_cut_short(
    error: ResponseError,
    recording: &Recording,
    known: &KnownExcitation,
    description: Option<&CaptureDescription>,
) -> ResponseError {
    let plan = &known.excitation.plan;
    let is_cut_short = description.is_some_and(|description| description.stream.ended != Ended::Complete);
    let first_end_s = recording.rate.seconds(plan.starts.first().unwrap_or(&0) + plan.frames);
    let recorded_s = recording.duration_s();
    let is_about_content = matches!(error, ResponseError::WrongExcitation { .. } | ResponseError::TooQuiet { .. });
    if is_cut_short && is_about_content && recorded_s < first_end_s + LEAD_S {
        return ResponseError::NoWholeSweep { recorded_s, sweep_s: recording.rate.seconds(plan.frames) };
    }
    error
}

/// What an order means once its capture's description, the excitation and the microphone's table have been looked up.
pub(super) struct LookedUp {
    pub description: Option<CaptureDescription>,
    pub filled: Filled,
    pub known: KnownExcitation,
    pub settings: Settings,
}

impl LookedUp {
    pub(super) fn of(order: &ResponseOrder) -> Result<Self, RespondError> {
        // A capture that can't be read at all is told before anything is missed beside it.
        files::wav_facts(&order.wav)?;
        let description = description_beside(&order.wav)?;
        let filled = fill(order, description.as_ref())?;
        let known = known_excitation(&filled.excitation)?;
        let settings = settings(order, &filled, &known)?;
        Ok(Self { description, filled, known, settings })
    }

    /// The channels that count, and where the file ends too early.
    pub(super) fn recording(&self, order: &ResponseOrder) -> Result<ReadChannels, RespondError> {
        let wanted: Vec<usize> = self.filled.reference.into_iter().chain([self.filled.reply]).collect();
        let heard = wanted[0];
        Ok(read_channels(&order.wav, wanted, heard, &self.known.excitation)?)
    }
}

/// The results' names that a file of the person could have as well.
const RESULT_NAMES: [&str; 7] =
    ["impulse.wav", "response.csv", "phase.csv", "decay.csv", "distortion.csv", "high-order.csv", "result.json"];

/// Whether results can go into `folder` without taking the place of what they come from.
fn check_out(folder: &Path, order: &ResponseOrder, filled: &Filled) -> Result<(), RespondError> {
    if folder.is_file() {
        return Err(RespondError::FileInTheWay { folder: folder.to_owned() });
    }
    let inputs = [Some(order.wav.as_path()), Some(&filled.excitation), filled.microphone.as_deref()];
    match overwritten(folder, &RESULT_NAMES, inputs.into_iter().flatten()) {
        Some(path) => Err(RespondError::OverInput { path: path.to_owned() }),
        None => Ok(()),
    }
}

fn fill(order: &ResponseOrder, description: Option<&CaptureDescription>) -> Result<Filled, RespondError> {
    let beside = |path: &Path| plain(&order.wav.parent().map_or_else(|| path.to_owned(), |folder| folder.join(path)));
    let described = description.map(|description| &description.bench);
    let excitation = order
        .excitation
        .clone()
        .or_else(|| description.map(|description| beside(&description.excitation.path)))
        .or_else(|| excitation_beside(&order.wav))
        .ok_or_else(|| RespondError::NoExcitation { path: order.wav.clone() })?;
    if order.excitation.is_none() && !excitation.exists() {
        return Err(RespondError::ExcitationGone { path: order.wav.clone(), excitation });
    }
    let reply = order.reply.or(described.and_then(|bench| bench.reply_channel)).or(order.bench.reply_channel);
    let reply = reply.unwrap_or(1);
    let reference = match (order.reference, described) {
        (Some(ReferenceChoice::Channel(channel)), _) => Some(channel),
        (Some(ReferenceChoice::None), _) => None,
        (None, Some(bench)) => bench.reference_channel,
        (None, None) => order.bench.reference_channel,
    };
    if reply == 0 || reference == Some(0) {
        return Err(RespondError::ChannelZero { path: order.wav.clone() });
    }
    if reference == Some(reply) {
        return Err(RespondError::SameChannel { path: order.wav.clone(), channel: reply });
    }
    let distance_m = order.distance_m.or(described.and_then(|bench| bench.distance_m)).or(order.bench.distance_m);
    Ok(Filled {
        description: description.and_then(|_| description_path(&order.wav)),
        excitation,
        reply: reply - 1,
        reference: reference.map(|channel| channel - 1),
        marks: match described.and_then(|bench| bench.marks_output) {
            Some(_) => MarksPath::Own,
            None => MarksPath::Shared,
        },
        microphone: order
            .microphone
            .clone()
            .or_else(|| described.and_then(|bench| bench.mic.as_deref().map(beside)))
            .or_else(|| order.bench.mic.clone()),
        sensitivity_dbfs_at_94db: order
            .sensitivity_dbfs_at_94db
            .or(described.and_then(|bench| bench.mic_sensitivity_dbfs_at_94db))
            .or(order.bench.mic_sensitivity_dbfs_at_94db),
        distance_m,
        placed: order.room.map(|room| placement(&room, distance_m)).transpose().map_err(RespondError::Room)?,
    })
}

fn settings(order: &ResponseOrder, filled: &Filled, known: &KnownExcitation) -> Result<Settings, RespondError> {
    let microphone = filled.microphone.as_deref().map(|path| microphone(path, order.table_is)).transpose()?;
    let excitation_dbfs = known.excitation.plan.level_dbfs;
    let level = match (filled.sensitivity_dbfs_at_94db, order.drive_v, filled.distance_m) {
        (None, _, _) => LevelReference::ReplyOverDrive,
        (Some(sensitivity_dbfs_at_94db), Some(drive_v), Some(distance_m)) => {
            LevelReference::PressureAtOneMetre { sensitivity_dbfs_at_94db, excitation_dbfs, drive_v, distance_m }
        }
        (Some(sensitivity_dbfs_at_94db), _, _) => {
            LevelReference::Pressure { sensitivity_dbfs_at_94db, excitation_dbfs }
        }
    };
    Ok(Settings {
        reply: filled.reply,
        reference: filled.reference,
        marks: filled.marks,
        gate: order.gate,
        reflection_due_s: filled.placed.as_ref().map(first_reflection_s),
        smoothing: match order.smoothing {
            SmoothingChoice::Both(fraction) => Some(fraction),
            SmoothingChoice::PicturesOnly | SmoothingChoice::Nothing => None,
        },
        points_per_octave: order.points_per_octave,
        microphone,
        level,
    })
}

fn microphone(path: &Path, table_is: TableIs) -> Result<MicrophoneTable, RespondError> {
    let curve = files::read_curve(path)?;
    let refuse = || RespondError::Microphone { path: path.to_owned(), found: curve.says() };
    if curve.measure != Measure::LevelDb {
        return Err(refuse());
    }
    let sign = match table_is {
        TableIs::Response => 1.0,
        TableIs::Correction => -1.0,
    };
    let signed = |values: &[f64], scale: f64| values.iter().map(|value| sign * scale * value).collect::<Vec<f64>>();
    let phase_rad = curve.phase_deg.as_deref().map(|degrees| signed(degrees, std::f64::consts::PI / 180.0));
    MicrophoneTable::new(&curve.frequency_hz, signed(&curve.values, 1.0), phase_rad).ok_or_else(refuse)
}

fn title(order: &ResponseOrder, description: Option<&CaptureDescription>) -> String {
    let unit = description.and_then(|description| description.unit.clone());
    unit.or_else(|| stem_of(&order.wav).file_name().map(|stem| stem.to_string_lossy().into_owned())).unwrap_or_default()
}

/// Writes everything but the document itself, and lists all with it.
fn write(
    folder: &Path,
    document: &ResponseDocument,
    analysis: &Analysis,
    pictures: &[(&'static str, Picture)],
) -> Result<Vec<WrittenFile>, RespondError> {
    let mut listing = Listing::new(folder);
    let impulse = Recording {
        rate: analysis.rate,
        channels: vec![analysis.impulse.samples.clone()],
        format: SampleFormat::Float32,
    };
    files::replace_wav(&listing.add("impulse.wav", "impulse response"), &impulse)?;
    let header = [
        ("schema".to_owned(), document.schema.clone()),
        ("made_by".to_owned(), document.made_by.clone()),
        ("level_reference".to_owned(), document.level_reference.clone()),
        ("arrival_ms".to_owned(), document.arrival.value.to_string()),
        ("time_reference".to_owned(), document.settings.time_reference.clone()),
    ]
    .into_iter()
    // Marks of another band have another arrival.
    .chain(
        document
            .settings
            .mark_band_hz
            .map(|[from_hz, to_hz]| ("mark_band_hz".to_owned(), format!("{from_hz} to {to_hz}"))),
    )
    // With a loopback the arrival is a time of flight.
    .chain(document.settings.reference_channel.map(|_| {
        let metres = 1e-3 * document.arrival.value * Air::default().speed_of_sound_m_s();
        ("travelled_m".to_owned(), metres.to_string())
    }))
    .chain(document.settings.distance_m.map(|metres| ("distance_m".to_owned(), metres.to_string())))
    .chain([
        ("phase".to_owned(), document.settings.phase_reference.clone()),
        ("gate_ms".to_owned(), document.gate.length_ms.to_string()),
        ("smoothing".to_owned(), document.settings.smoothing.clone()),
    ])
    .chain(files::fault_lines(&document.findings))
    .collect::<Vec<_>>();
    let curve = Curve {
        measure: Measure::LevelDb,
        frequency_hz: document.curve.frequency_hz.clone(),
        values: document.curve.level_db.clone(),
        phase_deg: Some(document.curve.phase_deg.clone()),
        u: Some(document.curve.u_db.clone()),
        u_noise: None,
        header: header.clone(),
        notes: Vec::new(),
    };
    files::replace_curve(&listing.add("response.csv", "frequency response"), &curve)?;
    let phase = files::phase_text(&document.curve.frequency_hz, &document.phase, &header[..2]);
    files::replace(&listing.add("phase.csv", "group delay, minimum and excess phase"), phase.as_bytes())?;
    let decay = &analysis.fading.decay;
    let slices: Vec<(f64, &[Option<f64>])> =
        decay.slices.iter().map(|slice| (1e3 * slice.time_s, slice.level_db.as_slice())).collect();
    let text = files::decay_text(&decay.hz, &slices, &header[..2]);
    files::replace(&listing.add("decay.csv", "cumulative spectral decay"), text.as_bytes())?;
    if let Some(table) = &document.distortion {
        let text = files::distortion_text(table, &header[..2]);
        files::replace(&listing.add("distortion.csv", "harmonic distortion"), text.as_bytes())?;
    }
    if let Some(table) = &document.high_order {
        let text = files::high_order_text(table, &header[..2]);
        files::replace(&listing.add("high-order.csv", "content above the 20th harmonic"), text.as_bytes())?;
    }
    let titled: Vec<_> = pictures.iter().map(|(name, picture)| (*name, picture.title(), picture)).collect();
    listing.pictures::<RespondError>(&titled)?;
    listing.add("result.json", "this document");
    Ok(listing.files())
}
