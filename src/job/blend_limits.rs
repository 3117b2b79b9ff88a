//! Which crossovers satellite and subwoofer allow: how far down the one reaches, how far up the other, and how far the cone goes.
//!
//! ```text
//! loudest(f_c) = L₀ + min over f of (20·log₁₀(V_x(f)/V) − 20·log₁₀|H_hp(f)|)
//! ```
//!
//! L₀: level of the satellite in its pass band at the voltage V; V_x: the voltage at which the cone reaches its largest excursion at f.
//! With the high-pass before it the cone goes |H_hp| times as far. Derivation: the excursion is proportional to the voltage.

use super::blend::{BlendJobError, BlendOrder};
use super::blend_curves::AtSeats;
use crate::blend::{End, Filters, Parts, PartsAtSeat, Passes, UsefulEnd, useful_end};
use crate::files::{self, PromisedLoudness, sampled_of};
use crate::math::mean_around;
use crate::quantity::{POINTS_PER_OCTAVE, db_from_amplitude, db_from_power};
use crate::response::{Reader, Sampled};
use std::f64::consts::LN_10;

/// What is known of both ends.
pub(super) struct Limits {
    /// The satellite's lower end, and which curve tells it.
    pub satellite: Option<(UsefulEnd, String)>,
    /// The subwoofer's upper end, likewise.
    pub subwoofer: Option<(UsefulEnd, String)>,
    /// The lowest crossover that is allowed.
    pub lowest_hz: Option<f64>,
    /// The highest.
    pub highest_hz: Option<f64>,
    promised: Option<PromisedLoudness>,
}

/// A satellite plays alone here, whatever the crossover.
pub(super) const SATELLITE_HZ: [f64; 2] = [200.0, 800.0];
/// A subwoofer plays alone here, or nearly.
pub(super) const SUBWOOFER_HZ: [f64; 2] = [40.0, 80.0];
/// A room's peaks and dips are narrower than this: each side of a point, octaves.
const ROOM_OCTAVES: f64 = 1.0 / 6.0;
/// The −6 dB are the end of use: there a Linkwitz-Riley crosses over. Where only the seats tell, it is what certainly lies outside
/// the −10 dB, since a room's modes move single thirds of an octave by some decibels.
const USEFUL: usize = 1;
const USEFUL_IN_ROOM: usize = 2;
const CERTAINLY: f64 = 2.0;

/// What the curves say.
pub(super) fn limits(order: &BlendOrder, heard: &AtSeats) -> Result<Limits, BlendJobError> {
    let parts = &heard.parts;
    let satellite = match &order.alone {
        Some(path) => {
            let [from_hz, to_hz] = SATELLITE_HZ;
            let refuse = || BlendJobError::NoReference { path: path.clone(), from_hz, to_hz };
            let reader = sampled_of(&files::read_curve(path)?).reader().ok_or_else(refuse)?;
            let end = useful_end(&reader, SATELLITE_HZ, End::Lower).ok_or_else(refuse)?;
            Some((end, path.display().to_string()))
        }
        None => smoothed(parts, |seat| &seat.satellite, 0)
            .and_then(|reader| useful_end(&reader, SATELLITE_HZ, End::Lower))
            .map(|end| (end, FROM_SEATS.to_owned())),
    };
    let subwoofer = smoothed(parts, |seat| &seat.subwoofer, 1)
        .and_then(|reader| useful_end(&reader, SUBWOOFER_HZ, End::Upper))
        .map(|end| (end, FROM_SEATS.to_owned()));
    let useful_hz = |side: &Option<(UsefulEnd, String)>, outwards: f64| {
        let (end, from) = side.as_ref()?;
        match from == FROM_SEATS {
            true => end.fallen[USEFUL_IN_ROOM].map(|fallen| fallen.value + outwards * CERTAINLY * fallen.u),
            false => end.fallen[USEFUL].map(|fallen| fallen.value),
        }
    };
    let promised = match &order.simulation {
        Some((path, speaker)) => Some(files::read_promised_loudness(path, speaker.as_deref())?),
        None => None,
    };
    Ok(Limits {
        lowest_hz: order.lowest_hz.or_else(|| useful_hz(&satellite, -1.0)),
        highest_hz: order.highest_hz.or_else(|| useful_hz(&subwoofer, 1.0)),
        satellite,
        subwoofer,
        promised,
    })
}

/// Where an end was read from that no curve of its own tells.
pub(super) const FROM_SEATS: &str = "mean power of the seats over a third of an octave";

