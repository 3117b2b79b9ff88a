//! The demo's second evening: the mid-woofer out of its box, on the impedance jig.
//!
//! Nothing and a known resistor tell what the interface's inputs do; then the driver hangs free, with a mass on its
//! cone, and in a small airtight box; last its spare. The jig's inputs differ by a decibel, as cheap ones do.

use super::boxes::{BoxEvening, measure_boxes};
use super::prototype::as_built;
use super::{DemoError, DemoOrder};
use crate::audio::{SIMULATED, Simulated};
use crate::bench::{Enclosure, HungDriver, JigSettings, JigTruth, Load};
use crate::driver::{Doubted, FitSettings, Mounting};
use crate::files::{self, CaptureKind, JobBench};
use crate::job::{
    CaptureOrder, Characterised, DriverOrder, ImpedanceOrder, Impeded, Known, LevelCounts, Loudness, MatchOrder,
    Pictures, Stage, bench_keys, capture, characterise, impede, jig_chain, match_units,
};
use crate::quantity::{Air, POINTS_PER_OCTAVE};
use crate::signal::{Marks, SampleFormat, Sequence, SweepSettings};
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

/// The driver's measurements.
pub(super) struct DriverEvening {
    /// The free driver's impedance.
    pub free: Impeded,
    /// What is known of it.
    pub truth: JigTruth,
    /// Its parameters.
    pub driver: Characterised,
    /// It in its boxes.
    pub boxes: BoxEvening,
    /// The whole prototype's impedance.
    pub prototype: Impeded,
    /// What lies on the disk now.
    pub files: Vec<(PathBuf, &'static str)>,
}

const SENSE_OHM: f64 = 10.0;
const KNOWN_OHM: f64 = 8.2;
/// Both resistors were measured with a good meter (common practice: 0.1 %).
const TOLERANCE_RATIO: f64 = 1e-3;
const TOLERANCE: &str = "0.1%";
/// The inputs differ as cheap ones do; see `--simulated-mismatch-db`.
const MISMATCH_DB: f64 = 1.0;
/// Three degrees at 1 kHz.
const MISMATCH_S: f64 = 3.0 / 360.0 / 1000.0;
const ADDED_G: f64 = 3.0;
/// Kitchen scales show a tenth of a gram: rectangular limits of half of that.
const U_ADDED_G: f64 = 0.03;
const TEST_BOX_L: f64 = 2.4;
/// Water poured from a measuring jug tells a volume to a percent (common practice).
const U_TEST_BOX_L: f64 = 0.024;
const SD_CM2: f64 = 50.0;
const U_SD_CM2: f64 = 0.5;
const DATA_SHEET: &str = "mid-data-sheet.toml";
const SEED: u64 = 21;

/// What the maker promised, in our own words: softer and stronger than the driver that came.
const PROMISED: &str = "# What the data sheet of the mid-woofer promises.\n\
     re_ohm = 3.4\nfs_hz = 98\nqms = 4.5\nqes = 0.58\nqts = 0.51\nvas_l = 2.9\nsd_cm2 = 50\nmms_g = 3.3\nsensitivity_db = 91\n";

/// Measures the driver and its spare, and finds what they are.
pub(super) fn measure_driver(order: &DemoOrder, tell: &mut dyn FnMut(&str)) -> Result<DriverEvening, DemoError> {
    let sheet = order.folder.join(DATA_SHEET);
    files::create_new(&sheet, PROMISED.as_bytes())?;
    tell("the impedance jig: nothing, a known resistor, then the mid-woofer free, heavier, boxed, and its spare");
    let mut jig = Evening { order, seed: SEED, stage: Stage::OnTheBench, files: vec![(sheet.clone(), "data sheet")] };
    let told = Told {
        open: jig.captured("nothing connected", Load::Open)?.0,
        known: jig.captured("known resistor", Load::Resistor { ohm: KNOWN_OHM })?.0,
    };
    let mut spare = HungDriver::mid();
    spare.driver.cms_m_n *= 0.8;
    spare.driver.bl_tm *= 0.97;
    let mut heavier = HungDriver::mid();
    heavier.added_mass_kg = 1e-3 * ADDED_G;
    let mut boxed = HungDriver::mid();
    boxed.enclosure = Some(Enclosure::closed(1e-3 * TEST_BOX_L));
    let (free, truth) = jig.measured("mid", HungDriver::mid(), &told)?;
    let (heavier, _) = jig.measured("mid heavier", heavier, &told)?;
    let (boxed, _) = jig.measured("mid boxed", boxed, &told)?;
    let (spare, _) = jig.measured("mid spare", spare, &told)?;
    tell("the driver behind these curves");
    let curve = |impeded: &Impeded| impeded.folder.join("impedance.csv");
    let out = order.folder.join("driver");
    let inside = |impeded: &Impeded| order.inside(&curve(impeded));
    let words = [
        "driver",
        &inside(&free),
        "--with-mass",
        &inside(&heavier),
        "--added-mass-g",
        &ADDED_G.to_string(),
        "--u-added-mass-g",
        &U_ADDED_G.to_string(),
        "--in-box",
        &inside(&boxed),
        "--test-box-l",
        &TEST_BOX_L.to_string(),
        "--u-test-box-l",
        &U_TEST_BOX_L.to_string(),
        "--sd-cm2",
        &SD_CM2.to_string(),
        "--u-sd-cm2",
        &U_SD_CM2.to_string(),
        "--datasheet",
        DATA_SHEET,
        "--name",
        "mid",
        "--out",
        "driver",
    ];
    let driver = characterise(&DriverOrder {
        ran: order.ran(&[], &words),
        curve: curve(&free),
        with_mass: Some((curve(&heavier), Doubted { value: 1e-3 * ADDED_G, u: 1e-3 * U_ADDED_G })),
        in_box: Some((curve(&boxed), Doubted { value: 1e-3 * TEST_BOX_L, u: 1e-3 * U_TEST_BOX_L })),
        mms_kg: None,
        sd_m2: Some(Doubted { value: 1e-4 * SD_CM2, u: 1e-4 * U_SD_CM2 }),
        diameter_m: None,
        mounting: Mounting::FreeAir,
        air: Air::default(),
        fit: FitSettings::default(),
        datasheet: Some(sheet),
        box_m3: None,
        name: Some("mid".into()),
        out: Some(out.clone()),
        pictures: Pictures::Drawn,
    })?;
    let words = ["match", &inside(&free), &inside(&spare), "--limits", "1", "--out", "driver"];
    let alike = match_units(&MatchOrder {
        ran: order.ran(&["limits"], &words),
        again: None,
        curves: vec![curve(&free), curve(&spare)],
        band_hz: None,
        limits_db: [-1.0, 1.0],
        level: LevelCounts::Yes,
        out: Some(out.clone()),
    })?;
    jig.files.push((out.join("driver.json"), "result"));
    jig.files.extend(alike.files.iter().map(|file| (PathBuf::from(&file.path), "result")));
    tell("the boxes: the first one leaks, the second is that one sealed, the third has a vent");
    let boxes = measure_boxes(order, &mut jig, &told, &out.join("driver.json"))?;
    jig.stage = Stage::OnTheStand;
    let (prototype, _) = jig.loaded("prototype", Load::Loudspeaker(as_built()), &told)?;
    Ok(DriverEvening { prototype, free, truth, driver, boxes, files: jig.files })
}

/// The captures that tell the jig.
pub(super) struct Told {
    open: PathBuf,
    known: PathBuf,
}

/// The jig on one evening: what hangs there changes, the wiring does not.
pub(super) struct Evening<'a> {
    order: &'a DemoOrder,
    seed: u64,
    /// How far the loudspeaker is built.
    pub stage: Stage,
    pub files: Vec<(PathBuf, &'static str)>,
}

impl Evening<'_> {
    /// A capture of a load, and what is known of it.
    fn captured(&mut self, unit: &str, load: Load) -> Result<(PathBuf, JigTruth), DemoError> {
        self.seed += 1;
        let mut settings = JigSettings { seed: self.seed, load, ..JigSettings::default() };
        settings.wiring.sense_ohm = SENSE_OHM;
        settings.load_input.gain_db = MISMATCH_DB;
        settings.load_input.delay_s = MISMATCH_S;
        let wiring = settings.wiring;
        let bench = JobBench { output: Some(SIMULATED.into()), input: Some(SIMULATED.into()), ..JobBench::default() };
        let chain = jig_chain(&bench, &JobBench::default(), Loudness::Usual)?;
        let sweep =
            SweepSettings { rate: chain.rate, from_hz: 10.0, to_hz: 20_000.0, lowest_hz: None, duration_s: 4.0 };
        let (level_dbfs, marks) = (chain.level_dbfs, Marks::BeforeAndAfter);
        let captured = capture(
            &mut Simulated::jig(settings)?,
            &CaptureOrder {
                sequence: Sequence { sweep, level_dbfs, repeats: 2, marks, pause_s: 2.0 },
                chain,
                format: SampleFormat::Pcm24,
                out: self.order.folder.join("captures"),
                when: self.order.when.clone(),
                known: Known {
                    unit: Some(unit.into()),
                    stage: Some(self.stage.name().into()),
                    note: Some("made by the simulated bench".into()),
                    sense_ohm: Some(SENSE_OHM),
                    gain_limit_db: Some(crate::impedance::GAIN_LIMIT_DB),
                    input_full_scale_v: Some(wiring.input_full_scale_v),
                    ..Known::default()
                },
            },
            &AtomicBool::new(false),
            &mut |_| {},
        )?;
        self.files.push((captured.wav.clone(), "capture"));
        let beside = captured.truth.as_deref().map(read_truth).transpose()?;
        let truth = beside.ok_or_else(|| DemoError::Truth { path: captured.wav.clone(), says: "there is none".into() });
        Ok((captured.wav, truth?))
    }

