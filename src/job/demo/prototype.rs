//! The demo's last evening: the prototype against its simulation.
//!
//! It was built with a capacitor of 3.3 µF in the treble's filter where 5.6 µF were drawn, and its box came out at 1.5 l
//! instead of 1.9 l. Response and impedance, laid over the simulation, name both.

use super::{DemoError, DemoOrder};
use crate::bench::{Enclosure, Filter, Speaker};
use crate::explanation::Align;
use crate::files;
use crate::job::{
    Banding, CompareOrder, Compared, DESIGN_TABLES, ExplainOrder, Pictures, Simulated, SimulationOrder, compare,
    simulate_job,
};
use crate::report::{Chapter, Entry, Figure};
use crate::speaker::{Ear, Space};
use std::path::{Path, PathBuf};

/// The prototype's result.
pub(super) struct Prototype {
    pub simulated: Simulated,
    pub compared: Compared,
    pub files: Vec<(PathBuf, &'static str)>,
}

/// What went wrong when it was built, farad and m³.
const WRONG_CAPACITOR_F: f64 = 3.3e-6;
const SMALL_BOX_M3: f64 = 1.5e-3;

/// Names of the network's file and of the loudspeaker in the job.
/// The job's file.
const JOB: &str = "job.toml";
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
    let simulated = simulate_job(&SimulationOrder {
        ran: order.ran(&DESIGN_TABLES, &["simulate", JOB, "--speaker", SPEAKER]),
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
    let expected = simulated.folder.join(format!("{SPEAKER}-response.csv"));
    let words = [
        "compare",
        &order.inside(response),
        &order.inside(&expected),
        "--explain",
        JOB,
        "--speaker",
        SPEAKER,
        "--also",
        &order.inside(impedance),
        "--limits",
        "3",
        "--out",
        "prototype",
    ];
    let compared = compare(&CompareOrder {
        ran: order.ran(&["job", "bench", "driver", "box", "baffle", "network", "speaker", "limits"], &words),
        measured: response.to_owned(),
        expected,
        band_hz: None,
        align: Align { level: true, delay: false },
        limits_db: [-3.0, 3.0],
        explain: Some(ExplainOrder {
            job: order.folder.join(JOB),
            speaker: Some(SPEAKER.into()),
            also: Some(impedance.to_owned()),
            distance_m: None,
        }),
        out: Some(order.folder.join("prototype")),
        pictures: Pictures::Drawn,
    })?;
    let files =
        vec![(simulated.folder.join("simulation.json"), "result"), (compared.folder.join("compare.json"), "result")];
    Ok(Prototype { simulated, compared, files })
}

/// What it comes to, in a sentence.
pub(super) fn in_short(prototype: &Prototype) -> String {
    let document = &prototype.compared.document;
    let causes: Vec<&str> = document.causes.iter().flatten().map(|cause| cause.says.as_str()).collect();
    format!(
        "A prototype differs from its simulation by up to {:.1} dB: {}.",
        document.worst.level_db.abs(),
        if causes.is_empty() { "nothing significant".to_owned() } else { causes.join("; ") }
    )
}

/// The chapter.
pub(super) fn chapter(prototype: &Prototype) -> Option<Chapter> {
    let document = &prototype.compared.document;
    let mut numbers = vec![
        Entry::text("difference", format!("{:.2} dB rms", document.rms_db)),
        Entry::text(
            "worst",
            format!("{:+.1} dB at {}", document.worst.level_db, files::frequency_text(document.worst.at_hz)),
        ),
    ];
    numbers.extend(
        document.causes.iter().flatten().map(|cause| {
            Entry::text(&cause.cause, format!("{}; explains {:.0} %", cause.says, cause.explains_percent))
        }),
    );
    numbers.extend(document.left.iter().map(|left| Entry::text("rest", left.says.clone())));
    numbers.push(Entry::text(
        "truth",
        format!("C2 is {:.1} uF, the box holds {:.1} l", 1e6 * WRONG_CAPACITOR_F, 1e3 * SMALL_BOX_M3),
    ));
    let (_, [response, _]) = prototype.simulated.pictures.first()?;
    Some(Chapter {
        heading: "Does the prototype do what the simulation said?".into(),
        prose: vec![
            "Drivers, box, front and network of the job, simulated; the response and the impedance of the prototype laid over them. Every number of the \
             design may be off by what is usual; what is off by more, and explains more than naming it costs, is named."
                .into(),
        ],
        figures: vec![
            Figure { picture: response.clone(), caption: "The design's response with the usual spread of everything, and its ways.".into() },
            Figure {
                picture: prototype.compared.picture.clone()?,
                caption: "The prototype over it, levels made equal, and the difference between the limits.".into(),
            },
        ],
        numbers,
        findings: document.findings.clone(),
        settings: super::origin::origin(&document.inputs, &document.settings),
    })
}
