//! A driver beside its data sheet, and what the difference does to a closed box.

use super::driver_document::{inductance_at_1khz, per_si, quantity};
use crate::driver::{Doubted, DriverFit, DriverParameters, Kept, Promised, promises_kept};
use crate::enclosure::{FLATTEST_QTC, SmallSignal, closed_box, closed_box_volume_m3};
use crate::files::{DataSheet, FoundBoxTable, Plain, PromiseTable, PromisedBoxTable, SheetBoxTable, SheetTable};
use crate::math::propagated;
use crate::quantity::{Code, Finding, Quantity, Severity, Unit, Whereabouts};
use std::path::Path;

/// Why a sheet could not be judged.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // the message says what each field is
pub enum SheetError {
    #[error("a box of {found_l} l was asked for, and the data sheet does not give {missing}")]
    NoBox { found_l: f64, missing: &'static str },
}

impl SheetError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::NoBox { .. } => "add it to the data sheet, or leave out --box-l",
        }
    }
}

/// Name in the document, unit, and name among the parameters.
fn meaning(of: Promised) -> (&'static str, Unit, &'static str) {
    match of {
        Promised::Re => ("re", Unit::Ohm, "re_ohm"),
        Promised::Fs => ("fs", Unit::Hz, "fs_hz"),
        Promised::Qms => ("qms", Unit::Pure, "qms"),
        Promised::Qes => ("qes", Unit::Pure, "qes"),
        Promised::Qts => ("qts", Unit::Pure, "qts"),
        Promised::Vas => ("vas", Unit::Litre, "vas_m3"),
        Promised::Sd => ("sd", Unit::SquareCentimetre, "sd_m2"),
        Promised::Mms => ("mms", Unit::Gram, "mms_kg"),
        Promised::Cms => ("cms", Unit::MillimetrePerNewton, "cms_m_n"),
        Promised::Bl => ("bl", Unit::TeslaMetre, "bl_tm"),
        Promised::Le => ("le", Unit::Millihenry, ""),
        Promised::Sensitivity => ("sensitivity", Unit::Decibel, "sensitivity_db"),
    }
}

/// Each promise beside what was found, and the closed box that the sheet asks for (or `box_m3`).
///
/// # Errors
/// [`SheetError::NoBox`] when a box was asked for that the sheet says too little for.
pub fn against_sheet(
    sheet: &DataSheet,
    path: &Path,
    fit: &DriverFit,
    parameters: &DriverParameters,
    box_m3: Option<f64>,
) -> Result<(SheetTable, Vec<Finding>), SheetError> {
    let found = |of: Promised| {
        let (_, unit, name) = meaning(of);
        let doubted = if of == Promised::Le { inductance_at_1khz(fit) } else { parameters.value(name) }?;
        let scale = per_si(unit);
        Some(Doubted { value: scale * doubted.value, u: scale * doubted.u })
    };
    let kept = promises_kept(&sheet.promises(), found);
    let closed = sheet_box(sheet, parameters, box_m3)?;
    let mut findings: Vec<Finding> = beyond(&kept).into_iter().collect();
    findings.extend(contradiction(sheet));
    let table = SheetTable {
        path: path.display().to_string(),
        quantities: kept.iter().map(promise_table).collect(),
        closed_box: closed,
    };
    Ok((table, findings))
}

fn promise_table(kept: &Kept) -> PromiseTable {
    let (name, unit, _) = meaning(kept.promise.of);
    let of_difference = if unit == Unit::Decibel { Unit::Decibel } else { Unit::Percent };
    let Doubted { value, u } = kept.difference;
    PromiseTable {
        quantity: name.into(),
        promised: Plain::new(kept.promise.value, unit),
        found: Quantity { value: kept.found.value, u: kept.found.u, unit },
        difference: Quantity { value, u, unit: of_difference },
        over_u: kept.over_u,
        significant: kept.is_significant(),
        usual_tolerance: kept.promise.of.usual_tolerance(),
        beyond_usual: kept.is_beyond_production(),
    }
}

