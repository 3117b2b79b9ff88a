//! The pictures of a blend: each seat with its parts, all seats, and the map over crossover and delay.

use super::blend::{Known, file_name};
use crate::blend::{Filters, Polarity, Setting, level_match_db, overlap_hz};
use crate::files::{BlendDocument, BlendSeat};
use crate::report::{BlendMapPicture, BlendSeatPicture, LevelCurve, Origin, PhasePanel, Picture, ResponsePicture};

/// The map's delays go through what was searched in so many steps.
const MAP_STEPS: usize = 81;
/// The map's columns in an octave.
const MAP_PER_OCTAVE: f64 = 12.0;
/// All seats are shown up to here, Hz.
const SEATS_TO_HZ: f64 = 500.0;

pub(super) fn pictures(known: &Known<'_>, document: &BlendDocument) -> Vec<(String, Picture)> {
    let of_seat = |(at, seat): (usize, &BlendSeat)| {
        (format!("{}-seat", file_name(&seat.name)), seat_picture(known, document, at, seat).picture())
    };
    let mut all: Vec<(String, Picture)> = document.seats.iter().enumerate().map(of_seat).collect();
    all.push(("seats".into(), seats_picture(document)));
    all.extend(map_picture(known).map(|picture| ("map".to_owned(), picture)));
    all
}

fn seat_picture(known: &Known<'_>, document: &BlendDocument, at: usize, seat: &BlendSeat) -> BlendSeatPicture {
    let parts = &known.heard.parts;
    let levels_db = |values: &[num_complex::Complex64]| parts.levels_db(values, known.choices.smoothing);
    let [satellite, subwoofer] = parts.played(at, &known.found.best.setting);
    let without = parts.sum(at, &known.without_help.setting);
    let here = |one: &&crate::files::UnevennessTable| one.seat == seat.name && one.mended_by == "no setting";
    BlendSeatPicture {
        title: format!("{}: satellite, subwoofer and their sum", seat.name),
        level_reference: level_reference(document),
        frequency_hz: seat.curve.frequency_hz.clone(),
        satellite_db: levels_db(&satellite),
        subwoofer_db: levels_db(&subwoofer),
        sum_db: sum_db(seat),
        u_db: seat.curve.u_db.clone().unwrap_or_default(),
        without_help_db: levels_db(&without),
        apart_deg: seat.phase_difference_deg.clone(),
        overlap_hz: known.choices.band_hz.unwrap_or_else(|| overlap_hz(document.setting.crossover_hz)),
        of_the_room_hz: document.unevenness.iter().filter(here).map(|one| one.at_hz).collect(),
    }
}

fn level_reference(document: &BlendDocument) -> String {
    match document.settings.smoothing.as_str() {
        "none" => "as measured".into(),
        over => format!("as measured, over {over}"),
    }
}

/// As its ripple is taken.
fn sum_db(seat: &BlendSeat) -> Vec<f64> {
    seat.smoothed_db.clone().unwrap_or_else(|| seat.curve.level_db.clone())
}

fn seats_picture(document: &BlendDocument) -> Picture {
    let curve = |seat: &BlendSeat| {
        let to = seat.curve.frequency_hz.partition_point(|hz| *hz <= SEATS_TO_HZ);
        LevelCurve {
            name: format!("{} ({:.1} dB ripple)", seat.name, seat.ripple_db),
            origin: Origin::Predicted,
            frequency_hz: seat.curve.frequency_hz[..to].to_vec(),
            level_db: sum_db(seat)[..to].to_vec(),
            u_db: Vec::new(),
            phase_deg: Vec::new(),
        }
    };
    ResponsePicture {
        title: "What each seat gets".into(),
        level_reference: level_reference(document),
        curves: document.seats.iter().map(curve).collect(),
        valid_hz: None,
        shown_hz: None,
        phase: PhasePanel::Absent,
    }
    .picture()
}

/// With the chosen filters and polarity; levels as far over the match as the chosen ones.
fn map_picture(known: &Known<'_>) -> Option<Picture> {
    let parts = &known.heard.parts;
    let best = known.found.best.setting;
    let over_db = best.gain_db - level_match_db(parts, &best.filters);
    let ends = |all: fn(f64, f64) -> f64| known.choices.filters.iter().map(|one| one.crossover_hz).reduce(all);
    let [from_hz, to_hz] = [ends(f64::min)?, ends(f64::max)?];
    if from_hz >= to_hz {
        return None;
    }
    let columns = ((to_hz / from_hz).log2() * MAP_PER_OCTAVE).ceil().max(2.0) as usize;
    let crossover_hz: Vec<f64> =
        (0..=columns).map(|n| from_hz * (to_hz / from_hz).powf(n as f64 / columns as f64)).collect();
    let [from_ms, to_ms] = known.choices.delay_s.map(|s| 1e3 * s);
    let step_ms = (to_ms - from_ms) / (MAP_STEPS - 1) as f64;
    let delay_ms: Vec<f64> = (0..MAP_STEPS).map(|n| from_ms + step_ms * n as f64).collect();
    let column = |hz: &f64| {
        let filters = Filters { crossover_hz: *hz, low_pass_hz: *hz, ..best.filters };
        let gain_db = level_match_db(parts, &filters) + over_db;
        let band_hz = known.choices.band_hz.unwrap_or_else(|| overlap_hz(*hz));
        let at = |ms: &f64| {
            lowest_db(known, &Setting { filters, delay_s: 1e-3 * ms, polarity: best.polarity, gain_db }, band_hz)
        };
        delay_ms.iter().map(at).collect::<Vec<f64>>()
    };
    let phase = if best.polarity == Polarity::Straight { "0°" } else { "180°" };
    let map = BlendMapPicture {
        title: format!("Deepest hole in the overlap, worst seat, re its mean (phase {phase}; ripple counts peaks too)"),
        lowest_db: crossover_hz.iter().map(column).collect(),
        crossover_hz,
        delay_ms,
        chosen: [best.filters.crossover_hz, 1e3 * best.delay_s],
    };
    Some(map.picture())
}

/// The lowest level in the band against the mean there, of the seat where that is lowest.
fn lowest_db(known: &Known<'_>, setting: &Setting, band_hz: [f64; 2]) -> f64 {
    let parts = &known.heard.parts;
    let within = parts.within(band_hz);
    let of_seat = |seat: usize| {
        let levels = &parts.levels_db(&parts.sum(seat, setting), known.choices.smoothing)[within.clone()];
        let mean_db = levels.iter().sum::<f64>() / levels.len().max(1) as f64;
        levels.iter().copied().fold(f64::INFINITY, f64::min) - mean_db
    };
    (0..parts.seats.len()).map(of_seat).fold(0.0, f64::min)
}
