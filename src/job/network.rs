//! From a netlist and its loads to what it does.

use super::design::{DesignError, designs, read_netlist};
use super::record::Ran;
use super::results_folder::{make_folder, overwritten, replace_document};
use super::simulate::{lowest, ohm_columns, sums, too_low, transfer_columns};
use crate::MADE_BY;
use crate::files::{self, Curve, FileError, NETWORK_SCHEMA, NetworkDocument, NetworkSettings, PartTable, WrittenFile};
use crate::math::RisingTable;
use crate::network::{GROUND, Loads, Netlist, NetworkError};
use crate::quantity::{Code, Finding, FrequencyGrid, QuantityError, Severity};
use crate::speaker::{Design, SpeakerError, simulate};
use num_complex::Complex64;
use std::path::{Path, PathBuf};

/// A network that is to be worked out.
#[derive(Debug, Clone, PartialEq)]
pub struct NetworkOrder {
    /// The netlist.
    pub netlist: PathBuf,
    /// What hangs at which node.
    pub loads: Vec<(String, LoadIs)>,
    /// The job whose loudspeaker hangs on it, and the loudspeaker's name.
    pub job: Option<(PathBuf, Option<String>)>,
    /// From and to.
    pub band_hz: [f64; 2],
    /// Points an octave.
    pub points_per_octave: u32,
    /// Voltage of the amplifier, rms.
    pub drive_v: f64,
    /// Where the results go; absent: nowhere.
    pub out: Option<PathBuf>,
    /// The command that asks for it, for the record.
    pub ran: Ran,
}

/// What hangs at a node, against ground.
#[derive(Debug, Clone, PartialEq)]
pub enum LoadIs {
    /// A resistance.
    Ohm(f64),
    /// A measured impedance.
    Curve(PathBuf),
}

