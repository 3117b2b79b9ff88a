//! From impedance curves on disk to a driver on disk: the files, the settings, the result.

use super::driver_document::{Made, driver_document};
use super::record::Ran;
use super::results_folder::{Listing, make_folder, overwritten, replace_document};
use super::{Pictures, SheetError, against_sheet};
use crate::driver::{
    Doubted, DriverError, DriverFit, DriverParameters, Evidence, FitSettings, Mounting, SuspensionKind, VoiceCoilKind,
    driver_parameters, fit_driver,
};
use crate::files::{self, Curve, DriverDocument, FileError, Measure, WrittenFile};
use crate::impedance::Impedance;
use crate::quantity::Air;
use crate::report::{FittedPicture, Picture, ReportError};
use std::path::{Path, PathBuf};

/// A driver that is to be had from its curves; SI.
#[derive(Debug, Clone, PartialEq)]
pub struct DriverOrder {
    /// Its impedance in free air.
    pub curve: PathBuf,
    /// Its impedance with a mass on the cone, and the mass.
    pub with_mass: Option<(PathBuf, Doubted)>,
    /// Its impedance in an airtight box, and the volume of its air.
    pub in_box: Option<(PathBuf, Doubted)>,
    /// A moving mass that is known.
    pub mms_kg: Option<Doubted>,
    /// The cone's area.
    pub sd_m2: Option<Doubted>,
    /// The diameter that it comes from, where it does.
    pub diameter_m: Option<f64>,
    /// How the driver stood for its free-air curve.
    pub mounting: Mounting,
    /// The air.
    pub air: Air,
    /// How it is fitted.
    pub fit: FitSettings,
    /// Its data sheet.
    pub datasheet: Option<PathBuf>,
    /// The closed box to judge the sheet by; absent: the one that the sheet asks for.
    pub box_m3: Option<f64>,
    /// What people call it.
    pub name: Option<String>,
    /// Where results go; absent: beside the curve, in a folder named after it.
    pub out: Option<PathBuf>,
    /// Whether pictures are drawn.
    pub pictures: Pictures,
    /// The command that asks for it, for the record.
    pub ran: Ran,
}

/// A driver that was had.
pub struct Characterised {
    /// What its free-air impedance tells.
    pub fit: DriverFit,
    /// What all of it tells.
    pub parameters: DriverParameters,
    /// The result as a document.
    pub document: DriverDocument,
    /// The picture, where it was drawn.
    pub picture: Option<Picture>,
    /// Where the result files are.
    pub folder: PathBuf,
}

/// Why a driver could not be had.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // each carries its own message
pub enum CharacteriseError {
    #[error(transparent)]
    File(#[from] FileError),
    #[error("{}: {source}", path.display())]
    Impedance { path: PathBuf, source: DriverError },
    #[error(transparent)]
    Evidence(DriverError),
    #[error(transparent)]
    Sheet(#[from] SheetError),
    #[error(transparent)]
    Report(#[from] ReportError),
    #[error("{}: the results would take its place", path.display())]
    OverInput { path: PathBuf },
    #[error("{}: the results' folder can't be made, a file has that name", folder.display())]
    FileInTheWay { folder: PathBuf },
    #[error("{} and {} are one file, and a second curve must be another one", path.display(), other.display())]
    SameCurve { path: PathBuf, other: PathBuf },
}

impl CharacteriseError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::File(error) => error.advice(),
            Self::Impedance { source, .. } | Self::Evidence(source) => source.advice(),
            Self::Sheet(error) => error.advice(),
            Self::Report(error) => error.advice(),
            Self::OverInput { .. } => "give --out another folder; what was measured is never overwritten",
            Self::FileInTheWay { .. } => "give --out a folder",
            Self::SameCurve { .. } => "measure again with the mass on the cone or the driver in the box",
        }
    }
}

/// The results' names that a file of the person could have as well.
const RESULT_NAMES: [&str; 4] = ["driver.json", "fitted.csv", "driver.svg", "driver.png"];

/// The driver behind an impedance curve, written to its folder.
///
/// # Errors
/// [`CharacteriseError`] when a file can't be read or written, or a curve is no driver's.
pub fn characterise(order: &DriverOrder) -> Result<Characterised, CharacteriseError> {
    let folder = order.out.clone().unwrap_or_else(|| order.curve.with_extension(""));
    check_out(&folder, order)?;
    let sheet = order.datasheet.as_deref().map(files::read_datasheet).transpose()?;
    let curve = read_impedance(&order.curve)?;
    let fit = fitted(&curve, &order.fit, &order.curve)?;
    let evidence = evidence(order, &fit)?;
    let parameters = driver_parameters(&fit, &evidence).map_err(CharacteriseError::Evidence)?;
    let sheet = match (&sheet, &order.datasheet) {
        (Some(sheet), Some(path)) => Some(against_sheet(sheet, path, &fit, &parameters, order.box_m3)?),
        _ => None,
    };
    let picture = match order.pictures {
        Pictures::Drawn => Some(picture(order, &curve, &fit)),
        Pictures::None => None,
    };
    let made = Made { order, fit: &fit, parameters: &parameters, sheet };
    let mut document = driver_document(made)?;
    let _held = make_folder(&folder)?;
    document.provenance = order.ran.told(&folder)?;
    document.files = write(&folder, &curve, &fit, &document, picture.as_ref())?;
    replace_document(&folder.join("driver.json"), &document)?;
    Ok(Characterised { fit, parameters, document, picture, folder })
}

