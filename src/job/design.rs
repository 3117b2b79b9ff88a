//! From a job's tables and the files that they name to a loudspeaker's design.
//!
//! No equation: names, files and units.

use crate::baffle::{FlatBaffle, Outline};
use crate::driver::{DATA_SHEET_V, DriverModel, Suspension, VoiceCoil};
use crate::enclosure::LossFactors;
use crate::files::{self, Curve, FileError, Job, JobBaffle, JobBox, JobDriver, JobSpeaker, JobWay, Measure};
use crate::network::{GROUND, INPUT, Netlist, NetworkError};
use crate::quantity::{Air, Code, Finding, Severity, Whereabouts};
use crate::speaker::{
    Cabinet, CabinetOpening, Columns, Cone, Design, DriverSpread, Ear, Front, MeasuredWay, Polarity, Rear, Source,
    Space, Way,
};
use std::path::{Path, PathBuf};

/// A loudspeaker of a job.
#[derive(Debug, Clone, PartialEq)]
pub struct Designed {
    /// Its name in the job.
    pub name: String,
    /// What it was meant to be.
    pub design: Design,
    /// What of it was measured, and what is only assumed.
    pub basis: Vec<Basis>,
    /// What there is to say about that.
    pub findings: Vec<Finding>,
    /// Every file that was read beside the job.
    pub inputs: Vec<PathBuf>,
}

/// What a part of a simulation rests on.
#[derive(Debug, Clone, PartialEq)]
pub struct Basis {
    /// Which part.
    pub of: String,
    /// `measured`, `data sheet` or `drawing`.
    pub rests_on: &'static str,
}

/// Why a job has no such design.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // each carries its own message
pub enum DesignError {
    #[error(transparent)]
    File(#[from] FileError),
    #[error("{}: {source}", path.display())]
    Network { path: PathBuf, source: NetworkError },
    #[error("{}: {table} names {kind} {name:?}, which is not there{}", path.display(), known_text(known))]
    Missing { path: PathBuf, table: String, kind: &'static str, name: String, known: Vec<String> },
    #[error("the job has several loudspeakers: {}", known.join(", "))]
    WhichSpeaker { known: Vec<String> },
    #[error("{}: it has no [speaker.NAME]", path.display())]
    NoSpeaker { path: PathBuf },
    #[error("{}: driver.{driver} has no {key}", path.display())]
    Incomplete { path: PathBuf, driver: String, key: &'static str },
    #[error("{}: not the document of a driver with model and equivalent volume", path.display())]
    NoDriver { path: PathBuf },
    #[error("{}: {found}, where {needed} is needed", path.display())]
    WrongCurve { path: PathBuf, found: &'static str, needed: &'static str },
    #[error("{}: box.{name} has no {key}", path.display())]
    NoKey { path: PathBuf, name: String, key: &'static str },
    #[error("{}: {node:?} is no node of {}", path.display(), netlist.display())]
    NoNode { path: PathBuf, node: String, netlist: PathBuf },
    #[error("{}: {way} hangs on a network, and nothing says what its impedance is", path.display())]
    NoImpedance { path: PathBuf, way: String },
}

fn known_text(known: &[String]) -> String {
    if known.is_empty() { String::new() } else { format!("; there are {}", known.join(", ")) }
}

impl DesignError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::File(error) => error.advice(),
            Self::Network { source, .. } => source.advice(),
            Self::Missing { .. } => "correct the name, or add that table",
            Self::WhichSpeaker { .. } => "name one with --speaker",
            Self::NoSpeaker { .. } => "add [speaker.NAME] with its box and its ways",
            Self::Incomplete { .. } => {
                "give re_ohm, fs_hz, qms, qes and vas_l, or from = \"driver.json\", or response = \"curve.csv\""
            }
            Self::NoDriver { .. } => {
                "give what boxwright driver printed with --json, of two curves, so that V_as is known"
            }
            Self::WrongCurve { .. } => "give a response in dB with phase, and an impedance in ohm with phase",
            Self::NoKey { .. } => "add it; a volume is in litres, a tuning in Hz, or describe the port",
            Self::NoNode { .. } => "compare the way's node with the netlist",
            Self::NoImpedance { .. } => "measure its impedance, and give it with impedance = \"curve.csv\"",
        }
    }
}

/// The loudspeakers of a job, all of them or the one of that name.
///
/// # Errors
/// [`DesignError`] when the job or a file that it names can't be used.
pub fn designs(job: &Job, path: &Path, only: Option<&str>) -> Result<Vec<Designed>, DesignError> {
    let folder = if path.is_dir() { path } else { path.parent().unwrap_or(Path::new("")) };
    let reader = Reader { job, path, folder };
    if job.speaker.is_empty() {
        // A job of one driver and at most one box has one loudspeaker.
        let mut drivers = job.driver.keys();
        return match (drivers.next(), drivers.next(), job.enclosure.len()) {
            (Some(driver), None, 0 | 1) if only.is_none() => {
                let way = JobWay { driver: driver.clone(), ..JobWay::default() };
                let enclosure = job.enclosure.keys().next().cloned();
                let baffle = job.baffle.keys().next().cloned().filter(|_| job.baffle.len() == 1);
                let speaker = JobSpeaker { enclosure, baffle, ways: vec![way], ..JobSpeaker::default() };
                Ok(vec![reader.designed(driver, &speaker)?])
            }
            _ => Err(DesignError::NoSpeaker { path: path.to_owned() }),
        };
    }
    match only {
        Some(name) => {
            let found = reader.named("the command", "speaker", &job.speaker, name)?;
            Ok(vec![reader.designed(name, found)?])
        }
        None => job.speaker.iter().map(|(name, speaker)| reader.designed(name, speaker)).collect(),
    }
}

/// The loudspeaker of that name, or the job's only one.
///
/// # Errors
/// [`DesignError::WhichSpeaker`] where there are several and none is named, and those of [`designs`].
pub(super) fn one_design(job: &Job, path: &Path, only: Option<&str>) -> Result<Designed, DesignError> {
    let mut all = designs(job, path, only)?;
    if all.len() > 1 {
        return Err(DesignError::WhichSpeaker { known: all.into_iter().map(|one| one.name).collect() });
    }
    Ok(all.swap_remove(0))
}

struct Reader<'a> {
    job: &'a Job,
    path: &'a Path,
    folder: &'a Path,
}

