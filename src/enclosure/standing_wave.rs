//! Where the air inside a box stands in waves.
//!
//! ```text
//! f = (c/2)·√((l/L_x)² + (m/L_y)² + (n/L_z)²)
//! ```
//!
//! L: inner sides of a box, or of a room, m; l, m, n: half waves along each; c: speed of sound, m/s. Holds for an empty box with stiff walls;
//! filling lowers and damps them. Source: L. L. Beranek, T. J. Mellow, "Acoustics: Sound Fields and Transducers"
//! (2012), section 10.3.

use crate::quantity::Air;

/// A way in which air stands between walls.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StandingWave {
    /// Half waves along each inner side.
    pub half_waves: [u32; 3],
    /// Its frequency.
    pub hz: f64,
}

/// Half waves that are looked at along one side of a box.
const MOST: u32 = 2;

/// The lowest standing waves of a box, rising: up to two half waves along each side.
pub fn standing_waves(inner_m: [f64; 3], air: &Air) -> Vec<StandingWave> {
    up_to([MOST; 3], inner_m, air)
}

/// All standing waves of a box, or a room, up to a frequency, rising.
pub fn standing_waves_below(most_hz: f64, inner_m: [f64; 3], air: &Air) -> Vec<StandingWave> {
    let most = inner_m.map(|side_m| (2.0 * side_m * most_hz / air.speed_of_sound_m_s()) as u32);
    let mut waves = up_to(most, inner_m, air);
    waves.retain(|wave| wave.hz <= most_hz);
    waves
}

fn up_to(most: [u32; 3], inner_m: [f64; 3], air: &Air) -> Vec<StandingWave> {
    let [length, width, height] = most;
    let all = (0..=length).flat_map(|l| (0..=width).flat_map(move |m| (0..=height).map(move |n| [l, m, n])));
    let mut waves: Vec<StandingWave> = all
        .filter(|half_waves| half_waves.iter().any(|count| *count > 0))
        .map(|half_waves| {
            let squares: f64 =
                half_waves.iter().zip(inner_m).map(|(&count, side)| (f64::from(count) / side).powi(2)).sum();
            StandingWave { half_waves, hz: air.speed_of_sound_m_s() / 2.0 * squares.sqrt() }
        })
        .collect();
    waves.sort_by(|a, b| a.hz.total_cmp(&b.hz));
    waves
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_a_wave_fits_between_two_walls() {
        let waves = standing_waves([0.1716, 0.1, 0.08], &Air::default());
        // 343.2 m/s at 20 °C: half a wave of 0.1716 m is 1000 Hz.
        assert_eq!(waves[0].half_waves, [1, 0, 0]);
        assert!((waves[0].hz / 1000.0 - 1.0).abs() < 1e-12);
        let oblique = waves.iter().find(|wave| wave.half_waves == [1, 1, 0]).unwrap();
        // √(1000² + 1716²).
        assert!((oblique.hz / 1_986.1_f64 - 1.0).abs() < 1e-4, "{oblique:?}");
        assert_eq!(waves.len(), 26);
        // Along the longest side alone there are 1000, 2000, 3000 Hz; along the others 1716 and 2145 Hz.
        let below = standing_waves_below(3_000.5, [0.1716, 0.1, 0.08], &Air::default());
        let axial = below.iter().filter(|wave| wave.half_waves.iter().filter(|count| **count > 0).count() == 1);
        let expected_hz = [1000.0, 1716.0, 2000.0, 2145.0, 3000.0];
        assert!(axial.clone().zip(expected_hz).all(|(wave, hz)| (wave.hz / hz - 1.0).abs() < 1e-9));
        assert_eq!(axial.count(), expected_hz.len());
    }
}
