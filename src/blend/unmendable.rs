//! Dips and peaks of the sum that no delay and no polarity takes away: the room's.
//!
//! ```text
//! | |H_hp·S| − G·|H_lp·W| |  ≤  |T|  ≤  |H_hp·S| + G·|H_lp·W|
//! ```
//!
//! Whatever delay and polarity are set to, the sum stays between these. A dip whose upper bound still lies [`SURELY_DB`] below the median
//! of the overlap is one of the room (a seat in a node of a standing wave, or a wall's reflection); a peak whose lower bound lies as much above is a standing wave
//! that both or the louder of them excite. A dip that the bound allows to be mended, and the best setting does not, is mended only at
//! the cost of other frequencies or other seats. Derivation: the triangle inequality.

use super::parts::{Parts, Setting};
use crate::math::median;
use crate::response::OctaveFraction;
use num_complex::Complex64;

/// A stretch of the sum that stands out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unevenness {
    /// Number of the seat, from 0.
    pub seat: usize,
    /// Where it is deepest or highest.
    pub hz: f64,
    /// There, against the median over the band, dB: less than zero for a dip.
    pub level_db: f64,
    /// Against the same median, the best that delay and polarity could make of it, dB.
    pub bound_db: f64,
    /// Whether delay and polarity could mend it.
    pub by: MendedBy,
}

/// What would mend an unevenness.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MendedBy {
    /// Neither delay nor polarity: another place of loudspeaker or listener, or (a peak) an equaliser.
    NoSetting,
    /// Another delay or polarity, which spoils something else.
    AnotherSetting,
}

/// What stands out by less is told of no seat, dB.
pub const STANDS_OUT_DB: f64 = 5.0;
/// So much of it must be left by the best of delays, dB.
const SURELY_DB: f64 = 3.0;

/// What stands out of the sums in a band, seat by seat, in the order of frequency; the bounds are smoothed like the sums.
pub fn unevenness(
    parts: &Parts,
    setting: &Setting,
    band_hz: [f64; 2],
    smoothing: Option<OctaveFraction>,
) -> Vec<Unevenness> {
    let within = parts.within(band_hz);
    let of_seat = |seat: usize| {
        let [satellite, subwoofer] = parts.played(seat, setting);
        let levels_db = |of: fn(Complex64, Complex64) -> Complex64| {
            let values: Vec<Complex64> = satellite.iter().zip(&subwoofer).map(|(s, w)| of(*s, *w)).collect();
            parts.levels_db(&values, smoothing)[within.clone()].to_vec()
        };
        let level_db = levels_db(|s, w| s + w);
        // So that one strong peak does not make dips of all the rest.
        let middle_db = median(level_db.clone()).unwrap_or(0.0);
        let lowest_db = levels_db(|s, w| (s.norm() - w.norm()).into());
        let highest_db = levels_db(|s, w| (s.norm() + w.norm()).into());
        let above: Vec<f64> = level_db.iter().map(|db| db - middle_db).collect();
        stretches(&above)
            .into_iter()
            .map(|at| {
                let [lowest_db, highest_db] = [lowest_db[at] - middle_db, highest_db[at] - middle_db];
                let (bound_db, surely) = match above[at] < 0.0 {
                    true => (highest_db, highest_db < -SURELY_DB),
                    false => (lowest_db, lowest_db > SURELY_DB),
                };
                let by = if surely { MendedBy::NoSetting } else { MendedBy::AnotherSetting };
                Unevenness { seat, hz: parts.hz[within.start + at], level_db: above[at], bound_db, by }
            })
            .collect::<Vec<_>>()
    };
    (0..parts.seats.len()).flat_map(of_seat).collect()
}

/// The place farthest out of each stretch beyond [`STANDS_OUT_DB`].
fn stretches(above_db: &[f64]) -> Vec<usize> {
    let sign = |db: f64| if db.abs() > STANDS_OUT_DB { db.signum() } else { 0.0 };
    let mut places: Vec<usize> = Vec::new();
    let mut before = 0.0;
    for (at, &db) in above_db.iter().enumerate() {
        let here = sign(db);
        if here != 0.0 {
            match places.last_mut() {
                Some(place) if here == before => {
                    if db.abs() > above_db[*place].abs() {
                        *place = at;
                    }
                }
                _ => places.push(at),
            }
        }
        before = here;
    }
    places
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::blend::{Filters, PartsAtSeat, Polarity};

    /// By hand: both 1 but for 50 Hz, where both are 0.1; and 80 Hz, where they are 1 and −1; and 125 Hz, where the subwoofer is 6.
    #[test]
    fn what_both_lack_is_the_rooms_and_what_cancels_is_not() {
        let hz: Vec<f64> = (0..49).map(|n| 40.0 * 2f64.powf(f64::from(n) / 24.0)).collect();
        let near = |at: f64, target: f64| (at / target).log2().abs() < 0.05;
        let value = |at: &f64, one: [f64; 4]| {
            let place = [50.0, 80.0, 125.0].iter().position(|target| near(*at, *target)).map_or(0, |n| n + 1);
            Complex64::from(one[place])
        };
        let seat = PartsAtSeat {
            name: "sofa".into(),
            satellite: hz.iter().map(|at| value(at, [1.0, 0.1, 1.0, 1.0])).collect(),
            subwoofer: hz.iter().map(|at| value(at, [1.0, 0.1, -1.0001, 6.0])).collect(),
            u_ratio: vec![[0.0; 2]; hz.len()],
        };
        let filters = Filters { crossover_hz: 80.0, high_pass: None, low_pass_hz: 80.0, low_pass: None };
        let setting = Setting { filters, delay_s: 0.0, polarity: Polarity::Straight, gain_db: 0.0 };
        let found = unevenness(&Parts { hz, seats: vec![seat] }, &setting, [40.0, 160.0], None);
        let told: Vec<(bool, MendedBy)> = found.iter().map(|one| (one.level_db < 0.0, one.by)).collect();
        let expected = [(true, MendedBy::NoSetting), (true, MendedBy::AnotherSetting), (false, MendedBy::NoSetting)];
        assert_eq!(told, expected, "{found:?}");
        assert!(near(found[0].hz, 50.0) && near(found[1].hz, 80.0) && near(found[2].hz, 125.0));
        assert!((found[0].bound_db - found[0].level_db).abs() < 1e-9, "in phase it is as loud as it can be");
    }
}
