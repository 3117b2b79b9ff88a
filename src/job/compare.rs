//! From two curves to how they differ, and from a job to why.

use super::Pictures;
use super::blend_check::check_blend;
use super::design::{DesignError, one_design};
use super::record::Ran;
use super::results_folder::{Listing, make_folder, overwritten, replace_document};
use super::simulate::sums;
use crate::MADE_BY;
use crate::explanation::{
    Align, Blamed, Cause, Changed, Difference, DifferenceError, Evidence, Explanation, MeasuredLevel, MeasuredOhm,
    changed, difference, explain, tell_apart,
};
use crate::files::{
    self, AlignedTable, COMPARE_SCHEMA, CauseTable, ChangedTable, CompareDocument, CompareSettings, Curve,
    DeviationColumns, FileError, LeftTable, Measure, SIMULATION_SCHEMA, ThirdColumns, WorstPlace, WrittenFile,
    sampled_of,
};
use crate::quantity::{Code, Finding, POINTS_PER_OCTAVE, Quantity, Severity, Unit};
use crate::report::{DifferencePicture, Picture, ReportError};
use crate::speaker::{Design, Of, SpeakerError};
use std::path::{Path, PathBuf};

/// Curves that are to be compared.
#[derive(Debug, Clone, PartialEq)]
pub struct CompareOrder {
    /// What was measured.
    pub measured: PathBuf,
    /// What was expected.
    pub expected: PathBuf,
    /// Where; absent: wherever both are known.
    pub band_hz: Option<[f64; 2]>,
    /// What is made equal first.
    pub align: Align,
    /// Lower and upper, dB.
    pub limits_db: [f64; 2],
    /// The job that explains, and its loudspeaker.
    pub explain: Option<ExplainOrder>,
    /// Where results go; absent: beside the measured curve, in a folder named after it.
    pub out: Option<PathBuf>,
    /// Whether the picture is drawn.
    pub pictures: Pictures,
    /// The command that asks for it, for the record.
    pub ran: Ran,
}

/// What an explanation goes by.
#[derive(Debug, Clone, PartialEq)]
pub struct ExplainOrder {
    /// The job's folder, or its `job.toml`.
    pub job: PathBuf,
    /// Which of its loudspeakers; absent: its only one.
    pub speaker: Option<String>,
    /// The other measurement of the same loudspeaker: impedance beside a response, or the other way round.
    pub also: Option<PathBuf>,
    /// From the loudspeaker to the microphone; absent: the job's, else 1 m.
    pub distance_m: Option<f64>,
}

/// Curves that were compared.
pub struct Compared {
    /// The result as a document.
    pub document: CompareDocument,
    /// The picture, where it was drawn.
    pub picture: Option<Picture>,
    /// Where the result files are.
    pub folder: PathBuf,
}