/// The impedance in a file.
pub(super) fn read_impedance(path: &Path) -> Result<Impedance, CharacteriseError> {
    let curve = files::read_curve(path)?;
    files::impedance_of(&curve)
        .map_err(|source| CharacteriseError::Impedance { path: path.to_owned(), source: source.into() })
}

fn fitted(curve: &Impedance, settings: &FitSettings, path: &Path) -> Result<DriverFit, CharacteriseError> {
    fit_driver(curve, settings).map_err(|source| CharacteriseError::Impedance { path: path.to_owned(), source })
}

/// The second curves are fitted with the model that explained the first.
fn evidence(order: &DriverOrder, free: &DriverFit) -> Result<Evidence, CharacteriseError> {
    let settings = FitSettings {
        voice_coil: Some(VoiceCoilKind::of(&free.model.voice_coil)),
        suspension: Some(SuspensionKind::of(&free.model.suspension)),
        dc_resistance_ohm: None,
        ..order.fit
    };
    let second = |known: &Option<(PathBuf, Doubted)>| {
        let Some((path, doubted)) = known else { return Ok(None) };
        Ok::<_, CharacteriseError>(Some((fitted(&read_impedance(path)?, &settings, path)?, *doubted)))
    };
    Ok(Evidence {
        sd_m2: order.sd_m2,
        with_mass: second(&order.with_mass)?,
        in_box: second(&order.in_box)?,
        mms_kg: order.mms_kg,
        mounting: order.mounting,
        air: order.air,
    })
}

/// Whether results can go into `folder` without taking the place of what they come from, which are different files.
fn check_out(folder: &Path, order: &DriverOrder) -> Result<(), CharacteriseError> {
    if folder.is_file() {
        return Err(CharacteriseError::FileInTheWay { folder: folder.to_owned() });
    }
    let real = |path: &Path| path.canonicalize().ok();
    let seconds = [&order.with_mass, &order.in_box].into_iter().flatten().map(|(path, _)| path.as_path());
    let curves: Vec<&Path> = [order.curve.as_path()].into_iter().chain(seconds).collect();
    for (place, path) in curves.iter().enumerate() {
        if let Some(other) = curves[..place].iter().find(|other| real(other).is_some() && real(other) == real(path)) {
            return Err(CharacteriseError::SameCurve { path: path.to_path_buf(), other: other.to_path_buf() });
        }
    }
    match overwritten(folder, &RESULT_NAMES, curves.into_iter().chain(order.datasheet.as_deref())) {
        Some(path) => Err(CharacteriseError::OverInput { path: path.to_owned() }),
        None => Ok(()),
    }
}

fn picture(order: &DriverOrder, curve: &Impedance, fit: &DriverFit) -> Picture {
    let stem = order.curve.file_stem().map(|stem| stem.to_string_lossy().into_owned());
    let name = order.name.clone().or(stem).unwrap_or_default();
    FittedPicture {
        title: format!("{name}: impedance, measured and fitted"),
        frequency_hz: curve.hz().to_vec(),
        measured: curve.values().to_vec(),
        u_ohm: curve.u_ohm().unwrap_or_default(),
        fitted: curve.hz().iter().map(|&hz| fit.model.impedance_ohm(hz)).collect(),
        model: format!("{}, {}", fit.model.voice_coil.name(), fit.model.suspension.name()),
        band_hz: fit.band_hz,
        beside: Vec::new(),
        marks: None,
    }
    .picture()
}

/// Writes everything but the document itself, and lists all with it.
fn write(
    folder: &Path,
    curve: &Impedance,
    fit: &DriverFit,
    document: &DriverDocument,
    picture: Option<&Picture>,
) -> Result<Vec<WrittenFile>, CharacteriseError> {
    let mut listing = Listing::new(folder);
    let values: Vec<_> = curve.hz().iter().map(|&hz| fit.model.impedance_ohm(hz)).collect();
    let header = vec![
        ("schema".to_owned(), document.schema.clone()),
        ("made_by".to_owned(), document.made_by.clone()),
        ("what".to_owned(), format!("the fitted model: {}, {}", document.voice_coil.model, document.suspension.model)),
    ];
    let model = Curve {
        measure: Measure::MagnitudeOhm,
        frequency_hz: curve.hz().to_vec(),
        values: values.iter().map(|z| z.norm()).collect(),
        phase_deg: Some(values.iter().map(|z| z.arg().to_degrees()).collect()),
        header,
        ..Curve::default()
    };
    files::replace_curve(&listing.add("fitted.csv", "impedance of the fitted model"), &model)?;
    if let Some(picture) = picture {
        listing.picture::<CharacteriseError>("driver", picture.title(), picture)?;
    }
    listing.add("driver.json", "this document");
    Ok(listing.files())
}
