//! Published numbers for the tests of this room: `tests/reference/driver_relations.csv`, `driver_examples.csv`.

use crate::quantity::Air;
use std::collections::BTreeMap;

/// A row of `driver_relations.csv`.
pub(crate) struct Case {
    pub id: String,
    pub quantity: String,
    inputs: BTreeMap<String, f64>,
    expected: f64,
    relative_tolerance: f64,
}

impl Case {
    pub fn input(&self, name: &str) -> f64 {
        self.maybe(name).unwrap_or_else(|| panic!("{} has no {name}", self.id))
    }

    pub fn maybe(&self, name: &str) -> Option<f64> {
        self.inputs.get(name).copied()
    }

    /// Within the tolerance that stands beside the value.
    pub fn assert_close(&self, found: f64) {
        let off = (found / self.expected - 1.0).abs();
        // A printed answer is rounded by its author: half of its last digit stands beside it.
        assert!(off <= self.relative_tolerance, "{} {}: {found}, expected {}", self.id, self.quantity, self.expected);
    }
}

/// The rows about these quantities.
pub(crate) fn cases(quantities: &[&str]) -> Vec<Case> {
    rows(include_str!("../../tests/reference/driver_relations.csv"))
        .filter(|row| quantities.contains(&row["quantity"].as_str()))
        .map(|row| Case {
            id: row["id"].clone(),
            quantity: row["quantity"].clone(),
            inputs: row["inputs"]
                .split(';')
                .filter_map(|pair| pair.split_once('='))
                .map(|(name, value)| (name.to_owned(), value.parse().unwrap()))
                .collect(),
            expected: row["expected"].parse().unwrap(),
            relative_tolerance: row["relative_tolerance"].parse().unwrap(),
        })
        .collect()
}

/// A row of `driver_examples.csv`.
pub(crate) struct Example {
    pub name: String,
    columns: BTreeMap<String, String>,
}

impl Example {
    pub fn number(&self, column: &str) -> Option<f64> {
        self.columns.get(column)?.parse().ok()
    }

    /// Half of the last digit that is printed.
    pub fn half_digit(&self, column: &str) -> f64 {
        let text = &self.columns[column];
        0.5 * 10f64.powi(-(text.split_once('.').map_or(0, |(_, fraction)| fraction.len()) as i32))
    }
}

pub(crate) fn examples() -> Vec<Example> {
    rows(include_str!("../../tests/reference/driver_examples.csv"))
        .map(|columns| Example { name: columns["set"].clone(), columns })
        .collect()
}

fn rows(text: &'static str) -> impl Iterator<Item = BTreeMap<String, String>> {
    let mut lines = text.lines().filter(|line| !line.starts_with('#'));
    let names: Vec<&str> = lines.next().unwrap().split(',').collect();
    lines.map(move |line| names.iter().map(|name| (*name).to_owned()).zip(line.split(',').map(str::to_owned)).collect())
}

/// Air of the density and the speed of sound that an author used.
pub(crate) fn air_of(density_kg_m3: f64, speed_m_s: f64) -> Air {
    let temperature_c = 293.15 * (speed_m_s / 343.2).powi(2) - 273.15;
    let mut pressure_kpa = 101.325;
    for _ in 0..60 {
        // Density is very nearly proportional to pressure.
        pressure_kpa *= density_kg_m3 / Air::new(temperature_c, pressure_kpa).unwrap().density_kg_m3();
    }
    Air::new(temperature_c, pressure_kpa).unwrap()
}
