//! Preferred values of parts.
//!
//! ```text
//! E3 to E24: two digits, rounded 10^(k/n) but for eight values        E48 to E192: three digits, rounded 10^(k/n) but for 9.20
//! ```
//!
//! Source: IEC 60063:2015, as tabulated in `tests/reference/e_series.csv`.

/// A series of preferred values.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)] // named after how many values a decade has
pub enum ESeries {
    E3,
    E6,
    E12,
    E24,
    E48,
    E96,
    E192,
}

/// E24 where it is not the rounded power.
const E24: [f64; 24] = [
    1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2,
    9.1,
];

impl ESeries {
    /// All series by name.
    pub const ALL: [(&'static str, Self); 7] = [
        ("E3", Self::E3),
        ("E6", Self::E6),
        ("E12", Self::E12),
        ("E24", Self::E24),
        ("E48", Self::E48),
        ("E96", Self::E96),
        ("E192", Self::E192),
    ];

    /// The values from 1 to below 10, rising.
    pub fn decade(self) -> Vec<f64> {
        match self {
            Self::E3 => E24.iter().copied().step_by(8).collect(),
            Self::E6 => E24.iter().copied().step_by(4).collect(),
            Self::E12 => E24.iter().copied().step_by(2).collect(),
            Self::E24 => E24.to_vec(),
            Self::E48 => fine(48),
            Self::E96 => fine(96),
            Self::E192 => fine(192),
        }
    }

    /// The value of the series nearest by ratio to a positive one.
    pub fn nearest(self, value: f64) -> f64 {
        let decade = 10f64.powf(value.log10().floor());
        let ratio = |candidate: f64| (candidate / value).ln().abs();
        let around = self.decade().into_iter().chain([10.0]).map(|step| step * decade);
        around.min_by(|one, other| ratio(*one).total_cmp(&ratio(*other))).unwrap_or(value)
    }
}

fn fine(steps: u32) -> Vec<f64> {
    let rounded = |k: u32| (100.0 * 10f64.powf(f64::from(k) / f64::from(steps))).round() / 100.0;
    (0..steps).map(rounded).map(|value| if steps == 192 && value == 9.19 { 9.20 } else { value }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn all_values_are_those_of_the_standard() {
        let table = include_str!("../../tests/reference/e_series.csv");
        let mut found = 0;
        for (name, series) in ESeries::ALL {
            let of_it: Vec<f64> = table
                .lines()
                .filter(|line| line.starts_with(&format!("{name},")))
                .map(|line| line.split(',').nth(2).unwrap().parse().unwrap())
                .collect();
            assert_eq!(series.decade(), of_it, "{name}");
            found += of_it.len();
        }
        assert_eq!(found, 3 + 6 + 12 + 24 + 48 + 96 + 192);
    }

    #[test]
    fn the_nearest_value_is_nearest_by_ratio() {
        // 1e-12: a power of ten and a product.
        for (series, value, nearest) in [
            (ESeries::E12, 6.1e-6, 5.6e-6),
            (ESeries::E24, 6.1e-6, 6.2e-6),
            (ESeries::E12, 9.6, 10.0),
            (ESeries::E6, 0.4e-3, 0.47e-3),
        ] {
            assert!((series.nearest(value) / nearest - 1.0).abs() < 1e-12, "{value}");
        }
    }
}
