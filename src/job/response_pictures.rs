//! The pictures of a response: level and phase, impulse with its gate, energy-time curve, harmonics.

use super::respond::SmoothingChoice;
use super::response_document::phase_columns;
use crate::math::{RisingTable, mean_around};
use crate::quantity::db_from_amplitude;
use crate::report::{
    BurstsPicture, DecayPicture, DecaySlice, DistortionPicture, EnvelopePicture, GateShape, HarmonicCurve,
    HighOrderCurve, ImpulsePicture, LevelCurve, Origin, PhasePanel, PhasesPicture, Picture, ResponsePicture,
};
use crate::response::{Analysis, Distortion, OctaveFraction, step_response};

/// Pictures are smoothed by this where nothing else is asked for.
const PICTURE_OCTAVES: f64 = 1.0 / 12.0;
/// Nothing is heard, or shown, below.
const LOWEST_SHOWN_HZ: f64 = 10.0;
/// The impulse is shown from this before the arrival …
const VIEW_BEFORE_MS: f64 = 2.0;
/// … to at least, and at most, this after it.
const VIEW_AFTER_MS: [f64; 2] = [15.0, 100.0];

/// How a response is to be shown.
pub(super) struct Look<'a> {
    /// What was measured.
    pub unit: &'a str,
    /// What 0 dB means.
    pub level_reference: &'a str,
    /// The band of the excitation, all of which is shown.
    pub played_hz: [f64; 2],
    /// Smoothing of the level.
    pub smoothing: SmoothingChoice,
}

pub(super) fn response_pictures(analysis: &Analysis, look: &Look<'_>) -> Vec<(&'static str, Picture)> {
    let mut pictures = vec![
        ("response", response(analysis, look).picture()),
        ("impulse", impulse(analysis, look.unit).picture()),
        ("envelope", envelope(analysis, look.unit).picture()),
        ("step", step(analysis, look.unit).picture()),
        ("phase", phases(analysis, look).picture()),
        ("decay", decay(analysis, look).picture()),
        ("bursts", bursts(analysis, look).picture()),
    ];
    pictures.extend(
        analysis.distortion.as_ref().map(|found| ("distortion", distortion(found, analysis, look.unit).picture())),
    );
    pictures
}

fn response(analysis: &Analysis, look: &Look<'_>) -> ResponsePicture {
    let response = &analysis.response;
    let level_db = match (look.smoothing, OctaveFraction::new(PICTURE_OCTAVES)) {
        (SmoothingChoice::PicturesOnly, Ok(fraction)) => smoothed_db(analysis, fraction),
        _ => response.magnitude_db(),
    };
    let smoothing = match look.smoothing {
        SmoothingChoice::PicturesOnly => ", 1/12 octave".into(),
        SmoothingChoice::Nothing => String::new(),
        SmoothingChoice::Both(fraction) => format!(", 1/{:.0} octave", 1.0 / fraction.octaves()),
    };
    ResponsePicture {
        title: format!("{}: frequency response{smoothing}", look.unit),
        level_reference: look.level_reference.into(),
        curves: vec![LevelCurve {
            name: look.unit.to_owned(),
            origin: Origin::Measured,
            frequency_hz: response.grid.hz().to_vec(),
            level_db,
            u_db: response.u_db(),
            phase_deg: response.values.iter().map(|value| value.arg().to_degrees()).collect(),
        }],
        valid_hz: Some(analysis.valid_hz),
        shown_hz: shown_hz(look),
        phase: PhasePanel::Beneath,
    }
}

/// The level smoothed on its own grid, which is finer than the smoothing.
fn smoothed_db(analysis: &Analysis, fraction: OctaveFraction) -> Vec<f64> {
    let response = &analysis.response;
    let logarithms: Vec<f64> = response.grid.hz().iter().map(|hz| hz.ln()).collect();
    let powers = response.values.iter().map(|value| value.norm_sqr()).collect();
    let Some(table) = RisingTable::new(logarithms, powers) else { return response.magnitude_db() };
    let [first, last] = table.range();
    let band_hz = [first.exp(), last.exp()];
    let power = |hz: f64| table.at(hz.ln().clamp(first, last)).unwrap_or(0.0);
    let mean = |&hz: &f64| 10.0 * fraction.mean_power(hz, band_hz, hz, power).log10();
    response.grid.hz().iter().map(mean).collect()
}

fn view_ms(analysis: &Analysis) -> [f64; 2] {
    let gate_ms = 1e3 * analysis.gate.after_frames / analysis.rate.hz();
    [-VIEW_BEFORE_MS, (1.5 * gate_ms).clamp(VIEW_AFTER_MS[0], VIEW_AFTER_MS[1])]
}

fn impulse(analysis: &Analysis, unit: &str) -> ImpulsePicture {
    let step_ms = 1e3 / analysis.rate.hz();
    let view_ms = view_ms(analysis);
    let place = |time_ms: f64| (time_ms / step_ms + analysis.impulse.arrival_index).max(0.0) as usize;
    let last = (place(view_ms[1]) + 1).min(analysis.impulse.samples.len());
    let span = place(view_ms[0]).min(last)..last;
    let after = |index: usize| index as f64 - analysis.impulse.arrival_index;
    let time_ms: Vec<f64> = span.clone().map(|index| step_ms * after(index)).collect();
    let weight = span.clone().map(|index| analysis.gate.weight(after(index))).collect();
    ImpulsePicture {
        name: "impulse response".into(),
        title: format!("{unit}: impulse response and gate"),
        amplitude: analysis.impulse.samples[span].to_vec(),
        unit: "reply/drive".into(),
        view_ms,
        gate: Some(GateShape { time_ms: time_ms.clone(), weight }),
        time_ms,
    }
}

