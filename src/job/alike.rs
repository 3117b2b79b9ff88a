//! From curves on disk to whether the units are alike.

use super::driver_document::quantity;
use super::record::Ran;
use super::results_folder::{make_folder, overwritten, replace_document};
use crate::MADE_BY;
use crate::driver::{
    Alike, Comparison, Doubted, DriverError, DriverParameters, Evidence, FALSE_ALARM, FitSettings, UnitCurve, Verdict,
    compared, differences, driver_parameters, fit_driver, odd_one_out,
};
use crate::files::{
    self, Curve, FileError, InputFile, MATCH_SCHEMA, MatchDocument, MatchSettings, Measure, PairTable, UnitTable,
    WorstTable, WrittenFile,
};
use crate::quantity::{Code, Finding, POINTS_PER_OCTAVE, Severity, Unit, db_from_amplitude};
use std::path::{Path, PathBuf};

/// Units that are to be compared.
#[derive(Debug, Clone, PartialEq)]
pub struct MatchOrder {
    /// Their curves: of one kind, or of both kinds in the same order of units.
    pub curves: Vec<PathBuf>,
    /// The first unit measured once more after it was set up anew: what setting up alone changes.
    pub again: Option<PathBuf>,
    /// Where; absent: wherever all have points.
    pub band_hz: Option<[f64; 2]>,
    /// Lower and upper, dB.
    pub limits_db: [f64; 2],
    /// Whether a difference of the mean level counts.
    pub level: LevelCounts,
    /// Where the document goes; absent: nowhere.
    pub out: Option<PathBuf>,
    /// The command that asks for it, for the record.
    pub ran: Ran,
}

/// Whether a difference of the mean level counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LevelCounts {
    /// The curves as they are.
    Yes,
    /// Each with its mean level taken off.
    No,
}

/// Why units could not be compared.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // each carries its own message
pub enum MatchError {
    #[error(transparent)]
    File(#[from] FileError),
    #[error(transparent)]
    Driver(#[from] DriverError),
    #[error("{} curve, a match needs two or more", if *found == 1 { "one".to_owned() } else { found.to_string() })]
    TooFew { found: usize },
    #[error(
        "{responses} in dB and {impedances} in ohm: a response can't be compared with an impedance, and of both kinds each of two or more units needs one"
    )]
    Mixed { responses: usize, impedances: usize },
    #[error("{}: no other curve is of its kind", path.display())]
    OtherKind { path: PathBuf },
    #[error("{}: {ohm} ohm at {hz} Hz has no level in dB", path.display())]
    NothingThere { path: PathBuf, hz: f64, ohm: f64 },
    #[error("{}: the results would take its place", path.display())]
    OverInput { path: PathBuf },
}

impl MatchError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::File(error) => error.advice(),
            Self::Driver(error) => error.advice(),
            Self::TooFew { .. } => "name the curves of all units, one after the other",
            Self::Mixed { .. } => "give curves of one kind, or response and impedance of each unit in one order",
            Self::OtherKind { .. } => "give with --again a curve of the same kind as the units'",
            Self::NothingThere { .. } => "measure again; a cable was off",
            Self::OverInput { .. } => "give --out another folder",
        }
    }
}

/// A curve read, and the unit it is of.
struct Specimen {
    name: String,
    path: PathBuf,
    curve: Curve,
    /// What its driver is, or why none can be had.
    driver: Option<Result<DriverParameters, String>>,
}

/// Curves of one kind, compared.
struct Kind {
    of: &'static str,
    measure: Measure,
    units: Vec<Specimen>,
    band_hz: [f64; 2],
    pairs: Vec<Comparison>,
}

