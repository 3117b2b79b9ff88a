//! Numbers with units as people type them: `6.8uF`, `3.3 mH`, `4.7k`, `120 mm`, `48 kHz`, `1/12`.

use super::QuantityError;

/// What kind of quantity an option takes; a bare number is in the unit named here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dimension {
    /// Hz
    Frequency,
    /// s
    Seconds,
    /// ms
    Milliseconds,
    /// dB
    Decibel,
    /// m
    Metres,
    /// mm
    Millimetres,
    /// cm²
    SquareCentimetres,
    /// l
    Litres,
    /// g
    Grams,
    /// °C
    Celsius,
    /// kPa
    Kilopascal,
    /// ohm
    Ohm,
    /// V
    Volt,
    /// A number without unit; a fraction such as 1/12 is one.
    Pure,
}

impl Dimension {
    /// The unit symbol, its size in the option's own unit when written with the prefix of one.
    fn symbols(self) -> (&'static [&'static str], f64) {
        match self {
            Self::Frequency => (&["Hz", "hz"], 1.0),
            Self::Seconds => (&["s"], 1.0),
            Self::Milliseconds => (&["s"], 1e3),
            Self::Decibel => (&["dBFS", "dbfs", "dB", "db"], 1.0),
            Self::Metres => (&["m"], 1.0),
            Self::Millimetres => (&["m"], 1e3),
            Self::SquareCentimetres => (&["cm2", "cm²"], 1.0),
            Self::Litres => (&["l", "L"], 1.0),
            Self::Grams => (&["g"], 1.0),
            Self::Celsius => (&["°C", "C", "degC"], 1.0),
            Self::Kilopascal => (&["Pa"], 1e-3),
            Self::Ohm => (&["ohm", "Ohm", "Ω"], 1.0),
            Self::Volt => (&["V", "v"], 1.0),
            Self::Pure => (&[""], 1.0),
        }
    }

    fn name(self) -> &'static str {
        match self {
            Self::Frequency => "frequency (Hz)",
            Self::Seconds => "time (s)",
            Self::Milliseconds => "time (ms)",
            Self::Decibel => "level (dB)",
            Self::Metres => "length (m)",
            Self::Millimetres => "length (mm)",
            Self::SquareCentimetres => "area (cm2)",
            Self::Litres => "volume (l)",
            Self::Grams => "mass (g)",
            Self::Celsius => "temperature (°C)",
            Self::Kilopascal => "pressure (kPa)",
            Self::Ohm => "resistance (ohm)",
            Self::Volt => "voltage (V)",
            Self::Pure => "plain number",
        }
    }
}

/// The number a person typed, in the unit that `dimension` names.
///
/// A decimal comma is taken as a point. An SI prefix (`u`, `µ`, `m`, `c`, `k`, `M`) may stand before the unit, or
/// alone; a bare number is in the dimension's own unit.
///
/// # Errors
/// [`QuantityError::Typed`] when it is no such number, or not finite.
pub fn number_as_typed(typed: &str, dimension: Dimension) -> Result<f64, QuantityError> {
    let refuse = || QuantityError::Typed { typed: typed.to_owned(), expected: dimension.name() };
    let text = typed.trim().replace(',', ".");
    let split = text
        .char_indices()
        .find(|&(at, c)| !(c.is_ascii_digit() || matches!(c, '.' | '+' | '-' | '/') || is_exponent(&text, at)))
        .map_or(text.len(), |(at, _)| at);
    let (number, unit) = text.split_at(split);
    let number = match number.split_once('/') {
        Some((over, under)) => {
            over.trim().parse::<f64>().ok().zip(under.trim().parse::<f64>().ok()).map(|(o, u)| o / u)
        }
        None => number.trim().parse::<f64>().ok(),
    };
    let value = number.ok_or_else(refuse)? * unit_size(unit.trim(), dimension).ok_or_else(refuse)?;
    if value.is_finite() { Ok(value) } else { Err(refuse()) }
}

/// Whether the letter at `at` is the `e` of `1e-3`.
fn is_exponent(text: &str, at: usize) -> bool {
    let next = text[at + text[at..].chars().next().map_or(1, char::len_utf8)..].chars().next();
    matches!(text[at..].chars().next(), Some('e' | 'E'))
        && at > 0
        && next.is_some_and(|c| c.is_ascii_digit() || c == '-' || c == '+')
}

fn unit_size(unit: &str, dimension: Dimension) -> Option<f64> {
    if unit.is_empty() {
        return Some(1.0);
    }
    let (symbols, own_unit) = dimension.symbols();
    for symbol in symbols {
        if let Some(prefix) = unit.strip_suffix(symbol)
            && let Some(size) = prefix_size(prefix.trim())
        {
            return Some(size * own_unit);
        }
    }
    // `48k`, `4.7k`: a prefix alone stands before the SI unit itself, except where it would be taken for a unit.
    match dimension {
        Dimension::Frequency | Dimension::Ohm => prefix_size(unit),
        _ => None,
    }
}

fn prefix_size(prefix: &str) -> Option<f64> {
    Some(match prefix {
        "" => 1.0,
        "u" | "µ" | "μ" => 1e-6,
        "m" => 1e-3,
        "c" => 1e-2,
        "k" | "K" => 1e3,
        "M" => 1e6,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_are_read_as_people_type_them() {
        let cases = [
            ("48 kHz", Dimension::Frequency, 48_000.0),
            ("48k", Dimension::Frequency, 48_000.0),
            ("20", Dimension::Frequency, 20.0),
            ("4.7k", Dimension::Ohm, 4_700.0),
            ("5 ms", Dimension::Milliseconds, 5.0),
            ("5", Dimension::Milliseconds, 5.0),
            ("0.005s", Dimension::Milliseconds, 5.0),
            ("250ms", Dimension::Seconds, 0.25),
            ("120 mm", Dimension::Metres, 0.12),
            ("12 cm", Dimension::Metres, 0.12),
            ("1 MHz", Dimension::Frequency, 1e6),
            ("0,5 m", Dimension::Metres, 0.5),
            ("1/12", Dimension::Pure, 1.0 / 12.0),
            ("13 cm", Dimension::Millimetres, 130.0),
            ("130", Dimension::Millimetres, 130.0),
            ("137 cm²", Dimension::SquareCentimetres, 137.0),
            ("2.8 l", Dimension::Litres, 2.8),
            ("1.2 kg", Dimension::Grams, 1200.0),
            ("-3 °C", Dimension::Celsius, -3.0),
            ("98.5 kPa", Dimension::Kilopascal, 98.5),
            ("-20 dBFS", Dimension::Decibel, -20.0),
            ("1e-3", Dimension::Seconds, 1e-3),
        ];
        for (typed, dimension, expected) in cases {
            let read = number_as_typed(typed, dimension).unwrap();
            // 1e-15 relative: a product of two exactly read doubles.
            assert!((read / expected - 1.0).abs() < 1e-15, "{typed}: {read}");
        }
    }

    #[test]
    fn what_is_no_number_of_that_kind_is_refused_by_name() {
        for (typed, dimension) in [
            ("", Dimension::Pure),
            ("fast", Dimension::Seconds),
            ("5 mm", Dimension::Seconds),
            ("1/0", Dimension::Pure),
            ("nan", Dimension::Frequency),
            ("5 ms", Dimension::Frequency),
            ("é", Dimension::Seconds),
        ] {
            let error = number_as_typed(typed, dimension).unwrap_err();
            assert!(error.to_string().contains(typed), "{error}");
        }
    }
}
