//! From curves before the cone, before the ports and far away to one curve of the whole loudspeaker.

use super::Pictures;
use super::design::DesignError;
use super::join_document::{columns, joined_table, picture, settings, write};
use super::join_told::Told;
use super::record::Ran;
use super::results_folder::{make_folder, overwritten, replace_document};
use super::simulate::sums;
use crate::MADE_BY;
use crate::files::{self, Curve, FileError, JOIN_SCHEMA, JoinDocument, Measure, SideTable};
use crate::quantity::{Code, Finding, Severity};
use crate::report::{Picture, ReportError};
use crate::response::{Joined, Reader, ResponseError, Sampled, join};
use crate::speaker::{Around, NearToFar, SpeakerError, delay_to_port_s};
use num_complex::Complex64;
use std::path::{Path, PathBuf};

/// Curves that are to be joined.
#[derive(Debug, Clone, PartialEq)]
pub struct JoinOrder {
    /// Near fields: the cone, then the ports.
    pub near: Vec<PathBuf>,
    /// The gated far field.
    pub far: PathBuf,
    /// Area of the cone; absent: the job's.
    pub cone_m2: Option<f64>,
    /// Area of a port, one for each port curve, or one for all; empty: the job's.
    pub ports_m2: Vec<f64>,
    /// How many ports there are for each port curve; empty: one each.
    pub port_counts: Vec<u32>,
    /// Where the ports are on the front; empty: not known.
    pub ports_at_m: Vec<[f64; 2]>,
    /// The front; absent: the job's, else an endless wall.
    pub front: Option<Around>,
    /// Where the cone is on it; absent: the job's, else its middle.
    pub cone_at_m: Option<[f64; 2]>,
    /// From the surfaces to the near microphone.
    pub near_m: f64,
    /// From the loudspeaker to the far microphone; absent: the curve's, the job's, else 1 m.
    pub distance_m: Option<f64>,
    /// Where to join; absent: where it is best.
    pub at_hz: Option<f64>,
    /// Points an octave of the result.
    pub points_per_octave: u32,
    /// The job and its loudspeaker and way, for what is absent.
    pub job: Option<JoinJob>,
    /// Where results go; absent: beside the far curve, in a folder named after it.
    pub out: Option<PathBuf>,
    /// Whether the picture is drawn.
    pub pictures: Pictures,
    /// The command that asks for it, for the record.
    pub ran: Ran,
}

/// Where a job tells about the loudspeaker.
#[derive(Debug, Clone, PartialEq)]
pub struct JoinJob {
    /// The job's folder, or its `job.toml`.
    pub job: PathBuf,
    /// Which of its loudspeakers; absent: its only one.
    pub speaker: Option<String>,
    /// Before which of its ways the microphone stood; absent: the one with the largest cone.
    pub way: Option<String>,
}

/// Curves that were joined.
pub struct JoinedCurves {
    /// The result as a document.
    pub document: JoinDocument,
    /// The picture, where it was drawn.
    pub picture: Option<Picture>,
    /// Where the result files are.
    pub folder: PathBuf,
}

