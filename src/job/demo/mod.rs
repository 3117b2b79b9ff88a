//! The main job on the simulated bench, from signal to report: what a first evening looks like, without a sound card.
//!
//! The scenario is our own: the left one of a rear pair, a small two-way satellite, on a stand in a small room. It is
//! measured twice: by an interface with a loopback cable, and by a microphone with a clock of its own. Because the
//! bench is simulated, its truth is known, and the report says how far the results are from it. Another evening its
//! mid-woofer hangs on the impedance jig, free and in its boxes: the first one leaks, the second is that one sealed, a
//! third has a vent. The microphone also went close to the cone, and a unit with a dented cone was asked whether it scrapes.
//! In the end the satellite joins a subwoofer in a living room.

mod blending;
mod boxes;
mod boxes_truth;
mod command;
mod driver;
mod driver_truth;
mod listened;
mod pair;
mod prototype;
mod whole;

use self::blending::blend_in_living_room;
use self::boxes::JOB_BOXES;
use self::driver::measure_driver;
use self::listened::Measured;
use self::pair::measure_right;
use self::prototype::{JOB_DESIGN, as_built, explain_prototype, write_network};
use self::whole::{TURNED_DOWN_DB, before_the_cone, join_near_and_far, scraping, tell_of_scraping};
use super::alike::MatchError;
use super::blend::BlendJobError;
use super::boxed::ExamineError;
use super::capture::{CaptureError, CaptureOrder, Known, capture};
use super::chain::{ChainError, Loudness, chain};
use super::compare::CompareError;
use super::driver::CharacteriseError;
use super::impede::ImpedeError;
use super::join::JoinError;
use super::report::{Added, Additions, JobReportError, ReportOrder, report};
use super::respond::{Pictures, RespondError, Responded, ResponseOrder, SmoothingChoice, TableIs, respond};
use super::simulate::SimulateError;
use crate::audio::{SIMULATED, Simulated};
use crate::bench::{BenchError, BenchSettings, Truth};
use crate::files::{self, CaptureKind, Curve, FileError, JobBench, Measure};
use crate::quantity::{FrequencyGrid, QuantityError, amplitude_from_db};
use crate::report::ReportError;
use crate::response::GateChoice;
use crate::signal::{Marks, SampleFormat, Sequence, SweepSettings};
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

/// A demo that is to be made.
#[derive(Debug, Clone, PartialEq)]
pub struct DemoOrder {
    /// A folder that does not exist yet, or is empty; an empty path is this folder.
    pub folder: PathBuf,
    /// Now, as RFC 3339 writes it.
    pub when: String,
}