/// Why a network could not be worked out.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // each carries its own message
pub enum NetworkOrderError {
    #[error(transparent)]
    File(#[from] FileError),
    #[error(transparent)]
    Design(#[from] DesignError),
    #[error(transparent)]
    Speaker(#[from] SpeakerError),
    #[error(transparent)]
    Network(#[from] NetworkError),
    #[error(transparent)]
    Quantity(#[from] QuantityError),
    #[error("{}: not an impedance with phase", path.display())]
    NoImpedance { path: PathBuf },
    #[error("{}: the results would take its place", path.display())]
    OverInput { path: PathBuf },
}

impl NetworkOrderError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::File(error) => error.advice(),
            Self::Design(error) => error.advice(),
            Self::Speaker(error) => error.advice(),
            Self::Network(error) => error.advice(),
            Self::Quantity(error) => error.advice(),
            Self::NoImpedance { .. } => "give an impedance in ohm and degrees, as boxwright impedance writes it",
            Self::OverInput { .. } => "give --out another folder",
        }
    }
}

/// A network at one frequency: voltages of the nodes, current of the amplifier.
struct Worked {
    node_v: Vec<Complex64>,
    input_a: Complex64,
}

/// What a network does with its loads, as a document.
///
/// # Errors
/// [`NetworkOrderError`] when a file can't be used or the network has no answer.
pub fn work_out(order: &NetworkOrder) -> Result<NetworkDocument, NetworkOrderError> {
    let netlist = read_netlist(&order.netlist)?;
    let grid = FrequencyGrid::of_octave_fractions(order.band_hz, order.points_per_octave)?;
    let hz = grid.hz();
    let mut inputs = vec![order.netlist.clone()];
    let mut findings: Vec<Finding> =
        netlist.notes.iter().map(|says| Finding::new(Code::Assumed, Severity::Note, says, "")).collect();
    let (worked, ways) = match &order.job {
        Some((job, speaker)) => of_job(order, netlist.clone(), job, speaker.as_deref(), hz, &mut inputs)?,
        None => of_loads(order, &netlist, hz, &mut inputs)?,
    };
    if ways.is_empty() {
        let says = "nothing hangs on it but its own parts";
        findings.push(Finding::new(
            Code::Assumed,
            Severity::Note,
            says,
            "give the drivers' impedances with --load NODE=CURVE, or the job with --job",
        ));
    }
    let ohm: Vec<Complex64> = worked.iter().map(|one| order.drive_v / one.input_a).collect();
    let minimum = lowest(hz, &ohm);
    if let Some([says, advice]) = too_low(&minimum) {
        findings.push(Finding::new(Code::LowImpedance, Severity::Caution, &says, &advice));
    }
    let transfer = |nodes: &[usize; 2]| {
        let gains: Vec<Complex64> =
            worked.iter().map(|one| (one.node_v[nodes[0]] - one.node_v[nodes[1]]) / order.drive_v).collect();
        transfer_columns(hz, &gains)
    };
    let summed = sums(&inputs)?;
    findings.extend(files::faults_of_inputs(&summed));
    findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    let loads = order.loads.iter().map(|(node, load)| {
        let says = match load {
            LoadIs::Ohm(ohm) => format!("{ohm} ohm"),
            LoadIs::Curve(path) => path.display().to_string(),
        };
        (node.clone(), says)
    });
    let mut document = NetworkDocument {
        schema: NETWORK_SCHEMA.into(),
        made_by: MADE_BY.into(),
        provenance: files::Provenance::default(),
        inputs: summed,
        settings: NetworkSettings {
            loads: loads.collect(),
            speaker: order.job.as_ref().and_then(|(_, speaker)| speaker.clone()),
            band_hz: order.band_hz,
            points_per_octave: order.points_per_octave,
            drive_v: order.drive_v,
        },
        findings,
        files: Vec::new(),
        minimum,
        impedance: ohm_columns(hz, &ohm, Vec::new()),
        ways: ways.iter().map(|(name, nodes)| (name.clone(), transfer(nodes))).collect(),
        parts: parts(&netlist, hz, &worked),
    };
    if let Some(folder) = &order.out {
        document.provenance = order.ran.told(folder)?;
        write(folder, &mut document, &inputs)?;
    }
    Ok(document)
}

type Ways = Vec<(String, [usize; 2])>;

fn of_job(
    order: &NetworkOrder,
    netlist: Netlist,
    job: &Path,
    speaker: Option<&str>,
    hz: &[f64],
    inputs: &mut Vec<PathBuf>,
) -> Result<(Vec<Worked>, Ways), NetworkOrderError> {
    let job_path = files::job_path(job);
    let read = files::read_job(&job_path)?;
    let designed = designs(&read, &job_path, speaker)?.swap_remove(0);
    inputs.push(job_path);
    inputs.extend(designed.inputs.iter().filter(|path| **path != order.netlist).cloned());
    let before = designed.design.network.nodes.clone();
    let mut design = Design { network: netlist, drive_v: order.drive_v, ..designed.design };
    // The job's nodes by their names in this netlist.
    for way in &mut design.ways {
        for node in &mut way.nodes {
            let name = before[*node].clone();
            *node = design.network.node(&name).ok_or(NetworkError::NoSuchNode { node: name })?;
        }
    }
    let simulation = simulate(&design, hz)?;
    let worked = simulation.points.into_iter().map(|point| Worked { node_v: point.node_v, input_a: point.input_a });
    Ok((worked.collect(), design.ways.iter().map(|way| (way.name.clone(), way.nodes)).collect()))
}

fn of_loads(
    order: &NetworkOrder,
    netlist: &Netlist,
    hz: &[f64],
    inputs: &mut Vec<PathBuf>,
) -> Result<(Vec<Worked>, Ways), NetworkOrderError> {
    let mut ways = Vec::new();
    let mut columns: Vec<Vec<Complex64>> = Vec::new();
    for (name, load) in &order.loads {
        let node = netlist.node(name).ok_or_else(|| NetworkError::NoSuchNode { node: name.clone() })?;
        ways.push((name.clone(), [node, GROUND]));
        columns.push(match load {
            LoadIs::Ohm(ohm) => vec![(*ohm).into(); hz.len()],
            LoadIs::Curve(path) => {
                inputs.push(path.clone());
                interpolated(path, hz)?
            }
        });
    }
    let between: Vec<[usize; 2]> = ways.iter().map(|(_, nodes)| *nodes).collect();
    if let Some(node) = netlist.floating(&between) {
        return Err(NetworkError::Floating { node: node.to_owned() }.into());
    }
    let worked = hz.iter().enumerate().map(|(at, hz)| {
        let ohm: Vec<Complex64> = columns.iter().map(|column| column[at]).collect();
        let solved = netlist.at(*hz, &Loads::apart(between.clone(), &ohm))?;
        let node_v = solved.node_v.iter().map(|volt| volt * order.drive_v).collect();
        Ok::<_, NetworkOrderError>(Worked { node_v, input_a: solved.input_a * order.drive_v })
    });
    Ok((worked.collect::<Result<_, _>>()?, ways))
}

/// An impedance curve at other frequencies; beyond its ends its last value.
fn interpolated(path: &Path, hz: &[f64]) -> Result<Vec<Complex64>, NetworkOrderError> {
    let none = || NetworkOrderError::NoImpedance { path: path.to_owned() };
    let curve: Curve = files::read_curve(path)?;
    let impedance = files::impedance_of(&curve).map_err(|_| none())?;
    let logs: Vec<f64> = impedance.hz().iter().map(|hz| hz.ln()).collect();
    let column =
        |of: fn(&Complex64) -> f64| RisingTable::new(logs.clone(), impedance.values().iter().map(of).collect());
    let (real, imaginary) = (column(|z| z.re).ok_or_else(none)?, column(|z| z.im).ok_or_else(none)?);
    let [from, to] = real.range();
    let at = |hz: &f64| {
        let place = hz.ln().clamp(from, to);
        Complex64::new(real.at(place).unwrap_or(0.0), imaginary.at(place).unwrap_or(0.0))
    };
    Ok(hz.iter().map(at).collect())
}

fn parts(netlist: &Netlist, hz: &[f64], worked: &[Worked]) -> Vec<PartTable> {
    let one = |part: &crate::network::Part| {
        let across: Vec<Complex64> =
            worked.iter().map(|one| one.node_v[part.nodes[0]] - one.node_v[part.nodes[1]]).collect();
        let heat: Vec<f64> =
            hz.iter().zip(&across).map(|(hz, volt)| part.heat_w(std::f64::consts::TAU * hz, *volt)).collect();
        let most = (0..hz.len()).max_by(|a, b| heat[*a].total_cmp(&heat[*b])).unwrap_or(0);
        PartTable {
            name: part.name.clone(),
            kind: part.kind.name().into(),
            value: part.value,
            most_w: heat[most],
            at_hz: hz[most],
            most_v: across.iter().map(|volt| volt.norm()).fold(0.0, f64::max),
            // Pink noise has the same power in each of these equal parts of an octave.
            pink_w: heat.iter().sum::<f64>() / heat.len() as f64,
        }
    };
    netlist.parts.iter().map(one).collect()
}

fn write(folder: &Path, document: &mut NetworkDocument, inputs: &[PathBuf]) -> Result<(), NetworkOrderError> {
    if let Some(path) = overwritten(folder, &["network.json"], inputs.iter().map(PathBuf::as_path)) {
        return Err(NetworkOrderError::OverInput { path: path.to_owned() });
    }
    let _held = make_folder(folder)?;
    let path = folder.join("network.json");
    document.files.push(WrittenFile { path: path.display().to_string(), what: "result".into() });
    replace_document(&path, document)?;
    Ok(())
}
