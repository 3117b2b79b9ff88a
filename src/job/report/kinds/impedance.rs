//! An impedance: what the amplifier gets, and where the load resonates.

use super::super::facts::Facts;
use super::super::told::{Shown, Told};
use crate::files::frequency_text;
use crate::report::Entry;

/// What an impedance document tells.
pub(in super::super) fn told(facts: Facts<'_>) -> Told {
    let place = |of: Facts<'_>, ohm: &str, hz: &str| {
        Some(format!("{:.2} Ω at {}", of.number(ohm)?, frequency_text(of.number(hz)?)))
    };
    let mut numbers: Vec<Entry> = Vec::new();
    let minimum = facts.at("minimum").and_then(|minimum| place(minimum, "ohm", "at_hz"));
    numbers.extend(minimum.map(|says| Entry::text("minimum", says)));
    let peaks = facts.all("peaks").into_iter().filter_map(|peak| place(peak, "magnitude_ohm", "frequency_hz"));
    numbers.extend(peaks.map(|says| Entry::text("peak", says)));
    numbers.extend(facts.number("rated_ohm").map(|ohm| Entry::text("rated impedance", format!("{ohm} Ω"))));
    numbers.extend(facts.line("sense resistor", "sense"));
    let gain = facts.number("gain_db").map(|db| format!("{db:.3} dB, taken off"));
    numbers.extend(gain.map(|says| Entry::text("load input over drive input", says)));
    let voltage = facts.number("load_voltage.highest_v").map(|v| format!("{:.0} mV rms at most", 1e3 * v));
    numbers.extend(voltage.map(|says| Entry::text("voltage across the load", says)));
    Told {
        heading: "Impedance".into(),
        numbers,
        pictures: vec![Shown::open("impedance", "Magnitude and phase; the band is ± 2u.")],
        ..Told::default()
    }
}
