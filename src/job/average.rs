//! From responses on disk to their mean: the files, what the mean is, the result.

use super::Pictures;
use super::alike::names;
use super::record::Ran;
use super::results_folder::{Listing, make_folder, overwritten, replace_document};
use super::simulate::sums;
use crate::MADE_BY;
use crate::files::{
    self, AVERAGE_SCHEMA, AverageCurve, AverageDocument, AverageSettingsTable, Curve, FileError, InputFile,
    LevelByFrequency, Measure, WrittenFile,
};
use crate::math::wrapped_deg;
use crate::quantity::{Code, Finding, Severity, Whereabouts};
use crate::report::{LevelCurve, Origin, PhasePanel, Picture, ReportError, ResponsePicture};
use crate::response::{
    Average, AverageBy, AverageSettings, BesideWindow, Direction, ResponseError, ScatterIs, SingleCurve, average,
};
use std::path::{Path, PathBuf};

/// Responses that are to be averaged.
#[derive(Debug, Clone, PartialEq)]
pub struct AverageOrder {
    /// Their curves.
    pub curves: Vec<PathBuf>,
    /// What of them is averaged.
    pub by: AverageBy,
    /// How much each counts; absent: all alike.
    pub weights: Option<Vec<f64>>,
    /// From which direction each was measured; absent: they are places of one region.
    pub directions: Option<Vec<Direction>>,
    /// Points an octave of the mean.
    pub points_per_octave: u32,
    /// Where results go; absent: in a folder `averaged` beside the first curve.
    pub out: Option<PathBuf>,
    /// Whether the picture is drawn.
    pub pictures: Pictures,
    /// The command that asks for it, for the record.
    pub ran: Ran,
}

/// Responses that were averaged.
pub struct Averaged {
    /// The result as a document.
    pub document: AverageDocument,
    /// The picture, where it was drawn.
    pub picture: Option<Picture>,
    /// Where the result files are.
    pub folder: PathBuf,
}

/// Why responses could not be averaged.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // each carries its own message
pub enum AverageError {
    #[error(transparent)]
    File(#[from] FileError),
    #[error(transparent)]
    Response(ResponseError),
    #[error(transparent)]
    Report(#[from] ReportError),
    #[error("{}: an impedance in ohm, where a response in dB is needed", path.display())]
    Impedance { path: PathBuf },
    #[error("{}: it has no phase, which a complex average needs", path.display())]
    NoPhase { path: PathBuf },
    #[error("the levels refer to different things: {} has {}, {} has {}", one.display(), named(of_one.as_deref()),
            other.display(), named(of_other.as_deref()))]
    References { one: PathBuf, of_one: Option<String>, other: PathBuf, of_other: Option<String> },
    #[error("{found} {what} for {needed} curves")]
    NotOneEach { what: &'static str, found: usize, needed: usize },
    #[error("{}: the results would take its place", path.display())]
    OverInput { path: PathBuf },
}

fn named(reference: Option<&str>) -> String {
    reference.map_or_else(|| "no level reference".into(), |reference| format!("{reference:?}"))
}

impl AverageError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::File(error) => error.advice(),
            Self::Response(error) => error.advice(),
            Self::Report(error) => error.advice(),
            Self::Impedance { .. } => "give responses only",
            Self::NoPhase { .. } => ResponseError::NoPhase { curve: 1 }.advice(),
            Self::References { .. } => {
                "make the responses of all captures with the same microphone, voltage and distance"
            }
            Self::NotOneEach { .. } => "give one for each curve, in the order of the curves",
            Self::OverInput { .. } => "give --out another folder",
        }
    }

    /// Whether the order itself can't be, whatever the files hold.
    pub fn is_usage(&self) -> bool {
        matches!(
            self,
            Self::NotOneEach { .. } | Self::Response(ResponseError::TooFewCurves { .. } | ResponseError::Weight { .. })
        )
    }
}

const RESULT_NAMES: [&str; 4] = ["average.json", "average.csv", "average.svg", "average.png"];

