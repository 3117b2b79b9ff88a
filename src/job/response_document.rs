//! An analysis as the document that is kept: units for people, settings, provenance.

use super::known_excitation::{KnownExcitation, PlanFrom};
use super::placement::geometry;
use super::respond::{Filled, RespondError, ResponseOrder, SmoothingChoice, TableIs};
use crate::MADE_BY;
use crate::files::{
    self, DistortionTable, FileError, GateTable, HighOrderTable, ImpulseTable, InputFile, PhaseColumns,
    RESPONSE_SCHEMA, ReflectionTable, ResponseCurve, ResponseDocument, ResponseSettings, RingingTable,
};
use crate::math::wrapped_deg;
use crate::quantity::{Quantity, Unit, db_from_amplitude};
use crate::response::{
    Analysis, Correction, Distortion, GateChoice, Harmonic, HighOrder, LevelReference, Ringing, Settings, TimeReference,
};
use std::path::Path;

pub(super) fn document(
    order: &ResponseOrder,
    filled: &Filled,
    known: &KnownExcitation,
    settings: &Settings,
    analysis: &Analysis,
) -> Result<ResponseDocument, RespondError> {
    let mut inputs = vec![input(&order.wav)?];
    inputs.extend(filled.description.as_deref().map(input).transpose()?);
    inputs.push(input(&filled.excitation)?);
    if known.plan_from == PlanFrom::Description {
        inputs.push(input(&filled.excitation.with_extension("toml"))?);
    }
    inputs.extend(filled.microphone.as_deref().map(input).transpose()?);
    let milliseconds = |frames: f64| 1e3 * frames / analysis.rate.hz();
    let arrival_ms = 1e3 * analysis.arrival_s;
    Ok(ResponseDocument {
        schema: RESPONSE_SCHEMA.into(),
        made_by: MADE_BY.into(),
        provenance: files::Provenance::default(),
        inputs,
        settings: settings_table(order, filled, known, settings, analysis),
        findings: analysis.findings.clone(),
        files: Vec::new(),
        sample_rate_hz: analysis.rate.whole_hz(),
        arrival: Quantity { value: arrival_ms, u: 1e3 * analysis.u_arrival_s, unit: Unit::Millisecond },
        clock_drift: analysis.drift.map(|drift| Quantity {
            value: 1e6 * drift.ratio,
            u: 1e6 * drift.u_ratio,
            unit: Unit::PartsPerMillion,
        }),
        snr_db: analysis.snr_db,
        peak_dbfs: analysis.peak_dbfs,
        noise_dbfs: analysis.noise_dbfs,
        repeats_used: analysis.repeats.iter().map(|number| number + 1).collect(),
        gate: GateTable {
            start_ms: arrival_ms,
            length_ms: milliseconds(analysis.gate.after_frames),
            before_ms: milliseconds(analysis.gate.before_frames),
            fall_ms: milliseconds(analysis.gate.fall_frames),
        },
        reflection: analysis.energy_time.reflection.map(|found| ReflectionTable {
            starts_ms: 1e3 * found.starts_s,
            peak_ms: 1e3 * found.peak_s,
            level_db: found.level_db,
        }),
        valid_hz: analysis.valid_hz,
        level_reference: settings.level.name().into(),
        curve: curve(analysis),
        distortion: analysis.distortion.as_ref().map(distortion_table),
        high_order: analysis.high_order.as_ref().map(high_order_table),
        phase: phase_columns(analysis),
        ringing: analysis.fading.ringing.iter().map(ringing_table).collect(),
        impulse: ImpulseTable { frames: analysis.impulse.samples.len(), arrival_frame: analysis.impulse.arrival_index },
    })
}

fn high_order_table(found: &HighOrder) -> HighOrderTable {
    HighOrderTable {
        frequency_hz: found.hz.clone(),
        time_s: found.time_s.clone(),
        level_db: found.ratio.iter().map(|ratio| ratio.map(db_from_amplitude)).collect(),
        floor_db: found.floor_ratio.iter().map(|ratio| db_from_amplitude(*ratio)).collect(),
        synchrony: found.synchrony.clone(),
    }
}

pub(super) fn phase_columns(analysis: &Analysis) -> PhaseColumns {
    let phases = &analysis.phases;
    let scaled = |column: &[f64], factor: f64| column.iter().map(|value| factor * value).collect::<Vec<f64>>();
    let per_rad = 180.0 / std::f64::consts::PI;
    PhaseColumns {
        group_delay_ms: scaled(&phases.group_delay_s, 1e3),
        u_group_delay_ms: scaled(&phases.u_group_delay_s, 1e3),
        minimum_deg: scaled(&phases.minimum_rad, per_rad),
        u_minimum_deg: scaled(&phases.u_minimum_rad, per_rad),
        excess_deg: scaled(&phases.excess_rad, per_rad),
        excess_delay_ms: scaled(&phases.excess_delay_s, 1e3),
    }
}

