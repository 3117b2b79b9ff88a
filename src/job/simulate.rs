//! From a job to what its loudspeakers promise: the files, the curves, the pictures.

use super::Pictures;
use super::design::{DesignError, Designed, designs};
use super::record::Ran;
use super::results_folder::{Listing, make_folder, overwritten, replace_document};
use crate::MADE_BY;
use crate::files::{
    self, CurrentColumns, Curve, DelayColumns, ExcursionColumns, FileError, InputFile, LevelColumns, MaxLevelColumns,
    Measure, MinimumTable, OhmColumns, ParameterTable, ReplacedTable, RestsOnTable, SIMULATION_SCHEMA,
    SimulationDocument, SimulationSettings, SpeakerTable, SpeedColumns, TransferColumns, WayTable, WrittenFile,
};
use crate::network::ESeries;
use crate::quantity::{Air, Code, Finding, FrequencyGrid, QuantityError, Severity, Whereabouts};
use crate::report::{
    ImpedancePicture, LevelCurve, OhmCurve, Origin, PhasePanel, Picture, ReportError, ResponsePicture,
};
use crate::speaker::{Design, Ear, Simulation, Space, SpeakerError, Tolerance, Turning, level_db, simulate, tolerance};
use num_complex::Complex64;
use std::path::{Path, PathBuf};

/// A simulation that is wanted; SI.
#[derive(Debug, Clone, PartialEq)]
pub struct SimulationOrder {
    /// The job's folder, or its `job.toml`.
    pub job: PathBuf,
    /// Which of its loudspeakers; absent: all.
    pub speaker: Option<String>,
    /// From and to.
    pub band_hz: [f64; 2],
    /// Points an octave of the curves.
    pub points_per_octave: u32,
    /// From where it is heard.
    pub ear: Ear,
    /// Which space it radiates into.
    pub space: Space,
    /// Voltage of the amplifier, rms.
    pub drive_v: f64,
    /// The air, where it is not the job's.
    pub air: Option<Air>,
    /// Parts are replaced by the nearest of this series.
    pub e_series: Option<ESeries>,
    /// Whether the spread of everything is worked out.
    pub tolerance: Banding,
    /// Where results go; absent: a folder `simulation` beside the job.
    pub out: Option<PathBuf>,
    /// Whether pictures are drawn.
    pub pictures: Pictures,
    /// The command that asks for it, for the record.
    pub ran: Ran,
}

/// Whether the curves get their spread.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Banding {
    /// A band around the curves, and what makes it.
    Worked,
    /// The curves alone.
    None,
}

/// A job that was simulated.
pub struct Simulated {
    /// The result as a document.
    pub document: SimulationDocument,
    /// Pictures by the loudspeaker's name: response and impedance.
    pub pictures: Vec<(String, [Picture; 2])>,
    /// Where the result files are.
    pub folder: PathBuf,
}