fn envelope(analysis: &Analysis, unit: &str) -> EnvelopePicture {
    let curve = &analysis.energy_time;
    let [from_ms, to_ms] = view_ms(analysis);
    let gate_ms = 1e3 * analysis.gate.after_frames / analysis.rate.hz();
    let times = (0..curve.level_db.len()).map(|index| 1e3 * (curve.first_s + index as f64 * curve.step_s));
    EnvelopePicture {
        title: format!("{unit}: energy-time curve"),
        time_ms: times.collect(),
        level_db: curve.level_db.clone(),
        view_ms: [from_ms, to_ms.max(40.0)],
        gate_end_ms: Some(gate_ms),
        first_reflection_ms: curve.reflection.map(|found| 1e3 * found.peak_s),
    }
}

fn step(analysis: &Analysis, unit: &str) -> ImpulsePicture {
    let step_ms = 1e3 / analysis.rate.hz();
    let samples = step_response(&analysis.impulse, analysis.gate);
    let after = |index: usize| step_ms * (index as f64 - analysis.impulse.arrival_index);
    ImpulsePicture {
        name: "step response".into(),
        title: format!("{unit}: step response"),
        time_ms: (0..samples.len()).map(after).collect(),
        amplitude: samples,
        unit: "reply/drive".into(),
        view_ms: [-1.0, (1e3 * analysis.gate.after_frames / analysis.rate.hz()).clamp(5.0, 50.0)],
        gate: None,
    }
}

fn shown_hz(look: &Look<'_>) -> Option<[f64; 2]> {
    Some([look.played_hz[0].max(LOWEST_SHOWN_HZ), look.played_hz[1]])
}

fn phases(analysis: &Analysis, look: &Look<'_>) -> PhasesPicture {
    let (response, columns) = (&analysis.response, phase_columns(analysis));
    PhasesPicture {
        title: format!("{}: phase and group delay", look.unit),
        frequency_hz: response.grid.hz().to_vec(),
        phase_deg: response.values.iter().map(|value| value.arg().to_degrees()).collect(),
        minimum_deg: columns.minimum_deg,
        excess_deg: columns.excess_deg,
        group_delay_ms: quiet(&columns.group_delay_ms),
        u_group_delay_ms: quiet(&columns.u_group_delay_ms),
        excess_delay_ms: quiet(&columns.excess_delay_ms),
        valid_hz: Some(analysis.valid_hz),
        shown_hz: shown_hz(look),
    }
}

/// Over a twelfth of an octave, as the level: noise moves a slope far more than a phase.
fn quiet(column: &[f64]) -> Vec<f64> {
    mean_around(column, |_| 2)
}

fn ringing_hz(analysis: &Analysis) -> Vec<f64> {
    analysis.fading.ringing.iter().map(|one| one.hz).collect()
}

fn decay(analysis: &Analysis, look: &Look<'_>) -> DecayPicture {
    let response_db = analysis.response.magnitude_db();
    let slices = analysis.fading.decay.slices.iter().map(|slice| DecaySlice {
        time_ms: 1e3 * slice.time_s,
        level_db: slice.level_db.iter().zip(&response_db).map(|(fallen, db)| Some((*fallen)? + db)).collect(),
    });
    DecayPicture {
        title: format!("{}: cumulative spectral decay", look.unit),
        level_reference: look.level_reference.into(),
        frequency_hz: analysis.fading.decay.hz.clone(),
        slices: slices.collect(),
        ringing_hz: ringing_hz(analysis),
        shown_hz: shown_hz(look),
    }
}

fn bursts(analysis: &Analysis, look: &Look<'_>) -> BurstsPicture {
    let map = &analysis.fading.bursts;
    BurstsPicture {
        title: format!("{}: burst decay", look.unit),
        frequency_hz: map.hz.clone(),
        periods: map.periods.clone(),
        level_db: map.level_db.clone(),
        floor_db: map.floor_db.clone(),
        ringing_hz: ringing_hz(analysis),
        shown_hz: shown_hz(look),
    }
}

fn distortion(found: &Distortion, analysis: &Analysis, unit: &str) -> DistortionPicture {
    let levels = |column: &[Option<f64>]| column.iter().map(|ratio| ratio.map(db_from_amplitude)).collect();
    // The highest of the harmonics' floors: what stands above it is no noise.
    let floor = |point: usize| {
        let floors = found.harmonics.iter().filter_map(|harmonic| harmonic.floor_ratio[point]);
        floors.reduce(f64::max).map(db_from_amplitude)
    };
    DistortionPicture {
        title: format!("{unit}: harmonic distortion"),
        frequency_hz: found.grid.hz().to_vec(),
        harmonics: found
            .harmonics
            .iter()
            .map(|harmonic| HarmonicCurve { order: harmonic.order, level_db: levels(&harmonic.ratio) })
            .collect(),
        thd_percent: found.thd_ratio.iter().map(|ratio| ratio.map(|ratio| 100.0 * ratio)).collect(),
        noise_floor_db: (0..found.grid.hz().len()).map(floor).collect(),
        high_order: analysis
            .high_order
            .as_ref()
            .map(|above| HighOrderCurve { frequency_hz: above.hz.clone(), level_db: levels(&above.ratio) }),
        valid_hz: None,
    }
}
