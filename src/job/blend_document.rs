//! A setting as the document that is kept, and the predicted curves to check it by.

use super::blend::{FilteredBy, Known, file_name};
use super::blend_curves::TimeZero;
use super::blend_findings::findings;
use super::blend_limits::{SATELLITE_HZ, SUBWOOFER_HZ};
use crate::MADE_BY;
use crate::blend::{
    ALTERNATIVES, Candidate, MendedBy, Overlap, Polarity, Setting, Shape, Unevenness, UsefulEnd, crossovers_from_hz,
    overlap_hz, unevenness,
};
use crate::enclosure::{StandingWave, standing_waves_below};
use crate::files::{
    BLEND_SCHEMA, BlendCurve, BlendDocument, BlendSeat, BlendSettings, Curve, DistanceSetting, EndTable, InputFile,
    LowPassTable, Measure, SatelliteTable, SettingTable, StandingWaveTable, ToleranceTable, UnevennessTable,
    fault_lines,
};
use crate::math::wrapped_deg;
use crate::quantity::{Quantity, Unit, db_from_amplitude};
use num_complex::Complex64;

/// What the person is told of other filters.
const TOLD_ALTERNATIVES: usize = 2;
const _: () = assert!(TOLD_ALTERNATIVES <= ALTERNATIVES);
/// Standing waves are listed up to here.
const ROOM_TO_HZ: f64 = 200.0;
pub(super) const FOOT_M: f64 = 0.3048;
/// The ripple grows by so much at the ends of the tolerance.
const TOLERATED_DB: f64 = 0.5;
/// A standing wave as near as this belongs to a dip or peak.
const SAME_HZ_RATIO: f64 = 0.04;

pub(super) fn document(known: &Known<'_>, inputs: Vec<InputFile>) -> BlendDocument {
    let best = &known.found.best;
    let seats = seats(known);
    let worst = seats.iter().max_by(|a, b| a.ripple_db.total_cmp(&b.ripple_db));
    let uneven = uneven(known);
    let mut document = BlendDocument {
        schema: BLEND_SCHEMA.into(),
        made_by: MADE_BY.into(),
        provenance: crate::files::Provenance::default(),
        inputs,
        settings: settings(known),
        findings: Vec::new(),
        files: Vec::new(),
        setting: setting_table(best),
        distance_setting: distances(known),
        menu: menu(known),
        u_ripple_db: worst.map_or(0.0, |seat| seat.u_ripple_db),
        at_least_db: known.found.at_least_db,
        tolerance: tolerance(known),
        seats,
        without_help_db: known.without_help.ripple_db,
        without_help: setting_table(&known.without_help),
        alternatives: known.found.others.iter().take(TOLD_ALTERNATIVES).map(setting_table).collect(),
        satellite: satellite(known),
        subwoofer: known.limits.subwoofer.as_ref().map(|(end, from)| end_table(end, from, SUBWOOFER_HZ)),
        unevenness: uneven,
        standing_waves: waves(known).iter().map(wave_table).collect(),
    };
    document.findings = findings(known, &document);
    document
}

pub(super) fn shape_name(shape: Option<Shape>) -> String {
    shape.map_or_else(|| "none".to_owned(), |shape| shape.to_string())
}

fn setting_table(candidate: &Candidate) -> SettingTable {
    let Setting { filters, delay_s, polarity, gain_db } = candidate.setting;
    let name = shape_name(filters.low_pass);
    SettingTable {
        crossover_hz: filters.crossover_hz,
        high_pass: shape_name(filters.high_pass),
        low_pass: match filters.low_pass_hz == filters.crossover_hz {
            true => LowPassTable::Name(name),
            false => LowPassTable::At { name, hz: filters.low_pass_hz },
        },
        delay_ms: 1e3 * delay_s,
        polarity: if polarity == Polarity::Straight { "+" } else { "-" }.into(),
        gain_db,
        ripple_db: candidate.ripple_db,
        spoiled_db: candidate.spoiled_db,
    }
}

/// A receiver delays what is nearer: for the satellite to be late by τ, the subwoofer has to be c·τ farther.
fn distances(known: &Known<'_>) -> DistanceSetting {
    let farther_m = known.found.best.setting.delay_s * known.air.speed_of_sound_m_s();
    let satellite_m = known.heard.travelled_m;
    DistanceSetting {
        subwoofer_farther_m: farther_m,
        subwoofer_farther_ft: farther_m / FOOT_M,
        satellite_m,
        subwoofer_m: satellite_m.map(|satellite_m| satellite_m + farther_m),
    }
}

