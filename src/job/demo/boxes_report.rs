//! The boxes' chapters of the demo's report: the leak, what sealing did, and the vent.

use super::boxes::{BoxEvening, OneBox};
use super::origin::origin;
use crate::bench::JigTruth;
use crate::files::FoundTable;
use crate::quantity::{Quantity, Unit};
use crate::report::{Chapter, Entry, Figure, symbol};

/// What the boxes' part comes to, in a sentence.
pub(super) fn in_short(evening: &BoxEvening) -> String {
    let [first, sealed, vented] =
        [&evening.first, &evening.sealed, &evening.vented].map(|one| &one.examined.document.found);
    let says = |quantity: Option<Quantity>| quantity.map_or("–".to_owned(), |quantity| quantity.to_string());
    format!(
        "Its first box leaks with a Q_L of {}, and a wall rings; sealed and braced it has {} of air, Q_tc {}. A vented one is tuned to {}.",
        says(first.leak.ql),
        says(sealed.volume),
        says(sealed.qtc),
        says(vented.fb)
    )
}

/// The chapters, in order.
pub(super) fn chapters(evening: &BoxEvening) -> Vec<Chapter> {
    let first = "The driver in its first box, on the same jig, with the document of its free-air measurement: the impedance alone tells whether air \
                 leaks out, how much air there is, and that something rings.";
    let sealed = "The seam was glued and a brace set. The same measurement again, and the one before beside it: what both lean on drops out of the \
                  difference, so that small changes show.";
    let vented = "A vented box for the same driver. The tuning and the losses come from the two peaks and everything between; how much to cut off the \
                  tube follows from that alone.";
    [
        ("Is the first box airtight?", first, &evening.first),
        ("What sealing and bracing did", sealed, &evening.sealed),
        ("Where the vented box is tuned", vented, &evening.vented),
    ]
    .into_iter()
    .filter_map(|(heading, prose, one)| chapter(heading, prose, one))
    .collect()
}

fn chapter(heading: &str, prose: &str, one: &OneBox) -> Option<Chapter> {
    let document = &one.examined.document;
    let mut numbers = judged(&document.found, &one.truth);
    numbers.push(Entry::text("airtight", document.found.leak.present.replace("yes", "leaks").replace("no", "yes")));
    numbers.extend(document.found.wrinkles.iter().map(|wrinkle| {
        let hint = wrinkle.hints.first().map_or(String::new(), |hint| format!(": {hint}"));
        Entry::text("rings", format!("at {:.0} Hz, {:.2} Ω high{hint}", wrinkle.frequency_hz, wrinkle.height_ohm))
    }));
    numbers.extend(document.design.iter().map(|beside| {
        let name = format!("{} against the design", symbol(&beside.quantity));
        Entry::text(&name, beside.says.clone())
    }));
    let real = document.changes.iter().filter(|change| change.real);
    numbers.extend(real.map(|change| Entry::text("changed", change.says.clone())));
    Some(Chapter {
        heading: heading.into(),
        prose: vec![prose.into()],
        figures: vec![Figure {
            picture: one.examined.picture.clone()?,
            caption: "Measured and fitted, and what the model leaves in percent, with the wrinkles marked.".into(),
        }],
        numbers,
        findings: document.findings.clone(),
        settings: origin(&document.inputs, &document.settings),
    })
}

/// What was found beside the bench's truth.
fn judged(found: &FoundTable, truth: &JigTruth) -> Vec<Entry> {
    let Some(known) = truth.at.first().and_then(|at| at.boxed) else { return Vec::new() };
    let (closed, open) = (known.closed, known.open);
    // Below its resonance a wall yields as air does.
    let yielding = known.enclosure.wall.map_or(1.0, |wall| 1.0 + wall.share);
    [
        ("f_c", found.fc, closed.map(|closed| closed.fc_hz)),
        ("Q_tc", found.qtc, closed.map(|closed| closed.qtc)),
        ("f_b", found.fb, open.map(|open| open.fb_hz)),
        ("peak below", found.f_low, open.and_then(|open| open.f_low_hz)),
        ("peak above", found.f_high, open.and_then(|open| open.f_high_hz)),
        ("volume", found.volume, Some(1e3 * known.enclosure.air_m3() * yielding)),
        ("Q_L", found.leak.ql, known.enclosure.ql),
    ]
    .into_iter()
    .filter_map(|(name, found, truth)| {
        let (found, truth) = (found?, truth?);
        let unit = if found.unit == Unit::Pure { String::new() } else { format!(" {}", found.unit.symbol()) };
        let decimals = (1.0 - (2.0 * found.u).max(1e-9).log10().floor()).clamp(0.0, 9.0) as usize;
        Some(Entry::text(name, format!("{found} (truth {truth:.decimals$}{unit})")))
    })
    .collect()
}