/// What comes together while files are read.
#[derive(Default)]
struct Gathered {
    basis: Vec<Basis>,
    findings: Vec<Finding>,
    inputs: Vec<PathBuf>,
}

impl Gathered {
    fn rests(&mut self, of: String, rests_on: &'static str) {
        self.basis.push(Basis { of, rests_on });
    }
}

impl Reader<'_> {
    fn named<'t, T>(
        &self,
        table: &str,
        kind: &'static str,
        all: &'t std::collections::BTreeMap<String, T>,
        name: &str,
    ) -> Result<&'t T, DesignError> {
        all.get(name).ok_or_else(|| DesignError::Missing {
            path: self.path.to_owned(),
            table: table.to_owned(),
            kind,
            name: name.to_owned(),
            known: all.keys().cloned().collect(),
        })
    }

    fn designed(&self, name: &str, speaker: &JobSpeaker) -> Result<Designed, DesignError> {
        let table = format!("speaker.{name}");
        let mut gathered = Gathered::default();
        let air = Air::new(self.job.job.temperature_c.unwrap_or(20.0), 101.325).unwrap_or_default();
        let (network, netlist, part_spread) = self.network(&table, speaker, &mut gathered)?;
        let front = self.front(&table, speaker, &mut gathered)?;
        let cabinet = self.cabinet(&table, speaker, front.as_ref(), &mut gathered)?;
        let mut ways = Vec::new();
        for way in &speaker.ways {
            let found = self.named(&table, "driver", &self.job.driver, &way.driver)?;
            let source = self.source(&way.driver, found, speaker.network.is_some(), &mut gathered)?;
            ways.push(self.way(way, source, &network, netlist.as_deref())?);
        }
        idle_parts(&network, &ways, &mut gathered.findings);
        let design = Design {
            air,
            ways,
            cabinet,
            front,
            network,
            part_spread,
            axis_m: speaker.axis_mm.map(metres),
            ear: Ear::USUAL,
            space: Space::AsDesigned,
            drive_v: DATA_SHEET_V,
        };
        let Gathered { basis, findings, inputs } = gathered;
        Ok(Designed { name: name.to_owned(), design, basis, findings, inputs })
    }

    fn network(
        &self,
        table: &str,
        speaker: &JobSpeaker,
        gathered: &mut Gathered,
    ) -> Result<(Netlist, Option<PathBuf>, Option<f64>), DesignError> {
        let Some(name) = &speaker.network else { return Ok((Netlist::wire(), None, None)) };
        let found = self.named(table, "network", &self.job.network, name)?;
        let path = self.folder.join(&found.netlist);
        let netlist = read_netlist(&path)?;
        gathered.findings.extend(netlist.notes.iter().map(|says| note(Code::Assumed, says.clone())));
        gathered.rests(format!("network {name}"), "drawing");
        gathered.inputs.push(path.clone());
        // Twice the standard deviation is what the label promises.
        let spread = found.tolerance_percent.map(|percent| (0.005 * percent).max(1e-6));
        Ok((netlist, Some(path), spread))
    }

    fn front(&self, table: &str, speaker: &JobSpeaker, gathered: &mut Gathered) -> Result<Option<Front>, DesignError> {
        let Some(name) = &speaker.baffle else { return Ok(None) };
        let found = self.named(table, "baffle", &self.job.baffle, name)?;
        gathered.rests(format!("baffle {name}"), "drawing");
        Ok(Some(front(found)))
    }

    fn cabinet(
        &self,
        table: &str,
        speaker: &JobSpeaker,
        front: Option<&Front>,
        gathered: &mut Gathered,
    ) -> Result<Option<Cabinet>, DesignError> {
        let Some(name) = &speaker.enclosure else { return Ok(None) };
        let found = self.named(table, "box", &self.job.enclosure, name)?;
        gathered.rests(format!("box {name}"), "drawing");
        let missing = |key| DesignError::NoKey { path: self.path.to_owned(), name: name.clone(), key };
        let volume_m3 = 1e-3 * found.volume_l.ok_or_else(|| missing("volume_l"))?;
        let factor = |q: Option<f64>| q.map_or(0.0, |q| 1.0 / q);
        let losses = LossFactors { leakage: factor(found.ql), absorption: factor(found.qa), opening: factor(found.qp) };
        let opening = match kind(found) {
            "vented" => match (&found.port, found.fb_hz) {
                (Some(port), _) => CabinetOpening::Port(port.port()),
                (None, Some(fb_hz)) => CabinetOpening::Vent { fb_hz },
                (None, None) => return Err(missing("port, and no fb_hz")),
            },
            "passive-radiator" => {
                let fb_hz = found.fb_hz.ok_or_else(|| missing("fb_hz"))?;
                let fp_hz = found.fp_hz.ok_or_else(|| missing("fp_hz"))?;
                if fp_hz >= fb_hz {
                    return Err(missing(
                        "fp_hz below its fb_hz: the box's air can only raise the radiator's resonance",
                    ));
                }
                CabinetOpening::PassiveRadiator { fb_hz, fp_hz }
            }
            "open-back" => {
                let of_front = front.and_then(front_area_m2);
                let area = found.opening_cm2.map(|area| 1e-4 * area).or(of_front);
                CabinetOpening::Back { area_m2: area.ok_or_else(|| missing("opening_cm2, and no baffle tells it"))? }
            }
            _ => CabinetOpening::None,
        };
        Ok(Some(Cabinet { volume_m3, opening, losses }))
    }

    fn source(
        &self,
        name: &str,
        driver: &JobDriver,
        on_network: bool,
        gathered: &mut Gathered,
    ) -> Result<Source, DesignError> {
        if let Some(response) = &driver.response {
            let way = self.measured_way(response, driver.impedance.as_deref(), gathered)?;
            if on_network && !way.has_impedance() {
                return Err(DesignError::NoImpedance { path: self.path.to_owned(), way: name.to_owned() });
            }
            gathered.rests(format!("driver {name}"), "measured");
            return Ok(Source::Curves(way));
        }
        let spread = driver.spread_percent.map(|percent| DriverSpread::of_all(0.005 * percent));
        let metre = |number: Option<f64>, scale: f64| number.map(|number| scale * number);
        let [sd_m2, xmax_m] = [metre(driver.sd_cm2, 1e-4), metre(driver.xmax_mm, 1e-3)];
        let of = |model, vas_m3, sd_m2, spread| Cone { model, vas_m3, sd_m2, xmax_m, power_w: driver.power_w, spread };
        if let Some(from) = &driver.from {
            let path = self.folder.join(from);
            let document = files::read_driver_result(&path)?;
            let known = document.known().ok_or_else(|| DesignError::NoDriver { path: path.clone() })?;
            let vas = known.vas_m3.ok_or_else(|| DesignError::NoDriver { path: path.clone() })?;
            gathered.inputs.push(path);
            gathered.rests(format!("driver {name}"), "measured");
            let usual = DriverSpread::OF_MEASURED;
            let measured = DriverSpread { vas: usual.vas.hypot(vas.u / vas.value), ..usual };
            let sd_m2 = sd_m2.or(known.sd_m2.map(|sd| sd.value));
            return Ok(Source::Cone(of(known.model, vas.value, sd_m2, spread.unwrap_or(measured))));
        }
        let needed = |number: Option<f64>, key| {
            number.ok_or_else(|| DesignError::Incomplete { path: self.path.to_owned(), driver: name.to_owned(), key })
        };
        let le_h = 1e-3 * driver.le_mh.unwrap_or(0.0);
        let voice_coil = match (driver.le2_mh, driver.re2_ohm) {
            (Some(l2_mh), Some(r2_ohm)) => VoiceCoil::Ladder { le_h, l2_h: 1e-3 * l2_mh, r2_ohm },
            _ => VoiceCoil::Inductance { le_h },
        };
        let model = DriverModel {
            re_ohm: needed(driver.re_ohm, "re_ohm")?,
            fs_hz: needed(driver.fs_hz, "fs_hz")?,
            qms: needed(driver.qms, "qms")?,
            qes: needed(driver.qes, "qes")?,
            voice_coil,
            suspension: Suspension::Plain,
        };
        let vas_m3 = 1e-3 * needed(driver.vas_l, "vas_l")?;
        gathered.rests(format!("driver {name}"), "data sheet");
        Ok(Source::Cone(of(model, vas_m3, sd_m2, spread.unwrap_or(DriverSpread::OF_DATA_SHEET))))
    }

    fn measured_way(
        &self,
        response: &Path,
        impedance: Option<&Path>,
        gathered: &mut Gathered,
    ) -> Result<MeasuredWay, DesignError> {
        let mut read = |path: &Path, needed: Measure| {
            let path = self.folder.join(path);
            let curve = files::read_curve(&path)?;
            let wrong = |found, needed| DesignError::WrongCurve { path: path.clone(), found, needed };
            match (curve.measure, needed, &curve.phase_deg) {
                (Measure::MagnitudeOhm, Measure::LevelDb, _) => return Err(wrong("ohm", "a response in dB")),
                (Measure::LevelDb, Measure::MagnitudeOhm, _) => return Err(wrong("dB", "an impedance in ohm")),
                (_, _, None) => return Err(wrong("a curve without phase", "one with phase")),
                _ => {}
            }
            gathered.inputs.push(path.clone());
            Ok((path, curve))
        };
        let (path, level) = read(response, Measure::LevelDb)?;
        let ohm = impedance.map(|path| read(path, Measure::MagnitudeOhm)).transpose()?;
        let radians = |curve: &Curve| curve.phase_deg.iter().flatten().map(|degrees| degrees.to_radians()).collect();
        let level_rad: Vec<f64> = radians(&level);
        let ohm_rad: Option<Vec<f64>> = ohm.as_ref().map(|(_, curve)| radians(curve));
        let level = Columns { hz: &level.frequency_hz, values: &level.values, phase_rad: &level_rad };
        let ohms = ohm.as_ref().zip(ohm_rad.as_ref()).map(|((_, curve), phase_rad)| Columns {
            hz: &curve.frequency_hz,
            values: &curve.values,
            phase_rad,
        });
        MeasuredWay::new(level, ohms).ok_or(DesignError::WrongCurve {
            path,
            found: "a magnitude that is not above 0",
            needed: "an impedance in ohm",
        })
    }

    fn way(&self, way: &JobWay, source: Source, network: &Netlist, netlist: Option<&Path>) -> Result<Way, DesignError> {
        let node = |name: &Option<String>, usual: usize| match name {
            None => Ok(usual),
            Some(name) => network.node(name).ok_or_else(|| DesignError::NoNode {
                path: self.path.to_owned(),
                node: name.clone(),
                netlist: netlist.map_or_else(|| "a job without network".into(), Path::to_owned),
            }),
        };
        let reversed = way.polarity.as_deref() == Some("-");
        Ok(Way {
            name: way.driver.clone(),
            source,
            nodes: [node(&way.node, INPUT)?, node(&way.back, GROUND)?],
            polarity: if reversed { Polarity::Reversed } else { Polarity::Straight },
            at_m: way.at_mm.map(metres),
            behind_m: 1e-3 * way.behind_mm.unwrap_or(0.0),
            rear: if way.enclosure.is_some() { Rear::OnItsOwn } else { Rear::InBox },
        })
    }
}

