//! The curves of satellite and subwoofer at the seats, brought to one grid and one zero of time.
//!
//! Our own response.csv has its arrival's delay taken out and says how long it was, and after what: that delay is put back. A foreign
//! curve's phase is taken to hold it. Where two curves have no zero of time in common, a capture with both playing tells
//! how they stand (`blend/offset.rs`).

use super::blend::{BlendJobError, BlendOrder, FilteredBy};
use crate::blend::{BlendError, BothPlaying, Offset, Parts, PartsAtSeat, Passes, PolarityKnown, TimeRange, offset};
use crate::files::{self, Curve, Measure, RESPONSE_SCHEMA, sampled_of};
use crate::quantity::{FrequencyGrid, POINTS_PER_OCTAVE, amplitude_from_db};
use crate::response::Reader;
use num_complex::Complex64;
use std::f64::consts::{LN_10, TAU};
use std::path::{Path, PathBuf};

/// What the times of a curve's phase count from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum TimeZero {
    /// The loopback's arrival.
    Loopback,
    /// The time mark's, from a loudspeaker that stays the same.
    Mark,
    /// Nothing that another curve has as well.
    ItsOwn,
    /// As it stands in a foreign curve.
    AsGiven,
}

/// The curves, ready to be blended.
pub(super) struct AtSeats {
    pub parts: Parts,
    /// What satellite and subwoofer have in common; `ItsOwn` where captures of both told it.
    pub zero: TimeZero,
    /// What captures of both say, one for each seat; empty where there were none.
    pub by_both: Vec<Offset>,
    /// How much later the subwoofer's first sound came, s, mean of the seats; where it is known.
    pub later_s: Option<f64>,
    /// The satellite's sound travelled so far to the first seat, m.
    pub travelled_m: Option<f64>,
    /// Where the curves can be believed, beyond what they have in common.
    pub resolution_hz: f64,
}

/// Curves above this say nothing about a subwoofer.
const HIGHEST_HZ: f64 = 1000.0;
/// What two captures at a seat may be apart where both have a zero of time, s.
const KNOWN: TimeRange = TimeRange { zero_s: 2e-3, between_s: 3e-3 };
/// And where they have none: rooms, and what amplifiers compute, stay within this.
const UNKNOWN: TimeRange = TimeRange { zero_s: 20e-3, between_s: 60e-3 };
/// What both playing tells lies up to here.
const BOTH_TO_HZ: f64 = 500.0;
/// A filter that takes off more than this leaves nothing to be put back, dB.
const MOST_TAKEN_DB: f64 = 30.0;

/// A curve with what its header says of time.
struct Heard {
    reader: Reader,
    band_hz: [f64; 2],
    zero: TimeZero,
    arrival_s: f64,
    travelled_m: Option<f64>,
    /// The mark's band: marks of other bands arrive at other times.
    mark_band: Option<String>,
    resolution_hz: f64,
}

