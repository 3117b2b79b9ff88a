//! From a jig's captures on disk to an impedance on disk: the files, the settings, the result.
//!
//! What an option says comes first, then what the capture's own description says, then the job.

use super::Pictures;
use super::capture_files::{CaptureFiles, description_beside, excitation_beside};
use super::capture_names::stem_of;
use super::impede_document::document;
use super::known_excitation::{KnownExcitation, known_excitation};
use super::long_recording::{ReadChannels, read_channels};
use super::record::Ran;
use super::results_folder::{Listing, make_folder, overwritten, replace_document};
use crate::files::{self, BenchUsed, CaptureDescription, FileError, ImpedanceDocument, JobBench, WrittenFile};
use crate::impedance::{
    ImpedanceError, JigCapture, JigCaptures, JigFacts, MeasureSettings, Measured, measure_impedance,
};
use crate::quantity::Finding;
use crate::report::{ImpedancePicture, OhmCurve, Origin, Picture, ReportError};
use crate::signal::Recording;
use std::path::{Path, PathBuf};

/// An impedance that is to be had from a capture; what is absent comes from the capture's description, the job, or a
/// default. Channels count from 1.
#[derive(Debug, Clone, PartialEq)]
pub struct ImpedanceOrder {
    /// The capture with the load.
    pub wav: PathBuf,
    /// What was played.
    pub excitation: Option<PathBuf>,
    /// Channel before the sense resistor.
    pub drive: Option<usize>,
    /// Channel across the load.
    pub load: Option<usize>,
    /// The sense resistor.
    pub sense_ohm: Option<f64>,
    /// How far it may be off, as a ratio.
    pub sense_tolerance_ratio: f64,
    /// How far the gains of the two inputs may lie apart.
    pub gain_limit_db: Option<f64>,
    /// The leads.
    pub lead_ohm: Option<f64>,
    /// A capture with nothing connected.
    pub open: Option<PathBuf>,
    /// A capture with the ends of the leads together.
    pub short: Option<PathBuf>,
    /// A capture with a known resistor.
    pub known: Option<PathBuf>,
    /// Its value.
    pub known_ohm: Option<f64>,
    /// How far it may be off, as a ratio.
    pub known_tolerance_ratio: f64,
    /// Peak voltage that a sample value of 1 stands for.
    pub input_full_scale_v: Option<f64>,
    /// Points an octave.
    pub points_per_octave: u32,
    /// Which band is wanted.
    pub band_hz: Option<[f64; 2]>,
    /// Where results go; absent: beside the capture, in a folder named after it.
    pub out: Option<PathBuf>,
    /// The job's bench, for defaults.
    pub bench: JobBench,
    /// Whether pictures are drawn.
    pub pictures: Pictures,
    /// The command that asks for it, for the record.
    pub ran: Ran,
}

/// An impedance that was had.
pub struct Impeded {
    /// All that the captures tell.
    pub measured: Measured,
    /// The result as a document.
    pub document: ImpedanceDocument,
    /// The picture, where it was drawn.
    pub picture: Option<Picture>,
    /// Where the result files are.
    pub folder: PathBuf,
}

/// Why an impedance could not be had.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // each carries its own message
pub enum ImpedeError {
    #[error(transparent)]
    File(#[from] FileError),
    #[error("{}: {source}", path.display())]
    Impedance { path: PathBuf, source: ImpedanceError },
    #[error(transparent)]
    Report(#[from] ReportError),
    #[error("{}: nothing says what was played: no description of a capture lies beside it", path.display())]
    NoExcitation { path: PathBuf },
    #[error("{}: nothing says how large the sense resistor is", path.display())]
    NoSense { path: PathBuf },
    #[error("{}: the results would take its place", path.display())]
    OverInput { path: PathBuf },
    #[error("{}: the results' folder can't be made, a file has that name", folder.display())]
    FileInTheWay { folder: PathBuf },
}

impl ImpedeError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::File(error) => error.advice(),
            Self::Impedance { source, .. } => source.advice(),
            Self::Report(error) => error.advice(),
            Self::NoExcitation { .. } => "name the WAV that was played with --excitation",
            Self::NoSense { .. } => "give its value with --sense-ohm, or as sense_ohm under [bench] in job.toml",
            Self::OverInput { .. } => "give --out another folder; what was measured is never overwritten",
            Self::FileInTheWay { .. } => "give --out a folder",
        }
    }
}