/// The mean of the responses, written to the folder.
///
/// # Errors
/// [`AverageError`] when a file can't be used, or the curves have no mean.
pub fn average_curves(order: &AverageOrder) -> Result<Averaged, AverageError> {
    check_counts(order)?;
    let curves = order.curves.iter().map(|path| files::read_curve(path)).collect::<Result<Vec<_>, _>>()?;
    let reference = one_reference(order, &curves)?;
    let inputs = sums(&order.curves)?;
    let settings = AverageSettings {
        by: order.by,
        scatter: if order.directions.is_some() { ScatterIs::Meant } else { ScatterIs::Doubt },
        points_per_octave: order.points_per_octave,
    };
    let singles: Vec<SingleCurve> = curves
        .iter()
        .zip(weights(order))
        .map(|(curve, weight)| SingleCurve { curve: files::sampled_of(curve), weight })
        .collect();
    let found = average(&singles, settings).map_err(|error| match error {
        ResponseError::NoPhase { curve } => AverageError::NoPhase { path: order.curves[curve - 1].clone() },
        other => AverageError::Response(other),
    })?;
    let beside = order.curves[0].parent().unwrap_or(Path::new(""));
    let folder = order.out.clone().unwrap_or_else(|| beside.join("averaged"));
    if let Some(path) = overwritten(&folder, &RESULT_NAMES, order.curves.iter().map(PathBuf::as_path)) {
        return Err(AverageError::OverInput { path: path.to_owned() });
    }
    let mut document = document(order, &curves, &found, reference, inputs);
    let picture = (order.pictures == Pictures::Drawn).then(|| picture(order, &curves, &document));
    let _held = make_folder(&folder)?;
    document.provenance = order.ran.told(&folder)?;
    document.files = write(&folder, &document, picture.as_ref())?;
    replace_document(&folder.join("average.json"), &document)?;
    Ok(Averaged { document, picture, folder })
}

fn check_counts(order: &AverageOrder) -> Result<(), AverageError> {
    let needed = order.curves.len();
    if needed < 2 {
        return Err(AverageError::Response(ResponseError::TooFewCurves { found: needed }));
    }
    let counts =
        [("weights", order.weights.as_ref().map(Vec::len)), ("angles", order.directions.as_ref().map(Vec::len))];
    for (what, count) in counts {
        if let Some(found) = count.filter(|found| *found != needed) {
            return Err(AverageError::NotOneEach { what, found, needed });
        }
    }
    Ok(())
}

fn weights(order: &AverageOrder) -> Vec<f64> {
    order.weights.clone().unwrap_or_else(|| vec![1.0; order.curves.len()])
}

/// What all levels refer to, by the curves' headers; none where no curve says it.
fn one_reference(order: &AverageOrder, curves: &[Curve]) -> Result<Option<String>, AverageError> {
    if let Some(at) = curves.iter().position(|curve| curve.measure == Measure::MagnitudeOhm) {
        return Err(AverageError::Impedance { path: order.curves[at].clone() });
    }
    let of = |curve: &Curve| curve.header_value("level_reference").map(|text| text.replace('µ', "u"));
    let first = of(&curves[0]);
    match curves.iter().position(|curve| of(curve) != first) {
        None => Ok(first),
        Some(at) => Err(AverageError::References {
            one: order.curves[0].clone(),
            of_one: first,
            other: order.curves[at].clone(),
            of_other: of(&curves[at]),
        }),
    }
}

fn document(
    order: &AverageOrder,
    curves: &[Curve],
    found: &Average,
    level_reference: Option<String>,
    inputs: Vec<InputFile>,
) -> AverageDocument {
    let some = |column: &[f64]| (!column.is_empty()).then(|| column.to_vec());
    let u_from = match (order.directions.is_some(), found.u_db.is_empty()) {
        (false, _) => "the scatter among the places, or the curves' own doubts where these are larger",
        (true, false) => "the curves' own doubts; the directions are what is meant, so that their scatter is no doubt",
        (true, true) => "nothing: not all curves tell their doubt",
    };
    AverageDocument {
        schema: AVERAGE_SCHEMA.into(),
        made_by: MADE_BY.into(),
        provenance: files::Provenance::default(),
        settings: AverageSettingsTable {
            by: by_name(order.by).into(),
            weights: weights(order),
            angles: order.directions.as_ref().map(|all| all.iter().map(Direction::to_string).collect()),
            points_per_octave: order.points_per_octave,
            phase_reference: (order.by == AverageBy::Complex).then(|| PHASE_REFERENCE.into()),
            u_from: u_from.into(),
        },
        findings: findings(order, curves, found, &inputs),
        inputs,
        files: Vec::new(),
        what: what(order),
        of: order.curves.len(),
        effective_of: found.effective_count,
        band_hz: [found.hz[0], found.hz[found.hz.len() - 1]],
        level_reference,
        curve: AverageCurve {
            frequency_hz: found.hz.clone(),
            level_db: found.level_db.clone(),
            phase_deg: some(&found.phase_rad).map(|phases| phases.iter().map(|phase| wrapped_deg(*phase)).collect()),
            u_db: some(&found.u_db),
        },
        spread: LevelByFrequency { frequency_hz: found.hz.clone(), level_db: found.spread_db.clone() },
    }
}

