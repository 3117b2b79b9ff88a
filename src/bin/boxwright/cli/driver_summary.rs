//! A driver's document in words for people.

use boxwright::files::{CandidateTable, DriverDocument, Plain, SheetTable};
use boxwright::quantity::{Quantity, Unit};
use boxwright::report::{Entry, Layout, findings_text, numbers_text, symbol};
use std::path::Path;

/// What the driver is, how sure that is, and what there is to say about it.
pub fn summary(document: &DriverDocument, folder: &Path) -> String {
    let layout = Layout { width: 100, paint: super::tell::paint() };
    let named = document.name.clone().unwrap_or_else(|| document.inputs[0].path.clone());
    let mut text = format!("{named}\n{}", numbers_text(&parameters(document), layout));
    text.push_str(&format!("\n{}", numbers_text(&how(document), layout)));
    if let Some(sheet) = &document.datasheet {
        text.push_str(&format!("\nbeside its data sheet ({})\n{}", sheet.path, numbers_text(&beside(sheet), layout)));
    }
    let findings = findings_text(&document.findings, layout);
    if !findings.is_empty() {
        text.push_str(&format!("\n{findings}"));
    }
    text.push_str(&format!("\nwritten to {} ({} files); ± is 2u\n", folder.display(), document.files.len()));
    text
}

fn parameters(document: &DriverDocument) -> Vec<Entry> {
    let points = document.three_point;
    let by_hand = |pick: fn(&boxwright::files::ThreePointTable) -> Plain| points.as_ref().map(pick);
    let with_hand = |name: &str, quantity: Quantity, hand: Option<Plain>| match hand {
        Some(hand) => Entry::text(name, format!("{quantity}   (by hand {})", three_digits(hand.value))),
        None => Entry::quantity(name, quantity),
    };
    let mut entries = vec![
        Entry::quantity("R_e", document.re),
        with_hand("f_s", document.fs, by_hand(|points| points.fs)),
        with_hand("Q_ms", document.qms, by_hand(|points| points.qms)),
        with_hand("Q_es", document.qes, by_hand(|points| points.qes)),
        with_hand("Q_ts", document.qts, by_hand(|points| points.qts)),
    ];
    let rest = [
        ("V_as", document.vas),
        ("S_d", document.sd),
        ("M_ms", document.mms),
        ("C_ms", document.cms),
        ("R_ms", document.rms),
        ("Bl", document.bl),
        ("efficiency", document.eta0),
    ];
    entries.extend(rest.into_iter().filter_map(|(name, quantity)| Some(Entry::quantity(name, quantity?))));
    entries.extend(
        document.sensitivity.map(|level| Entry::text("sensitivity", format!("{level} at 2.83 V, 1 m, half space"))),
    );
    entries
}

/// The models, how well they fit, and the ways to the moving mass.
fn how(document: &DriverDocument) -> Vec<Entry> {
    let mut entries = vec![Entry::text("voice coil", coil_words(document))];
    let suspension = match document.suspension.lambda {
        Some(lambda) => format!("creep, λ {lambda}"),
        None => document.suspension.model.clone(),
    };
    entries.push(Entry::text("suspension", suspension));
    entries.extend(choice_words(&document.candidates).map(|words| Entry::text("chosen", words)));
    entries.push(Entry::text("left over", format!("{} % of |Z|", three_digits(document.residual_percent))));
    for method in &document.methods {
        let found = [method.mms.map(|mms| format!("M_ms {mms}")), method.vas.map(|vas| format!("V_as {vas}"))];
        let found: Vec<String> = found.into_iter().flatten().collect();
        let textbook = method.textbook.map_or(String::new(), |plain| {
            format!(" (textbook formula {} {})", three_digits(plain.value), plain.unit.symbol())
        });
        entries.push(Entry::text(&format!("by {}", words(&method.method)), format!("{}{textbook}", found.join(", "))));
    }
    for pair in &document.agreements {
        let verdict = if pair.agree { "agree" } else { "do not agree" };
        let says = format!("{} and {} {verdict}: M_ms differs by {}", words(&pair.a), words(&pair.b), pair.difference);
        entries.push(Entry::text("", says));
    }
    entries
}

