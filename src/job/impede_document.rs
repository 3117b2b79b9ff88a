//! A measured impedance as the document that is kept: units for people, settings, provenance.

use super::capture_files::description_path;
use super::impede::{ImpedanceOrder, ImpedeError, Taken};
use super::known_excitation::PlanFrom;
use crate::MADE_BY;
use crate::files::{
    self, FileError, IMPEDANCE_SCHEMA, ImpedanceColumns, ImpedanceDocument, ImpedanceSettings, InputFile, MinimumTable,
    PeakTable, RepeatTable, VoltageTable,
};
use crate::impedance::{MeasureSettings, Measured, Shift};
use crate::quantity::{Quantity, Unit};
use std::path::{Path, PathBuf};

pub(super) fn document(
    order: &ImpedanceOrder,
    settings: &MeasureSettings,
    captures: &[&Taken],
    measured: &Measured,
) -> Result<ImpedanceDocument, ImpedeError> {
    let curve = files::curve_of(&measured.impedance, Vec::new());
    let hz = measured.impedance.hz();
    Ok(ImpedanceDocument {
        schema: IMPEDANCE_SCHEMA.into(),
        made_by: MADE_BY.into(),
        provenance: files::Provenance::default(),
        inputs: inputs(captures)?,
        settings: settings_table(order, settings, captures[0]),
        findings: measured.findings.clone(),
        files: Vec::new(),
        resolution_hz: measured.impedance.resolution_hz(),
        minimum: MinimumTable { ohm: measured.minimum.ohm, at_hz: measured.minimum.hz },
        peaks: measured.peaks.iter().map(|peak| PeakTable { frequency_hz: peak.hz, magnitude_ohm: peak.ohm }).collect(),
        rated_ohm: measured.rated_ohm,
        rated_band_hz: [hz[0], hz[hz.len() - 1]],
        lead: measured.lead,
        sense: measured.sense,
        gain_db: measured.gain_db,
        load_voltage: measured.voltage.map(|voltage| VoltageTable {
            at_peak_v: voltage.at_peak_v,
            median_v: voltage.median_v,
            highest_v: voltage.highest_v,
        }),
        harmonics_percent: measured.harmonics_ratio.map(|ratio| 100.0 * ratio),
        repeats_used: measured.repeats.iter().map(|number| number + 1).collect(),
        repeats: measured.shifts.iter().map(repeat).collect(),
        curve: ImpedanceColumns {
            frequency_hz: curve.frequency_hz,
            magnitude_ohm: curve.values,
            phase_deg: curve.phase_deg.unwrap_or_default(),
            u_ohm: curve.u.unwrap_or_default(),
            u_noise_ohm: curve.u_noise.unwrap_or_default(),
        },
    })
}

/// Each file once, in the order of reading.
fn inputs(captures: &[&Taken]) -> Result<Vec<InputFile>, FileError> {
    let mut paths: Vec<PathBuf> = Vec::new();
    for taken in captures {
        paths.push(taken.wav.clone());
        paths.extend(taken.description.as_ref().and_then(|_| description_path(&taken.wav)));
        paths.push(taken.excitation.clone());
        if taken.known.plan_from == PlanFrom::Description {
            paths.push(taken.excitation.with_extension("toml"));
        }
    }
    let mut once: Vec<PathBuf> = Vec::new();
    for path in paths {
        if !once.contains(&path) {
            once.push(path);
        }
    }
    once.iter()
        .map(|path| Ok(InputFile { path: path.display().to_string(), sha256: files::sha256_of(path)? }))
        .collect()
}

fn settings_table(order: &ImpedanceOrder, settings: &MeasureSettings, load: &Taken) -> ImpedanceSettings {
    let facts = &settings.facts;
    let name = |path: &Option<PathBuf>| path.as_deref().map(|path: &Path| path.display().to_string());
    let gain_is_told = order.open.is_some() || order.known.is_some();
    ImpedanceSettings {
        excitation: load.excitation.display().to_string(),
        drive_channel: load.drive + 1,
        load_channel: load.load + 1,
        sense_ohm: facts.sense_ohm,
        sense_tolerance_percent: 100.0 * facts.sense_tolerance_ratio,
        lead_ohm: facts.lead_ohm,
        open: name(&order.open),
        short: name(&order.short),
        known: name(&order.known),
        known_ohm: facts.known_ohm,
        known_tolerance_percent: facts.known_ohm.map(|_| 100.0 * facts.known_tolerance_ratio),
        gain_limit_db: (!gain_is_told).then_some(facts.gain_limit_db()),
        input_full_scale_v: settings.input_full_scale_v,
        points_per_octave: settings.points_per_octave,
        band_hz: settings.band_hz,
    }
}

fn repeat(shift: &Shift) -> RepeatTable {
    let change = shift.resistance_ohm.zip(shift.u_resistance_ohm);
    RepeatTable {
        repeat: shift.repeat + 1,
        peak: Quantity { value: shift.peak_hz, u: shift.u_peak_hz, unit: Unit::Hz },
        resistance_change: change.map(|(value, u)| Quantity { value, u, unit: Unit::Ohm }),
    }
}
