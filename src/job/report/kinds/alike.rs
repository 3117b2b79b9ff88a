//! Units beside each other: which pairs are alike, and what makes those differ that are not.

use super::super::facts::Facts;
use super::super::told::{Told, curve_name, plus_minus};
use crate::files::frequency_text;
use crate::report::Entry;

/// What a match tells. It has no pictures of its own.
pub(in super::super) fn told(facts: Facts<'_>) -> Told {
    let names: Vec<String> = facts.all("units").iter().filter_map(|unit| unit.text("name")).map(called).collect();
    let mut numbers: Vec<Entry> = facts.all("units").into_iter().filter_map(unit).collect();
    let pairs = facts.all("pairs");
    numbers.extend(pairs.iter().flat_map(|of| pair(*of)));
    numbers.extend(facts.text("odd_one_out").map(|name| Entry::text("the odd one out", called(name))));
    let verdict = facts.is("within").map(|within| {
        let verdicts: Vec<&str> = pairs.iter().filter_map(|pair| pair.text("verdict")).collect();
        let answer = match within {
            true if verdicts.contains(&"undecided") => "within their limits as far as can be decided",
            true => "alike within their limits",
            false => "not alike within their limits",
        };
        format!("{}: {answer}.", names.join(", "))
    });
    Told {
        heading: if names.is_empty() { "Units beside each other".into() } else { names.join(", ") },
        prose: verdict.iter().cloned().collect(),
        numbers,
        pictures: Vec::new(),
        verdicts: verdict.into_iter().collect(),
    }
}

/// A unit's name in words: `match` calls units by their curves.
fn called(name: &str) -> String {
    if name.contains('/') { curve_name(name) } else { name.to_owned() }
}

fn unit(unit: Facts<'_>) -> Option<Entry> {
    let says = format!("f_s {}, Q_ts {}, R_e {}", unit.quantity("fs")?, unit.quantity("qts")?, unit.quantity("re")?);
    Some(Entry::text(&called(unit.text("name")?), says))
}

fn pair(pair: Facts<'_>) -> Vec<Entry> {
    let (Some(a), Some(b)) = (pair.text("a"), pair.text("b")) else { return Vec::new() };
    let of = pair.text("of").map_or(String::new(), |of| format!(", {of}"));
    let name = format!("{} and {}{of}", called(a), called(b));
    let (rms, worst) = (pair.number("rms_db"), pair.number("worst.level_db").zip(pair.number("worst.at_hz")));
    let mut lines = Vec::new();
    if let (Some(rms), Some((db, hz))) = (rms, worst) {
        let verdict = pair.text("verdict").map_or(String::new(), |verdict| format!(": {verdict}"));
        lines.push(Entry::text(
            &name,
            format!("{rms:.2} dB rms apart, {} dB at {}{verdict}", plus_minus(db, 1), frequency_text(hz)),
        ));
    }
    lines.extend(pair.texts("says").into_iter().map(|says| Entry::text(&format!("{name}, beyond chance"), says)));
    lines
}