const PHASE_REFERENCE: &str = "each curve's own arrival, its delay is removed";

fn by_name(by: AverageBy) -> &'static str {
    match by {
        AverageBy::Power => "power",
        AverageBy::Complex => "complex",
    }
}

/// The listening window is a mean of powers, all of them counted alike.
fn has_the_windows_way(order: &AverageOrder) -> bool {
    let weights = weights(order);
    order.by == AverageBy::Power && weights.iter().all(|weight| *weight == weights[0])
}

fn what(order: &AverageOrder) -> String {
    match &order.directions {
        None => format!("average over {} places", order.curves.len()),
        Some(directions) if BesideWindow::of(directions).is_window() && has_the_windows_way(order) => {
            "listening window".into()
        }
        Some(_) => "average over angles".into(),
    }
}

/// Fewer places than this tell their own scatter to a third or worse.
const FEW: f64 = 5.5;
/// Differing phases are worth a word where they cost as much as this, dB.
const CANCELS_DB: f64 = 6.0;

fn findings(order: &AverageOrder, curves: &[Curve], found: &Average, inputs: &[InputFile]) -> Vec<Finding> {
    let all = [
        twice(
            inputs,
            "give each measurement once, with --weights if one is to count more; the doubt is too small otherwise",
        ),
        cancels(found),
        order.directions.as_deref().and_then(|directions| beside_window(directions, order)),
        few(order, found),
        silent(order, found),
        assumed_phase(order, curves),
    ];
    files::faults_of_inputs(inputs).into_iter().chain(all.into_iter().flatten()).collect()
}

/// Two inputs that are one file.
pub(super) fn twice(inputs: &[InputFile], advice: &str) -> Option<Finding> {
    let (at, before) = inputs.iter().enumerate().find_map(|(at, input)| {
        inputs[..at].iter().position(|other| other.sha256 == input.sha256).map(|before| (at, before))
    })?;
    let says = format!("{} and {} hold the same to the last digit", inputs[before].path, inputs[at].path);
    Some(Finding::new(Code::Implausible, Severity::Caution, says, advice))
}

fn cancels(found: &Average) -> Option<Finding> {
    let there: Vec<usize> = (0..found.hz.len())
        .filter(|point| found.below_power_db.get(*point).is_some_and(|db| *db > CANCELS_DB))
        .collect();
    let (first, last) = (*there.first()?, *there.last()?);
    let most_db = found.below_power_db.iter().copied().fold(0.0, f64::max);
    let says = format!(
        "the phases differ so much that the complex average lies up to {most_db:.0} dB below that of the powers, at {} of {} points by more than {CANCELS_DB} dB",
        there.len(),
        found.hz.len()
    );
    let advice = "average --by power, unless what cancels is what you want to be rid of";
    let at = Whereabouts { band_hz: Some([found.hz[first], found.hz[last]]), ..Whereabouts::default() };
    Some(Finding { at, ..Finding::new(Code::Disagreement, Severity::Note, says, advice) })
}

fn beside_window(directions: &[Direction], order: &AverageOrder) -> Option<Finding> {
    let beside = BesideWindow::of(directions);
    let list = |all: &[Direction]| all.iter().map(Direction::to_string).collect::<Vec<_>>().join(", ");
    let mut words = Vec::new();
    if !beside.missing.is_empty() {
        words.push(format!("it lacks {}", list(&beside.missing)));
    }
    if !beside.foreign.is_empty() {
        words.push(format!("{} is not part of it", list(&beside.foreign)));
    }
    if !beside.doubled.is_empty() {
        words.push(format!("{} is there more than once", list(&beside.doubled)));
    }
    if !has_the_windows_way(order) {
        words.push("the window is a mean of powers with equal weights".into());
    }
    if words.is_empty() {
        return None;
    }
    let says = format!("this is not the listening window of ANSI/CTA-2034-A: {}", words.join("; "));
    Some(Finding::new(
        Code::Incomplete,
        Severity::Note,
        says,
        "if it is to be one, give its nine angles once each (v: vertical), by power and without weights",
    ))
}

