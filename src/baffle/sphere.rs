//! A small source on a rigid sphere.
//!
//! ```text
//! p/p_free = −(d/(k·a²))·e^{jkd}·Σ_n (2n + 1)·P_n(cos γ)·h_n(kr)/h_n'(ka)        p_free = jωρq·e^{−jkd}/(4πd)
//! ```
//!
//! a: radius, m; r, γ: distance of the ear from the centre and angle at the centre between source and ear; d: distance
//! between source and ear; q: volume velocity; h_n: spherical Hankel function of the second kind, an outgoing wave with
//! `exp(+jωt)`; h_n': its derivative. Exact for a point source; Source: P. M. Morse, K. U. Ingard, "Theoretical Acoustics",
//! section 7.2 (radiation from a sphere), the sign follows from −jωρ·v = ∂p/∂r.

use num_complex::Complex64;

/// Pressure over that of the same source in free space.
///
/// # Panics
/// When the ear lies inside the sphere: our own fault.
pub fn sphere_gain(wave_number: f64, radius_m: f64, ear_m: f64, cosine: f64) -> Complex64 {
    assert!(ear_m >= radius_m, "the ear lies inside the sphere");
    let (ka, kr) = (wave_number * radius_m, wave_number * ear_m);
    let direct_m = (radius_m * radius_m + ear_m * ear_m - 2.0 * radius_m * ear_m * cosine).sqrt();
    let (mut at_ear, mut at_wall) = (Hankel::new(kr), Hankel::new(ka));
    let [mut legendre, mut before] = [1.0, 0.0];
    let mut sum = Complex64::ZERO;
    let mut small = 0;
    for n in 0..MOST_TERMS {
        let order = f64::from(n);
        let term = (2.0 * order + 1.0) * legendre * (at_ear.value / at_wall.slope());
        if !term.is_finite() {
            break;
        }
        sum += term;
        // Legendre polynomials pass zero: two small terms are not yet the end.
        small = if term.norm() < LAST_TERM * sum.norm() { small + 1 } else { 0 };
        if small > 3 && order > ka {
            break;
        }
        (legendre, before) = (((2.0 * order + 1.0) * cosine * legendre - order * before) / (order + 1.0), legendre);
        at_ear.raise();
        at_wall.raise();
    }
    let phase = Complex64::cis(wave_number * direct_m);
    -sum * phase * direct_m / (wave_number * radius_m * radius_m)
}

/// Pressure of a cap that moves radially, over jωρ times its volume velocity, 1/m: `rim_m` is the radius of its rim, `ear_m` the way from the
/// sphere's centre to the ear, at an angle from the cap's axis whose cosine is given.
///
/// ```text
/// −(1/(4πkR²))·Σ_n (2n + 1)·C_n·P_n(cos γ)·h_n(kr)/h_n'(kR)        C_n = (P_{n−1}(cos α) − P_{n+1}(cos α))/((2n + 1)·(1 − cos α))
/// ```
///
/// P. M. Morse, K. U. Ingard, "Theoretical Acoustics", section 7.2. Where h_n grows out of all numbers the ratio is its static one,
/// −kR·(R/r)^{n+1}/(n + 1).
pub fn cap_gain(wave_number: f64, radius_m: f64, rim_m: f64, ear_m: f64, cosine: f64) -> Complex64 {
    let ratio = radius_m / ear_m.max(radius_m * CLOSEST);
    let (ka, kr) = (wave_number * radius_m, wave_number * radius_m / ratio);
    let (mut at_ear, mut at_wall) = (Hankel::new(kr), Hankel::new(ka));
    let rim = (1.0 - (rim_m / radius_m).min(1.0).powi(2)).sqrt();
    // P_{n−1}, P_n at the rim, where P_{−1} = 1 makes C_0 = 1, and at the ear.
    let [mut before, mut here, mut ear_before, mut ear_here] = [1.0, 1.0, 0.0, 1.0];
    let mut sum = Complex64::ZERO;
    let mut falling = ratio;
    for n in 0..MOST_TERMS {
        let order = f64::from(n);
        let next = |x: f64, here: f64, before: f64| ((2.0 * order + 1.0) * x * here - order * before) / (order + 1.0);
        let after = next(rim, here, before);
        // The square of a large divisor would be beyond all numbers.
        let scale = if at_wall.slope().norm() > 1e100 { 1e-150 } else { 1.0 };
        let exact = (at_ear.value * scale) / (at_wall.slope() * scale);
        let reach =
            if exact.is_finite() && exact != Complex64::ZERO { exact } else { (-ka * falling / (order + 1.0)).into() };
        let share = if n == 0 { 1.0 } else { (before - after) / (1.0 - rim) };
        sum += share * ear_here * reach;
        if falling < LAST_TERM && order > ka {
            break;
        }
        falling *= ratio;
        (before, here) = (here, after);
        (ear_before, ear_here) = (ear_here, next(cosine, ear_here, ear_before));
        at_ear.raise();
        at_wall.raise();
    }
    -sum / (2.0 * std::f64::consts::TAU * wave_number * radius_m * radius_m)
}

