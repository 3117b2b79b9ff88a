//! A network into its loads: what its parts have to bear. It has no pictures of its own.

use super::super::facts::Facts;
use super::super::told::Told;
use crate::files::frequency_text;
use crate::report::Entry;

/// What a network document tells.
pub(in super::super) fn told(facts: Facts<'_>) -> Told {
    let mut numbers: Vec<Entry> = Vec::new();
    if let (Some(ohm), Some(hz)) = (facts.number("minimum.ohm"), facts.number("minimum.at_hz")) {
        numbers.push(Entry::text("least impedance", format!("{ohm:.2} Ω at {}", frequency_text(hz))));
    }
    numbers.extend(facts.all("parts").into_iter().filter_map(|part| {
        let (w, v) = (part.number("most_w")?, part.number("most_v")?);
        let says = format!("{w:.2} W at {}, at most {v:.2} V", frequency_text(part.number("at_hz")?));
        Some(Entry::text(part.text("name")?, says))
    }));
    Told { heading: "The network into its loads".into(), numbers, ..Told::default() }
}