fn ringing_table(found: &Ringing) -> RingingTable {
    let quantity = |value: f64, u: f64, unit| Quantity { value, u, unit };
    let decay_ms = 1e3 * found.decay_s();
    RingingTable {
        frequency: quantity(found.hz, found.u_hz, Unit::Hz),
        q: quantity(found.q, found.u_q, Unit::Pure),
        decay: quantity(decay_ms, decay_ms * found.u_q / found.q, Unit::Millisecond),
        level_db: found.level_db,
    }
}

fn input(path: &Path) -> Result<InputFile, FileError> {
    Ok(InputFile { path: path.display().to_string(), sha256: files::sha256_of(path)? })
}

fn curve(analysis: &Analysis) -> ResponseCurve {
    let response = &analysis.response;
    // The same power moves level and phase: u(phase) in radians is u(level) in nepers.
    let u_deg = response.values.iter().zip(&response.u_ratio).map(|(value, u)| (u / value.norm()).to_degrees());
    ResponseCurve {
        frequency_hz: response.grid.hz().to_vec(),
        level_db: response.magnitude_db(),
        phase_deg: response.values.iter().map(|value| wrapped_deg(value.arg())).collect(),
        u_db: response.u_db(),
        u_deg: u_deg.collect(),
    }
}

fn distortion_table(distortion: &Distortion) -> DistortionTable {
    let levels = |column: &[Option<f64>]| column.iter().map(|ratio| ratio.map(db_from_amplitude)).collect();
    let by_order = |column: fn(&Harmonic) -> Vec<Option<f64>>| {
        distortion.harmonics.iter().map(|harmonic| (harmonic.order.to_string(), column(harmonic))).collect()
    };
    let u_db = |harmonic: &Harmonic| {
        let decibels = 20.0 / std::f64::consts::LN_10;
        harmonic.u_ratio.iter().zip(&harmonic.ratio).map(|(u, ratio)| Some(decibels * (*u)? / (*ratio)?)).collect()
    };
    DistortionTable {
        frequency_hz: distortion.grid.hz().to_vec(),
        harmonics: distortion
            .harmonics
            .iter()
            .map(|harmonic| (harmonic.order.to_string(), levels(&harmonic.ratio)))
            .collect(),
        u_db: by_order(u_db),
        floor_db: distortion
            .harmonics
            .iter()
            .map(|harmonic| (harmonic.order.to_string(), levels(&harmonic.floor_ratio)))
            .collect(),
        thd_percent: distortion.thd_ratio.iter().map(|ratio| ratio.map(|ratio| 100.0 * ratio)).collect(),
    }
}

fn settings_table(
    order: &ResponseOrder,
    filled: &Filled,
    known: &KnownExcitation,
    settings: &Settings,
    analysis: &Analysis,
) -> ResponseSettings {
    let calibrated = settings.level != LevelReference::ReplyOverDrive;
    let microphone = filled.microphone.as_ref();
    ResponseSettings {
        excitation: filled.excitation.display().to_string(),
        read_s: None,
        excitation_plan: match known.plan_from {
            PlanFrom::Description => "from the description beside it",
            PlanFrom::WholeFile | PlanFrom::DescriptionOfAnother => "the whole file is one excitation",
        }
        .into(),
        reply_channel: settings.reply + 1,
        reference_channel: settings.reference.map(|channel| channel + 1),
        time_reference: analysis.time_reference.name().into(),
        mark_band_hz: (analysis.time_reference == TimeReference::Mark).then_some(known.excitation.plan.band_hz),
        gate: match settings.gate {
            GateChoice::Auto => "auto".into(),
            GateChoice::None => "none".into(),
            GateChoice::Length { after_s } => format!("{} ms", 1e3 * after_s),
        },
        smoothing: match order.smoothing {
            SmoothingChoice::Both(fraction) => format!("1/{:.0} octave", 1.0 / fraction.octaves()),
            SmoothingChoice::PicturesOnly => "none (pictures 1/12 octave)".into(),
            SmoothingChoice::Nothing => "none".into(),
        },
        points_per_octave: settings.points_per_octave,
        mic: microphone.map(|path| path.display().to_string()),
        mic_table_is: microphone.map(|_| match order.table_is {
            TableIs::Response => "the microphone's response, taken off".into(),
            TableIs::Correction => "a correction, added".into(),
        }),
        mic_sensitivity_dbfs_at_94db: filled.sensitivity_dbfs_at_94db.filter(|_| calibrated),
        excitation_dbfs: calibrated.then_some(known.excitation.plan.level_dbfs),
        drive_v: order.drive_v.filter(|_| matches!(settings.level, LevelReference::PressureAtOneMetre { .. })),
        distance_m: filled.distance_m,
        room: filled.placed.as_ref().zip(order.room.as_ref()).map(|(placed, room)| geometry(placed, room)),
        clock_corrected: analysis.correction == Correction::Resampled,
        thd_reference: "fundamental".into(),
        phase_reference: "the arrival's delay is removed".into(),
    }
}
