//! An average of responses: of what, and how far they spread.

use super::super::facts::Facts;
use super::super::told::{Shown, Told, curve_name};
use crate::report::Entry;

/// What an average document tells.
pub(in super::super) fn told(facts: Facts<'_>) -> Told {
    let mut numbers: Vec<Entry> = Vec::new();
    numbers.extend(facts.number("of").map(|of| Entry::text("curves", format!("{of:.0}"))));
    numbers.extend(facts.text("settings.by").map(|by| Entry::text("averaged by", by)));
    numbers.extend(facts.band("band_hz").map(|band| Entry::text("band", band)));
    let spread: Vec<f64> = facts.all("spread.level_db").iter().filter_map(|level| level.0.as_f64()).collect();
    let worst = spread.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    numbers.extend(worst.is_finite().then(|| Entry::text("largest spread", format!("{worst:.1} dB"))));
    let of: Vec<String> = facts.all("inputs").iter().filter_map(|input| input.text("path")).map(curve_name).collect();
    Told {
        heading: facts.text("what").map_or_else(|| "Average".into(), |what| format!("Average: {what}")),
        prose: if of.is_empty() { Vec::new() } else { vec![format!("Of {}.", of.join(", "))] },
        numbers,
        pictures: vec![Shown::open("average", "The average with ± 2u, over the curves that it comes from.")],
        verdicts: Vec::new(),
    }
}