/// Whether the satellite's curves have more bass against their mids than the subwoofer's: then they are swapped. `None` where the curves do
/// not reach that far.
pub(super) fn are_swapped(parts: &Parts) -> Option<bool> {
    let bass_over_mids = |side: fn(&PartsAtSeat) -> &Vec<num_complex::Complex64>| {
        let power = |band_hz: [f64; 2]| {
            let within = parts.within(band_hz);
            let count = within.len();
            let of_seat = |seat: &PartsAtSeat| side(seat)[within.clone()].iter().map(|h| h.norm_sqr()).sum::<f64>();
            (count > 0).then(|| parts.seats.iter().map(of_seat).sum::<f64>() / count as f64)
        };
        Some(power(SUBWOOFER_HZ)? / power(SATELLITE_HZ)?)
    };
    Some(bass_over_mids(|seat| &seat.satellite)? > bass_over_mids(|seat| &seat.subwoofer)?)
}

/// Mean power of the seats, over a third of an octave; its doubt from the seats' scatter, or the curves' own where that is larger.
fn smoothed(parts: &Parts, side: fn(&PartsAtSeat) -> &Vec<num_complex::Complex64>, number: usize) -> Option<Reader> {
    let count = parts.seats.len() as f64;
    let half = (ROOM_OCTAVES * f64::from(POINTS_PER_OCTAVE)).round() as usize;
    let of_seat = |seat: &PartsAtSeat| {
        let power: Vec<f64> = side(seat).iter().map(num_complex::Complex64::norm_sqr).collect();
        mean_around(&power, |_| half)
    };
    let seats: Vec<Vec<f64>> = parts.seats.iter().map(of_seat).collect();
    let at = |point: usize| {
        let mean = seats.iter().map(|power| power[point]).sum::<f64>() / count;
        let squares: f64 = seats.iter().map(|power| (power[point] - mean).powi(2)).sum();
        let scatter = if count > 1.0 { (squares / (count - 1.0) / count).sqrt() / mean } else { 0.0 };
        let own = parts.seats.iter().map(|seat| seat.u_ratio[point][number]).sum::<f64>() / count;
        // Of a power, in decibels.
        (db_from_power(mean), (10.0 / LN_10) * scatter.max(2.0 * own))
    };
    let (level_db, u_db) = (0..parts.hz.len()).map(at).unzip();
    Sampled { hz: parts.hz.clone(), level_db, phase_rad: Vec::new(), u_db }.reader()
}

impl Limits {
    /// Why a combination of filters is out of the question; none if it is not.
    pub fn forbid(&self, filters: &Filters, loud_db: Option<f64>) -> Option<String> {
        if let Some(lowest_hz) = self.lowest_hz.filter(|lowest_hz| filters.crossover_hz < *lowest_hz) {
            return Some(format!(
                "below {lowest_hz:.0} Hz: the satellite does not reach down there (--lowest, or its curve)"
            ));
        }
        if let Some(highest_hz) = self.highest_hz.filter(|highest_hz| filters.low_pass_hz > *highest_hz) {
            return Some(format!(
                "above {highest_hz:.0} Hz: the subwoofer does not reach up there (--highest, or its curves)"
            ));
        }
        let (wanted_db, loudest_db) = (loud_db?, self.loudest_db(filters)?);
        (loudest_db < wanted_db).then(|| {
            let name = filters.high_pass.map_or_else(|| "no high-pass".to_owned(), |shape| shape.to_string());
            format!(
                "{} Hz with {name}: the cone goes too far above {loudest_db:.0} dB, {wanted_db:.0} dB are wanted",
                filters.crossover_hz
            )
        })
    }

    /// How loud the satellite plays at the most, dB re 20 µPa at 1 m, before its cone goes too far.
    pub fn loudest_db(&self, filters: &Filters) -> Option<f64> {
        let promised = self.promised.as_ref()?;
        let curve = Sampled { hz: promised.hz.clone(), level_db: promised.level_db.clone(), ..Sampled::default() };
        let reference_db = useful_end(&curve.reader()?, SATELLITE_HZ, End::Lower)?.reference_db;
        let at = |((hz, level_db), most_db): ((&f64, &f64), &f64)| {
            let taken_db = filters
                .high_pass
                .map_or(0.0, |shape| db_from_amplitude(shape.value(Passes::High, hz / filters.crossover_hz).norm()));
            most_db - level_db - taken_db
        };
        let all = promised.hz.iter().zip(&promised.level_db).zip(&promised.by_excursion_db).map(at);
        Some(reference_db + all.fold(f64::INFINITY, f64::min)).filter(|db| db.is_finite())
    }
}