/// Why curves could not be compared.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // each carries its own message
pub enum CompareError {
    #[error(transparent)]
    File(#[from] FileError),
    #[error(transparent)]
    Difference(#[from] DifferenceError),
    #[error(transparent)]
    Design(#[from] DesignError),
    #[error(transparent)]
    Speaker(#[from] SpeakerError),
    #[error(transparent)]
    Report(#[from] ReportError),
    #[error("{} is in {}, {} in {}", one.display(), of_one, other.display(), of_other)]
    Mixed { one: PathBuf, of_one: &'static str, other: PathBuf, of_other: &'static str },
    #[error("{}: {found}, where {needed} is needed", path.display())]
    AlsoOfOneKind { path: PathBuf, found: &'static str, needed: &'static str },
    #[error("{}: a level or magnitude without phase can't be explained as an impedance", path.display())]
    NoPhase { path: PathBuf },
    #[error("the curves have too few points in the band to explain anything")]
    TooFew,
    #[error("{}: the results would take its place", path.display())]
    OverInput { path: PathBuf },
}

impl CompareError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::File(error) => error.advice(),
            Self::Difference(error) => error.advice(),
            Self::Design(error) => error.advice(),
            Self::Speaker(error) => error.advice(),
            Self::Report(error) => error.advice(),
            Self::Mixed { .. } => "compare two responses, or two impedances",
            Self::AlsoOfOneKind { .. } => "give the other kind of measurement with --also",
            Self::NoPhase { .. } => "give the impedance with its phase",
            Self::TooFew => "give a wider band",
            Self::OverInput { .. } => "give --out another folder",
        }
    }
}

const RESULT_NAMES: [&str; 4] = ["compare.json", "difference.csv", "compare.svg", "compare.png"];

/// How the curves differ, and why if that is asked; written to the folder.
///
/// # Errors
/// [`CompareError`] when a file can't be used or the curves have nothing in common.
pub fn compare(order: &CompareOrder) -> Result<Compared, CompareError> {
    let measured = files::read_curve(&order.measured)?;
    let expected = files::read_curve(&order.expected)?;
    if measured.measure != expected.measure {
        return Err(CompareError::Mixed {
            one: order.measured.clone(),
            of_one: unit_word(&measured),
            other: order.expected.clone(),
            of_other: unit_word(&expected),
        });
    }
    let band_hz = order.band_hz.unwrap_or([0.0, f64::MAX]);
    let found = difference(&sampled_of(&measured), &sampled_of(&expected), band_hz, order.align, POINTS_PER_OCTAVE)?;
    let band_hz = [found.hz[0], found.hz[found.hz.len() - 1]];
    let mut inputs = vec![order.measured.clone(), order.expected.clone()];
    let checked = if order.explain.is_none() { check_blend(order, &measured, &expected)? } else { None };
    inputs.extend(checked.iter().flat_map(|checked| checked.inputs.clone()));
    let explained = match &order.explain {
        Some(asked) => Some(explained(order, asked, &measured, order.band_hz, &mut inputs)?),
        None => None,
    };
    let folder = order.out.clone().unwrap_or_else(|| order.measured.with_extension("").join("compared"));
    if let Some(path) = overwritten(&folder, &RESULT_NAMES, inputs.iter().map(PathBuf::as_path)) {
        return Err(CompareError::OverInput { path: path.to_owned() });
    }
    let picture = (order.pictures == Pictures::Drawn).then(|| picture(order, &measured, &expected, &found));
    let mut document = document(order, &measured, &found, band_hz, explained, sums(&inputs)?);
    document.changed = changes(&measured, &expected, &found);
    document.findings.splice(0..0, files::faults_of_inputs(&document.inputs));
    if let Some(checked) = checked {
        document.findings.extend(checked.findings);
        (document.causes, document.left) = (checked.causes, checked.left);
    }
    let _held = make_folder(&folder)?;
    document.provenance = order.ran.told(&folder)?;
    document.files = write(&folder, &found, &document, picture.as_ref())?;
    replace_document(&folder.join("compare.json"), &document)?;
    Ok(Compared { document, picture, folder })
}

fn unit_word(curve: &Curve) -> &'static str {
    match curve.measure {
        Measure::LevelDb => "dB",
        Measure::MagnitudeOhm => "ohm",
    }
}

/// Where two measurements differ; `None` where one of them does not tell its doubt, or is a simulation: its band is no doubt of a measurement.
fn changes(one: &Curve, other: &Curve, found: &Difference) -> Option<Vec<ChangedTable>> {
    one.u.as_ref().and(other.u.as_ref())?;
    let is_simulated = |curve: &Curve| curve.header_value("schema") == Some(SIMULATION_SCHEMA);
    if is_simulated(one) || is_simulated(other) {
        return None;
    }
    let width_hz = f64::max(one.resolution_hz().unwrap_or(0.0), other.resolution_hz().unwrap_or(0.0));
    let table = |change: Changed| ChangedTable {
        band_hz: change.band_hz,
        level: Quantity { value: change.level_db, u: change.u_db, unit: Unit::Decibel },
    };
    Some(changed(found, width_hz).into_iter().map(table).collect())
}

/// An explanation with what it went by.
struct Why {
    explanation: Explanation,
    design: Design,
    sense_ohm: Option<f64>,
    sound: bool,
    jig: bool,
    calibrated: bool,
    distance_m: f64,
}

/// A microphone hears less than this range of a small loudspeaker in a room.
const WHOLE_HZ: [f64; 2] = [5.0, 40e3];

fn explained(
    order: &CompareOrder,
    asked: &ExplainOrder,
    measured: &Curve,
    band_hz: Option<[f64; 2]>,
    inputs: &mut Vec<PathBuf>,
) -> Result<Why, CompareError> {
    let job_path = files::job_path(&asked.job);
    let job = files::read_job(&job_path)?;
    let designed = one_design(&job, &job_path, asked.speaker.as_deref())?;
    inputs.push(job_path);
    inputs.extend(designed.inputs);
    let also = asked.also.as_deref().map(|path| Ok::<_, FileError>((path, files::read_curve(path)?))).transpose()?;
    if let Some((path, other)) = also.as_ref().filter(|(_, other)| other.measure == measured.measure) {
        let needed = if other.measure == Measure::LevelDb { "an impedance in ohm" } else { "a response in dB" };
        return Err(CompareError::AlsoOfOneKind { path: path.to_path_buf(), found: unit_word(other), needed });
    }
    inputs.extend(asked.also.clone());
    let both = [Some((order.measured.as_path(), measured)), also.as_ref().map(|(path, curve)| (*path, curve))];
    let of = |measure| both.into_iter().flatten().find(|(_, curve)| curve.measure == measure);
    let mut design = designed.design;
    let told = of(Measure::LevelDb).and_then(|(_, curve)| calibration(curve));
    let of_simulation =
        told.map(|told| told.distance_m).filter(|_| asked.distance_m.is_none() && job.bench.distance_m.is_none());
    let distance_m = asked.distance_m.or(job.bench.distance_m).or(of_simulation).unwrap_or(1.0);
    design.ear.distance_m = distance_m;
    let level = of(Measure::LevelDb).map(|(_, curve)| {
        // The level is that at 1 m, by the distance that was stated; what was heard is at that distance.
        let off_db = told.map_or(0.0, |told| {
            20.0 * (told.distance_m / distance_m).log10() + 20.0 * (design.drive_v / told.drive_v).log10()
        });
        MeasuredLevel {
            hz: curve.frequency_hz.clone(),
            level_db: curve.values.iter().map(|level| level + off_db).collect(),
            phase_rad: curve.phase_deg.iter().flatten().map(|degrees| degrees.to_radians()).collect(),
            u_db: curve.u.clone().unwrap_or_default(),
            calibrated: told.is_some(),
            travelled_m: curve.header_number("travelled_m"),
        }
    });
    let ohm = match of(Measure::MagnitudeOhm) {
        None => None,
        Some((path, curve)) => {
            let impedance = files::impedance_of(curve).map_err(|_| CompareError::NoPhase { path: path.to_owned() })?;
            Some(MeasuredOhm {
                hz: impedance.hz().to_vec(),
                ohm: impedance.values().to_vec(),
                u_ohm: curve.u_noise.clone().or(curve.u.clone()).unwrap_or_default(),
            })
        }
    };
    let band = |measure| if measured.measure == measure { band_hz.unwrap_or(WHOLE_HZ) } else { WHOLE_HZ };
    let evidence = Evidence::new(
        level.as_ref().map(|level| (level, band(Measure::LevelDb))),
        ohm.as_ref().map(|ohm| (ohm, band(Measure::MagnitudeOhm))),
    )
    .ok_or(CompareError::TooFew)?;
    let explanation = explain(&design, &evidence)?;
    Ok(Why {
        explanation,
        design,
        sense_ohm: job.bench.sense_ohm,
        sound: level.is_some(),
        jig: ohm.is_some(),
        calibrated: told.is_some(),
        distance_m,
    })
}

/// At which voltage and distance a level in dB re 20 µPa holds.
#[derive(Debug, Clone, Copy)]
struct Calibration {
    drive_v: f64,
    distance_m: f64,
}

/// `dB re 20 uPa at 2.83 V, 1 m`.
fn calibration(curve: &Curve) -> Option<Calibration> {
    let (_, at) = curve.header_value("level_reference")?.split_once("dB re 20 uPa at ")?;
    let (volt, metre) = at.split_once(',')?;
    let number =
        |text: &str, unit: &str| text.trim().strip_suffix(unit)?.trim().parse::<f64>().ok().filter(|n| *n > 0.0);
    Some(Calibration { drive_v: number(volt, "V")?, distance_m: number(metre, "m")? })
}

fn document(
    order: &CompareOrder,
    measured: &Curve,
    found: &Difference,
    band_hz: [f64; 2],
    why: Option<Why>,
    inputs: Vec<files::InputFile>,
) -> CompareDocument {
    let [lower_db, upper_db] = order.limits_db;
    let align = match (order.align.level, order.align.delay) {
        (true, true) => "level,delay",
        (true, false) => "level",
        (false, true) => "delay",
        (false, false) => "none",
    };
    let path = |path: &Path| path.display().to_string();
    let asked = order.explain.as_ref();
    CompareDocument {
        schema: COMPARE_SCHEMA.into(),
        made_by: MADE_BY.into(),
        provenance: files::Provenance::default(),
        inputs,
        settings: CompareSettings {
            band_hz,
            align: align.into(),
            limits_db: order.limits_db,
            points_per_octave: POINTS_PER_OCTAVE,
            explain: asked.map(|asked| path(&asked.job)),
            speaker: asked.and_then(|asked| asked.speaker.clone()),
            also: asked.and_then(|asked| asked.also.as_deref().map(path)),
            distance_m: why.as_ref().map(|why| why.distance_m),
            level_is_calibrated: why.as_ref().filter(|why| why.sound).map(|why| why.calibrated),
        },
        findings: why.as_ref().map_or_else(Vec::new, findings),
        files: Vec::new(),
        of: if measured.measure == Measure::LevelDb { "response" } else { "impedance" }.into(),
        band_hz,
        aligned: AlignedTable {
            level_db: found.aligned.level_db,
            delay_ms: found.aligned.delay_s.map(|delay| 1e3 * delay),
        },
        rms_db: found.rms_db,
        worst: WorstPlace {
            level_db: found.level_db[found.worst],
            u_db: found.u_db.get(found.worst).copied(),
            at_hz: found.hz[found.worst],
        },
        within: found.level_db.iter().all(|db| (lower_db..=upper_db).contains(db)),
        deviation: DeviationColumns {
            frequency_hz: found.hz.clone(),
            level_db: found.level_db.clone(),
            u_db: found.u_db.clone(),
            phase_deg: found.phase_rad.iter().map(|rad| rad.to_degrees()).collect(),
        },
        third_octaves: ThirdColumns {
            frequency_hz: found.thirds.iter().map(|third| third.hz).collect(),
            level_db: found.thirds.iter().map(|third| third.level_db).collect(),
        },
        changed: None,
        left: why.as_ref().map(left),
        causes: why.map(|why| why.explanation.causes.iter().map(|blamed| cause(blamed, &why)).collect()),
    }
}

fn findings(why: &Why) -> Vec<Finding> {
    let mut found = Vec::new();
    let [level_db, ohm_percent] = why.explanation.model_error;
    // The usual error of the model, grown by half (noise.rs).
    if level_db > 0.6 || ohm_percent > 1.0 {
        let says = format!(
            "even the best explanation leaves more than usual: {level_db:.1} dB of the response, {ohm_percent:.1} % of the impedance"
        );
        let advice = "look whether the job describes this loudspeaker: drivers measured, front, places, network";
        found.push(Finding::new(Code::PoorFit, Severity::Caution, says, advice));
    }
    if why.sound && !why.calibrated {
        found.push(Finding::new(
            Code::Assumed,
            Severity::Note,
            "the measured level is not absolute, so level and distance are not judged",
            "give boxwright response the drive voltage, the distance and the microphone's sensitivity",
        ));
    }
    found
}

fn left(why: &Why) -> LeftTable {
    let explanation = &why.explanation;
    let rest = match (explanation.left_db, explanation.left_ohm_percent) {
        (Some(db), Some(percent)) => format!("{db:.1} dB of the response and {percent:.1} % of the impedance"),
        (Some(db), None) => format!("{db:.1} dB of the response"),
        (None, Some(percent)) => format!("{percent:.1} % of the impedance"),
        (None, None) => "nothing".into(),
    };
    let says = if explanation.causes.is_empty() {
        format!(
            "nothing significant: what differs is within the usual spread of drivers and parts; {rest} (rms) is left over"
        )
    } else {
        format!("{rest} (rms) is left unexplained")
    };
    LeftTable {
        unexplained_percent: explanation.unexplained_percent,
        rms_db: explanation.left_db,
        rms_ohm_percent: explanation.left_ohm_percent,
        says,
    }
}

fn cause(blamed: &Blamed, why: &Why) -> CauseTable {
    let (designed, found) = units(blamed, why);
    let says = says(blamed, designed, found);
    let others: Vec<String> = blamed.instead.iter().map(|other| other.name(&why.design)).collect();
    let tell = blamed.instead.first().map(|other| tell_apart(blamed.cause, *other, why.sound, why.jig).to_owned());
    CauseTable {
        cause: blamed.name.clone(),
        designed,
        found,
        state: blamed.state.map(str::to_owned),
        explains_percent: blamed.explains_percent,
        says,
        or: others,
        tell_apart: tell,
    }
}

/// Designed and found in the units of people; a loss as its Q.
fn units(blamed: &Blamed, why: &Why) -> (Option<f64>, Option<Quantity>) {
    let scaled = |scale: f64, unit: Unit| {
        let found = blamed.found.map(|[value, u]| Quantity { value: scale * value, u: scale * u, unit });
        (blamed.designed.map(|value| scale * value), found)
    };
    let Cause::Number(knob) = blamed.cause else {
        return match blamed.cause {
            Cause::Level => scaled(1.0, Unit::Decibel),
            Cause::Distance => scaled(1.0, Unit::Metre),
            Cause::SenseResistor => why.sense_ohm.map_or_else(|| scaled(1.0, Unit::Pure), |ohm| scaled(ohm, Unit::Ohm)),
            _ => (None, None),
        };
    };
    match knob.of(&why.design) {
        Of::CubicMetre => scaled(1e3, Unit::Litre),
        Of::Metre => scaled(1e3, Unit::Millimetre),
        Of::Hertz => scaled(1.0, Unit::Hz),
        Of::Ohm => scaled(1.0, Unit::Ohm),
        Of::Henry => scaled(1e3, Unit::Millihenry),
        Of::Farad => scaled(1e6, Unit::Microfarad),
        Of::Ratio => scaled(1.0, Unit::Pure),
        Of::LossFactor => {
            let q = |[value, u]: [f64; 2]| {
                (value > 0.0).then(|| Quantity { value: 1.0 / value, u: u / (value * value), unit: Unit::Pure })
            };
            (blamed.designed.filter(|value| *value > 0.0).map(|value| 1.0 / value), blamed.found.and_then(q))
        }
    }
}

fn says(blamed: &Blamed, designed: Option<f64>, found: Option<Quantity>) -> String {
    let name = &blamed.name;
    match (blamed.cause, designed, found) {
        (Cause::Polarity(_), ..) => {
            format!("{} is connected the wrong way round", name.trim_start_matches("polarity "))
        }
        (Cause::Swapped(..), ..) => "the ways hang where the other one belongs".into(),
        (Cause::Broken(..), ..) => {
            let state = blamed.state.unwrap_or("broken");
            format!("{name} acts as if it were {state}")
        }
        (Cause::Level, _, Some(found)) => format!("the level as a whole is off by {found}"),
        (Cause::Distance, Some(designed), Some(found)) => {
            format!("the microphone seems to have stood at {found} instead of {designed:.2} m")
        }
        (_, Some(designed), Some(found)) => {
            let symbol = found.unit.symbol();
            let designed = format!("{} {symbol}", short(designed));
            format!("{name} acts like {found} instead of {}", designed.trim_end())
        }
        (_, None, Some(found)) => format!("{name} acts like {found}, and none was designed"),
        _ => format!("{name} is not what was designed"),
    }
}

/// Four digits.
fn short(value: f64) -> String {
    let decimals = (3.0 - value.abs().max(1e-9).log10().floor()).clamp(0.0, 6.0) as usize;
    let text = format!("{value:.decimals$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

fn picture(order: &CompareOrder, measured: &Curve, expected: &Curve, found: &Difference) -> Picture {
    let name = |path: &Path| path.file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default();
    let at = |curve: &Curve| {
        let one = sampled_of(curve);
        let table = crate::math::RisingTable::new(one.hz.iter().map(|hz| hz.ln()).collect(), one.level_db);
        found
            .hz
            .iter()
            .map(|hz| table.as_ref().and_then(|table| table.at(hz.ln())).unwrap_or(f64::NAN))
            .collect::<Vec<f64>>()
    };
    DifferencePicture {
        title: format!("{} over {}", name(&order.measured), name(&order.expected)),
        unit: if measured.measure == Measure::LevelDb { "level (dB)" } else { "impedance (dB re 1 Ω)" }.to_owned(),
        frequency_hz: found.hz.clone(),
        measured_db: at(measured).iter().map(|db| db - found.aligned.level_db).collect(),
        expected_db: at(expected),
        difference_db: found.level_db.clone(),
        u_db: found.u_db.clone(),
        limits_db: order.limits_db,
    }
    .picture()
}

/// Writes everything but the document itself, and lists all with it.
fn write(
    folder: &Path,
    found: &Difference,
    document: &CompareDocument,
    picture: Option<&Picture>,
) -> Result<Vec<WrittenFile>, CompareError> {
    let mut listing = Listing::new(folder);
    let curve = Curve {
        measure: Measure::LevelDb,
        frequency_hz: found.hz.clone(),
        values: found.level_db.clone(),
        phase_deg: None,
        u: (!found.u_db.is_empty()).then(|| found.u_db.clone()),
        u_noise: None,
        header: vec![
            ("schema".to_owned(), document.schema.clone()),
            ("made_by".to_owned(), document.made_by.clone()),
            ("what".to_owned(), "measured minus expected, aligned".to_owned()),
        ],
        notes: Vec::new(),
    };
    files::replace_curve(&listing.add("difference.csv", "measured minus expected"), &curve)?;
    if let Some(picture) = picture {
        listing.picture::<CompareError>("compare", "picture", picture)?;
    }
    listing.add("compare.json", "result");
    Ok(listing.files())
}