fn menu(known: &Known<'_>) -> Vec<String> {
    let Setting { filters, delay_s, polarity, gain_db } = known.found.best.setting;
    let order = |shape: Option<Shape>| match shape {
        None => "none".to_owned(),
        Some(shape) => format!("{shape}, {} dB an octave", 6 * shape.order()),
    };
    let farther_m = delay_s * known.air.speed_of_sound_m_s();
    let (who, by_m) = if farther_m >= 0.0 { ("farther", farther_m) } else { ("nearer", -farther_m) };
    let late = if delay_s >= 0.0 { "satellites" } else { "subwoofer" };
    let mut lines = vec![format!("satellites: crossover {} Hz ({})", filters.crossover_hz, order(filters.high_pass))];
    lines.push(format!("subwoofer: low-pass {} Hz ({})", filters.low_pass_hz, order(filters.low_pass)));
    lines.push(format!("distance: subwoofer {by_m:.2} m ({:.1} ft) {who} than the satellites", by_m / FOOT_M));
    if let DistanceSetting { satellite_m: Some(satellite_m), subwoofer_m: Some(subwoofer_m), .. } = distances(known) {
        lines.push(format!("such as {satellite_m:.2} m for the satellites, as the sound travelled, and {subwoofer_m:.2} m for the subwoofer"));
    }
    lines.push(format!("or delay: {:.2} ms on the {late}", 1e3 * delay_s.abs()));
    lines.push(format!("level: subwoofer {gain_db:+.1} dB against how it was measured"));
    lines.push(format!(
        "phase: {}",
        if polarity == Polarity::Straight { "0° (switch at normal)" } else { "180° (switch at reverse)" }
    ));
    lines
}

fn band_hz(known: &Known<'_>, setting: &Setting) -> [f64; 2] {
    known.choices.band_hz.unwrap_or_else(|| overlap_hz(setting.filters.crossover_hz))
}

fn seats(known: &Known<'_>) -> Vec<BlendSeat> {
    let parts = &known.heard.parts;
    let best = &known.found.best.setting;
    let tells = parts.seats.iter().all(|seat| seat.u_ratio.iter().any(|u| u[0] > 0.0 || u[1] > 0.0));
    let one = |at: usize| {
        let [satellite, subwoofer] = parts.played(at, best);
        let sum = parts.sum(at, best);
        let u_db: Vec<f64> = parts.u_ratio(at, best).iter().map(|u| u * 20.0 / std::f64::consts::LN_10).collect();
        let smoothing = known.choices.smoothing;
        let level_db = parts.levels_db(&sum, smoothing);
        let (ripple_db, u_ripple_db) = ripple(&level_db, &u_db, parts.within(band_hz(known, best)));
        let helpless = &known.without_help.setting;
        let without_db = parts.levels_db(&parts.sum(at, helpless), smoothing);
        let apart = satellite.iter().zip(&subwoofer).map(|(s, w)| wrapped_deg((w / s).arg()));
        BlendSeat {
            name: parts.seats[at].name.clone(),
            ripple_db,
            u_ripple_db,
            without_help_db: ripple(&without_db, &u_db, parts.within(band_hz(known, helpless))).0,
            told_by_both: known.heard.by_both.get(at).map(|told| Quantity {
                value: 1e3 * told.delay_s,
                u: 1e3 * told.u_delay_s,
                unit: Unit::Millisecond,
            }),
            phase_difference_deg: apart.collect(),
            smoothed_db: smoothing.map(|_| level_db),
            curve: curve(&parts.hz, &sum, tells.then_some(u_db)),
            satellite: curve(&parts.hz, &satellite, None),
            subwoofer: curve(&parts.hz, &subwoofer, None),
        }
    };
    (0..parts.seats.len()).map(one).collect()
}

/// Highest less lowest level, and its doubt from that of both places.
pub(super) fn ripple(level_db: &[f64], u_db: &[f64], within: std::ops::Range<usize>) -> (f64, f64) {
    let by_level = |a: &usize, b: &usize| level_db[*a].total_cmp(&level_db[*b]);
    let (Some(least), Some(most)) = (within.clone().min_by(by_level), within.max_by(by_level)) else {
        return (0.0, 0.0);
    };
    (level_db[most] - level_db[least], u_db[most].hypot(u_db[least]))
}