/// Reads all curves of an order.
pub(super) fn at_seats(order: &BlendOrder) -> Result<AtSeats, BlendJobError> {
    let all = |paths: &[PathBuf]| paths.iter().map(|path| heard(path)).collect::<Result<Vec<_>, _>>();
    let (satellite, subwoofer, both) = (all(&order.satellite)?, all(&order.subwoofer)?, all(&order.both)?);
    let grid = grid(satellite.iter().chain(&subwoofer).chain(&both))?;
    let pairs: Vec<(&Heard, &Heard)> = satellite.iter().zip(&subwoofer).collect();
    let zero = common_zero(&pairs);
    if zero == TimeZero::ItsOwn && both.is_empty() {
        return Err(BlendJobError::NoTimeReference { path: untimed(order, &pairs) });
    }
    let mut seats: Vec<PartsAtSeat> =
        pairs.iter().zip(&order.seats).map(|(pair, name)| at_seat(name, *pair, grid.hz(), zero)).collect();
    let hz = grid.hz().to_vec();
    let mut by_both = Vec::new();
    for ((seat, capture), path) in seats.iter_mut().zip(&both).zip(&order.both) {
        let told = stand(&hz, seat, capture, zero).ok_or_else(|| BlendJobError::Both {
            path: path.clone(),
            source: BlendError::NotTold { why: "it is no sum of the two curves at all".into() },
        })?;
        if let Some(why) = is_no_sum(&told) {
            return Err(BlendJobError::Both { path: path.clone(), source: BlendError::NotTold { why } });
        }
        if zero == TimeZero::ItsOwn {
            let late = hz.iter().map(|hz| Complex64::cis(-TAU * hz * told.delay_s));
            seat.subwoofer.iter_mut().zip(late).for_each(|(value, late)| *value *= late);
        }
        by_both.push(told);
    }
    // Last, since the captures of both were made through the same filters.
    seats.iter_mut().for_each(|seat| take_off(&order.filtered, &hz, seat));
    let later: Vec<f64> = pairs.iter().map(|(s, w)| w.arrival_s - s.arrival_s).collect();
    let later_s = match zero {
        TimeZero::Loopback | TimeZero::Mark => Some(later.iter().sum::<f64>() / later.len() as f64),
        TimeZero::ItsOwn => Some(by_both.iter().map(|told| told.delay_s).sum::<f64>() / by_both.len().max(1) as f64),
        TimeZero::AsGiven => None,
    };
    let resolution_hz = satellite.iter().chain(&subwoofer).map(|heard| heard.resolution_hz).fold(0.0, f64::max);
    let travelled_m = satellite[0].travelled_m.filter(|_| zero == TimeZero::Loopback);
    Ok(AtSeats { parts: Parts { hz, seats }, zero, by_both, later_s, travelled_m, resolution_hz })
}

/// Of a capture with both playing, rms over the sum of the parts: more than this and something was changed in between.
pub(super) const MOST_LEFT_RATIO: f64 = 0.35;
/// The same of the levels against each other, dB.
const MOST_OFF_DB: f64 = 3.0;

/// Why a capture can't be that of both with nothing changed.
fn is_no_sum(told: &Offset) -> Option<String> {
    let left_ratio = told.left_ratio / told.level_ratio;
    if told.gain_db.abs() > MOST_OFF_DB {
        return Some(format!(
            "the subwoofer is {:+.1} dB against the satellite in it, of what each is alone",
            told.gain_db
        ));
    }
    (left_ratio > MOST_LEFT_RATIO).then(|| format!("{:.0} % of it are no sum of the two curves", 100.0 * left_ratio))
}

fn heard(path: &Path) -> Result<Heard, BlendJobError> {
    let curve = files::read_curve(path)?;
    if curve.measure == Measure::MagnitudeOhm {
        return Err(BlendJobError::Impedance { path: path.to_owned() });
    }
    let no_phase = || BlendJobError::NoPhase { path: path.to_owned() };
    let reader = sampled_of(&curve).reader().filter(Reader::has_phase).ok_or_else(no_phase)?;
    let zero = zero_of(&curve);
    let arrival_s = curve.header_value("arrival_ms").and_then(|text| text.parse::<f64>().ok()).unwrap_or(0.0) * 1e-3;
    Ok(Heard {
        reader,
        band_hz: [curve.frequency_hz[0], curve.frequency_hz[curve.frequency_hz.len() - 1]],
        zero,
        arrival_s: if matches!(zero, TimeZero::Loopback | TimeZero::Mark) { arrival_s } else { 0.0 },
        travelled_m: curve.header_number("travelled_m"),
        mark_band: curve.header_value("mark_band_hz").map(str::to_owned),
        resolution_hz: curve.resolution_hz().unwrap_or(0.0),
    })
}

fn zero_of(curve: &Curve) -> TimeZero {
    match (curve.header_value("time_reference"), curve.header_value("schema")) {
        (Some("loopback"), _) => TimeZero::Loopback,
        (Some("mark"), _) => TimeZero::Mark,
        (Some(_), _) => TimeZero::ItsOwn,
        // Tables of this program from before they said it: with a loopback they say how far the sound travelled.
        (None, Some(RESPONSE_SCHEMA)) if curve.header_value("travelled_m").is_some() => TimeZero::Loopback,
        (None, Some(RESPONSE_SCHEMA)) => TimeZero::ItsOwn,
        (None, _) => TimeZero::AsGiven,
    }
}