/// A capture as its files have it.
pub(super) struct Taken {
    pub wav: PathBuf,
    pub description: Option<CaptureDescription>,
    pub excitation: PathBuf,
    pub known: KnownExcitation,
    pub recording: Recording,
    pub cut_short: Option<files::CutShort>,
    /// From 0.
    pub drive: usize,
    pub load: usize,
}

/// The impedance of a capture, written to its folder.
///
/// # Errors
/// [`ImpedeError`] when a file can't be read or written, or a capture can't be used.
pub fn impede(order: &ImpedanceOrder) -> Result<Impeded, ImpedeError> {
    let load = take(order, &order.wav, None)?;
    let mut told = Vec::new();
    for wav in [&order.open, &order.short, &order.known] {
        told.push(wav.as_deref().map(|wav| take(order, wav, Some(&load.excitation))).transpose()?);
    }
    let settings = settings(order, load.description.as_ref())?;
    let folder = order.out.clone().unwrap_or_else(|| stem_of(&order.wav));
    let inputs: Vec<&Taken> = std::iter::once(&load).chain(told.iter().flatten()).collect();
    check_out(&folder, &inputs)?;
    let captures = JigCaptures {
        load: load.capture(),
        open: told[0].as_ref().map(Taken::capture),
        short: told[1].as_ref().map(Taken::capture),
        known: told[2].as_ref().map(Taken::capture),
    };
    let in_capture = |source| ImpedeError::Impedance { path: order.wav.clone(), source };
    let mut measured = measure_impedance(&captures, &settings).map_err(in_capture)?;
    for taken in &inputs {
        measured.findings.extend(taken.findings()?);
    }
    measured.findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    let _held = make_folder(&folder)?;
    let mut document = document(order, &settings, &inputs, &measured)?;
    let picture = (order.pictures == Pictures::Drawn).then(|| picture(&load.title(), &measured));
    document.provenance = order.ran.told(&folder)?;
    document.files = write(&folder, &document, &measured, picture.as_ref())?;
    replace_document(&folder.join("result.json"), &document)?;
    Ok(Impeded { measured, document, picture, folder })
}

/// What was set, else what the capture's description says, else the job.
fn settings(order: &ImpedanceOrder, description: Option<&CaptureDescription>) -> Result<MeasureSettings, ImpedeError> {
    let described = description.map_or_else(BenchUsed::default, |description| description.bench.clone());
    let sense_ohm = order.sense_ohm.or(described.sense_ohm).or(order.bench.sense_ohm);
    Ok(MeasureSettings {
        facts: JigFacts {
            sense_ohm: sense_ohm.ok_or_else(|| ImpedeError::NoSense { path: order.wav.clone() })?,
            sense_tolerance_ratio: order.sense_tolerance_ratio,
            lead_ohm: order.lead_ohm,
            known_ohm: order.known_ohm,
            known_tolerance_ratio: order.known_tolerance_ratio,
            gain_limit_db: order.gain_limit_db.or(described.gain_limit_db).or(order.bench.gain_limit_db),
        },
        points_per_octave: order.points_per_octave,
        band_hz: order.band_hz,
        input_full_scale_v: order
            .input_full_scale_v
            .or(described.input_full_scale_v)
            .or(order.bench.input_full_scale_v),
    })
}

