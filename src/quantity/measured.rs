//! A number with its doubt: value, standard uncertainty, unit.
//!
//! `u` is the standard uncertainty (k = 1) of JCGM 100:2008, "Guide to the expression of uncertainty in
//! measurement"; people are shown ± 2u.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A measured or fitted number. `u` is its standard uncertainty (k = 1) in the same unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Quantity {
    /// The value in `unit`.
    pub value: f64,
    /// The standard uncertainty in `unit`.
    pub u: f64,
    /// The unit of both.
    pub unit: Unit,
}

/// The units a document may use.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[allow(missing_docs)] // each is the unit it is written as
pub enum Unit {
    Hz,
    #[serde(rename = "ohm")]
    Ohm,
    #[serde(rename = "l")]
    Litre,
    #[serde(rename = "g")]
    Gram,
    #[serde(rename = "kg/s")]
    KilogramPerSecond,
    #[serde(rename = "mm/N")]
    MillimetrePerNewton,
    #[serde(rename = "T·m")]
    TeslaMetre,
    #[serde(rename = "cm2")]
    SquareCentimetre,
    #[serde(rename = "m3")]
    CubicMetre,
    #[serde(rename = "ms")]
    Millisecond,
    #[serde(rename = "s")]
    Second,
    #[serde(rename = "m")]
    Metre,
    #[serde(rename = "mm")]
    Millimetre,
    #[serde(rename = "ppm")]
    PartsPerMillion,
    #[serde(rename = "dB")]
    Decibel,
    #[serde(rename = "uF")]
    Microfarad,
    #[serde(rename = "mH")]
    Millihenry,
    #[serde(rename = "%")]
    Percent,
    #[serde(rename = "")]
    Pure,
}

impl Unit {
    /// The unit as people write it.
    pub fn symbol(self) -> &'static str {
        match self {
            Self::Hz => "Hz",
            Self::Ohm => "Ω",
            Self::Litre => "l",
            Self::Gram => "g",
            Self::KilogramPerSecond => "kg/s",
            Self::MillimetrePerNewton => "mm/N",
            Self::TeslaMetre => "T·m",
            Self::SquareCentimetre => "cm²",
            Self::CubicMetre => "m³",
            Self::Millisecond => "ms",
            Self::Second => "s",
            Self::Metre => "m",
            Self::Millimetre => "mm",
            Self::PartsPerMillion => "ppm",
            Self::Decibel => "dB",
            Self::Microfarad => "µF",
            Self::Millihenry => "mH",
            Self::Percent => "%",
            Self::Pure => "",
        }
    }
}

impl std::fmt::Display for Quantity {
    /// `92.4 ± 0.6 Hz`: value and ± 2u, the uncertainty with two digits, the value with as many decimals.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let expanded = 2.0 * self.u;
        let decimals = if expanded > 0.0 { (1 - expanded.log10().floor() as i32).clamp(0, 9) } else { 6 };
        let decimals = decimals as usize;
        write!(f, "{:.decimals$} ± {expanded:.decimals$}", self.value)?;
        if self.unit != Unit::Pure { write!(f, " {}", self.unit.symbol()) } else { Ok(()) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quantity_is_shown_with_twice_its_standard_uncertainty_in_two_digits() {
        let shown = |value, u, unit| Quantity { value, u, unit }.to_string();
        assert_eq!(shown(92.4321, 0.3, Unit::Hz), "92.43 ± 0.60 Hz");
        assert_eq!(shown(7.0, 12.0, Unit::Pure), "7 ± 24");
        assert_eq!(shown(1.0, 0.0, Unit::Decibel), "1.000000 ± 0.000000 dB");
    }

    #[test]
    fn a_quantity_reads_as_it_was_written() {
        let written = serde_json::to_string(&Quantity { value: 0.1, u: 0.02, unit: Unit::Ohm }).unwrap();
        assert_eq!(written, r#"{"value":0.1,"u":0.02,"unit":"ohm"}"#);
        assert_eq!(serde_json::from_str::<Quantity>(&written).unwrap().unit, Unit::Ohm);
    }
}