/// The network in a netlist.
///
/// # Errors
/// [`DesignError::File`] when it can't be read, `Network` with the line at fault.
pub fn read_netlist(path: &Path) -> Result<Netlist, DesignError> {
    let text = files::read_typed_text(path)?;
    Netlist::of_text(&text).map_err(|source| DesignError::Network { path: path.to_owned(), source })
}

fn metres(mm: [f64; 2]) -> [f64; 2] {
    mm.map(|side| 1e-3 * side)
}

/// The kind of a box, as said or as its other keys tell.
fn kind(found: &JobBox) -> &str {
    let told = match (found.fp_hz, &found.port, found.fb_hz) {
        (Some(_), _, _) => "passive-radiator",
        (None, None, None) => "closed",
        (None, _, _) => "vented",
    };
    found.kind.as_deref().unwrap_or(told)
}

fn front(baffle: &JobBaffle) -> Front {
    let side = |mm: Option<f64>| 1e-3 * mm.unwrap_or(0.0);
    let diameter_m = side(baffle.diameter_mm);
    let outline = match baffle.shape() {
        "sphere" => return Front::Sphere { diameter_m },
        "circle" => Outline::Circle { centre_m: [diameter_m / 2.0; 2], diameter_m },
        "polygon" => Outline::Polygon(baffle.outline_mm.iter().flatten().copied().map(metres).collect()),
        _ => Outline::rectangle(side(baffle.width_mm), side(baffle.height_mm)),
    };
    Front::Flat(FlatBaffle { outline, edge_radius_m: 1e-3 * baffle.edge_radius_mm })
}