    /// The impedance of a driver, with the jig taken off as its captures tell it.
    pub fn measured(&mut self, unit: &str, hung: HungDriver, told: &Told) -> Result<(Impeded, JigTruth), DemoError> {
        self.loaded(unit, Load::Driver(Box::new(hung)), told)
    }

    /// The same of anything that hangs there.
    pub fn loaded(&mut self, unit: &str, load: Load, told: &Told) -> Result<(Impeded, JigTruth), DemoError> {
        let (wav, truth) = self.captured(unit, load)?;
        let lead_ohm = truth.wiring.lead_ohm.to_string();
        let words = [
            "impedance",
            &self.order.inside(&wav),
            "--open",
            &self.order.inside(&told.open),
            "--known",
            &self.order.inside(&told.known),
            "--known-ohm",
            &KNOWN_OHM.to_string(),
            "--known-tolerance",
            TOLERANCE,
            "--sense-tolerance",
            TOLERANCE,
            "--lead-ohm",
            &lead_ohm,
        ];
        let keys = bench_keys(&wav, CaptureKind::Impedance);
        let looked_into: Vec<&str> = keys.iter().map(String::as_str).collect();
        let impeded = impede(&ImpedanceOrder {
            ran: self.order.ran(&looked_into, &words),
            wav,
            excitation: None,
            drive: None,
            load: None,
            sense_ohm: None,
            gain_limit_db: None,
            sense_tolerance_ratio: TOLERANCE_RATIO,
            lead_ohm: Some(truth.wiring.lead_ohm),
            open: Some(told.open.clone()),
            short: None,
            known: Some(told.known.clone()),
            known_ohm: Some(KNOWN_OHM),
            known_tolerance_ratio: TOLERANCE_RATIO,
            input_full_scale_v: None,
            points_per_octave: POINTS_PER_OCTAVE,
            band_hz: None,
            out: None,
            bench: JobBench::default(),
            pictures: Pictures::Drawn,
        })?;
        self.files.push((impeded.folder.join("result.json"), "result"));
        Ok((impeded, truth))
    }
}

fn read_truth(path: &Path) -> Result<JigTruth, DemoError> {
    let refuse = |says: String| DemoError::Truth { path: path.to_owned(), says };
    let text = std::fs::read_to_string(path).map_err(|error| refuse(error.to_string()))?;
    serde_json::from_str(&text).map_err(|error| refuse(error.to_string()))
}