fn curve(hz: &[f64], values: &[Complex64], u_db: Option<Vec<f64>>) -> BlendCurve {
    BlendCurve {
        frequency_hz: hz.to_vec(),
        level_db: values.iter().map(|value| db_from_amplitude(value.norm())).collect(),
        phase_deg: values.iter().map(|value| wrapped_deg(value.arg())).collect(),
        u_db,
    }
}

/// How far delay and gain may each be off, within what was looked through.
fn tolerance(known: &Known<'_>) -> ToleranceTable {
    let best = &known.found.best;
    let setting = best.setting;
    let overlap = Overlap::new(&known.heard.parts, &setting.filters, band_hz(known, &setting), known.choices.smoothing);
    let limit_db = best.ripple_db + TOLERATED_DB;
    let is_good = |delay_s: f64, gain_db: f64| overlap.ripple_db(delay_s, setting.polarity, gain_db) <= limit_db;
    let reach = |step: f64, most: f64, good: &dyn Fn(f64) -> bool| {
        let steps = (1..=(most / step) as u32).map(|n| f64::from(n) * step);
        steps.take_while(|off| good(*off)).last().unwrap_or(0.0)
    };
    let sides = |step: f64, most: f64, good: &dyn Fn(f64) -> bool| {
        [-reach(step, most, &|off| good(-off)), reach(step, most, good)]
    };
    let delay_s = sides(1e-5, 20e-3, &|off| is_good(setting.delay_s + off, setting.gain_db));
    let gain_db = sides(0.05, 12.0, &|off| is_good(setting.delay_s, setting.gain_db + off));
    ToleranceTable {
        delay_ms: delay_s.map(|off| 1e3 * (setting.delay_s + off)),
        gain_db: gain_db.map(|off| setting.gain_db + off),
    }
}

fn end_table(end: &UsefulEnd, from: &str, reference_hz: [f64; 2]) -> EndTable {
    let [f3, f6, f10] = end.fallen;
    EndTable { f3, f6, f10, reference_hz, from: from.into() }
}

fn satellite(known: &Known<'_>) -> Option<SatelliteTable> {
    let (end, from) = known.limits.satellite.as_ref()?;
    let from_hz = end.fallen[0].map(|f3| crossovers_from_hz(f3.value));
    // The next crossover that can be set.
    let settable = |hz: f64| known.order.crossovers_hz.iter().copied().filter(|usual| *usual >= hz).reduce(f64::min);
    Some(SatelliteTable {
        end: end_table(end, from, SATELLITE_HZ),
        second_order_from_hz: from_hz.and_then(|[hz, _]| settable(hz)),
        steeper_from_hz: from_hz.and_then(|[_, hz]| settable(hz)),
        loudest_db: known.limits.loudest_db(&known.found.best.setting.filters),
    })
}

fn waves(known: &Known<'_>) -> Vec<StandingWave> {
    known.order.room_m.map_or_else(Vec::new, |sides_m| standing_waves_below(ROOM_TO_HZ, sides_m, &known.air))
}

fn wave_table(wave: &StandingWave) -> StandingWaveTable {
    let kind = match wave.half_waves.iter().filter(|count| **count > 0).count() {
        1 => "axial",
        2 => "tangential",
        _ => "oblique",
    };
    StandingWaveTable { frequency_hz: wave.hz, half_waves: wave.half_waves, kind: kind.into() }
}

fn uneven(known: &Known<'_>) -> Vec<UnevennessTable> {
    let best = &known.found.best.setting;
    let waves = waves(known);
    let nearest = |hz: f64| {
        let off = |wave: &StandingWave| (wave.hz / hz).ln().abs();
        let wave = waves.iter().min_by(|a, b| off(a).total_cmp(&off(b))).filter(|wave| off(wave) < SAME_HZ_RATIO)?;
        let [l, m, n] = wave.half_waves;
        Some(format!("{:.1} Hz, {l}-{m}-{n} half waves", wave.hz))
    };
    let table = |one: Unevenness| UnevennessTable {
        seat: known.heard.parts.seats[one.seat].name.clone(),
        at_hz: one.hz,
        level_db: one.level_db,
        bound_db: one.bound_db,
        mended_by: match one.by {
            MendedBy::NoSetting => "no setting".into(),
            MendedBy::AnotherSetting => "another setting".into(),
        },
        standing_wave: nearest(one.hz),
    };
    unevenness(&known.heard.parts, best, band_hz(known, best), known.choices.smoothing).into_iter().map(table).collect()
}

