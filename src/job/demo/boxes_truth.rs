//! What the demo tells of its boxes beside the results: why each was measured, and the bench's truth.

use super::boxes::{BoxEvening, OneBox};
use super::{DemoOrder, add};
use crate::bench::JigTruth;
use crate::files::FoundTable;
use crate::job::{Added, Additions};
use crate::quantity::Unit;
use crate::report::Entry;

/// Adds it to the results.
pub(super) fn tell(order: &DemoOrder, evening: &BoxEvening, additions: &mut Additions) {
    let first = "The driver in its first box, on the same jig, with the document of its free-air measurement: the impedance alone tells whether air \
                 leaks out, how much air there is, and that something rings.";
    let sealed = "The seam was glued and a brace set. The same measurement again, and the one before beside it: what both lean on drops out of the \
                  difference, so that small changes show.";
    let vented = "A vented box for the same driver. The tuning and the losses come from the two peaks and everything between; how much to cut off the \
                  tube follows from that alone.";
    let told: [(&str, &str, &OneBox); 3] = [
        ("Is the first box airtight?", first, &evening.first),
        ("What sealing and bracing did", sealed, &evening.sealed),
        ("Where the vented box is tuned", vented, &evening.vented),
    ];
    for (heading, prose, one) in told {
        let numbers = judged(&one.examined.document.found, &one.truth);
        let added = Added { heading: Some(heading.into()), prose: vec![prose.into()], numbers, figures: Vec::new() };
        add(order, &one.examined.folder.join("box.json"), added, additions);
    }
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
        Some(Entry::text(&format!("{name} in truth"), format!("{truth:.decimals$}{unit}")))
    })
    .collect()
}