fn common_zero(pairs: &[(&Heard, &Heard)]) -> TimeZero {
    let first = pairs[0].0.zero;
    let is_same = pairs.iter().all(|(s, w)| s.zero == first && w.zero == first && s.mark_band == w.mark_band);
    if is_same { first } else { TimeZero::ItsOwn }
}

/// The first curve whose zero of time is not that of the others.
fn untimed(order: &BlendOrder, pairs: &[(&Heard, &Heard)]) -> PathBuf {
    let at = pairs
        .iter()
        .position(|(s, w)| s.zero == TimeZero::ItsOwn || s.zero != w.zero || s.mark_band != w.mark_band)
        .unwrap_or(0);
    let satellite = pairs[at].0.zero == TimeZero::ItsOwn;
    if satellite { order.satellite[at].clone() } else { order.subwoofer[at].clone() }
}

/// 1000·2^(k/48) Hz where all curves are known.
fn grid<'a>(all: impl Iterator<Item = &'a Heard>) -> Result<FrequencyGrid, BlendJobError> {
    let [from_hz, to_hz] =
        all.fold([0.0f64, HIGHEST_HZ], |[from, to], heard| [from.max(heard.band_hz[0]), to.min(heard.band_hz[1])]);
    FrequencyGrid::of_octave_fractions([from_hz, to_hz], POINTS_PER_OCTAVE)
        .map_err(|_| BlendJobError::Blend(BlendError::NoCommonBand { from_hz, to_hz }))
}

fn at_seat(name: &str, (satellite, subwoofer): (&Heard, &Heard), hz: &[f64], zero: TimeZero) -> PartsAtSeat {
    let value = |heard: &Heard, hz: f64| {
        let late_s = if zero == TimeZero::ItsOwn { 0.0 } else { heard.arrival_s };
        heard.reader.nearest(hz).value() * Complex64::cis(-TAU * hz * late_s)
    };
    let u_ratio = |heard: &Heard, hz: f64| heard.reader.nearest(hz).u_db * LN_10 / 20.0;
    PartsAtSeat {
        name: name.to_owned(),
        satellite: hz.iter().map(|hz| value(satellite, *hz)).collect(),
        subwoofer: hz.iter().map(|hz| value(subwoofer, *hz)).collect(),
        u_ratio: hz.iter().map(|hz| [u_ratio(satellite, *hz), u_ratio(subwoofer, *hz)]).collect(),
    }
}

/// Takes off the filters that were in the way while measuring; where one lets hardly anything through, that much is left.
fn take_off([high, low]: &[Option<FilteredBy>; 2], hz: &[f64], seat: &mut PartsAtSeat) {
    let least = amplitude_from_db(-MOST_TAKEN_DB);
    for (by, passes, column) in [(high, Passes::High, &mut seat.satellite), (low, Passes::Low, &mut seat.subwoofer)] {
        let Some(by) = by else { continue };
        for (value, hz) in column.iter_mut().zip(hz) {
            let filter = by.shape.value(passes, hz / by.hz);
            *value /= filter * (least / filter.norm()).max(1.0);
        }
    }
}

/// How both stand to each other in a capture of both.
fn stand(hz: &[f64], seat: &PartsAtSeat, capture: &Heard, zero: TimeZero) -> Option<Offset> {
    let to = hz.partition_point(|hz| *hz <= BOTH_TO_HZ);
    let late_s = if zero == capture.zero { capture.arrival_s } else { 0.0 };
    let measured: Vec<Complex64> =
        hz[..to].iter().map(|hz| capture.reader.nearest(*hz).value() * Complex64::cis(-TAU * hz * late_s)).collect();
    let curves = BothPlaying {
        hz: &hz[..to],
        satellite: &seat.satellite[..to],
        subwoofer: &seat.subwoofer[..to],
        measured: &measured,
        resolution_hz: capture.resolution_hz,
    };
    let range = if zero == TimeZero::ItsOwn || zero != capture.zero { UNKNOWN } else { KNOWN };
    offset(&curves, range, PolarityKnown::Same)
}