fn front_area_m2(front: &Front) -> Option<f64> {
    match front {
        Front::Sphere { .. } => None,
        Front::Flat(baffle) => Some(match &baffle.outline {
            Outline::Circle { diameter_m, .. } => std::f64::consts::PI * diameter_m * diameter_m / 4.0,
            Outline::Polygon(corners) => {
                let next = corners.iter().cycle().skip(1);
                0.5 * corners.iter().zip(next).map(|(a, b)| a[0] * b[1] - b[0] * a[1]).sum::<f64>().abs()
            }
        }),
    }
}

/// A node at which only one part ends and no way: the part does nothing.
fn idle_parts(network: &Netlist, ways: &[Way], findings: &mut Vec<Finding>) {
    for (at, node) in network.nodes.iter().enumerate().skip(2) {
        let ends = network.parts.iter().filter(|part| part.nodes.contains(&at));
        let names: Vec<&str> = ends.map(|part| part.name.as_str()).collect();
        let used = ways.iter().any(|way| way.nodes.contains(&at));
        if let ([only], false) = (names.as_slice(), used) {
            let says = format!("{only} ends at node {node}, where nothing else is");
            let advice = "compare the node's name with those of the ways and of the other parts".to_owned();
            let at = Whereabouts::default();
            findings.push(Finding { code: Code::IdlePart, severity: Severity::Caution, says, advice, at });
        }
    }
}

fn note(code: Code, says: String) -> Finding {
    Finding::new(code, Severity::Note, says, "")
}
