//! From the impedance of a driver in its box to what that box really is: the files, the design, the result.

use super::Pictures;
use super::box_document::{Made, box_document};
use super::record::Ran;
use super::results_folder::{Listing, make_folder, overwritten, replace_document};
use crate::diagnosis::{
    BoxChange, BoxKind, BoxSettings, Designed, DiagnosisError, FoundAgainst, FoundBox, Inside, KnownDriver, LeakAdvice,
    NearField, NearLevel, against_design, changes, examine_box, leak_advice,
};
use crate::driver::DriverError;
use crate::enclosure::SmallSignal;
use crate::files::{self, BoxDocument, Curve, FileError, Measure, WrittenFile};
use crate::impedance::Impedance;
use crate::quantity::Air;
use crate::report::{FittedPicture, Picture, ReportError};
use num_complex::Complex64;
use std::path::{Path, PathBuf};

/// A box that is to be examined; SI.
#[derive(Debug, Clone, PartialEq)]
pub struct BoxOrder {
    /// The impedance of the driver in it.
    pub curve: PathBuf,
    /// What `driver` wrote about the driver.
    pub driver: Option<PathBuf>,
    /// An earlier curve of the same box.
    pub before: Option<PathBuf>,
    /// Which kind of box it is.
    pub kind: BoxKind,
    /// The level close to the cone.
    pub cone: Option<PathBuf>,
    /// The level in the vent's mouth or close to the passive radiator.
    pub opening: Option<PathBuf>,
    /// Which part of the curve counts.
    pub band_hz: Option<[f64; 2]>,
    /// What it was meant to be; its driver is taken from the document.
    pub designed: Designed,
    /// Inside and walls.
    pub inside: Inside,
    /// Voltage across the loudspeaker at its resonance, rms.
    pub load_v: Option<f64>,
    /// The air.
    pub air: Air,
    /// What people call it.
    pub name: Option<String>,
    /// Where results go; absent: beside the curve, in a folder named after it.
    pub out: Option<PathBuf>,
    /// Whether pictures are drawn.
    pub pictures: Pictures,
    /// The command that asks for it, for the record.
    pub ran: Ran,
}

/// A wall of which nothing is said.
pub const USUAL_WALL_M: f64 = 10e-3;

/// A box that was examined.
pub struct Examined {
    /// What was found.
    pub found: FoundBox,
    /// The same of the earlier curve.
    pub before: Option<FoundBox>,
    /// What changed.
    pub changes: Vec<BoxChange>,
    /// Design beside found.
    pub design: Vec<FoundAgainst>,
    /// What a leak means.
    pub leak: Option<LeakAdvice>,
    /// The result as a document.
    pub document: BoxDocument,
    /// The picture, where it was drawn.
    pub picture: Option<Picture>,
    /// Where the result files are.
    pub folder: PathBuf,
}

/// Why a box could not be examined.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // each carries its own message
pub enum ExamineError {
    #[error(transparent)]
    File(#[from] FileError),
    #[error("{}: {source}", path.display())]
    Curve { path: PathBuf, source: DriverError },
    #[error("{}: {source}", path.display())]
    Diagnosis { path: PathBuf, source: DiagnosisError },
    #[error("{}: a recording, where its impedance is needed", path.display())]
    Recording { path: PathBuf },
    #[error("{}: not the document of a driver", path.display())]
    NoDriver { path: PathBuf },
    #[error("{}: a model or a covariance that is not known here", path.display())]
    UnknownDriver { path: PathBuf },
    #[error("{}: ohm, where a level in dB is needed", path.display())]
    NoLevel { path: PathBuf },
    #[error("{}: the level tells nothing below {limit_hz:.0} Hz", path.display())]
    LevelTooHigh { path: PathBuf, limit_hz: f64 },
    #[error(transparent)]
    Report(#[from] ReportError),
    #[error("{}: the results would take its place", path.display())]
    OverInput { path: PathBuf },
    #[error("{}: the results' folder can't be made, a file has that name", folder.display())]
    FileInTheWay { folder: PathBuf },
    #[error("{} and {} are one file, and before and after must be two", path.display(), other.display())]
    SameCurve { path: PathBuf, other: PathBuf },
}

impl ExamineError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::File(error) => error.advice(),
            Self::Curve { source, .. } => source.advice(),
            Self::Diagnosis { source, .. } => source.advice(),
            Self::Recording { .. } => "run boxwright impedance on it first, and give the impedance.csv that it writes",
            Self::NoDriver { .. } => "give the driver.json that boxwright driver wrote of this driver in free air",
            Self::UnknownDriver { .. } => "give the document that this version's boxwright driver wrote",
            Self::NoLevel { .. } => "give the curve of a response: frequency and dB",
            Self::LevelTooHigh { .. } => "start the near-field sweep at 20 Hz or lower",
            Self::Report(error) => error.advice(),
            Self::OverInput { .. } => "give --out another folder; what was measured is never overwritten",
            Self::FileInTheWay { .. } => "give --out a folder",
            Self::SameCurve { .. } => "give the curve that was measured before the change with --before",
        }
    }
}

