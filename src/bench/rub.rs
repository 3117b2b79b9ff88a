//! A voice coil that scrapes in its gap: friction on a rough wall, on one side of rest only.
//!
//! ```text
//! F = F_f·d/√(d² + d₀²)·(1 + r·ξ(x))·v/√(v² + v₀²)      d = (x − x₀)·sgn x₀ > 0,  else F = 0
//! ξ(x) = ξ_n + (ξ_n+1 − ξ_n)·s²·(3 − 2s)                n + s = d/g
//! ```
//!
//! F: force against the motion, N. F_f: friction when pressed home, N. x, v: place and velocity of the cone, m and m/s.
//! x₀: where the coil first touches. d: how far it is beyond, m. d₀: way over which it is pressed home, m. r: roughness, 0
//! to 1. ξ: the wall, random heights between −1 and 1 one grain g (m) apart, the same ones at each passage. v₀: speed
//! below which friction creeps instead of sticking.
//!
//! A cone at speed v reads the wall up to about v/(2g): 15 kHz at 0.6 m/s and 20 µm. So each passage is a burst of noise
//! that sits at the same place of the excursion and not at the same phase; and at the turning point the force changes its
//! sign. F·v is never negative: the wall takes energy and gives none.
//!
//! Ours, because a scrape needs no more: Coulomb's dry friction, rounded at rest so that it can be followed in time; a
//! normal force that sets in gently, as a coil that leans does; and a profile in place of the chance of a real wall. Wear,
//! heat and the sideways motion of the coil are left out.

use super::error::{BenchError, check};
use crate::math::Random;
use serde::{Deserialize, Serialize};

/// A coil that scrapes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Rub {
    /// x₀: where the coil first touches; positive: outwards, negative: inwards.
    pub from_m: f64,
    /// F_f: friction when the coil is pressed home.
    pub friction_n: f64,
    /// d₀: way beyond x₀ at which friction has 1/√2 of that.
    pub onset_m: f64,
    /// r: how much of the friction comes and goes with the wall, 0 to 1.
    pub roughness_ratio: f64,
    /// g: from one height of the wall to the next.
    pub grain_m: f64,
    /// Which wall: equal seeds scrape alike.
    pub seed: u64,
}

/// v₀, m/s. Ours: a hundredth of the speeds at which a cone scrapes, so that friction is all but dry, and yet so high that
/// 0.1 N on a gram change in 1e-4 s, which a step of 1e-6 s follows.
const CREEPS_BELOW_M_S: f64 = 0.01;
/// Heights of a wall before they repeat: 20 mm of grains of 20 µm, which no coil travels.
const HEIGHTS: usize = 1024;
/// Friction of [`Rub::light`] and [`Rub::hard`], N. Ours, from what they do to the small satellite's mid-woofer, whose coil
/// pushes with 5 N at 5 V: bursts of some 37 dB SPL above 4 kHz half a metre away, which a listener may miss, and of 57.
const LIGHT_N: f64 = 0.03;
const HARD_N: f64 = 0.3;

impl Rub {
    /// A coil that only just scrapes beyond this place.
    pub fn light(from_m: f64) -> Self {
        // 0.1 mm: half the play of a coil in its gap. 20 µm: what a lathe leaves on a pole piece.
        Self { from_m, friction_n: LIGHT_N, onset_m: 1e-4, roughness_ratio: 0.8, grain_m: 20e-6, seed: 1 }
    }

    /// A coil that scrapes hard beyond this place.
    pub fn hard(from_m: f64) -> Self {
        Self { friction_n: HARD_N, ..Self::light(from_m) }
    }

    /// F_f·(1 + r)/(v₀·M), 1/s: how fast friction would stop a cone that creeps.
    pub(super) fn fastest_per_s(&self, mms_kg: f64) -> f64 {
        self.friction_n * (1.0 + self.roughness_ratio) / (CREEPS_BELOW_M_S * mms_kg)
    }

    pub(super) fn check(&self) -> Result<(), BenchError> {
        check("place from which the voice coil rubs in m, either side of rest", self.from_m.abs(), [1e-6, 0.1])?;
        check("friction of a voice coil that rubs in N", self.friction_n, [0.0, 100.0])?;
        check("onset of the rubbing in m", self.onset_m, [1e-6, 0.1])?;
        check("roughness of the rubbing, a ratio", self.roughness_ratio, [0.0, 1.0])?;
        // At 5 m/s a step of 768 kHz covers 6.5 µm: grains of 10 µm are still met one by one.
        check("grain of the rubbing in m", self.grain_m, [1e-5, 1e-2])
    }
}

