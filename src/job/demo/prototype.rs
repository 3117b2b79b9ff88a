//! The demo's last evening: the prototype against its simulation.
//!
//! It was built with a capacitor of 3.3 µF in the treble's filter where 5.6 µF were drawn, and its box came out at 1.5 l
//! instead of 1.9 l. Response and impedance, laid over the simulation, name both.

use super::{DemoError, DemoOrder, add};
use crate::bench::{Enclosure, Filter, Speaker};
use crate::explanation::Align;
use crate::files;
use crate::job::{
    Added, Additions, Banding, CompareOrder, Compared, ExplainOrder, Pictures, SimulationOrder, compare, design_tables,
    simulate_job,
};
use crate::report::Entry;
use crate::speaker::{Ear, Space};
use std::path::{Path, PathBuf};

/// The prototype's result.
pub(super) struct Prototype {
    pub compared: Compared,
    pub files: Vec<(PathBuf, &'static str)>,
}

/// What went wrong when it was built, farad and m³.
const WRONG_CAPACITOR_F: f64 = 3.3e-6;
const SMALL_BOX_M3: f64 = 1.5e-3;

/// The job's file.
const JOB: &str = "job.toml";
/// The network's file, and the loudspeaker in the job.
const NETLIST: &str = "rear.cir";
const SPEAKER: &str = "rear";

/// The network as it was drawn.
const DRAWN: &str = "* network of the rear satellites, as drawn\n\
     L1 in w 0.39m dcr=0.25\nC1 w 0 6.8u esr=0.05\nC2 in t1 5.6u esr=0.05\nL2 t1 0 0.33m dcr=0.25\nR1 t1 t 1.5\n";

/// The job's design of the satellite, for its file. The treble driver's numbers hold its own small chamber.
pub(super) const JOB_DESIGN: &str = "[driver.mid]\nfrom = \"driver/driver.json\"\nxmax_mm = 2.5\n\n\
     [driver.treble]\nre_ohm = 3.6\nfs_hz = 1090\nqms = 2.5\nqes = 1.63\nvas_l = 0.00383\nsd_cm2 = 5.5\n\
     le_mh = 0.025\nle2_mh = 0.03\nre2_ohm = 1.0\n\n\
     [baffle.rear]\nwidth_mm = 140\nheight_mm = 210\nedge_radius_mm = 50\n\n\
     [network.rear]\nnetlist = \"rear.cir\"\n\n\
     [speaker.rear]\nbox = \"rear\"\nbaffle = \"rear\"\nnetwork = \"rear\"\naxis_mm = [70, 150]\n\
     ways = [ { driver = \"mid\", node = \"w\", at_mm = [70, 70] },\n         \
     { driver = \"treble\", node = \"t\", at_mm = [70, 150], polarity = \"-\", box = \"none\" } ]\n\n\
     [limits]\nagainst_design_db = 3.0\npair_db = 1.0\n\n";

/// Writes the network's file beside the job.
pub(super) fn write_network(folder: &Path) -> Result<PathBuf, DemoError> {
    let path = folder.join(NETLIST);
    files::create_new(&path, DRAWN.as_bytes())?;
    Ok(path)
}

/// The satellite as it was built.
pub(super) fn as_built() -> Speaker {
    let mut speaker = Speaker::rear_satellite();
    let enclosure = Enclosure { ql: Some(100.0), qa: Some(40.0), ..Enclosure::closed(SMALL_BOX_M3) };
    for way in &mut speaker.ways {
        match &mut way.filter {
            Filter::HighPass(parts) => parts.c_f = WRONG_CAPACITOR_F,
            _ => way.enclosure = enclosure,
        }
    }
    speaker
}

/// Simulates the design and lays the measurements of what was built over it.
pub(super) fn explain_prototype(order: &DemoOrder, response: &Path, impedance: &Path) -> Result<Prototype, DemoError> {
    let tables = design_tables(&order.folder.join(JOB), Some(SPEAKER));
    let looked_into: Vec<&str> = tables.iter().map(String::as_str).collect();
    let simulated = simulate_job(&SimulationOrder {
        ran: order.ran(&looked_into, &["simulate", JOB, "--speaker", SPEAKER]),
        job: order.folder.join(JOB),
        speaker: Some(SPEAKER.into()),
        band_hz: [20.0, 20_000.0],
        points_per_octave: crate::quantity::POINTS_PER_OCTAVE,
        ear: Ear::USUAL,
        space: Space::AsDesigned,
        drive_v: crate::driver::DATA_SHEET_V,
        air: None,
        e_series: None,
        tolerance: Banding::Worked,
        out: None,
        pictures: Pictures::Drawn,
    })?;
    let compared = laid_over_design(order, response, Some(impedance), "prototype")?;
    let files =
        vec![(simulated.folder.join("simulation.json"), "result"), (compared.folder.join("compare.json"), "result")];
    Ok(Prototype { compared, files })
}

/// A measurement over the simulated response, and why they differ.
pub(super) fn laid_over_design(
    order: &DemoOrder,
    measured: &Path,
    also: Option<&Path>,
    out: &str,
) -> Result<Compared, DemoError> {
    let expected = order.folder.join("simulation").join(format!("{SPEAKER}-response.csv"));
    let (measured_as, expected_as) = (order.inside(measured), order.inside(&expected));
    let also_as = also.map(|path| order.inside(path));
    let mut words = vec!["compare", &measured_as, &expected_as, "--explain", JOB, "--speaker", SPEAKER];
    words.extend(also_as.iter().flat_map(|path| ["--also", path]));
    words.extend(["--limits", "3", "--out", out]);
    let tables = design_tables(&order.folder.join(JOB), Some(SPEAKER));
    let looked_into: Vec<&str> =
        ["limits"].into_iter().chain(tables.iter().map(String::as_str)).chain(["bench"]).collect();
    Ok(compare(&CompareOrder {
        ran: order.ran(&looked_into, &words),
        measured: measured.to_owned(),
        expected,
        band_hz: None,
        align: Align { level: true, delay: false },
        limits_db: [-3.0, 3.0],
        explain: Some(ExplainOrder {
            job: order.folder.join(JOB),
            speaker: Some(SPEAKER.into()),
            also: also.map(Path::to_owned),
            distance_m: None,
        }),
        out: Some(order.folder.join(out)),
        pictures: Pictures::Drawn,
    })?)
}

/// Adds to the comparison what was wrong in truth.
pub(super) fn tell(order: &DemoOrder, prototype: &Prototype, additions: &mut Additions) {
    let truth = format!("C2 is {:.1} µF, the box holds {:.1} l", 1e6 * WRONG_CAPACITOR_F, 1e3 * SMALL_BOX_M3);
    let added = Added {
        heading: Some("Does the prototype do what the simulation said?".into()),
        prose: vec![
            "The response and the impedance of the prototype, laid over the simulation of what was drawn.".into(),
        ],
        numbers: vec![Entry::text("in truth", truth)],
        figures: Vec::new(),
    };
    add(order, &prototype.compared.folder.join("compare.json"), added, additions);
}