/// Whether the units are alike, as a document.
///
/// # Errors
/// [`MatchError`] when a file can't be read, or the curves can't be compared.
pub fn match_units(order: &MatchOrder) -> Result<MatchDocument, MatchError> {
    if order.curves.len() < 2 {
        return Err(MatchError::TooFew { found: order.curves.len() });
    }
    let kinds = kinds(order)?;
    let names: Vec<String> = kinds[0].units.iter().map(|unit| unit.name.clone()).collect();
    let odd = kinds.iter().find_map(|kind| odd_one_out(&kind.pairs, names.len())).map(|unit| names[unit].clone());
    let tables: Vec<PairTable> =
        kinds.iter().flat_map(|kind| kind.pairs.iter().map(|pair| pair_table(pair, kind, &names))).collect();
    let inputs = inputs(order)?;
    let mut document = MatchDocument {
        schema: MATCH_SCHEMA.into(),
        made_by: MADE_BY.into(),
        provenance: files::Provenance::default(),
        settings: settings(order),
        findings: files::faults_of_inputs(&inputs)
            .into_iter()
            .chain(kinds.iter().flat_map(|kind| findings(kind, &tables, odd.as_deref(), order.limits_db)))
            .collect(),
        inputs,
        files: Vec::new(),
        of: kinds.iter().map(|kind| kind.of).collect::<Vec<_>>().join(" and "),
        band_hz: kinds[0].band_hz,
        units: unit_tables(&kinds),
        within: tables.iter().all(|pair| pair.within),
        pairs: tables,
        odd_one_out: odd,
    };
    write(order, &mut document)?;
    Ok(document)
}

/// The curves by kind: responses first, each kind with as many units as the other.
fn kinds(order: &MatchOrder) -> Result<Vec<Kind>, MatchError> {
    let units = read_units(&order.curves)?;
    let (responses, impedances): (Vec<Specimen>, Vec<Specimen>) =
        units.into_iter().partition(|unit| unit.curve.measure == Measure::LevelDb);
    let counts = [responses.len(), impedances.len()];
    if counts.iter().all(|count| *count > 0) && (counts[0] != counts[1] || counts[0] < 2) {
        return Err(MatchError::Mixed { responses: responses.len(), impedances: impedances.len() });
    }
    let again = order.again.iter().cloned().collect::<Vec<_>>();
    let mut again = read_units(&again)?.pop();
    let mut kinds = Vec::new();
    for (of, measure, units) in
        [("response", Measure::LevelDb, responses), ("impedance", Measure::MagnitudeOhm, impedances)]
    {
        if units.is_empty() {
            continue;
        }
        let columns = units.iter().map(level_columns).collect::<Result<Vec<_>, MatchError>>()?;
        let mut alike = Alike::of(&columns, order.band_hz)?;
        if let Some(repeat) = again.take_if(|repeat| repeat.curve.measure == measure) {
            alike = alike.with_set_up(&level_columns(&repeat)?, 0)?;
        }
        let band_hz = [alike.hz[0], alike.hz[alike.hz.len() - 1]];
        let alike = match order.level {
            LevelCounts::Yes => alike,
            LevelCounts::No => alike.levelled(),
        };
        let pairs = compared(&alike, order.limits_db);
        kinds.push(Kind { of, measure, units, band_hz, pairs });
    }
    match again {
        Some(repeat) => Err(MatchError::OtherKind { path: repeat.path }),
        None => Ok(kinds),
    }
}

fn inputs(order: &MatchOrder) -> Result<Vec<InputFile>, FileError> {
    let input = |path: &PathBuf| Ok(InputFile { path: path.display().to_string(), sha256: files::sha256_of(path)? });
    order.curves.iter().chain(&order.again).map(input).collect()
}

fn settings(order: &MatchOrder) -> MatchSettings {
    MatchSettings {
        limits_db: order.limits_db,
        band_hz: order.band_hz,
        align: match order.level {
            LevelCounts::Yes => "none",
            LevelCounts::No => "level",
        }
        .into(),
        points_per_octave: POINTS_PER_OCTAVE,
        false_alarm: FALSE_ALARM,
        again: order.again.as_ref().map(|path| path.display().to_string()),
    }
}

fn read_units(curves: &[PathBuf]) -> Result<Vec<Specimen>, MatchError> {
    let read = |(path, name): (&PathBuf, String)| {
        let curve = files::read_curve(path)?;
        let driver = (curve.measure == Measure::MagnitudeOhm).then(|| driver_of(&curve));
        Ok(Specimen { name, path: path.clone(), curve, driver })
    };
    curves.iter().zip(names(curves)).map(read).collect()
}

/// All points of the curve count for the driver, whatever band is compared.
fn driver_of(curve: &Curve) -> Result<DriverParameters, String> {
    let found = files::impedance_of(curve)
        .map_err(DriverError::Curve)
        .and_then(|impedance| fit_driver(&impedance, &FitSettings::default()))
        .and_then(|fit| driver_parameters(&fit, &Evidence::default()));
    found.map_err(|error| error.to_string())
}

