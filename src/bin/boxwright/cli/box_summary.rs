//! A box's document in words for people.

use boxwright::files::{BoxDocument, DesignTable, FoundTable, frequency_text};
use boxwright::quantity::Quantity;
use boxwright::report::{Entry, Layout, findings_text, numbers_text, symbol};
use std::path::Path;

/// What the box is, how sure that is, what changed, what differs from the design, and what there is to say about it.
pub fn summary(document: &BoxDocument, folder: &Path) -> String {
    let layout = Layout { width: 100, paint: super::tell::paint() };
    let found = &document.found;
    let named = document.name.clone().unwrap_or_else(|| document.inputs[0].path.clone());
    let mut text = format!("{named}: {} box\n{}", found.kind, numbers_text(&numbers(found), layout));
    let mut part = |heading: &str, entries: Vec<Entry>| {
        if !entries.is_empty() {
            text.push_str(&format!("\n{heading}\n{}", numbers_text(&entries, layout)));
        }
    };
    part("what rings", wrinkles(found));
    part("beside the design", document.design.iter().map(beside).collect());
    part("since the curve before", changes(document));
    let findings = findings_text(&document.findings, layout);
    if !findings.is_empty() {
        text.push_str(&format!("\n{findings}"));
    }
    text.push_str(&format!("\nwritten to {} ({} files); ± is 2u\n", folder.display(), document.files.len()));
    text
}

fn numbers(found: &FoundTable) -> Vec<Entry> {
    let all = [
        ("f_c", found.fc),
        ("Q_mc", found.qmc),
        ("Q_ec", found.qec),
        ("Q_tc", found.qtc),
        ("f_b", found.fb),
        ("peak below", found.f_low),
        ("peak above", found.f_high),
        ("f_p", found.fp),
        ("R_e", found.re),
        ("V_as/V", found.alpha),
        ("volume", found.volume),
        ("Q_L", found.ql),
        ("Q_A", found.qa),
        ("Q_P", found.qp),
    ];
    let mut entries: Vec<Entry> =
        all.into_iter().filter_map(|(name, quantity)| Some(Entry::quantity(name, quantity?))).collect();
    entries.push(Entry::text("airtight", airtight(found)));
    if let Some(mass) = found.driver_moved.mass {
        let percent =
            Quantity { value: 100.0 * (mass.value - 1.0), u: 100.0 * mass.u, unit: boxwright::quantity::Unit::Percent };
        entries.push(Entry::text("moving mass", format!("{percent} more than in free air")));
    }
    entries.push(Entry::text("left over", format!("{:.2} % of |Z|", found.residual_percent)));
    entries
}

/// One line on leaks.
fn airtight(found: &FoundTable) -> String {
    let leak = &found.leak;
    let above = leak.ql_above.map_or(String::new(), |above| format!("; Q_L is above {above:.0}"));
    match (leak.present.as_str(), leak.ql) {
        ("yes", ql) => {
            let ql = ql.map_or(String::new(), |ql| format!(", Q_L = {ql}"));
            let hole = leak
                .hole
                .as_ref()
                .map_or(String::new(), |hole| format!(", as through a round hole of {:.1} mm", hole.diameter_mm));
            format!("no, it leaks{ql}{hole}")
        }
        ("no", Some(ql)) => format!("yes, as good as: Q_L = {ql}"),
        ("no", None) => format!("yes{above}"),
        (_, _) => format!("can't be told{above}"),
    }
}

fn wrinkles(found: &FoundTable) -> Vec<Entry> {
    let one = |wrinkle: &boxwright::files::WrinkleTable| {
        let hints = if wrinkle.hints.is_empty() { String::new() } else { format!(": {}", wrinkle.hints.join("; or ")) };
        let says = format!(
            "{} ohm high, Q {:.0}, {:.0} times its noise{hints}",
            two_digits(wrinkle.height_ohm),
            wrinkle.q,
            wrinkle.sigmas
        );
        Entry::text(&frequency_text(wrinkle.frequency_hz), says)
    };
    found.wrinkles.iter().map(one).collect()
}

fn beside(design: &DesignTable) -> Entry {
    let (designed, found) = match design.found {
        Some(found) => (format!("{:.*}", decimals(found), design.designed), found.to_string()),
        None => (format!("{:.0}", design.designed), "too little lost to tell".to_owned()),
    };
    Entry::text(symbol(&design.quantity), format!("designed {designed}, found {found}: {}", design.says))
}

fn two_digits(value: f64) -> String {
    let decimals = (1.0 - value.abs().max(1e-9).log10().floor()).clamp(0.0, 9.0);
    format!("{value:.0$}", decimals as usize)
}

/// As many decimals as the found number is shown with: two digits of its doubt.
fn decimals(found: Quantity) -> usize {
    (1.0 - (2.0 * found.u).max(1e-9).log10().floor()).clamp(0.0, 6.0) as usize
}

fn changes(document: &BoxDocument) -> Vec<Entry> {
    let real: Vec<Entry> = document
        .changes
        .iter()
        .filter(|change| change.real)
        .map(|change| Entry::text(symbol(&change.quantity), change.says.clone()))
        .collect();
    match (real.is_empty(), document.changes.is_empty()) {
        (true, false) => vec![Entry::text("nothing", "no number changed by more than its doubt")],
        _ => real,
    }
}