/// A demo that was made.
pub struct Demo {
    /// The report.
    pub report: PathBuf,
    /// What was written, and what each file is.
    pub files: Vec<(PathBuf, &'static str)>,
}

/// Why there is no demo.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // each carries its own message
pub enum DemoError {
    #[error("{}: not empty", folder.display())]
    NotEmpty { folder: PathBuf },
    #[error(transparent)]
    File(#[from] FileError),
    #[error(transparent)]
    Bench(#[from] BenchError),
    #[error(transparent)]
    Chain(#[from] ChainError),
    #[error(transparent)]
    Capture(#[from] CaptureError),
    #[error(transparent)]
    Respond(#[from] RespondError),
    #[error(transparent)]
    Impede(#[from] ImpedeError),
    #[error(transparent)]
    Driver(#[from] CharacteriseError),
    #[error(transparent)]
    Box(#[from] ExamineError),
    #[error(transparent)]
    Match(#[from] MatchError),
    #[error(transparent)]
    Simulate(#[from] SimulateError),
    #[error(transparent)]
    Compare(#[from] CompareError),
    #[error(transparent)]
    Join(#[from] JoinError),
    #[error(transparent)]
    Blend(#[from] BlendJobError),
    #[error(transparent)]
    Picture(#[from] ReportError),
    #[error(transparent)]
    Report(#[from] JobReportError),
    #[error(transparent)]
    Quantity(#[from] QuantityError),
    #[error("{}: the truth beside the capture can't be read: {says}", path.display())]
    Truth { path: PathBuf, says: String },
}

impl DemoError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::NotEmpty { .. } => "name a folder that does not exist yet",
            Self::File(error) => error.advice(),
            Self::Capture(error) => error.advice(),
            Self::Respond(error) => error.advice(),
            Self::Impede(error) => error.advice(),
            Self::Driver(error) => error.advice(),
            Self::Box(error) => error.advice(),
            Self::Match(error) => error.advice(),
            Self::Simulate(error) => error.advice(),
            Self::Compare(error) => error.advice(),
            Self::Join(error) => error.advice(),
            Self::Blend(error) => error.advice(),
            Self::Chain(error) => error.advice(),
            Self::Picture(error) => error.advice(),
            Self::Report(error) => error.advice(),
            Self::Bench(_) | Self::Quantity(_) | Self::Truth { .. } => "report this, it is a fault of the program",
        }
    }
}

/// Seeds of the takes; any others would do.
const SEEDS: [u64; 6] = [11, 12, 13, 14, 15, 16];
/// The clock of a microphone with a converter of its own; interfaces differ by some tens of ppm (common practice).
const MICROPHONE_CLOCK_PPM: f64 = 38.0;
const LEVEL_DBFS: f64 = -20.0;
const MICROPHONE_TABLE: &str = "mic.txt";
const UNIT: &str = "rear left";
const PROTOTYPE: &str = "prototype";
const NEAR: &str = "rear left near";
const DENTED: &str = "rear dented";
/// Name of the satellite's box in the job.
const BOX: &str = "rear";

/// Makes the demo; `tell` hears what is being done.
///
/// # Errors
/// [`DemoError::NotEmpty`] for a folder that holds something, and whatever the steps themselves report.
pub fn demo(order: &DemoOrder, tell: &mut dyn FnMut(&str)) -> Result<Demo, DemoError> {
    let folder = &order.folder;
    prepare(folder)?;
    let mut written = vec![(folder.join("job.toml"), "job"), (folder.join(MICROPHONE_TABLE), "microphone's table")];
    let interface = BenchSettings { seed: SEEDS[0], ..BenchSettings::default() };
    let mut own_clock = BenchSettings { seed: SEEDS[1], ..BenchSettings::default() };
    own_clock.interface.drift_ppm = MICROPHONE_CLOCK_PPM;
    files::create_new(&folder.join(MICROPHONE_TABLE), microphone_table(&interface)?.as_bytes())?;
    files::create_new(&folder.join("job.toml"), job_text(&interface).as_bytes())?;
    written.push((write_network(folder)?, "network"));
    let bench = read_bench(folder)?;
    tell("a sweep through the interface, with a loopback cable");
    let first = measure(order, &bench, interface, &Taken::of(UNIT))?;
    tell("four sweeps through a microphone with a clock of its own");
    let alone = JobBench { reference_channel: None, ..bench.clone() };
    let second = measure(order, &alone, own_clock, &Taken { wiring: Wiring::MicrophoneAlone, ..Taken::of(UNIT) })?;
    tell("from 5 mm before the cone, and both joined");
    let mut turned_down = bench.clone();
    turned_down.mic_sensitivity_dbfs_at_94db = bench.mic_sensitivity_dbfs_at_94db.map(|dbfs| dbfs - TURNED_DOWN_DB);
    let near = measure(order, &turned_down, before_the_cone(SEEDS[3]), &Taken::of(NEAR))?;
    let whole = join_near_and_far(order, &near, &first)?;
    tell("the one with the dented cone");
    let dented = measure(order, &bench, scraping(SEEDS[4]), &Taken::of(DENTED))?;
    let evening = measure_driver(order, tell)?;
    tell("the prototype: simulated, measured, and why it differs");
    let built = BenchSettings { seed: SEEDS[2], speaker: as_built(), ..BenchSettings::default() };
    let built = measure(order, &bench, built, &Taken::of(PROTOTYPE))?;
    let curve = |folder: &Path, name: &str| folder.join(name);
    let prototype = explain_prototype(
        order,
        &curve(&built.responded.folder, "response.csv"),
        &curve(&evening.prototype.folder, "impedance.csv"),
    )?;
    tell("the right one beside the left one, and both beside their design");
    let pair = measure_right(order, &bench, SEEDS[5], &first, &whole.curve())?;
    tell("in the living room: each alone at two seats, the setting, and both together");
    let blending = blend_in_living_room(order, &bench, whole.curve())?;
    tell("the report");
    let mut additions = Additions {
        title: Some("A rear pair, on the simulated bench".into()),
        footer: vec![format!("Measured {} by `boxwright demo` on the simulated bench.", order.when)],
        ..Additions::default()
    };
    listened::tell(order, [&first, &second], &mut additions)?;
    additions.summary.push(whole.in_short());
    whole.tell(order, &mut additions);
    tell_of_scraping(order, &dented, &mut additions);
    driver_truth::tell(order, &evening, &mut additions);
    boxes_truth::tell(order, &evening.boxes, &mut additions);
    prototype::tell(order, &prototype, &mut additions);
    pair.tell(order, &mut additions);
    blending.tell(order, &mut additions);
    let report = report(&ReportOrder { folder: folder.clone(), out: None, pictures: None, additions })?.page;
    for measured in [&first, &second, &near, &dented, &built] {
        written.push((measured.capture.clone(), "capture"));
        written.push((measured.responded.folder.join("result.json"), "result"));
    }
    written.extend(whole.files());
    written.extend(evening.files);
    written.extend(prototype.files);
    written.extend(pair.files());
    written.extend(blending.files());
    written.push((report.clone(), "report"));
    Ok(Demo { report, files: written })
}

/// Adds to what the report tells of a result.
fn add(order: &DemoOrder, document: &Path, added: Added, additions: &mut Additions) {
    additions.results.insert(order.inside(document).replace('\\', "/"), added);
}

fn prepare(folder: &Path) -> Result<(), DemoError> {
    let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    let io = |doing| move |source| FileError::Io { path: folder.to_owned(), doing, source };
    std::fs::create_dir_all(folder).map_err(io("make the folder"))?;
    let mut there = std::fs::read_dir(folder).map_err(io("look into the folder"))?;
    if there.next().is_some() { Err(DemoError::NotEmpty { folder: folder.to_owned() }) } else { Ok(()) }
}

fn read_bench(folder: &Path) -> Result<JobBench, FileError> {
    let mut bench = files::read_job(&folder.join("job.toml"))?.bench;
    bench.mic = bench.mic.map(|mic| folder.join(mic));
    Ok(bench)
}

/// How the bench is wired.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Wiring {
    Loopback,
    MicrophoneAlone,
}

/// What is written down of a take, and how it is read.
#[derive(Clone, Copy)]
pub(super) struct Taken<'a> {
    pub unit: &'a str,
    pub stage: &'a str,
    pub wiring: Wiring,
    pub gate: GateChoice,
    pub level: LevelSaid,
}

/// What the level of a response stands for.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum LevelSaid {
    /// One loudspeaker at 2.83 V, brought to 1 m.
    AtOneMetre,
    /// What the microphone hears.
    AtTheSeat,
}

impl<'a> Taken<'a> {
    /// On the stand, with a loopback, gated before the first reflection.
    fn of(unit: &'a str) -> Self {
        Self {
            unit,
            stage: "on the stand",
            wiring: Wiring::Loopback,
            gate: GateChoice::Auto,
            level: LevelSaid::AtOneMetre,
        }
    }
}

/// Captures on the bench and analyses the capture.
fn measure(
    order: &DemoOrder,
    bench: &JobBench,
    settings: BenchSettings,
    taken: &Taken<'_>,
) -> Result<Measured, DemoError> {
    let drive_v = settings.interface.drive_v_at_full_scale * amplitude_from_db(LEVEL_DBFS) / std::f64::consts::SQRT_2;
    let distance_m = distance_m(&settings);
    let chain = chain(bench, &JobBench::default(), Loudness::Usual)?;
    let sweep = SweepSettings { rate: chain.rate, from_hz: 20.0, to_hz: 20_000.0, lowest_hz: None, duration_s: 4.0 };
    let repeats = if taken.wiring == Wiring::Loopback { 1 } else { 4 };
    let capture_order = CaptureOrder {
        sequence: Sequence { sweep, level_dbfs: chain.level_dbfs, repeats, marks: Marks::BeforeAndAfter, pause_s: 0.8 },
        chain,
        format: SampleFormat::Pcm24,
        out: order.folder.join("captures"),
        when: order.when.clone(),
        known: Known {
            unit: Some(taken.unit.into()),
            stage: Some(taken.stage.into()),
            note: Some("made by the simulated bench".into()),
            mic: bench.mic.clone(),
            mic_sensitivity_dbfs_at_94db: bench.mic_sensitivity_dbfs_at_94db,
            distance_m: Some(distance_m),
            ..Known::default()
        },
    };
    let mut card = Simulated::new(settings)?;
    let captured = capture(&mut card, &capture_order, &AtomicBool::new(false), &mut |_| {})?;
    let responded =
        analysed(order, &captured.wav, (taken.level == LevelSaid::AtOneMetre).then_some(drive_v), taken.gate)?;
    let truth = captured.truth.as_deref().map(read_truth).transpose()?;
    let known = truth.ok_or_else(|| DemoError::Truth { path: captured.wav.clone(), says: "there is none".into() })?;
    Ok(Measured { capture: captured.wav, responded, truth: known, distance_m })
}

/// From the satellite to the microphone.
fn distance_m(settings: &BenchSettings) -> f64 {
    match (settings.near, settings.seat_m) {
        (Some(near), _) => near.distance_m,
        (None, Some([ahead_m, aside_m, up_m])) => ahead_m.hypot(aside_m).hypot(up_m),
        (None, None) => settings.distance_m,
    }
}

fn analysed(order: &DemoOrder, wav: &Path, drive_v: Option<f64>, gate: GateChoice) -> Result<Responded, RespondError> {
    let mut words = vec!["response".to_owned(), order.inside(wav)];
    if gate == GateChoice::None {
        words.extend(["--gate", "none"].map(String::from));
    }
    words.extend(drive_v.into_iter().flat_map(|drive_v| ["--drive-v".to_owned(), drive_v.to_string()]));
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    let keys = super::bench_keys(wav, CaptureKind::Response);
    let looked_into: Vec<&str> = keys.iter().map(String::as_str).collect();
    respond(&ResponseOrder {
        ran: order.ran(&looked_into, &words),
        wav: wav.to_owned(),
        excitation: None,
        reply: None,
        reference: None,
        gate,
        smoothing: SmoothingChoice::PicturesOnly,
        points_per_octave: crate::quantity::POINTS_PER_OCTAVE,
        microphone: None,
        table_is: TableIs::Response,
        sensitivity_dbfs_at_94db: None,
        distance_m: None,
        room: None,
        drive_v,
        out: None,
        bench: JobBench::default(),
        pictures: Pictures::Drawn,
    })
}

fn read_truth(path: &Path) -> Result<Truth, DemoError> {
    let refuse = |says: String| DemoError::Truth { path: path.to_owned(), says };
    let text = std::fs::read_to_string(path).map_err(|error| refuse(error.to_string()))?;
    serde_json::from_str(&text).map_err(|error| refuse(error.to_string()))
}

/// The bench's microphone as a table of twelve points an octave.
fn microphone_table(settings: &BenchSettings) -> Result<String, QuantityError> {
    let grid = FrequencyGrid::of_octave_fractions([10.0, 21_200.0], 12)?;
    Ok(files::curve_text(&Curve {
        measure: Measure::LevelDb,
        frequency_hz: grid.hz().to_vec(),
        values: settings.microphone.table_db(grid.hz()),
        phase_deg: None,
        u: None,
        u_noise: None,
        header: vec![("what".into(), "own response of the simulated microphone".into())],
        notes: Vec::new(),
    }))
}

fn job_text(settings: &BenchSettings) -> String {
    format!(
        "# The job of the demo: commands in this folder take their defaults from here.\n\n\
         [job]\nname = \"rear pair\"\ntemperature_c = 20\n\n\
         [bench]\noutput = \"{SIMULATED}\"\ninput = \"{SIMULATED}\"\nreply_channel = 1\nreference_channel = 2\n\
         mic = \"{MICROPHONE_TABLE}\"\nmic_sensitivity_dbfs_at_94db = {}\ndistance_m = {}\nlevel_dbfs = {LEVEL_DBFS}\n\n\
         {JOB_BOXES}{JOB_DESIGN}[unit.rear-left]\nspeaker = \"rear\"\n[unit.rear-right]\nspeaker = \"rear\"\n",
        settings.microphone.sensitivity_dbfs_at_94db, settings.distance_m,
    )
}
