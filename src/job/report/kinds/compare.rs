//! Measured over expected: how far apart, within which limits, and why.

use super::super::facts::Facts;
use super::super::told::{Shown, Told, curve_name, plus_minus};
use crate::files::frequency_text;
use crate::report::Entry;

/// What a comparison tells.
pub(in super::super) fn told(facts: Facts<'_>) -> Told {
    let paths: Vec<String> =
        facts.all("inputs").iter().filter_map(|input| input.text("path")).map(curve_name).collect();
    let heading = match &paths[..] {
        [measured, expected, ..] => format!("{measured} over {expected}"),
        _ => "Measured over expected".into(),
    };
    let verdict = verdict(facts, &heading);
    let mut numbers: Vec<Entry> = Vec::new();
    numbers.extend(facts.band("band_hz").map(|band| Entry::text("band", band)));
    let aligned = facts.number("aligned.level_db").map(|db| format!("{} dB, taken off", plus_minus(db, 2)));
    numbers.extend(aligned.map(|says| Entry::text("measured over expected on average", says)));
    numbers.extend(facts.number("rms_db").map(|db| Entry::text("difference", format!("{db:.2} dB rms"))));
    numbers.extend(worst(facts).map(|says| Entry::text("worst", says)));
    numbers.extend(facts.all("causes").into_iter().filter_map(|cause| {
        let share = cause.number("explains_percent").map_or(String::new(), |share| format!("; explains {share:.0} %"));
        Some(Entry::text(cause.text("cause")?, format!("{}{share}", cause.text("says")?)))
    }));
    numbers.extend(facts.text("left.says").map(|says| Entry::text("rest", says)));
    Told {
        heading,
        prose: verdict.iter().cloned().chain(explanation(facts)).collect(),
        numbers,
        pictures: vec![Shown::open("compare", "Measured over expected, and the difference between the limits.")],
        verdicts: verdict.into_iter().collect(),
    }
}

fn worst(facts: Facts<'_>) -> Option<String> {
    let (db, hz) = (facts.number("worst.level_db")?, facts.number("worst.at_hz")?);
    Some(format!("{} dB at {}", plus_minus(db, 1), frequency_text(hz)))
}

fn verdict(facts: Facts<'_>, heading: &str) -> Option<String> {
    let within = if facts.is("within")? { "within its limits" } else { "not within its limits" };
    let causes: Vec<&str> = facts.all("causes").into_iter().filter_map(|cause| cause.text("says")).collect();
    let why = if causes.is_empty() { String::new() } else { format!(": {}", causes.join("; ")) };
    Some(format!("{heading}: {within}, {} at worst{why}.", worst(facts)?))
}

/// What the explanation rests on, where one was asked for.
fn explanation(facts: Facts<'_>) -> Option<String> {
    facts.text("settings.explain")?;
    Some(
        "Every number of the design may be off by what is usual; what is off by more, and explains more than naming it costs, is named as a cause."
            .into(),
    )
}
