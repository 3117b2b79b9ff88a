//! Where a function of one number is highest, when it has many hills.
//!
//! Every step of a range is looked at, and the best one is improved by ever smaller steps to both sides. A hill narrower than a
//! step may be missed. Ours: nothing finer is needed for delays, whose hills are a period wide.

/// Looks from −`reach` to +`reach`.
pub fn highest_place(height: impl Fn(f64) -> f64, reach: f64, step: f64) -> f64 {
    let steps = (reach / step) as i64;
    let places = (-steps..=steps).map(|n| n as f64 * step);
    let first = places.map(|place| (place, height(place))).max_by(|a, b| a.1.total_cmp(&b.1));
    let (mut best, mut most) = first.unwrap_or((0.0, height(0.0)));
    let mut width = step;
    for _ in 0..ROUNDS {
        for there in [best - width, best + width] {
            let found = height(there);
            if found > most {
                (best, most) = (there, found);
            }
        }
        width *= NARROWER;
    }
    best
}

/// 0.7⁶⁰ is 5e-10 of a step.
const ROUNDS: u32 = 60;
const NARROWER: f64 = 0.7;

#[cfg(test)]
mod tests {
    use super::*;

    /// cos(2π·x)·e^{−(x − 3.2)²/8}: hills near the whole numbers, the one near 3 highest; its top by calculus, tan(2π·x) = −(x − 3.2)/(8π).
    #[test]
    fn the_highest_of_many_hills_is_found_to_its_top() {
        let tau = std::f64::consts::TAU;
        let found = highest_place(|x| (tau * x).cos() * (-(x - 3.2f64).powi(2) / 8.0).exp(), 10.0, 0.03);
        // 1e-7: near its top a hill is flat to the root of double precision.
        assert!(
            ((tau * found).tan() + (found - 3.2) / (4.0 * tau)).abs() < 1e-6 && (found - 3.0).abs() < 0.01,
            "{found}"
        );
    }
}
