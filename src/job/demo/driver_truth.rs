//! What the demo tells of its driver beside the results: what was done, and the bench's truth.

use super::driver::DriverEvening;
use super::{DemoOrder, add};
use crate::bench::JigTruth;
use crate::files::{DriverDocument, ImpedanceDocument};
use crate::job::{Added, Additions};
use crate::math::RisingTable;
use crate::quantity::{Quantity, Unit};
use crate::report::Entry;

/// Adds it to the results.
pub(super) fn tell(order: &DemoOrder, evening: &DriverEvening, additions: &mut Additions) {
    add(order, &evening.free.folder.join("result.json"), free(evening), additions);
    let folder = &evening.driver.folder;
    add(order, &folder.join("driver.json"), driver(evening), additions);
    let alike = Added {
        heading: Some("Is the spare the same driver?".into()),
        prose: vec!["A second driver of the same name, through the same jig, and whether it may stand in.".into()],
        ..Added::default()
    };
    add(order, &folder.join("match.json"), alike, additions);
}

fn free(evening: &DriverEvening) -> Added {
    let [share, worst] = curve_judged(&evening.free.document, &evening.truth);
    Added {
        heading: Some("The mid-woofer on the impedance jig".into()),
        prose: vec![
            "Out of its box and hung free, through 10 Ω, two quiet sweeps. The inputs of the interface differ by a decibel and three \
             degrees; two captures, with nothing connected and with a resistor of 8.2 Ω in the driver's place, told by how much, and that was taken off."
                .into(),
        ],
        numbers: vec![
            Entry::text("points within ± 2u of the truth", format!("{share:.1} %")),
            Entry::text("largest difference to the truth", format!("{worst:.3} % of |Z|")),
        ],
        figures: Vec::new(),
    }
}

/// How many of the points lie within ± 2u of the truth, percent, and the largest difference, percent of |Z|.
fn curve_judged(document: &ImpedanceDocument, truth: &JigTruth) -> [f64; 2] {
    let Some(known) = truth.at.first().and_then(|at| at.impedance.as_ref()) else { return [0.0; 2] };
    let ln = |column: &[f64]| column.iter().map(|value| value.ln()).collect::<Vec<f64>>();
    let Some(table) = RisingTable::new(ln(&known.frequency_hz), known.magnitude_ohm.clone()) else { return [0.0; 2] };
    let curve = &document.curve;
    let points: Vec<(f64, f64)> = (0..curve.frequency_hz.len())
        .filter_map(|at| {
            let expected = table.at(curve.frequency_hz[at].ln())?;
            let apart = (curve.magnitude_ohm[at] - expected).abs();
            Some((apart / curve.u_ohm[at], 100.0 * apart / expected))
        })
        .collect();
    let within = points.iter().filter(|(over_u, _)| *over_u <= 2.0).count();
    let worst = points.iter().map(|(_, percent)| *percent).fold(0.0, f64::max);
    [100.0 * within as f64 / points.len().max(1) as f64, worst]
}

/// A parameter beside its truth.
struct Row {
    name: &'static str,
    found: Quantity,
    truth: f64,
    is_within: bool,
}

fn judged(document: &DriverDocument, truth: &JigTruth) -> Vec<Row> {
    let Some(known) = truth.at.first().and_then(|at| at.driver) else { return Vec::new() };
    let rows = [
        ("R_e", Some(document.re), known.re_ohm),
        ("f_s", Some(document.fs), known.fs_hz),
        ("Q_ms", Some(document.qms), known.qms),
        ("Q_es", Some(document.qes), known.qes),
        ("Q_ts", Some(document.qts), known.qts),
        ("V_as", document.vas, 1e3 * known.vas_m3),
        ("M_ms", document.mms, 1e3 * known.mms_kg),
        ("C_ms", document.cms, 1e3 * known.cms_m_n),
        ("R_ms", document.rms, known.rms_kg_s),
        ("Bl", document.bl, known.bl_tm),
    ];
    let row = |(name, found, truth): (&'static str, Option<Quantity>, f64)| {
        let found = found?;
        Some(Row { name, found, truth, is_within: (found.value - truth).abs() <= 2.0 * found.u })
    };
    rows.into_iter().filter_map(row).collect()
}

fn driver(evening: &DriverEvening) -> Added {
    let judged = judged(&evening.driver.document, &evening.truth);
    let within = judged.iter().filter(|row| row.is_within).count();
    let truth = |row: &Row| {
        let unit = if row.found.unit == Unit::Pure { String::new() } else { format!(" {}", row.found.unit.symbol()) };
        Entry::text(&format!("{} in truth", row.name), format!("{}{unit}", as_fine_as(row.found, row.truth)))
    };
    Added {
        heading: Some("What this driver really is".into()),
        prose: vec![format!(
            "Fitted to the free-air curve and to two more: with 3 g on the cone, and in an airtight box of 2.4 l. Both tell the moving mass, and by \
             that force factor, compliance and equivalent volume. {within} of {} parameters lie within ± 2u of the truth. The sheet that promised \
             otherwise was believed when the box was designed.",
            judged.len()
        )],
        numbers: judged.iter().map(truth).collect(),
        figures: Vec::new(),
    }
}

/// A true value with the digits that what was found is shown with: two of its doubt.
fn as_fine_as(found: Quantity, truth: f64) -> String {
    let decimals = (1.0 - (2.0 * found.u).max(1e-9).log10().floor()).clamp(0.0, 9.0) as usize;
    format!("{truth:.decimals$}")
}
