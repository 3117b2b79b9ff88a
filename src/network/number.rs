//! Numbers as netlists write them: `6.8u`, `0.39mH`, `4k7` is not one of them.
//!
//! ```text
//! t 10¹²   g 10⁹   meg 10⁶   k 10³   m 10⁻³   u, µ 10⁻⁶   n 10⁻⁹   p 10⁻¹²   f 10⁻¹⁵
//! ```
//!
//! In either case; letters after the factor are a unit and count for nothing. A capital M is a thousandth, as in every
//! netlist; a resistor of `1M` is therefore 1 mΩ. Source: the circuit simulator's language of the University of California,
//! Berkeley, from memory; checked with ngspice.

/// Longer names first.
const FACTORS: [(&str, f64); 10] = [
    ("meg", 1e6),
    ("t", 1e12),
    ("g", 1e9),
    ("k", 1e3),
    ("m", 1e-3),
    ("u", 1e-6),
    ("µ", 1e-6),
    ("n", 1e-9),
    ("p", 1e-12),
    ("f", 1e-15),
];

/// The number in SI, or `None` where it is none.
pub(super) fn number(word: &str) -> Option<f64> {
    let word = word.replace('μ', "µ").to_lowercase();
    let end = number_length(&word);
    let value: f64 = word.get(..end)?.parse().ok()?;
    let rest = &word[end..];
    if !rest.chars().all(|letter| letter.is_alphabetic() || letter == '%') {
        return None;
    }
    let factor = FACTORS.iter().find(|(name, _)| rest.starts_with(name)).map_or(1.0, |(_, factor)| *factor);
    Some(value * factor)
}

/// How many bytes belong to the digits: an `e` only where an exponent follows.
fn number_length(word: &str) -> usize {
    let bytes = word.as_bytes();
    let mut end = 0;
    while let Some(&byte) = bytes.get(end) {
        let sign_ok = end == 0 || bytes[end - 1] == b'e';
        let exponent = byte == b'e'
            && end > 0
            && match bytes.get(end + 1) {
                Some(b'+' | b'-') => bytes.get(end + 2).is_some_and(u8::is_ascii_digit),
                Some(next) => next.is_ascii_digit(),
                None => false,
            };
        match byte {
            b'0'..=b'9' | b'.' => {}
            b'+' | b'-' if sign_ok => {}
            b'e' if exponent => {}
            _ => break,
        }
        end += 1;
    }
    end
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What ngspice 39 prints for resistors of these values (`tests/reference/circuit`, by hand).
    #[test]
    fn numbers_are_read_as_circuit_simulators_read_them() {
        for (word, value) in [
            ("4.7", 4.7),
            ("6.8u", 6.8e-6),
            ("6.8uF", 6.8e-6),
            ("6.8µF", 6.8e-6),
            ("0.39mH", 0.39e-3),
            ("1M", 1e-3),
            ("1Meg", 1e6),
            ("1e-3", 1e-3),
            ("2.2E3k", 2.2e6),
            ("100p", 100e-12),
            ("8ohm", 8.0),
            ("-3", -3.0),
            (".5", 0.5),
        ] {
            let found = number(word).unwrap();
            // 1e-15: one rounding.
            assert!((found / value - 1.0f64).abs() < 1e-15, "{word}: {found}");
        }
        for word in ["", "u", "4k7", "1.2.3", "{x}", "--1", "e3"] {
            assert_eq!(number(word), None, "{word}");
        }
    }
}