/// What is beyond what units of one production differ by.
fn beyond(kept: &[Kept]) -> Option<Finding> {
    let words = |kept: &Kept| {
        let (name, unit, _) = meaning(kept.promise.of);
        let per = if unit == Unit::Decibel { "dB" } else { "%" };
        format!("{name} {:+.1} {per} (usual ± {})", kept.difference.value, kept.promise.of.usual_tolerance())
    };
    let beyond: Vec<String> = kept.iter().filter(|kept| kept.is_beyond_production()).map(words).collect();
    (!beyond.is_empty()).then(|| Finding {
        code: Code::UnitMismatch,
        severity: Severity::Caution,
        says: format!("this driver is not the one on its data sheet: {}", beyond.join(", ")),
        advice: "design the box from what was found; a driver that was never played may still change by up to a tenth \
                 in f_s: play it in and measure again"
            .into(),
        at: Whereabouts::default(),
    })
}

/// Sheets round to two or three digits: what contradicts itself by more than this part was not rounded.
const ROUNDED_RATIO: f64 = 0.05;

/// Whether the sheet's own Q do not go together.
fn contradiction(sheet: &DataSheet) -> Option<Finding> {
    let (qms, qes, qts) = (sheet.qms?, sheet.qes?, sheet.qts?);
    let follows = qms * qes / (qms + qes);
    ((qts / follows - 1.0).abs() > ROUNDED_RATIO).then(|| Finding {
        code: Code::Disagreement,
        severity: Severity::Note,
        says: format!(
            "the data sheet contradicts itself: its qms {qms} and qes {qes} give a qts of {follows:.3}, it says {qts}"
        ),
        advice: "check for a slip in typing".into(),
        at: Whereabouts::default(),
    })
}

/// The closed box that the sheet asks for at the flattest response, or the given one, as promised and as found.
fn sheet_box(
    sheet: &DataSheet,
    parameters: &DriverParameters,
    box_m3: Option<f64>,
) -> Result<Option<SheetBoxTable>, SheetError> {
    let missing = match (sheet.fs_hz, sheet.total_q(), sheet.vas_l) {
        (Some(fs_hz), Some(qts), Some(vas_l)) => Ok(SmallSignal { fs_hz, qts, vas_m3: 1e-3 * vas_l }),
        (None, _, _) => Err("fs_hz"),
        (_, None, _) => Err("qts"),
        (_, _, None) => Err("vas_l"),
    };
    let promised = match (missing, box_m3) {
        (Ok(promised), _) => promised,
        (Err(missing), Some(box_m3)) => return Err(SheetError::NoBox { found_l: 1e3 * box_m3, missing }),
        (Err(_), None) => return Ok(None),
    };
    let places = ["fs_hz", "qts", "vas_m3"].map(|name| parameters.names.iter().position(|known| *known == name));
    let [Some(fs), Some(qts), Some(vas)] = places else { return Ok(None) };
    let Some(volume_m3) = box_m3.or_else(|| closed_box_volume_m3(&promised, FLATTEST_QTC)) else { return Ok(None) };
    let expected = closed_box(&promised, volume_m3);
    let driver = |p: &[f64]| SmallSignal { fs_hz: p[fs], qts: p[qts], vas_m3: p[vas] };
    let found = propagated(&parameters.numbers, |p| {
        let boxed = closed_box(&driver(p), volume_m3);
        vec![boxed.fc_hz, boxed.qtc, boxed.f3_hz(), boxed.peak_db()]
    });
    let at = |place: usize, unit| Quantity { value: found.values[place], u: found.u(place), unit };
    let has_volume = closed_box_volume_m3(&driver(&parameters.numbers.values), expected.qtc).is_some();
    let same_q =
        propagated(&parameters.numbers, |p| vec![closed_box_volume_m3(&driver(p), expected.qtc).unwrap_or(f64::NAN)]);
    let doubted = Doubted { value: same_q.values[0], u: same_q.u(0) };
    Ok(Some(SheetBoxTable {
        volume: Plain::new(1e3 * volume_m3, Unit::Litre),
        promised: PromisedBoxTable {
            fc: Plain::new(expected.fc_hz, Unit::Hz),
            qtc: Plain::new(expected.qtc, Unit::Pure),
            f3: Plain::new(expected.f3_hz(), Unit::Hz),
        },
        found: FoundBoxTable {
            fc: at(0, Unit::Hz),
            qtc: at(1, Unit::Pure),
            f3: at(2, Unit::Hz),
            peak: at(3, Unit::Decibel),
        },
        volume_for_promised_q: (has_volume && doubted.u.is_finite()).then(|| quantity(doubted, Unit::Litre)),
    }))
}