/// The results' names that a file of the person could have as well.
const RESULT_NAMES: [&str; 5] = ["box.json", "fitted.csv", "left.csv", "box.svg", "box.png"];
/// A level close to the box must begin below this.
const NEAR_FROM_HZ: f64 = 200.0;

/// The box behind an impedance curve, written to its folder.
///
/// # Errors
/// [`ExamineError`] when a file can't be read or written, or a curve is not that of a driver in such a box.
pub fn examine(order: &BoxOrder) -> Result<Examined, ExamineError> {
    let folder = order.out.clone().unwrap_or_else(|| order.curve.with_extension(""));
    check_out(&folder, order)?;
    let driver = order.driver.as_deref().map(known_driver).transpose()?;
    let curve = read_impedance(&order.curve)?;
    let settings = BoxSettings { kind: order.kind, band_hz: order.band_hz, near: near_field(order)? };
    let diagnosed = |curve: &Impedance, path: &Path, settings: &BoxSettings| {
        examine_box(curve, driver.as_ref(), settings)
            .map_err(|source| ExamineError::Diagnosis { path: path.to_owned(), source })
    };
    let found = diagnosed(&curve, &order.curve, &settings)?;
    let earlier =
        order.before.as_deref().map(|path| Ok::<_, ExamineError>((path, read_impedance(path)?))).transpose()?;
    // The near field was measured with the box as it is now.
    let alone = BoxSettings { near: NearField::default(), ..settings };
    let before = earlier.as_ref().map(|(path, curve)| diagnosed(curve, path, &alone)).transpose()?;
    let changes = before.as_ref().map_or_else(Vec::new, |before| changes(before, &found));
    let design = against_design(&designed(order, driver.as_ref()), &found);
    let wall_m = order.inside.wall_m.unwrap_or(USUAL_WALL_M);
    let leak = leak_advice(&found, driver.as_ref(), wall_m, order.load_v, &order.air);
    let picture = match order.pictures {
        Pictures::Drawn => Some(picture(order, &curve, &found, earlier.as_ref().map(|(_, curve)| curve))),
        Pictures::None => None,
    };
    let made =
        Made { order, found: &found, before: before.as_ref(), changes: &changes, design: &design, leak: leak.as_ref() };
    let mut document = box_document(&made)?;
    let _held = make_folder(&folder)?;
    document.provenance = order.ran.told(&folder)?;
    document.files = write(&folder, &curve, &found, &document, picture.as_ref())?;
    replace_document(&folder.join("box.json"), &document)?;
    Ok(Examined { found, before, changes, design, leak, document, picture, folder })
}

fn read_impedance(path: &Path) -> Result<Impedance, ExamineError> {
    if path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("wav")) && path.is_file() {
        return Err(ExamineError::Recording { path: path.to_owned() });
    }
    let curve = files::read_curve(path)?;
    files::impedance_of(&curve).map_err(|source| ExamineError::Curve { path: path.to_owned(), source: source.into() })
}

fn known_driver(path: &Path) -> Result<KnownDriver, ExamineError> {
    if path.extension().is_some_and(|ending| !ending.eq_ignore_ascii_case("json")) && path.is_file() {
        return Err(ExamineError::NoDriver { path: path.to_owned() });
    }
    files::read_driver_result(path)?.known().ok_or_else(|| ExamineError::UnknownDriver { path: path.to_owned() })
}

fn near_field(order: &BoxOrder) -> Result<NearField, ExamineError> {
    let level = |path: &Option<PathBuf>| path.as_deref().map(read_level).transpose();
    Ok(NearField { cone: level(&order.cone)?, opening: level(&order.opening)? })
}

fn read_level(path: &Path) -> Result<NearLevel, ExamineError> {
    let curve = files::read_curve(path)?;
    if curve.measure != Measure::LevelDb {
        return Err(ExamineError::NoLevel { path: path.to_owned() });
    }
    if curve.frequency_hz.first().is_none_or(|&hz| hz > NEAR_FROM_HZ) {
        return Err(ExamineError::LevelTooHigh { path: path.to_owned(), limit_hz: NEAR_FROM_HZ });
    }
    Ok(NearLevel { hz: curve.frequency_hz, level_db: curve.values, u_db: curve.u })
}

/// The design with the driver that is really there, so that what differs is the box.
fn designed(order: &BoxOrder, driver: Option<&KnownDriver>) -> Designed {
    let small_signal = driver.and_then(|known| {
        let model = &known.model;
        Some(SmallSignal { fs_hz: model.fs_hz, qts: model.qts(), vas_m3: known.vas_m3?.value })
    });
    let vas = driver.and_then(|known| known.vas_m3);
    let u_vas_ratio = vas.map_or(0.0, |vas| vas.u / vas.value);
    Designed { driver: small_signal, u_vas_ratio, air: order.air, ..order.designed.clone() }
}

