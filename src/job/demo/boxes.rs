//! The demo's third evening: the mid-woofer back in its boxes, on the same jig.
//!
//! The first box leaks at a seam and one of its walls rings; the second measurement is of the same box, sealed and
//! braced; the third of a vented one whose tube came out too long.

use super::driver::{Evening, Told};
use super::{BOX, DemoError, DemoOrder};
use crate::bench::{HungDriver, JigTruth};
use crate::diagnosis::BoxKind;
use crate::files;
use crate::job::{BoxOrder, Examined, Impeded, Pictures, Stage, examine};
use crate::quantity::Air;
use std::path::Path;

/// A box's measurement.
pub(super) struct BoxEvening {
    /// The first one, which leaks.
    pub first: OneBox,
    /// The same, sealed.
    pub sealed: OneBox,
    /// The vented one.
    pub vented: OneBox,
}

/// One box, what was found, and the truth.
pub(super) struct OneBox {
    pub examined: Examined,
    pub truth: JigTruth,
}

/// Name of the vented box in the job.
pub(super) const VENTED: &str = "vented";

/// Measures the boxes and finds what they are; lists their files with `jig`'s.
pub(super) fn measure_boxes(
    order: &DemoOrder,
    jig: &mut Evening<'_>,
    told: &Told,
    driver: &Path,
) -> Result<BoxEvening, DemoError> {
    let job = files::read_job(&order.folder.join("job.toml"))?;
    let boxes = |name: &str| job.enclosure.get(name).cloned().unwrap_or_default();
    jig.stage = Stage::InItsBox;
    let (first_curve, first_truth) = jig.measured("first box", HungDriver::first_box(), told)?;
    let (sealed_curve, sealed_truth) = jig.measured("sealed box", HungDriver::sealed_box(), told)?;
    let (vented_curve, vented_truth) = jig.measured("vented box", HungDriver::vented_box(), told)?;
    let curve = |impeded: &Impeded| impeded.folder.join("impedance.csv");
    let load_v = first_curve.document.load_voltage.map(|voltage| voltage.highest_v);
    let command = |impeded: &Impeded, kind: &str, name: &str, more: &[&str]| {
        let (curve, driver) = (order.inside(&curve(impeded)), order.inside(driver));
        let out = name.replace(' ', "-");
        let boxed = if kind == "vented" { VENTED } else { BOX };
        let usual = ["--driver", &driver, "--kind", kind, "--box", boxed, "--name", name, "--out", &out];
        let load_v = load_v.map(|load_v| load_v.to_string());
        let voltage = load_v.as_deref().map_or_else(Vec::new, |load_v| vec!["--load-v", load_v]);
        order.ran(&["job", &format!("box.{boxed}")], &[&["box", &curve], &usual[..], &voltage, more].concat())
    };
    let usual = BoxOrder {
        ran: command(&first_curve, "closed", "first box", &[]),
        curve: curve(&first_curve),
        driver: Some(driver.to_owned()),
        before: None,
        kind: BoxKind::Closed,
        cone: None,
        opening: None,
        band_hz: None,
        designed: boxes(BOX).designed(),
        inside: boxes(BOX).inside(),
        load_v,
        air: Air::default(),
        name: Some("first box".into()),
        out: Some(order.folder.join("first-box")),
        pictures: Pictures::Drawn,
    };
    let first = OneBox { examined: examine(&usual)?, truth: first_truth };
    let before = order.inside(&curve(&first_curve));
    let sealed = examine(&BoxOrder {
        ran: command(&sealed_curve, "closed", "sealed box", &["--before", &before]),
        curve: curve(&sealed_curve),
        before: Some(curve(&first_curve)),
        name: Some("sealed box".into()),
        out: Some(order.folder.join("sealed-box")),
        ..usual.clone()
    })?;
    let vented = examine(&BoxOrder {
        ran: command(&vented_curve, "vented", "vented box", &[]),
        curve: curve(&vented_curve),
        kind: BoxKind::Vented,
        designed: boxes(VENTED).designed(),
        inside: boxes(VENTED).inside(),
        name: Some("vented box".into()),
        out: Some(order.folder.join("vented-box")),
        ..usual
    })?;
    for folder in [&first.examined.folder, &sealed.folder, &vented.folder] {
        jig.files.push((folder.join("box.json"), "result"));
    }
    Ok(BoxEvening {
        first,
        sealed: OneBox { examined: sealed, truth: sealed_truth },
        vented: OneBox { examined: vented, truth: vented_truth },
    })
}

/// The job's boxes, for its file.
pub(super) const JOB_BOXES: &str = "[box.rear]\nkind = \"closed\"\nvolume_l = 1.9\nql = 100\nqa = 40\n\
     inner_mm = [110, 180, 96]\nwall_mm = 4\nmaterial = \"pla\"\n\n\
     [box.vented]\nkind = \"vented\"\nvolume_l = 4\nport = { diameter_mm = 32, length_mm = 45 }\n\
     inner_mm = [140, 220, 130]\nwall_mm = 12\nmaterial = \"plywood\"\n\n";
