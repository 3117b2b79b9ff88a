//! Phase without jumps, and phase within one turn.
//!
//! No equation: whole turns are added until neighbours differ by less than half a turn. It holds where the true phase
//! moves by less than half a turn from point to point.

use std::f64::consts::{PI, TAU};

/// The phases with whole turns added so that neighbours differ by at most half a turn. The first one stays.
pub fn unwrapped(phases_rad: impl IntoIterator<Item = f64>) -> Vec<f64> {
    let mut before_rad: Option<f64> = None;
    phases_rad
        .into_iter()
        .map(|phase_rad| {
            let turns = before_rad.map_or(0.0, |before| ((before - phase_rad) / TAU).round());
            let smooth_rad = phase_rad + TAU * turns;
            before_rad = Some(smooth_rad);
            smooth_rad
        })
        .collect()
}

/// A phase in degrees, within (−180, 180].
pub fn wrapped_deg(phase_rad: f64) -> f64 {
    let wrapped_rad = phase_rad - TAU * ((phase_rad - PI) / TAU).ceil();
    let degrees = wrapped_rad.to_degrees();
    if degrees <= -180.0 { degrees + 360.0 } else { degrees }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_straight_phase_comes_back_from_its_wrapped_form() {
        let straight: Vec<f64> = (0..100).map(|n| 0.4 - 2.9 * f64::from(n)).collect();
        let wrapped = straight.iter().map(|&phase| wrapped_deg(phase).to_radians());
        for (found, expected) in unwrapped(wrapped).iter().zip(&straight) {
            // 1e-12: some hundred additions of 2π.
            assert!((found - expected).abs() < 1e-12);
        }
    }

    #[test]
    fn half_a_turn_is_plus_180_degrees() {
        assert_eq!(wrapped_deg(PI), 180.0);
        assert_eq!(wrapped_deg(-PI), 180.0);
        assert_eq!(wrapped_deg(0.0), 0.0);
        assert!((wrapped_deg(3.0 * PI + 0.1) + 180.0 - 0.1f64.to_degrees()).abs() < 1e-12);
    }

    #[test]
    fn steps_of_less_than_half_a_turn_are_left_alone_both_ways() {
        let phases = [0.0, 3.1, 0.1, -3.0, -0.2];
        assert_eq!(unwrapped(phases), phases);
    }
}