/// Reads a capture; one without a description was made with the excitation `with`.
fn take(order: &ImpedanceOrder, wav: &Path, with: Option<&Path>) -> Result<Taken, ImpedeError> {
    // A capture that can't be read at all is told before anything is missed beside it.
    files::wav_facts(wav)?;
    let description = description_beside(wav)?;
    let described_excitation = description.as_ref().map(|description| {
        let path = &description.excitation.path;
        wav.parent().map_or_else(|| path.clone(), |folder| folder.join(path))
    });
    let excitation = order.excitation.clone().or(described_excitation).or(with.map(Path::to_owned));
    let excitation = excitation.or_else(|| excitation_beside(wav));
    let excitation = excitation.ok_or_else(|| ImpedeError::NoExcitation { path: wav.to_owned() })?;
    let described = description.as_ref().map(|description| &description.bench);
    let channel = |said: Option<usize>, described: Option<usize>, job: Option<usize>, usual: usize| {
        said.or(described).or(job).unwrap_or(usual).saturating_sub(1)
    };
    let drive = channel(order.drive, described.and_then(|b| b.drive_channel), order.bench.drive_channel, 1);
    let load = channel(order.load, described.and_then(|b| b.load_channel), order.bench.load_channel, 2);
    let known = known_excitation(&excitation)?;
    let ReadChannels { recording, cut_short, .. } = read_channels(wav, vec![drive, load], drive, &known.excitation)?;
    Ok(Taken { wav: wav.to_owned(), description, excitation, known, recording, cut_short, drive, load })
}

impl Taken {
    fn capture(&self) -> JigCapture<'_> {
        let excitation = &self.known.excitation;
        JigCapture { recording: &self.recording, excitation, drive: self.drive, load: self.load }
    }

    fn title(&self) -> String {
        let unit = self.description.as_ref().and_then(|description| description.unit.clone());
        unit.or_else(|| stem_of(&self.wav).file_name().map(|stem| stem.to_string_lossy().into_owned()))
            .unwrap_or_default()
    }

    fn findings(&self) -> Result<Vec<Finding>, FileError> {
        CaptureFiles {
            wav: &self.wav,
            excitation: &self.excitation,
            known: &self.known,
            cut_short: self.cut_short.as_ref(),
            description: self.description.as_ref(),
            repeats: None,
        }
        .findings()
    }
}

/// The results' names that a file of the person could have as well.
const RESULT_NAMES: [&str; 5] = ["impedance.csv", "impedance.s1p", "impedance.svg", "impedance.png", "result.json"];

/// Whether results can go into `folder` without taking the place of what they come from.
fn check_out(folder: &Path, inputs: &[&Taken]) -> Result<(), ImpedeError> {
    if folder.is_file() {
        return Err(ImpedeError::FileInTheWay { folder: folder.to_owned() });
    }
    let all = inputs.iter().flat_map(|taken| [taken.wav.as_path(), taken.excitation.as_path()]);
    match overwritten(folder, &RESULT_NAMES, all) {
        Some(path) => Err(ImpedeError::OverInput { path: path.to_owned() }),
        None => Ok(()),
    }
}

fn picture(title: &str, measured: &Measured) -> Picture {
    let curve = files::curve_of(&measured.impedance, Vec::new());
    let curve = OhmCurve {
        name: title.to_owned(),
        origin: Origin::Measured,
        frequency_hz: curve.frequency_hz,
        magnitude_ohm: curve.values,
        phase_deg: curve.phase_deg.unwrap_or_default(),
        u_ohm: curve.u.unwrap_or_default(),
    };
    ImpedancePicture { title: format!("{title}: impedance"), curves: vec![curve] }.picture()
}

/// Writes everything but the document itself, and lists all with it.
fn write(
    folder: &Path,
    document: &ImpedanceDocument,
    measured: &Measured,
    picture: Option<&Picture>,
) -> Result<Vec<WrittenFile>, ImpedeError> {
    let mut listing = Listing::new(folder);
    let mut header = vec![
        ("schema".to_owned(), document.schema.clone()),
        ("made_by".to_owned(), document.made_by.clone()),
        ("sense_ohm".to_owned(), document.settings.sense_ohm.to_string()),
        ("lead_ohm".to_owned(), document.lead.value.to_string()),
    ];
    header.extend(files::fault_lines(&document.findings));
    let text = files::touchstone_text(&measured.impedance, &header);
    files::replace_curve(&listing.add("impedance.csv", "impedance"), &files::curve_of(&measured.impedance, header))?;
    files::replace(&listing.add("impedance.s1p", "impedance, Touchstone 1.x"), text.as_bytes())?;
    if let Some(picture) = picture {
        listing.picture::<ImpedeError>("impedance", picture.title(), picture)?;
    }
    listing.add("result.json", "this document");
    Ok(listing.files())
}