/// A short name for each: the file's, with its folder's where files share theirs, else the whole path.
pub(super) fn names(paths: &[PathBuf]) -> Vec<String> {
    let stem = |path: &Path| path.file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default();
    let with_folder = |path: &Path| {
        let folder = path.parent().and_then(Path::file_name).map(|name| name.to_string_lossy().into_owned());
        folder.map_or_else(|| stem(path), |folder| format!("{folder}/{}", stem(path)))
    };
    let whole = |path: &Path| path.display().to_string();
    let shapes: [&dyn Fn(&Path) -> String; 2] = [&stem, &with_folder];
    for shape in shapes {
        let named: Vec<String> = paths.iter().map(|path| shape(path)).collect();
        let is_double = |at: usize| named[..at].contains(&named[at]);
        if !(0..named.len()).any(is_double) {
            return named;
        }
    }
    paths
        .iter()
        .enumerate()
        .map(|(at, path)| {
            let is_double = paths[..at].contains(path);
            if is_double { format!("{} ({})", whole(path), at + 1) } else { whole(path) }
        })
        .collect()
}

/// The curve's level in dB.
fn level_columns(unit: &Specimen) -> Result<UnitCurve, MatchError> {
    let curve = &unit.curve;
    let none = vec![0.0; curve.values.len()];
    let u = curve.u.as_ref().unwrap_or(&none);
    let u_noise = curve.u_noise.as_ref().unwrap_or(u);
    let hz = curve.frequency_hz.clone();
    let resolution_hz = curve.resolution_hz().unwrap_or(0.0);
    if curve.measure == Measure::LevelDb {
        let (level_db, u_db, u_noise_db) = (curve.values.clone(), u.clone(), u_noise.clone());
        return Ok(UnitCurve { hz, level_db, u_db, u_noise_db, resolution_hz });
    }
    if let Some(at) = curve.values.iter().position(|&ohm| ohm <= 0.0) {
        let (hz, ohm) = (curve.frequency_hz[at], curve.values[at]);
        return Err(MatchError::NothingThere { path: unit.path.clone(), hz, ohm });
    }
    let level_db = curve.values.iter().map(|&ohm| db_from_amplitude(ohm)).collect();
    let in_db = |u: &[f64]| -> Vec<f64> {
        curve.values.iter().zip(u).map(|(ohm, u)| 20.0 / std::f64::consts::LN_10 * u / ohm).collect()
    };
    Ok(UnitCurve { hz, level_db, u_db: in_db(u), u_noise_db: in_db(u_noise), resolution_hz })
}

const TOLD: [&str; 5] = ["re_ohm", "fs_hz", "qms", "qes", "qts"];

fn pair_table(pair: &Comparison, kind: &Kind, names: &[String]) -> PairTable {
    let units = &kind.units;
    let have = |column: fn(&Curve) -> &Option<Vec<f64>>| {
        [pair.a, pair.b].iter().all(|&unit| column(&units[unit].curve).is_some())
    };
    let (one, other) = (&units[pair.a], &units[pair.b]);
    let numbers: Vec<(&str, Doubted, Doubted)> = match (&one.driver, &other.driver) {
        (Some(Ok(one)), Some(Ok(other))) => {
            TOLD.iter().filter_map(|name| Some((*name, one.value(name)?, other.value(name)?))).collect()
        }
        _ => Vec::new(),
    };
    let told = have(|curve| &curve.u);
    let differing = [("level", pair.level_differs), ("shape", pair.shape_differs)];
    PairTable {
        of: kind.of.into(),
        band_hz: kind.band_hz,
        a: names[pair.a].clone(),
        b: names[pair.b].clone(),
        level_db: pair.level_db,
        level_u_db: told.then_some(pair.level_u_db),
        shape_db: pair.shape_db,
        differs: differing.iter().filter(|(_, differs)| told && *differs).map(|(what, _)| (*what).to_owned()).collect(),
        rms_db: pair.rms_db,
        worst: WorstTable {
            level_db: pair.worst_db,
            u_db: told.then_some(pair.worst_u_db),
            u_one_jig_db: have(|curve| &curve.u_noise).then_some(pair.worst_u_one_jig_db),
            at_hz: pair.worst_hz,
        },
        within: pair.is_within(),
        verdict: match pair.verdict {
            Verdict::Within => "within",
            Verdict::Undecided => "undecided",
            Verdict::Outside => "outside",
        }
        .into(),
        says: differences(&numbers),
    }
}

