//! A box: what it is, whether air leaks out, what rings, and how that compares with the design and with before.

use super::super::facts::Facts;
use super::super::told::{Shown, Told};
use crate::files::frequency_text;
use crate::report::{Entry, symbol};

/// Numbers with their names, those of closed and of open boxes.
const FOUND: [(&str, &str); 12] = [
    ("f_c", "fc"),
    ("Q_mc", "qmc"),
    ("Q_ec", "qec"),
    ("Q_tc", "qtc"),
    ("f_b", "fb"),
    ("peak below", "f_low"),
    ("peak above", "f_high"),
    ("α", "alpha"),
    ("volume", "volume"),
    ("Q_L", "ql"),
    ("Q_A", "qa"),
    ("Q_P", "qp"),
];

/// What a box document tells.
pub(in super::super) fn told(facts: Facts<'_>) -> Told {
    let name = facts.text("name").unwrap_or("the box");
    let leak = leak(facts);
    let mut numbers: Vec<Entry> = FOUND.iter().filter_map(|(called, key)| facts.line(called, key)).collect();
    numbers.extend(leak.map(|(says, _)| Entry::text("airtight", says)));
    numbers.extend(facts.all("wrinkles").into_iter().filter_map(wrinkle));
    numbers.extend(facts.all("design").into_iter().filter_map(|beside| {
        let name = format!("{} against the design", symbol(beside.text("quantity")?));
        Some(Entry::text(&name, beside.text("says")?))
    }));
    let real = facts.all("changes").into_iter().filter(|change| change.is("real") == Some(true));
    numbers.extend(real.filter_map(|change| Some(Entry::text("changed", change.text("says")?))));
    let volume = facts.quantity("volume").map_or(String::new(), |volume| format!(", {volume} of air"));
    let pitch =
        [("Q_tc", "qtc"), ("f_b", "fb")].into_iter().find_map(|(called, key)| Some((called, facts.quantity(key)?)));
    let pitch = pitch.map_or(String::new(), |(called, found)| format!(", {called} {found}"));
    let verdict = leak.map(|(_, verdict)| format!("{name}: {verdict}{volume}{pitch}."));
    Told {
        heading: format!("What {name} really is"),
        prose: Vec::new(),
        numbers,
        pictures: vec![Shown::open(
            "box",
            "Measured and fitted, and what the model leaves in percent, narrow resonances marked.",
        )],
        verdicts: verdict.into_iter().collect(),
    }
}

/// Whether air leaks out: for the table, and for a sentence.
fn leak(facts: Facts<'_>) -> Option<(&'static str, &'static str)> {
    match facts.text("leak.present")? {
        "yes" => Some(("no, it leaks", "it leaks")),
        "no" => Some(("yes", "airtight")),
        _ => Some(("undecided", "whether it leaks is undecided")),
    }
}

fn wrinkle(found: Facts<'_>) -> Option<Entry> {
    let hint = found.texts("hints").first().map_or(String::new(), |hint| format!(": {hint}"));
    let (hz, ohm) = (found.number("frequency_hz")?, found.number("height_ohm")?);
    Some(Entry::text("rings", format!("at {}, {ohm:.2} Ω high{hint}", frequency_text(hz))))
}