fn settings(known: &Known<'_>) -> BlendSettings {
    let (order, choices) = (known.order, known.choices);
    let names = |shapes: &[Option<Shape>]| shapes.iter().map(|shape| shape_name(*shape)).collect();
    let by = |filter: &Option<FilteredBy>| filter.map(|by| format!("{}:{}", by.shape, by.hz));
    BlendSettings {
        crossovers_hz: order.crossovers_hz.clone(),
        high_pass: names(&order.high_pass),
        low_pass: names(&order.low_pass),
        low_pass_hz: order.low_pass_hz.clone(),
        delay_ms: choices.delay_s.map(|s| 1e3 * s),
        gain_over_match_db: choices.over_match_db,
        gain_db: choices.gain_db,
        polarity: match order.polarities[..] {
            [Polarity::Straight] => "+",
            [Polarity::Reversed] => "-",
            _ => "either",
        }
        .into(),
        band_hz: order.band_hz,
        smoothing: order
            .smoothing
            .map_or_else(|| "none".into(), |fraction| format!("1/{:.0} octave", 1.0 / fraction.octaves())),
        delay_error_ms: 1e3 * choices.delay_error_s,
        time_reference: match known.heard.zero {
            TimeZero::Loopback => "loopback",
            TimeZero::Mark => "mark",
            TimeZero::ItsOwn => "both playing",
            TimeZero::AsGiven => "as given",
        }
        .into(),
        sat_filtered: by(&order.filtered[0]),
        sub_filtered: by(&order.filtered[1]),
        lowest_hz: known.limits.lowest_hz,
        highest_hz: known.limits.highest_hz,
        loud_db: order.loud_db,
        room_m: order.room_m,
        left_out: known.left_out.to_vec(),
    }
}

/// The sum at each seat and its parts as tables, with their names and what they are: what a capture with the chosen setting is compared with.
pub(super) fn predicted_curves(known: &Known<'_>, document: &BlendDocument) -> Vec<(String, String, Curve)> {
    let of_seat = |seat: &BlendSeat| {
        let stem = file_name(&seat.name);
        let name = |part: &str| format!("{stem}-{part}.csv");
        let table = |what: &str, columns: &BlendCurve, header: Vec<(&str, String)>| {
            let fixed = [
                ("schema", BLEND_SCHEMA.to_owned()),
                ("made_by", MADE_BY.to_owned()),
                ("what", what.to_owned()),
                ("seat", seat.name.clone()),
                ("resolution_hz", known.heard.resolution_hz.to_string()),
            ];
            let all = fixed.into_iter().filter(|(key, _)| *key != "resolution_hz" || known.heard.resolution_hz > 0.0);
            Curve {
                measure: Measure::LevelDb,
                frequency_hz: columns.frequency_hz.clone(),
                values: columns.level_db.clone(),
                phase_deg: Some(columns.phase_deg.clone()),
                u: columns.u_db.clone(),
                header: all
                    .chain(header)
                    .map(|(key, value)| (key.to_owned(), value))
                    .chain(fault_lines(&document.findings))
                    .collect(),
                ..Curve::default()
            }
        };
        let zero = ("time_reference", document.settings.time_reference.clone());
        let of_sum = vec![
            zero.clone(),
            // Relative to this table.
            ("satellite", name("satellite")),
            ("subwoofer", name("subwoofer")),
            ("crossover_hz", document.setting.crossover_hz.to_string()),
        ];
        let all = [
            ("sum", "predicted sum", &seat.curve, of_sum),
            ("satellite", "the satellite's part of it", &seat.satellite, vec![zero.clone()]),
            ("subwoofer", "the subwoofer's part of it", &seat.subwoofer, vec![zero]),
        ];
        all.map(|(part, what, columns, header)| (name(part), what.to_owned(), table(what, columns, header)))
    };
    document.seats.iter().flat_map(of_seat).collect()
}