/// Every file that is read.
pub(super) fn inputs(order: &BoxOrder) -> impl Iterator<Item = &Path> {
    let others = [&order.driver, &order.before, &order.cone, &order.opening];
    [order.curve.as_path()].into_iter().chain(others.into_iter().filter_map(|path| path.as_deref()))
}

/// Whether results can go into `folder` without taking the place of what they come from.
fn check_out(folder: &Path, order: &BoxOrder) -> Result<(), ExamineError> {
    if folder.is_file() {
        return Err(ExamineError::FileInTheWay { folder: folder.to_owned() });
    }
    let real = |path: &Path| path.canonicalize().ok();
    if let Some(before) =
        order.before.as_deref().filter(|before| real(before).is_some() && real(before) == real(&order.curve))
    {
        return Err(ExamineError::SameCurve { path: order.curve.clone(), other: before.to_owned() });
    }
    match overwritten(folder, &RESULT_NAMES, inputs(order)) {
        Some(path) => Err(ExamineError::OverInput { path: path.to_owned() }),
        None => Ok(()),
    }
}

fn picture(order: &BoxOrder, curve: &Impedance, found: &FoundBox, earlier: Option<&Impedance>) -> Picture {
    let stem = order.curve.file_stem().map(|stem| stem.to_string_lossy().into_owned());
    let name = order.name.clone().or(stem).unwrap_or_default();
    let tight = found.without_leak().filter(|_| found.leak.ql.is_some());
    let tight = tight.map(|tight| {
        ("if it were airtight".to_owned(), curve.hz().iter().map(|&hz| tight.impedance_ohm(hz).norm()).collect())
    });
    let earlier = earlier.map(|earlier| ("before".to_owned(), interpolated(earlier, curve.hz())));
    let marked: Vec<f64> = found.wrinkles.iter().map(|wrinkle| wrinkle.hz).collect();
    // Wrinkles are shown as what is left, not fitted away.
    let fitted: Vec<Complex64> = curve.hz().iter().map(|&hz| found.model.impedance_ohm(hz)).collect();
    FittedPicture {
        title: format!("{name}: {} box, impedance measured and fitted", found.kind.name()),
        frequency_hz: curve.hz().to_vec(),
        measured: curve.values().to_vec(),
        u_ohm: curve.u_ohm().unwrap_or_default(),
        fitted,
        model: format!("driver in a {} box", found.kind.name()),
        band_hz: found.band_hz,
        beside: tight.into_iter().chain(earlier).collect(),
        marks: (!marked.is_empty()).then(|| ("wrinkles".to_owned(), marked)),
    }
    .picture()
}

/// |Z| of a curve at other frequencies; not a number beyond its ends.
fn interpolated(curve: &Impedance, hz: &[f64]) -> Vec<f64> {
    let logs = curve.hz().iter().map(|hz| hz.ln()).collect();
    let table = crate::math::RisingTable::new(logs, curve.magnitude_ohm());
    hz.iter().map(|hz| table.as_ref().and_then(|table| table.at(hz.ln())).unwrap_or(f64::NAN)).collect()
}

/// Writes everything but the document itself, and lists all with it.
fn write(
    folder: &Path,
    curve: &Impedance,
    found: &FoundBox,
    document: &BoxDocument,
    picture: Option<&Picture>,
) -> Result<Vec<WrittenFile>, ExamineError> {
    let mut listing = Listing::new(folder);
    let header = |what: &str| {
        vec![
            ("schema".to_owned(), document.schema.clone()),
            ("made_by".to_owned(), document.made_by.clone()),
            ("what".to_owned(), what.to_owned()),
        ]
    };
    let model: Vec<Complex64> = curve.hz().iter().map(|&hz| found.impedance_ohm(hz)).collect();
    let fitted = ohms(curve.hz(), &model, header("the fitted model with its wrinkles"));
    files::replace_curve(&listing.add("fitted.csv", "impedance of the fitted model"), &fitted)?;
    let left: Vec<Complex64> =
        curve.hz().iter().zip(curve.values()).map(|(&hz, z)| z - found.model.impedance_ohm(hz)).collect();
    let left = Curve { u: curve.u_ohm(), ..ohms(curve.hz(), &left, header("measured less fitted, wrinkles left in")) };
    files::replace_curve(&listing.add("left.csv", "what the fitted model leaves"), &left)?;
    if let Some(picture) = picture {
        listing.picture::<ExamineError>("box", picture.title(), picture)?;
    }
    listing.add("box.json", "this document");
    Ok(listing.files())
}

fn ohms(hz: &[f64], values: &[Complex64], header: Vec<(String, String)>) -> Curve {
    Curve {
        measure: Measure::MagnitudeOhm,
        frequency_hz: hz.to_vec(),
        values: values.iter().map(|z| z.norm()).collect(),
        phase_deg: Some(values.iter().map(|z| z.arg().to_degrees()).collect()),
        header,
        ..Curve::default()
    }
}
