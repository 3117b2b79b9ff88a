//! The filters between which a satellite and a subwoofer share the band.
//!
//! ```text
//! Butterworth of order n:  H_lp(s) = 1/Π (s − p_k)    H_hp(s) = sⁿ/Π (s − p_k)    p_k = e^{jπ(2k + n − 1)/(2n)}, k = 1 … n
//! Linkwitz-Riley of order 2n:  the square of the Butterworth of order n                  s = j·f/f_c
//! ```
//!
//! f_c: crossover frequency, Hz: −3.01 dB of a Butterworth, −6.02 dB of a Linkwitz-Riley. As a receiver has them: without
//! delay of its own, the same above and below.
//! Sources: S. Butterworth, "On the Theory of Filter Amplifiers", Wireless Engineer 7 (1930) 536–541; S. H. Linkwitz,
//! "Active Crossover Networks for Noncoincident Drivers", J. Audio Eng. Soc. 24 (1976) 2–8.

use super::BlendError;
use num_complex::Complex64;
use std::f64::consts::PI;
use std::fmt;
use std::str::FromStr;

/// A crossover's shape: family and order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// Butterworth of this order, 1 to [`MOST_ORDER`].
    Butterworth(u32),
    /// Linkwitz-Riley of this order, even, 2 to [`MOST_ORDER`].
    LinkwitzRiley(u32),
}

/// The highest order there is.
pub const MOST_ORDER: u32 = 8;

/// Which side of the crossover is let through.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Passes {
    /// What lies above: the satellite's.
    High,
    /// What lies below: the subwoofer's.
    Low,
}

impl Shape {
    /// H at f over f_c = `ratio`.
    pub fn value(self, passes: Passes, ratio: f64) -> Complex64 {
        match self {
            Self::Butterworth(order) => butterworth(order, passes, ratio),
            Self::LinkwitzRiley(order) => butterworth(order / 2, passes, ratio).powu(2),
        }
    }

    /// How steep it is far away: 6.02 dB an octave for each.
    pub fn order(self) -> u32 {
        match self {
            Self::Butterworth(order) | Self::LinkwitzRiley(order) => order,
        }
    }
}

fn butterworth(order: u32, passes: Passes, ratio: f64) -> Complex64 {
    let s = Complex64::new(0.0, ratio);
    let pole = |k: u32| Complex64::cis(PI * f64::from(2 * k + order - 1) / f64::from(2 * order));
    let product: Complex64 = (1..=order).map(|k| s - pole(k)).product();
    match passes {
        Passes::Low => product.inv(),
        Passes::High => s.powu(order) / product,
    }
}

impl fmt::Display for Shape {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Butterworth(order) => write!(f, "BW{order}"),
            Self::LinkwitzRiley(order) => write!(f, "LR{order}"),
        }
    }
}

impl FromStr for Shape {
    type Err = BlendError;

    /// `BW2`, `LR4` …, in either case.
    fn from_str(text: &str) -> Result<Self, BlendError> {
        let refuse = || BlendError::Filter { found: text.to_owned() };
        let name = text.trim().to_ascii_uppercase();
        let order = |digits: &str| digits.parse().ok().filter(|order| (1..=MOST_ORDER).contains(order));
        if let Some(digits) = name.strip_prefix("BW") {
            return order(digits).map(Self::Butterworth).ok_or_else(refuse);
        }
        let order = name.strip_prefix("LR").and_then(order).filter(|order| order % 2 == 0);
        order.map(Self::LinkwitzRiley).ok_or_else(refuse)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::db_from_amplitude;

    /// tests/reference/crossover_sums.csv: sums of ideal pairs, orders 1 to 4 and 8, derived there in closed form.
    #[test]
    fn the_two_sides_add_up_as_they_should() {
        let rows = include_str!("../../tests/reference/crossover_sums.csv");
        let mut seen = 0;
        for row in rows.lines().filter(|line| !line.starts_with('#')).skip(1) {
            let fields: Vec<&str> = row.split(',').collect();
            let shape: Shape = format!("{}{}", fields[0], fields[1]).parse().unwrap();
            let ratio: f64 = fields[3].parse().unwrap();
            let sign = if fields[2] == "same" { 1.0 } else { -1.0 };
            let sum = shape.value(Passes::High, ratio) * sign + shape.value(Passes::Low, ratio);
            seen += 1;
            if fields[4] == "-inf" {
                assert!(sum.norm() < 1e-12, "{row}");
                continue;
            }
            let [level_db, degrees]: [f64; 2] = [fields[4], fields[5]].map(|field| field.parse().unwrap());
            // Six decimals of a decibel, four of a degree are given.
            assert!((db_from_amplitude(sum.norm()) - level_db).abs() < 1e-6, "{row}: {sum}");
            let off = sum / Complex64::cis(degrees.to_radians());
            assert!(off.arg().to_degrees().abs() < 1e-4, "{row}: {}", sum.arg().to_degrees());
        }
        assert!(seen > 40, "{seen}");
    }

    /// The definitions: maximally flat magnitude 1/√(1 + (f/f_c)²ⁿ).
    #[test]
    fn a_butterworth_has_its_magnitude_in_closed_form() {
        for order in 1..=MOST_ORDER {
            for ratio in [0.1, 0.7, 1.0, 1.3, 10.0] {
                let low = (1.0 + f64::powi(ratio, 2 * order as i32)).sqrt().recip();
                let high = (1.0 + f64::powi(ratio, -2 * order as i32)).sqrt().recip();
                let shape = Shape::Butterworth(order);
                // 1e-12: a product of eight.
                assert!((shape.value(Passes::Low, ratio).norm() / low - 1.0).abs() < 1e-12);
                assert!((shape.value(Passes::High, ratio).norm() / high - 1.0).abs() < 1e-12);
            }
        }
    }

    #[test]
    fn a_name_reads_back_and_nonsense_is_refused() {
        for name in ["BW1", "BW2", "BW4", "LR2", "LR4", "LR8"] {
            assert_eq!(name.parse::<Shape>().unwrap().to_string(), name);
        }
        assert_eq!("lr4".parse::<Shape>().unwrap(), Shape::LinkwitzRiley(4));
        for name in ["LR3", "BW0", "BW9", "X4", "LR", ""] {
            assert!(name.parse::<Shape>().is_err(), "{name}");
        }
    }
}