/// Why curves could not be joined.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // each carries its own message
pub enum JoinError {
    #[error(transparent)]
    File(#[from] FileError),
    #[error(transparent)]
    Response(#[from] ResponseError),
    #[error(transparent)]
    Design(#[from] DesignError),
    #[error(transparent)]
    Speaker(#[from] SpeakerError),
    #[error(transparent)]
    Report(#[from] ReportError),
    #[error("{}: {found}; a response in dB with phase is needed", path.display())]
    NoResponse { path: PathBuf, found: String },
    #[error("the area of the cone is not known")]
    NoArea,
    #[error("the area of the port before which {} was measured is not known", path.display())]
    NoPortArea { path: PathBuf },
    #[error("{found} {what} for {ports} port curves")]
    PortCount { what: &'static str, found: usize, ports: usize },
    #[error("a cone or port at {:.0}, {:.0} mm is not on the front", at_mm[0], at_mm[1])]
    BesideFront { at_mm: [f64; 2] },
    #[error("{}: no delay against the cone makes this the sound of a port", path.display())]
    NotAPort { path: PathBuf },
    #[error("the loudspeaker has no way {name:?} with a cone; it has {}", known.join(", "))]
    WhichWay { name: String, known: Vec<String> },
    #[error("{}: the results would take its place", path.display())]
    OverInput { path: PathBuf },
}

impl JoinError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::File(error) => error.advice(),
            Self::Response(error) => error.advice(),
            Self::Design(error) => error.advice(),
            Self::Speaker(error) => error.advice(),
            Self::Report(error) => error.advice(),
            Self::NoResponse { .. } => "give the response.csv that boxwright response wrote, or a table with phase",
            Self::NoArea => "give it with --sd-cm2, or a job whose driver has it with --job",
            Self::NoPortArea { .. } => "give its diameter with --port-mm",
            Self::PortCount { .. } => "give one for each port curve, in their order, or one for all",
            Self::BesideFront { .. } => "count millimetres from the lower left corner of the front",
            Self::NotAPort { .. } => {
                "put the cone's curve first and the far one last, and measure both with a loopback, so that their times are known"
            }
            Self::WhichWay { .. } => "name one of them with --way",
            Self::OverInput { .. } => "give --out another folder",
        }
    }
}

const RESULT_NAMES: [&str; 4] = ["joined.csv", "join.json", "join.svg", "join.png"];

/// The curves as one, written to the folder.
///
/// # Errors
/// [`JoinError`] when a file can't be used, something about the loudspeaker is not known, or the curves do not overlap.
pub fn join_curves(order: &JoinOrder) -> Result<JoinedCurves, JoinError> {
    let mut inputs = order.near.clone();
    inputs.push(order.far.clone());
    let near: Vec<Curve> = order.near.iter().map(|path| response(path)).collect::<Result<_, _>>()?;
    let far = response(&order.far)?;
    let told = Told::of(order, &far, &mut inputs)?;
    let mut findings = told.findings.clone();
    let composed = compose(order, &near, &told, &mut findings)?;
    let far_side = files::sampled_of(&far);
    let mut near_side = composed.side.clone();
    let to_metre_db = at_metre_db(&far, Some(told.surround.distance_m));
    near_side.level_db.iter_mut().for_each(|level| *level += to_metre_db);
    let joined = join(&near_side, &far_side, order.at_hz, order.points_per_octave)?;
    judge(&joined, &mut findings);
    let summed = sums(&inputs)?;
    findings.extend(files::faults_of_inputs(&summed));
    findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    let folder = order.out.clone().unwrap_or_else(|| order.far.with_extension("").join("joined"));
    if let Some(path) = overwritten(&folder, &RESULT_NAMES, inputs.iter().map(PathBuf::as_path)) {
        return Err(JoinError::OverInput { path: path.to_owned() });
    }
    let reference = far.header_value("level_reference").unwrap_or("reply/drive").to_owned();
    let picture = (order.pictures == Pictures::Drawn).then(|| picture(order, &joined, &far_side, &reference));
    let mut document = JoinDocument {
        schema: JOIN_SCHEMA.into(),
        made_by: MADE_BY.into(),
        provenance: files::Provenance::default(),
        inputs: summed,
        settings: settings(order, &told, &composed),
        findings,
        files: Vec::new(),
        level_reference: reference,
        joined: joined_table(&joined),
        near: SideTable {
            valid_hz: ends(&composed.side.hz),
            limited_by: composed.limited_by.into(),
            u_db: joined.u_at_db[0],
        },
        far: SideTable { valid_hz: ends(&far_side.hz), limited_by: "the curve".into(), u_db: joined.u_at_db[1] },
        curve: columns(&joined.whole),
    };
    let _held = make_folder(&folder)?;
    document.provenance = order.ran.told(&folder)?;
    document.files = write(&folder, &document, picture.as_ref())?;
    replace_document(&folder.join("join.json"), &document)?;
    Ok(JoinedCurves { document, picture, folder })
}

fn response(path: &Path) -> Result<Curve, JoinError> {
    let curve = files::read_curve(path)?;
    if curve.measure == Measure::LevelDb && curve.phase_deg.is_some() && curve.values.len() > 1 {
        Ok(curve)
    } else {
        Err(JoinError::NoResponse { path: path.to_owned(), found: curve.says() })
    }
}

/// What was added to a curve's level to refer it to 1 m; `metres` where it is known better than its header does.
fn at_metre_db(curve: &Curve, metres: Option<f64>) -> f64 {
    let is_at_metre = curve.header_value("level_reference").is_some_and(|reference| reference.ends_with("1 m"));
    match metres.or_else(|| curve.header_number("distance_m")) {
        Some(metres) if is_at_metre => 20.0 * metres.log10(),
        _ => 0.0,
    }
}

pub(super) fn ends(hz: &[f64]) -> [f64; 2] {
    [hz[0], hz[hz.len() - 1]]
}

/// The near fields as they would be far away.
pub(super) struct Composed {
    side: Sampled,
    limited_by: &'static str,
    pub earlier_s: Vec<f64>,
    pub delay_from: Option<&'static str>,
}

/// A port's ratio to the cone is compared with a resonance from its curve's lowest frequency up to this.
const RESONANCE_TO_HZ: f64 = 200.0;

fn compose(order: &JoinOrder, near: &[Curve], told: &Told, findings: &mut Vec<Finding>) -> Result<Composed, JoinError> {
    let heard = |curve: &Curve| {
        let mut side = files::sampled_of(curve);
        let to_metre_db = at_metre_db(curve, None);
        side.level_db.iter_mut().for_each(|level| *level -= to_metre_db);
        side
    };
    let sides: Vec<Sampled> = near.iter().map(heard).collect();
    let scale = NearToFar::new(&told.surfaces, &told.surround).ok_or_else(|| {
        let place = told.surfaces.iter().find_map(|surface| surface.place_m).unwrap_or(told.surround.cone_m);
        JoinError::BesideFront { at_mm: place.map(|side| 1e3 * side) }
    })?;
    let (earlier_s, delay_from) = delays(order, near, &sides, told, findings)?;
    let curves_hz = sides.iter().map(|side| side.hz[side.hz.len() - 1]).fold(f64::MAX, f64::min);
    let limited_by = if scale.highest_hz() < curves_hz { "ka = 1" } else { "the curve" };
    Ok(Composed { side: scale.curve(&sides, &earlier_s)?, limited_by, earlier_s, delay_from })
}

/// How much earlier each near curve is referred than the cone's, s.
fn delays(
    order: &JoinOrder,
    near: &[Curve],
    sides: &[Sampled],
    told: &Told,
    findings: &mut Vec<Finding>,
) -> Result<(Vec<f64>, Option<&'static str>), JoinError> {
    if near.len() == 1 {
        return Ok((vec![0.0], None));
    }
    // With a loopback the arrival is a time of flight, the same clock for all.
    let arrival_s = |curve: &Curve| {
        curve.header_value("travelled_m")?;
        Some(1e-3 * curve.header_value("arrival_ms")?.parse::<f64>().ok()?)
    };
    if let Some(arrivals) = near.iter().map(arrival_s).collect::<Option<Vec<f64>>>() {
        return Ok((arrivals.iter().map(|arrival| arrivals[0] - arrival).collect(), Some("the loopback")));
    }
    let says =
        "no loopback tells when port and cone sounded, so that their delay was taken from the resonance that they form";
    findings.push(Finding::new(Code::Assumed, Severity::Note, says, "measure both with a loopback"));
    let readers: Option<Vec<Reader>> = sides.iter().map(Sampled::reader).collect();
    let readers = readers.ok_or(ResponseError::BrokenCurve)?;
    let mut all = vec![0.0];
    for (at, port) in near.iter().enumerate().skip(1) {
        let hz: Vec<f64> = port.frequency_hz.iter().copied().filter(|hz| *hz <= RESONANCE_TO_HZ).collect();
        let ratio: Vec<Complex64> = hz
            .iter()
            .map(|&hz| {
                let [port, cone] = [at, 0].map(|of| readers[of].nearest(hz).value() * told.surfaces[of].radius_m);
                port / cone
            })
            .collect();
        let delay_s = delay_to_port_s(&hz, &ratio);
        all.push(delay_s.ok_or_else(|| JoinError::NotAPort { path: order.near[at].clone() })?);
    }
    Ok((all, Some("the resonance of port and box")))
}

/// Levels that differ by more than this have not one gain.
const OTHER_GAIN_DB: f64 = 1.0;
/// Curves that disagree by more than this where they meet do not belong together.
const POOR_DB: f64 = 1.0;

fn judge(joined: &Joined, findings: &mut Vec<Finding>) {
    let frequency = files::frequency_text;
    if joined.turned {
        let says = "near and far field have opposite polarity; the near one was turned over";
        findings.push(Finding::new(
            Code::ReversedPolarity,
            Severity::Caution,
            says,
            "check the wires of both captures",
        ));
    }
    if joined.rms_db > POOR_DB {
        let says = format!(
            "near and far field disagree by {:.1} dB rms between {} and {}",
            joined.rms_db,
            frequency(joined.overlap_hz[0]),
            frequency(joined.overlap_hz[1])
        );
        let advice = "look whether front, place and area are right, whether a reflection lies in the far gate, and whether another way sounds there";
        findings.push(Finding::new(Code::PoorFit, Severity::Caution, &says, advice));
    }
    if joined.level_db[0].abs() > OTHER_GAIN_DB.max(2.0 * joined.level_db[1]) {
        let says = format!(
            "the near field had to be moved by {:+.1} dB; with one gain in both captures it would be none",
            joined.level_db[0]
        );
        let advice =
            "nothing needs doing if the gain was changed between the captures; otherwise check area and distance";
        findings.push(Finding::new(Code::Assumed, Severity::Note, &says, advice));
    }
}