/// The wall of a gap with its heights worked out.
#[derive(Clone)]
pub struct Wall {
    rub: Rub,
    side: f64,
    heights: Vec<f64>,
}

impl Wall {
    /// The wall that its seed says.
    pub fn new(rub: Rub) -> Self {
        let mut random = Random::new(rub.seed);
        let heights = (0..HEIGHTS).map(|_| 2.0 * random.uniform() - 1.0).collect();
        Self { rub, side: rub.from_m.signum(), heights }
    }

    /// F, N.
    pub fn force_n(&self, x_m: f64, v_m_s: f64) -> f64 {
        let depth_m = (x_m - self.rub.from_m) * self.side;
        // Written so that a place that is no number is no contact: a bench that overflows must not index by it.
        if !(depth_m > 0.0 && depth_m.is_finite()) {
            return 0.0;
        }
        let pressed = depth_m / depth_m.hypot(self.rub.onset_m);
        let sliding = v_m_s / v_m_s.hypot(CREEPS_BELOW_M_S);
        self.rub.friction_n * pressed * (1.0 + self.rub.roughness_ratio * self.height(depth_m)) * sliding
    }

    /// ξ.
    fn height(&self, depth_m: f64) -> f64 {
        let place = depth_m / self.rub.grain_m;
        let grain = place as usize;
        let share = place - grain as f64;
        let first = grain % HEIGHTS;
        let [before, after] = [first, (first + 1) % HEIGHTS].map(|height| self.heights[height]);
        before + (after - before) * share * share * (3.0 - 2.0 * share)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wall_is_met_on_its_side_only_and_pressed_home_gradually() {
        let smooth = Rub { roughness_ratio: 0.0, ..Rub::hard(-1e-3) };
        let wall = Wall::new(smooth);
        for x_m in [-1e-3, -0.5e-3, 0.0, 2e-3, f64::NAN] {
            assert_eq!(wall.force_n(x_m, 1.0), 0.0);
        }
        // One onset beyond: 1/√2. Velocity 100 v₀: 1 − 5e-5.
        let found = wall.force_n(-1e-3 - smooth.onset_m, 1.0) / smooth.friction_n;
        assert!((found - 0.5_f64.sqrt()).abs() < 5e-5, "{found}");
        assert!((wall.force_n(-2e-2, -1.0) / smooth.friction_n + 1.0).abs() < 1e-4);
    }

    #[test]
    fn friction_never_pushes_the_cone_along() {
        let wall = Wall::new(Rub { roughness_ratio: 1.0, ..Rub::hard(0.2e-3) });
        let mut random = Random::new(9);
        let mut greatest: f64 = 0.0;
        for _ in 0..20_000 {
            let (x_m, v_m_s) = (3e-3 * random.uniform(), 2.0 * random.normal());
            let force_n = wall.force_n(x_m, v_m_s);
            assert!(force_n * v_m_s >= 0.0, "{x_m} {v_m_s} {force_n}");
            greatest = greatest.max(force_n.abs());
        }
        // Once pressed home it is between nothing and twice F_f.
        assert!(greatest > 1.9 * HARD_N && greatest < 2.0 * HARD_N, "{greatest}");
    }

    /// Neighbouring heights are as independent as chance: a place and the one a grain on have nothing in common.
    #[test]
    fn a_wall_is_rough_from_grain_to_grain_and_the_same_each_time() {
        let rub = Rub { roughness_ratio: 1.0, onset_m: 1e-6, ..Rub::hard(1e-3) };
        let heights = |seed| -> Vec<f64> {
            let wall = Wall::new(Rub { seed, ..rub });
            (1..1000).map(|grain| wall.force_n(1e-3 + f64::from(grain) * rub.grain_m, 1.0) / HARD_N - 1.0).collect()
        };
        let one = heights(1);
        assert_eq!(one, heights(1));
        let power = one.iter().map(|height| height * height).sum::<f64>() / 999.0;
        let apart = one.windows(2).map(|pair| pair[0] * pair[1]).sum::<f64>() / 998.0 / power;
        let other: f64 = one.iter().zip(heights(2)).map(|(a, b)| a * b).sum::<f64>() / 999.0 / power;
        // Uniform in (−1, 1): power 1/3; a thousand of them spread by 3 %.
        assert!((power - 1.0 / 3.0).abs() < 0.03 && apart.abs() < 0.1 && other.abs() < 0.1, "{power} {apart} {other}");
    }
}