/// Why nothing could be simulated.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // each carries its own message
pub enum SimulateError {
    #[error(transparent)]
    File(#[from] FileError),
    #[error(transparent)]
    Design(#[from] DesignError),
    #[error("{speaker}: {source}")]
    Speaker { speaker: String, source: SpeakerError },
    #[error(transparent)]
    Quantity(#[from] QuantityError),
    #[error(transparent)]
    Report(#[from] ReportError),
    #[error("{}: the results would take its place", path.display())]
    OverInput { path: PathBuf },
}

impl SimulateError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::File(error) => error.advice(),
            Self::Design(error) => error.advice(),
            Self::Speaker { source, .. } => source.advice(),
            Self::Quantity(error) => error.advice(),
            Self::Report(error) => error.advice(),
            Self::OverInput { .. } => "give --out another folder",
        }
    }
}

/// Simulates a job's loudspeakers and writes the results to their folder.
///
/// # Errors
/// [`SimulateError`] when the job or a file that it names can't be used.
pub fn simulate_job(order: &SimulationOrder) -> Result<Simulated, SimulateError> {
    let job_path = files::job_path(&order.job);
    let job = files::read_job(&job_path)?;
    let all = designs(&job, &job_path, order.speaker.as_deref())?;
    let usual = || job_path.parent().unwrap_or(Path::new("")).join("simulation");
    let folder = order.out.clone().unwrap_or_else(usual);
    let grid = FrequencyGrid::of_octave_fractions(order.band_hz, order.points_per_octave)?;
    let mut inputs = vec![job_path];
    let mut document = SimulationDocument {
        schema: SIMULATION_SCHEMA.into(),
        made_by: MADE_BY.into(),
        provenance: files::Provenance::default(),
        inputs: Vec::new(),
        settings: settings(order, order.air.unwrap_or(all[0].design.air)),
        findings: Vec::new(),
        files: Vec::new(),
        level_reference: level_reference(order),
        speakers: Default::default(),
    };
    let mut pictures = Vec::new();
    for designed in all {
        let speaker = designed.name.clone();
        let placed = |source| SimulateError::Speaker { speaker: speaker.clone(), source };
        let (design, replaced) = prepared(&designed, order);
        let simulation = simulate(&design, grid.hz()).map_err(placed)?;
        let spread = match order.tolerance {
            Banding::Worked => Some(tolerance(&design, &simulation.hz).map_err(placed)?),
            Banding::None => None,
        };
        document.findings.extend(designed.findings.iter().cloned());
        document.findings.extend(findings(&speaker, &design, &simulation, grid.hz()));
        let table = speaker_table(&designed, &design, &simulation, spread.as_ref(), replaced);
        if order.pictures == Pictures::Drawn {
            pictures.push((speaker.clone(), drawn(&speaker, &table, &document.level_reference)));
        }
        document.speakers.insert(speaker, table);
        inputs.extend(designed.inputs);
    }
    inputs.dedup();
    document.inputs = sums(&inputs)?;
    document.findings.extend(files::faults_of_inputs(&document.inputs));
    document.findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    let names: Vec<String> = document.speakers.keys().flat_map(|name| result_names(name)).collect();
    let names: Vec<&str> = names.iter().map(String::as_str).chain(["simulation.json"]).collect();
    if let Some(path) = overwritten(&folder, &names, inputs.iter().map(PathBuf::as_path)) {
        return Err(SimulateError::OverInput { path: path.to_owned() });
    }
    let _held = make_folder(&folder)?;
    document.provenance = order.ran.told(&folder)?;
    document.files = write(&folder, &document, &pictures)?;
    replace_document(&folder.join("simulation.json"), &document)?;
    Ok(Simulated { document, pictures, folder })
}

/// Checksums of what was read.
pub(super) fn sums(inputs: &[PathBuf]) -> Result<Vec<InputFile>, FileError> {
    inputs
        .iter()
        .map(|path| Ok(InputFile { path: path.display().to_string(), sha256: files::sha256_of(path)? }))
        .collect()
}

fn result_names(speaker: &str) -> Vec<String> {
    let endings = ["response.csv", "impedance.csv", "response.svg", "response.png", "impedance.svg", "impedance.png"];
    endings.map(|ending| format!("{speaker}-{ending}")).to_vec()
}

/// The design as it is to be heard, and the parts that were replaced.
fn prepared(designed: &Designed, order: &SimulationOrder) -> (Design, Vec<ReplacedTable>) {
    let mut design = designed.design.clone();
    (design.ear, design.space, design.drive_v) = (order.ear, order.space, order.drive_v);
    design.air = order.air.unwrap_or(design.air);
    let mut replaced = Vec::new();
    if let Some(series) = order.e_series {
        for part in &mut design.network.parts {
            let nearest = series.nearest(part.value);
            let off_percent = 100.0 * (nearest / part.value - 1.0);
            // Less than a part in a million is a rounding.
            if off_percent.abs() > 1e-4 {
                replaced.push(ReplacedTable { part: part.name.clone(), drawn: part.value, nearest, off_percent });
                part.value = nearest;
            }
        }
    }
    (design, replaced)
}

fn level_reference(order: &SimulationOrder) -> String {
    format!("dB re 20 uPa at {} V, {} m", order.drive_v, order.ear.distance_m)
}

fn settings(order: &SimulationOrder, air: Air) -> SimulationSettings {
    SimulationSettings {
        band_hz: order.band_hz,
        points_per_octave: order.points_per_octave,
        drive_v: order.drive_v,
        distance_m: order.ear.distance_m,
        angle_deg: order.ear.across_rad.to_degrees(),
        up_deg: order.ear.up_rad.to_degrees(),
        space: match order.space {
            Space::AsDesigned => "as-designed",
            Space::Half => "half",
            Space::Full => "full",
        }
        .into(),
        e_series: ESeries::ALL
            .iter()
            .find(|(_, series)| Some(*series) == order.e_series)
            .map(|(name, _)| (*name).to_owned()),
        tolerance: order.tolerance == Banding::Worked,
        temperature_c: air.temperature_c(),
        pressure_kpa: air.pressure_kpa(),
    }
}

fn degrees(values: &[Complex64]) -> Vec<f64> {
    values.iter().map(|value| value.arg().to_degrees()).collect()
}

fn level_columns(hz: &[f64], pressure_pa: &[Complex64], u_db: Vec<f64>) -> LevelColumns {
    LevelColumns {
        frequency_hz: hz.to_vec(),
        level_db: pressure_pa.iter().map(|pressure| level_db(*pressure)).collect(),
        phase_deg: degrees(pressure_pa),
        u_db,
    }
}

fn speaker_table(
    designed: &Designed,
    design: &Design,
    simulation: &Simulation,
    spread: Option<&Tolerance>,
    replaced: Vec<ReplacedTable>,
) -> SpeakerTable {
    let all: Vec<f64> = simulation.points.iter().map(|point| point.hz).collect();
    let ohm = simulation.impedance_ohm(design);
    let u_ohm = spread.map_or_else(Vec::new, |spread| {
        // Where the response is known everywhere, so is the impedance's spread.
        let pairs = spread.u_ln_ohm.iter().zip(&ohm).map(|(u, ohm)| u * ohm.norm());
        if spread.hz.len() == all.len() { pairs.collect() } else { Vec::new() }
    });
    let excursions: Vec<&Vec<f64>> = simulation.ways.iter().filter_map(|way| way.excursion_m.as_ref()).collect();
    let reach = |excursion: &&&Vec<f64>| excursion.iter().copied().fold(0.0, f64::max);
    let farthest = excursions.iter().max_by(|a, b| reach(a).total_cmp(&reach(b)));
    let excursion = |metres: &Vec<f64>| ExcursionColumns {
        frequency_hz: all.clone(),
        peak_mm: metres.iter().map(|metre| 1e3 * metre).collect(),
    };
    let ways = design.ways.iter().enumerate().map(|(at, way)| {
        let curves = &simulation.ways[at];
        let transfer: Vec<Complex64> =
            simulation.points.iter().map(|point| point.ways[at].across_v / design.drive_v).collect();
        let table = WayTable {
            response: level_columns(&curves.hz, &curves.pressure_pa, Vec::new()),
            transfer: transfer_columns(&all, &transfer),
            excursion: curves.excursion_m.as_ref().map(excursion),
        };
        (way.name.clone(), table)
    });
    SpeakerTable {
        response: level_columns(
            &simulation.hz,
            &simulation.pressure_pa,
            spread.map_or_else(Vec::new, |spread| spread.u_db.clone()),
        ),
        impedance: ohm_columns(&all, &ohm, u_ohm),
        minimum: lowest(&all, &ohm),
        ways: ways.collect(),
        excursion: farthest.map(|metres| excursion(metres)),
        group_delay: DelayColumns {
            frequency_hz: simulation.hz.clone(),
            delay_ms: simulation.group_delay_s.iter().map(|delay| 1e3 * delay).collect(),
        },
        max_level: simulation.loudest.as_ref().map(|loudest| MaxLevelColumns {
            frequency_hz: simulation.hz.clone(),
            level_db: loudest.level_db(),
            by_excursion_db: loudest.by_excursion_db.clone(),
            by_power_db: loudest.by_power_db.clone(),
        }),
        port_air_speed: simulation
            .port_m_s
            .as_ref()
            .map(|speed| SpeedColumns { frequency_hz: all.clone(), peak_m_s: speed.clone() }),
        amplifier_current: CurrentColumns {
            frequency_hz: all.clone(),
            current_a: simulation.points.iter().map(|point| point.input_a.norm()).collect(),
        },
        parameters: spread.map_or_else(Vec::new, |spread| parameters(design, spread)),
        rests_on: designed
            .basis
            .iter()
            .map(|basis| RestsOnTable { of: basis.of.clone(), rests_on: basis.rests_on.to_owned() })
            .collect(),
        replaced,
    }
}

/// A way that gets nothing has a gain of −240 dB.
const LEAST_GAIN: f64 = 1e-12;

/// Gains as columns.
pub(super) fn transfer_columns(hz: &[f64], gains: &[Complex64]) -> TransferColumns {
    TransferColumns {
        frequency_hz: hz.to_vec(),
        gain_db: gains.iter().map(|gain| 20.0 * gain.norm().max(LEAST_GAIN).log10()).collect(),
        phase_deg: degrees(gains),
    }
}

/// Impedances as columns.
pub(super) fn ohm_columns(hz: &[f64], ohm: &[Complex64], u_ohm: Vec<f64>) -> OhmColumns {
    OhmColumns {
        frequency_hz: hz.to_vec(),
        magnitude_ohm: ohm.iter().map(|ohm| ohm.norm()).collect(),
        phase_deg: degrees(ohm),
        u_ohm,
    }
}

/// Where an impedance is lowest: the hardest load on the amplifier.
pub(super) fn lowest(hz: &[f64], ohm: &[Complex64]) -> MinimumTable {
    let at = (0..ohm.len()).min_by(|a, b| ohm[*a].norm().total_cmp(&ohm[*b].norm())).unwrap_or(0);
    MinimumTable { ohm: ohm[at].norm(), at_hz: hz[at] }
}

/// What there is to say of an impedance that an amplifier may not bear, and what to do.
pub(super) fn too_low(minimum: &MinimumTable) -> Option<[String; 2]> {
    let says = || {
        let at = files::frequency_text(minimum.at_hz);
        format!("{:.2} ohm at {at}, an amplifier rated for 4 ohm bears 3.2", minimum.ohm)
    };
    let advice = "use an amplifier that is rated for it, or change the network";
    (minimum.ohm < LOWEST_OHM).then(|| [says(), advice.to_owned()])
}

fn parameters(design: &Design, spread: &Tolerance) -> Vec<ParameterTable> {
    let one = |influence: &crate::speaker::Influence| {
        let level = &influence.level_db;
        let worst = (0..level.len()).max_by(|a, b| level[*a].abs().total_cmp(&level[*b].abs())).unwrap_or(0);
        let ratio = influence.knob.turning() == Turning::Ratio;
        ParameterTable {
            name: influence.knob.name(design),
            spread: if ratio { 100.0 * influence.spread } else { influence.spread },
            spread_unit: if ratio { "%" } else { "1/Q" }.into(),
            worst_db: level[worst],
            at_hz: spread.hz[worst],
            level_db: level.clone(),
        }
    };
    spread.influences.iter().map(one).collect()
}

/// Below this an amplifier for 4 ohm may not like it: IEC 60268-5, 80 % of the rated impedance.
const LOWEST_OHM: f64 = 3.2;
/// Faster air than this is heard in a vent (common practice: about 5 % of the speed of sound).
const LOUD_AIR_M_S: f64 = 17.0;

fn findings(speaker: &str, design: &Design, simulation: &Simulation, asked_hz: &[f64]) -> Vec<Finding> {
    let mut found = Vec::new();
    let mut add = |code, severity, says: String, advice: &str, band_hz: Option<[f64; 2]>| {
        let at = Whereabouts { band_hz, ..Whereabouts::default() };
        found.push(Finding { code, severity, says: format!("{speaker}: {says}"), advice: advice.into(), at });
    };
    let hz: Vec<f64> = simulation.points.iter().map(|point| point.hz).collect();
    let minimum = lowest(&hz, &simulation.impedance_ohm(design));
    if let Some([says, advice]) = too_low(&minimum) {
        add(Code::LowImpedance, Severity::Caution, says, &advice, Some([minimum.at_hz; 2]));
    }
    if let Some(speed) = &simulation.port_m_s
        && let Some(most) = speed.iter().copied().reduce(f64::max).filter(|most| *most > LOUD_AIR_M_S)
    {
        let says = format!(
            "the air in the vent reaches {most:.0} m/s at {} V, above {LOUD_AIR_M_S:.0} m/s it is heard",
            design.drive_v
        );
        add(Code::PortNoise, Severity::Caution, says, "make the vent wider, and longer with it", None);
    }
    for (way, at) in design.ways.iter().zip(0..) {
        let Some(limit) = way.cone().and_then(|cone| cone.xmax_m) else { continue };
        let Some(excursion) = &simulation.ways[at].excursion_m else { continue };
        if let Some(most) = excursion.iter().copied().reduce(f64::max).filter(|most| *most > limit) {
            let says = format!(
                "{} would go {:.1} mm to one side at {} V, its limit is {:.1} mm",
                way.name,
                1e3 * most,
                design.drive_v,
                1e3 * limit
            );
            add(Code::LargeSignal, Severity::Caution, says, "play less bass, or less loud", None);
        }
    }
    if simulation.hz.len() < asked_hz.len() {
        let [from, to] = [simulation.hz[0], simulation.hz[simulation.hz.len() - 1]];
        let says =
            format!("the response is known from {} to {} only", files::frequency_text(from), files::frequency_text(to));
        add(Code::OutOfBand, Severity::Note, says, "measure the drivers over a wider band", Some([from, to]));
    }
    found
}

fn drawn(speaker: &str, table: &SpeakerTable, reference: &str) -> [Picture; 2] {
    let curve = |name: &str, columns: &LevelColumns| LevelCurve {
        name: name.to_owned(),
        origin: Origin::Predicted,
        frequency_hz: columns.frequency_hz.clone(),
        level_db: columns.level_db.clone(),
        u_db: columns.u_db.clone(),
        phase_deg: columns.phase_deg.clone(),
    };
    let mut curves = vec![curve("together", &table.response)];
    if table.ways.len() > 1 {
        curves.extend(table.ways.iter().map(|(name, way)| curve(name, &way.response)));
    }
    let response = ResponsePicture {
        title: format!("{speaker}: simulated response"),
        level_reference: reference.replace("uPa", "µPa"),
        curves,
        valid_hz: None,
        shown_hz: None,
        phase: PhasePanel::Absent,
    };
    let ohm = &table.impedance;
    let impedance = ImpedancePicture {
        title: format!("{speaker}: simulated impedance"),
        curves: vec![OhmCurve {
            name: "simulated".to_owned(),
            origin: Origin::Predicted,
            frequency_hz: ohm.frequency_hz.clone(),
            magnitude_ohm: ohm.magnitude_ohm.clone(),
            phase_deg: ohm.phase_deg.clone(),
            u_ohm: ohm.u_ohm.clone(),
        }],
    };
    [response.picture(), impedance.picture()]
}

/// Writes everything but the document itself, and lists all with it.
fn write(
    folder: &Path,
    document: &SimulationDocument,
    pictures: &[(String, [Picture; 2])],
) -> Result<Vec<WrittenFile>, SimulateError> {
    let mut listing = Listing::new(folder);
    let some = |values: &[f64]| (!values.is_empty()).then(|| values.to_vec());
    let faults = files::fault_lines(&document.findings);
    for (name, table) in &document.speakers {
        let header = [
            ("schema".to_owned(), document.schema.clone()),
            ("made_by".to_owned(), document.made_by.clone()),
            ("what".to_owned(), format!("{name} as simulated")),
            ("level_reference".to_owned(), document.level_reference.clone()),
        ];
        let response = Curve {
            measure: Measure::LevelDb,
            frequency_hz: table.response.frequency_hz.clone(),
            values: table.response.level_db.clone(),
            phase_deg: Some(table.response.phase_deg.clone()),
            u: some(&table.response.u_db),
            u_noise: None,
            header: header.iter().cloned().chain(faults.clone()).collect(),
            notes: Vec::new(),
        };
        files::replace_curve(&listing.add(format!("{name}-response.csv"), "simulated response"), &response)?;
        let impedance = Curve {
            measure: Measure::MagnitudeOhm,
            frequency_hz: table.impedance.frequency_hz.clone(),
            values: table.impedance.magnitude_ohm.clone(),
            phase_deg: Some(table.impedance.phase_deg.clone()),
            u: some(&table.impedance.u_ohm),
            u_noise: None,
            header: header[..3].iter().cloned().chain(faults.clone()).collect(),
            notes: Vec::new(),
        };
        files::replace_curve(&listing.add(format!("{name}-impedance.csv"), "simulated impedance"), &impedance)?;
    }
    for (name, both) in pictures {
        for (picture, of) in both.iter().zip(["response", "impedance"]) {
            let what = format!("picture of the {of}");
            listing.picture::<SimulateError>(&format!("{name}-{of}"), &what, picture)?;
        }
    }
    listing.add("simulation.json", "result");
    Ok(listing.files())
}
