//! The driver's chapters of the demo's report: its impedance, what it is, and whether the spare is like it.

use super::driver::DriverEvening;
use super::origin::origin;
use crate::bench::JigTruth;
use crate::files::{DriverDocument, ImpedanceDocument, MatchDocument, frequency_text};
use crate::math::RisingTable;
use crate::quantity::{Quantity, Unit};
use crate::report::{Chapter, Entry, Figure, symbol};

/// What the driver's part of the report comes to, in a sentence.
pub(super) fn in_short(evening: &DriverEvening) -> String {
    let document = &evening.driver.document;
    let judged = judged(document, &evening.truth);
    let within = judged.iter().filter(|row| row.is_within).count();
    format!(
        "Its mid-woofer on the impedance jig: resonance {}, total Q {}; {within} of {} parameters lie within ± 2u of the truth.",
        document.fs,
        document.qts,
        judged.len()
    )
}

/// The chapters, in order.
pub(super) fn chapters(evening: &DriverEvening) -> Vec<Chapter> {
    vec![
        impedance_chapter(evening),
        driver_chapter(evening),
        sheet_chapter(&evening.driver.document),
        spare_chapter(evening),
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn impedance_chapter(evening: &DriverEvening) -> Option<Chapter> {
    let document = &evening.free.document;
    let [share, worst] = curve_judged(document, &evening.truth);
    let minimum = format!("{:.3} Ω at {}", document.minimum.ohm, frequency_text(document.minimum.at_hz));
    let mut numbers = vec![Entry::text("minimum", minimum)];
    numbers.extend(document.peaks.first().map(|peak| {
        Entry::text("peak", format!("{:.2} Ω at {}", peak.magnitude_ohm, frequency_text(peak.frequency_hz)))
    }));
    numbers.extend(document.rated_ohm.map(|ohm| Entry::text("rated impedance", format!("{ohm} Ω"))));
    numbers.extend(
        document.gain_db.map(|gain| Entry::text("load input over drive input", format!("{gain:.3} dB, taken off"))),
    );
    numbers.extend(document.load_voltage.map(|voltage| {
        Entry::text("voltage across the driver", format!("{:.0} mV rms at most", 1e3 * voltage.highest_v))
    }));
    numbers.push(Entry::text("points within ± 2u of the truth", format!("{share:.1} %")));
    numbers.push(Entry::text("largest difference to the truth", format!("{worst:.3} % of |Z|")));
    let picture = evening.free.picture.clone()?;
    Some(Chapter {
        heading: "The mid-woofer on the impedance jig".into(),
        prose: vec![
            "Out of its box and hung free, through 10 Ω, two quiet sweeps. The inputs of the interface differ by a decibel and three \
             degrees; two captures, with nothing connected and with a resistor of 8.2 Ω in the driver's place, told by how much, and that was taken off."
                .into(),
        ],
        figures: vec![Figure { picture, caption: "Magnitude and phase; the band is ± 2u.".into() }],
        numbers,
        findings: document.findings.clone(),
        settings: origin(&document.inputs, &document.settings),
    })
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

fn driver_chapter(evening: &DriverEvening) -> Option<Chapter> {
    let document = &evening.driver.document;
    let mut numbers: Vec<Entry> = judged(document, &evening.truth)
        .into_iter()
        .map(|row| {
            let unit =
                if row.found.unit == Unit::Pure { String::new() } else { format!(" {}", row.found.unit.symbol()) };
            Entry::text(row.name, format!("{} (truth {}{unit})", row.found, as_fine_as(row.found, row.truth)))
        })
        .collect();
    numbers.extend(document.sensitivity.map(|level| Entry::quantity("sensitivity at 2.83 V, 1 m, half space", level)));
    numbers.push(Entry::text("model", format!("{}, {}", document.voice_coil.model, document.suspension.model)));
    numbers.push(Entry::text("left over", format!("{:.4} % of |Z|", document.residual_percent)));
    numbers.extend(document.agreements.iter().map(|pair| {
        let verdict = if pair.agree { "they agree" } else { "they do not agree" };
        Entry::text("added mass and test box", format!("moving mass differs by {}: {verdict}", pair.difference))
    }));
    Some(Chapter {
        heading: "What this driver really is".into(),
        prose: vec![
            "The whole model was fitted to the free-air curve, and to two more: with 3 g on the cone, and in an airtight box of 2.4 l. Both \
             tell the moving mass, and by that force factor, compliance and equivalent volume."
                .into(),
        ],
        figures: vec![Figure {
            picture: evening.driver.picture.clone()?,
            caption: "Measured and fitted, and what the model leaves in percent.".into(),
        }],
        numbers,
        findings: document.findings.clone(),
        settings: origin(&document.inputs, &document.settings),
    })
}

fn sheet_chapter(document: &DriverDocument) -> Option<Chapter> {
    let sheet = document.datasheet.as_ref()?;
    let mut numbers: Vec<Entry> = sheet
        .quantities
        .iter()
        .map(|kept| {
            let verdict = match (kept.significant, kept.beyond_usual) {
                (false, _) => "as promised",
                (true, false) => "off, as units of one production usually are",
                (true, true) => "off by more than units of one production usually are",
            };
            let says = format!("promised {}, found {}: {verdict}", kept.promised.value, kept.found);
            Entry::text(symbol(&kept.quantity), says)
        })
        .collect();
    let closed = sheet.closed_box.as_ref()?;
    numbers.push(Entry::text(
        &format!("closed box of {:.2} l", closed.volume.value),
        format!(
            "promised Q_tc {:.3} and f_3 {:.1} Hz, with this driver {} and {}",
            closed.promised.qtc.value, closed.promised.f3.value, closed.found.qtc, closed.found.f3
        ),
    ));
    Some(Chapter {
        heading: "Beside its data sheet".into(),
        prose: vec![
            "The sheet was believed when the box was designed; this is what the driver that came makes of that box."
                .into(),
        ],
        numbers,
        ..Chapter::default()
    })
}

fn spare_chapter(evening: &DriverEvening) -> Option<Chapter> {
    let MatchDocument { pairs, units, within, .. } = &evening.alike;
    let pair = pairs.first()?;
    let mut numbers: Vec<Entry> = units
        .iter()
        .zip(["the driver", "its spare"])
        .filter_map(|(unit, name)| {
            Some(Entry::text(name, format!("f_s {}, Q_ts {}, R_e {}", unit.fs?, unit.qts?, unit.re?)))
        })
        .collect();
    numbers.push(Entry::text(
        "curves",
        format!(
            "{:.2} dB rms apart, {:.1} dB at {}",
            pair.rms_db,
            pair.worst.level_db,
            frequency_text(pair.worst.at_hz)
        ),
    ));
    numbers.extend(pair.says.iter().map(|says| Entry::text("beyond chance", says.clone())));
    let answer = if *within { "Within 1 dB: it may stand in." } else { "Not within 1 dB: it is not the same driver." };
    Some(Chapter {
        heading: "Is the spare the same driver?".into(),
        prose: vec![format!("A second driver of the same name, through the same jig. {answer}")],
        numbers,
        findings: evening.alike.findings.clone(),
        settings: origin(&evening.alike.inputs, &evening.alike.settings),
        ..Chapter::default()
    })
}

/// A true value with the digits that what was found is shown with: two of its doubt.
fn as_fine_as(found: Quantity, truth: f64) -> String {
    let decimals = (1.0 - (2.0 * found.u).max(1e-9).log10().floor()).clamp(0.0, 9.0) as usize;
    format!("{truth:.decimals$}")
}