/// Nearer to the wall than this the series of a cap is too long.
const CLOSEST: f64 = 1.01;
const MOST_TERMS: u32 = 2000;
/// Terms below this part of the sum end it.
const LAST_TERM: f64 = 1e-13;

/// h_n(x) and its neighbour, from h_0 = j·e^{−jx}/x upwards: the recursion is stable, since h_n grows.
struct Hankel {
    x: f64,
    order: f64,
    value: Complex64,
    next: Complex64,
}

impl Hankel {
    fn new(x: f64) -> Self {
        let value = Complex64::I * Complex64::cis(-x) / x;
        // h_1 = h_0·(1/x + j): d/dx of −h_0.
        Self { x, order: 0.0, value, next: value * Complex64::new(1.0 / x, 1.0) }
    }

    fn raise(&mut self) {
        let after = (2.0 * self.order + 3.0) / self.x * self.next - self.value;
        (self.value, self.next) = (self.next, after);
        self.order += 1.0;
    }

    /// h_n' = (n/x)·h_n − h_{n+1}.
    fn slope(&self) -> Complex64 {
        self.order / self.x * self.value - self.next
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `sphere_diffraction.csv`: 40-digit arithmetic. Its ear is endlessly far away.
    #[test]
    fn the_sphere_is_that_of_the_exact_series() {
        let table = include_str!("../../tests/reference/sphere_diffraction.csv");
        let mut worst: f64 = 0.0;
        let mut rows = 0;
        for line in table.lines().filter(|line| !line.starts_with('#')).skip(1) {
            let numbers: Vec<f64> = line.split(',').take(4).map(|number| number.parse().unwrap()).collect();
            let far_m = 1e7;
            let found = sphere_gain(numbers[0], 1.0, far_m, 1.0);
            let aside = sphere_gain(numbers[0], 1.0, far_m, 0.5);
            worst = worst.max((20.0 * found.norm().log10() - numbers[1]).abs());
            worst = worst.max((20.0 * aside.norm().log10() - numbers[3]).abs());
            // The table's phase is referred to the sphere's centre.
            let turned = (found * Complex64::cis(numbers[0] - numbers[2].to_radians())).arg().to_degrees();
            assert!(turned.abs() < 1e-3, "ka {}: {turned} degrees", numbers[0]);
            rows += 1;
        }
        // Six decimals are printed; the ear is ten million radii away.
        assert!(rows == 16 && worst < 2e-6, "{worst}");
    }

    #[test]
    fn close_by_and_in_the_bass_the_sphere_only_gets_in_the_way() {
        // Far below, the nearness of the ear shifts the sound's centre forward: 1.5 of dipole, exact for ka → 0.
        let far = sphere_gain(0.001, 0.1, 1e4, 1.0);
        assert!((far.norm() - 1.0).abs() < 1e-4, "{far}");
        let half_sphere = sphere_gain(200.0, 0.1, 3.0, 1.0).norm();
        assert!((half_sphere - 2.0).abs() < 0.02, "{half_sphere}");
        assert!(sphere_gain(20.0, 0.1, 1.0, -1.0).norm() < 1.5);
    }
}
