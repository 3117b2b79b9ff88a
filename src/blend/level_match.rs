//! The gain that makes subwoofer and satellite equally loud where they meet, as a person with a level meter sets it.
//!
//! ```text
//! g = 10·log₁₀(P_s/P_w)        P_s = Σ_seats mean |H_hp·S|² over f_c … 2·f_c        P_w = Σ_seats mean |H_lp·W|² over f_c/2 … f_c
//! ```
//!
//! g: dB. Means over the logarithm of the frequency. Each counts with its own filter in the octave on its own side; for an ideal pair of
//! filters of one kind between flat loudspeakers both are the same by symmetry, and g is zero.
//! Ours; common practice matches levels with band-limited noise.

use super::parts::{Filters, Parts, PartsAtSeat};
use crate::quantity::db_from_power;

/// g.
pub fn level_match_db(parts: &Parts, filters: &Filters) -> f64 {
    // 0: the satellite's, 1: the subwoofer's.
    let power = |side: usize, band_hz: [f64; 2]| {
        let within = parts.within(band_hz);
        let at = |at: usize| {
            let [high, low] = filters.at(parts.hz[at]);
            let of_seat = |seat: &PartsAtSeat| [high * seat.satellite[at], low * seat.subwoofer[at]][side].norm_sqr();
            parts.seats.iter().map(of_seat).sum::<f64>()
        };
        let count = within.len().max(1) as f64;
        within.map(at).sum::<f64>() / count
    };
    let satellite = power(0, [filters.crossover_hz, 2.0 * filters.crossover_hz]);
    let subwoofer = power(1, [filters.low_pass_hz / 2.0, filters.low_pass_hz]);
    let matched_db = db_from_power(satellite / subwoofer);
    if matched_db.is_finite() { matched_db } else { 0.0 }
}