fn few(order: &AverageOrder, found: &Average) -> Option<Finding> {
    if order.directions.is_some() || found.effective_count >= FEW {
        return None;
    }
    let percent = 100.0 / (2.0 * (found.effective_count - 1.0)).sqrt();
    let says = format!(
        "{} places tell their own scatter, and with it the doubt of the average, only to ± {percent:.0} %",
        order.curves.len()
    );
    Some(Finding::new(Code::Incomplete, Severity::Note, says, "measure six places or more if the doubt matters"))
}

fn silent(order: &AverageOrder, found: &Average) -> Option<Finding> {
    (order.directions.is_some() && found.u_db.is_empty()).then(|| {
        let says = "the average has no doubt, since not every curve tells its own";
        Finding::new(Code::UnknownNoise, Severity::Note, says, "give the response.csv of captures")
    })
}

/// Our own table of a capture says what its phase refers to; any other has to be believed.
fn assumed_phase(order: &AverageOrder, curves: &[Curve]) -> Option<Finding> {
    let unsaid = curves.iter().filter(|curve| curve.header_value("phase").is_none()).count();
    (order.by == AverageBy::Complex && unsaid > 0).then(|| {
        let says = format!(
            "{unsaid} of {} curves do not say what their phase refers to; it is taken as referred to each one's own arrival",
            curves.len()
        );
        Finding::new(Code::Assumed, Severity::Note, says, "where a phase holds a delay, average --by power")
    })
}

fn picture(order: &AverageOrder, curves: &[Curve], document: &AverageDocument) -> Picture {
    let directions = |at: usize| order.directions.as_ref().map_or(String::new(), |all| format!(" ({}°)", all[at]));
    let mean = LevelCurve {
        name: document.what.clone(),
        origin: Origin::Measured,
        frequency_hz: document.curve.frequency_hz.clone(),
        level_db: document.curve.level_db.clone(),
        u_db: document.curve.u_db.clone().unwrap_or_default(),
        phase_deg: document.curve.phase_deg.clone().unwrap_or_default(),
    };
    let singles = names(&order.curves).into_iter().zip(curves).enumerate().map(|(at, (name, curve))| LevelCurve {
        name: format!("{name}{}", directions(at)),
        origin: Origin::Measured,
        frequency_hz: curve.frequency_hz.clone(),
        level_db: curve.values.clone(),
        u_db: Vec::new(),
        phase_deg: curve.phase_deg.clone().unwrap_or_default(),
    });
    ResponsePicture {
        title: format!("{}, by {}", document.what, document.settings.by),
        level_reference: document.level_reference.as_deref().unwrap_or("relative").replace("uPa", "µPa"),
        curves: std::iter::once(mean).chain(singles).collect(),
        valid_hz: Some(document.band_hz),
        shown_hz: None,
        phase: if order.by == AverageBy::Complex { PhasePanel::Beneath } else { PhasePanel::Absent },
    }
    .picture()
}

/// Writes everything but the document itself, and lists all with it.
fn write(
    folder: &Path,
    document: &AverageDocument,
    picture: Option<&Picture>,
) -> Result<Vec<WrittenFile>, AverageError> {
    let mut listing = Listing::new(folder);
    let header = [
        ("schema", Some(document.schema.clone())),
        ("made_by", Some(document.made_by.clone())),
        ("what", Some(format!("{}, by {}", document.what, document.settings.by))),
        ("level_reference", document.level_reference.clone()),
        ("phase", document.settings.phase_reference.clone()),
    ];
    let curve = Curve {
        measure: Measure::LevelDb,
        frequency_hz: document.curve.frequency_hz.clone(),
        values: document.curve.level_db.clone(),
        phase_deg: document.curve.phase_deg.clone(),
        u: document.curve.u_db.clone(),
        u_noise: None,
        header: header
            .into_iter()
            .filter_map(|(key, value)| Some((key.to_owned(), value?)))
            .chain(files::fault_lines(&document.findings))
            .collect(),
        notes: Vec::new(),
    };
    files::replace_curve(&listing.add("average.csv", &document.what), &curve)?;
    if let Some(picture) = picture {
        listing.picture::<AverageError>("average", picture.title(), picture)?;
    }
    listing.add("average.json", "this document");
    Ok(listing.files())
}