/// The units of the first kind, with the driver that the second one's impedances tell.
fn unit_tables(kinds: &[Kind]) -> Vec<UnitTable> {
    let table = |(at, unit): (usize, &Specimen)| {
        let other = kinds.get(1).map(|kind| &kind.units[at]);
        let number = |name: &str, of: Unit| {
            let driver = unit.driver.as_ref().or(other.and_then(|other| other.driver.as_ref()));
            let found = driver?.as_ref().ok()?.value(name)?;
            Some(quantity(found, of))
        };
        UnitTable {
            name: unit.name.clone(),
            path: unit.path.display().to_string(),
            impedance_path: other.map(|other| other.path.display().to_string()),
            re: number("re_ohm", Unit::Ohm),
            fs: number("fs_hz", Unit::Hz),
            qms: number("qms", Unit::Pure),
            qes: number("qes", Unit::Pure),
            qts: number("qts", Unit::Pure),
        }
    };
    kinds[0].units.iter().enumerate().map(table).collect()
}

fn findings(kind: &Kind, pairs: &[PairTable], odd: Option<&str>, limits_db: [f64; 2]) -> Vec<Finding> {
    let mut all = Vec::new();
    let of_kind = || pairs.iter().filter(|pair| pair.of == kind.of);
    let worst = |verdict: &str| {
        let those = of_kind().filter(|pair| pair.verdict == verdict);
        those.max_by(|a, b| a.worst.level_db.abs().total_cmp(&b.worst.level_db.abs()))
    };
    let limits = format!("the limits are {:+} to {:+} dB", limits_db[0], limits_db[1]);
    let place = |pair: &PairTable| files::frequency_text(pair.worst.at_hz);
    if let Some(pair) = worst("outside") {
        let who = odd.map_or_else(|| format!("{} and {}", pair.a, pair.b), |odd| format!("{odd} and the others"));
        let says = format!(
            "{who} are not alike by their {}: up to {:+.2} dB at {}, {limits}",
            kind.of,
            pair.worst.level_db,
            place(pair)
        );
        let advice = if kind.measure == Measure::MagnitudeOhm {
            "look at what differs in the drivers' numbers; let both rest at one temperature and measure again before you replace one"
        } else {
            "measure both again at exactly one place before you replace one; their impedances tell more"
        };
        all.push(Finding::new(Code::UnitMismatch, Severity::Caution, says, advice));
    }
    if let Some(pair) = worst("undecided") {
        let says = format!(
            "{} and {} differ by {:+.2} dB at {}, {limits}, and the doubt of the measurement is as large: it can't be told",
            pair.a,
            pair.b,
            pair.worst.level_db,
            place(pair)
        );
        all.push(Finding::new(
            Code::Noisy,
            Severity::Caution,
            says,
            "measure again with more repeats or louder, in a quieter moment",
        ));
    }
    for unit in &kind.units {
        if let Some(Err(error)) = &unit.driver {
            let says =
                format!("{}: no driver explains its curve, so that only the curves are compared: {error}", unit.name);
            all.push(Finding::new(
                Code::NotADriver,
                Severity::Note,
                says,
                "give impedances with phase of drivers in free air",
            ));
        }
    }
    all
}

/// Writes the document into the folder that was asked for.
fn write(order: &MatchOrder, document: &mut MatchDocument) -> Result<(), MatchError> {
    let Some(folder) = &order.out else { return Ok(()) };
    if let Some(input) =
        overwritten(folder, &[RESULT_NAME], order.curves.iter().chain(&order.again).map(PathBuf::as_path))
    {
        return Err(MatchError::OverInput { path: input.to_owned() });
    }
    let _held = make_folder(folder)?;
    document.provenance = order.ran.told(folder)?;
    let path = folder.join(RESULT_NAME);
    document.files = vec![WrittenFile { path: path.display().to_string(), what: "this document".into() }];
    Ok(replace_document(&path, document)?)
}

const RESULT_NAME: &str = "match.json";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_as_short_as_they_can_be_and_differ() {
        let named = |paths: &[&str]| names(&paths.iter().map(PathBuf::from).collect::<Vec<_>>());
        assert_eq!(named(&["a/left.csv", "a/right.csv"]), ["left", "right"]);
        assert_eq!(named(&["left/z.csv", "right/z.csv"]), ["left/z", "right/z"]);
        assert_eq!(named(&["a/left/z.csv", "b/left/z.csv"]), ["a/left/z.csv", "b/left/z.csv"]);
        assert_eq!(named(&["z.csv", "z.csv"]), ["z.csv", "z.csv (2)"]);
    }
}