fn words(method: &str) -> String {
    method.replace('-', " ")
}

fn coil_words(document: &DriverDocument) -> String {
    let coil = &document.voice_coil;
    let number = |name: &str, quantity: Option<Quantity>| quantity.map(|quantity| format!("{name} {quantity}"));
    let plain =
        |name: &str, value: Option<f64>, unit: &str| value.map(|value| format!("{name} {}{unit}", three_digits(value)));
    let parts = [
        number("L_eb", coil.leb),
        number("L_e", coil.le),
        number("L_2", coil.l2),
        number("R_2", coil.r2),
        plain("K_e", coil.ke_semih, " sH"),
        plain("K", coil.k, ""),
        number("n", coil.n),
    ];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    format!("{}: {}", coil.model, parts.join(", "))
}

/// Beyond this nobody would ask by how much: odds of e^50.
const FAR_WORSE: f64 = 100.0;

/// By how much the chosen model is better than the next one.
fn choice_words(candidates: &[CandidateTable]) -> Option<String> {
    let [best, next, ..] = candidates else { return None };
    let name = |candidate: &CandidateTable| format!("{} + {}", candidate.voice_coil, candidate.suspension);
    let worse = match next.aicc_above_best {
        aicc if aicc > FAR_WORSE => format!("more than {FAR_WORSE}"),
        aicc => format!("{aicc:.1}"),
    };
    let count = candidates.len();
    Some(format!("{} among {count} models; next is {}, {worse} worse in corrected AIC", name(best), name(next)))
}

fn beside(sheet: &SheetTable) -> Vec<Entry> {
    let mut entries: Vec<Entry> = sheet
        .quantities
        .iter()
        .map(|kept| {
            let beyond = match kept.beyond_usual {
                true => "beyond",
                false if kept.difference.value.abs() <= kept.usual_tolerance => "within",
                false => "at the edge of",
            };
            let verdict = match kept.significant {
                false => "as promised".to_owned(),
                true => format!(
                    "{} u off, {beyond} the usual ± {}",
                    three_digits(kept.over_u.abs()),
                    tolerance(kept.usual_tolerance, kept.difference.unit)
                ),
            };
            let says = format!(
                "promised {}, found {}: {}, {verdict}",
                kept.promised.value,
                kept.found,
                difference(kept.difference)
            );
            Entry::text(symbol(&kept.quantity), says)
        })
        .collect();
    if let Some(closed) = &sheet.closed_box {
        let (promised, found) = (&closed.promised, &closed.found);
        let says = format!(
            "of {} l: promised f_c {:.1} Hz, Q_tc {:.3}, f_3 {:.1} Hz; with this driver f_c {}, Q_tc {}, f_3 {}{}",
            three_digits(closed.volume.value),
            promised.fc.value,
            promised.qtc.value,
            promised.f3.value,
            found.fc,
            found.qtc,
            found.f3,
            if found.peak.value > 0.05 { format!(", a peak of {}", found.peak) } else { String::new() }
        );
        entries.push(Entry::text("closed box", says));
        let volume = closed.volume_for_promised_q.map_or_else(
            || "no volume gives the promised Q_tc: the driver's own Q_ts is as high already".to_owned(),
            |volume| format!("{volume} would give this driver the promised Q_tc"),
        );
        entries.push(Entry::text("another box", volume));
    }
    entries
}

fn tolerance(value: f64, unit: Unit) -> String {
    format!("{value} {}", unit.symbol())
}

/// `+3.9 %`, with a sign and two digits.
fn difference(difference: Quantity) -> String {
    format!("{:+.1} {}", difference.value, difference.unit.symbol())
}

/// A number with three digits that count.
fn three_digits(value: f64) -> String {
    let decimals = (2.0 - value.abs().max(1e-9).log10().floor()).clamp(0.0, 9.0);
    format!("{value:.0$}", decimals as usize)
}
