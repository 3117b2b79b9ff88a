//! Satellite and subwoofer: the setting, what each seat gets from it, and what no setting mends.

use super::super::facts::Facts;
use super::super::told::{Shown, Told, plus_minus};
use crate::files::frequency_text;
use crate::report::Entry;

/// What a blend document tells.
pub(in super::super) fn told(facts: Facts<'_>) -> Told {
    let seats = facts.all("seats");
    let names: Vec<&str> = seats.iter().filter_map(|seat| seat.text("name")).collect();
    let menu = facts.texts("menu").into_iter().enumerate();
    let mut numbers: Vec<Entry> = menu.map(|(at, line)| Entry::text(if at == 0 { "set" } else { "" }, line)).collect();
    numbers.extend(seats.iter().filter_map(|seat| {
        let help = seat.number("without_help_db").map_or(String::new(), |db| format!(", without help {db:.1} dB"));
        Some(Entry::text(seat.text("name")?, format!("{:.1} dB of ripple{help}", seat.number("ripple_db")?)))
    }));
    numbers.extend(facts.all("unevenness").into_iter().filter_map(unmended));
    let mut pictures: Vec<Shown> = names
        .iter()
        .map(|name| {
            let caption = "Both parts as the filters leave them, their sum, the sum without help, and the phase between the parts.";
            Shown::open(format!("{name}-seat"), format!("{name}. {caption}"))
        })
        .collect();
    pictures.push(Shown::open("seats", "What each seat gets."));
    let map = "How deep the hole in the overlap is for other crossovers and delays, at the worst seat.";
    pictures.push(Shown::open("map", map));
    Told {
        heading: "Where satellite and subwoofer meet".into(),
        prose: vec!["All crossovers, delays, levels and polarities that were allowed were searched for the least ripple at the worst seat.".into()],
        numbers,
        pictures,
        verdicts: verdict(facts).into_iter().collect(),
    }
}

fn verdict(facts: Facts<'_>) -> Option<String> {
    let (hz, ripple_db) = (facts.number("crossover_hz")?, facts.number("ripple_db")?);
    let farther = facts.number("distance_setting.subwoofer_farther_m").map_or(String::new(), |m| {
        format!(", the subwoofer set {:.2} m {}", m.abs(), if m < 0.0 { "nearer" } else { "farther" })
    });
    let gain = facts.number("gain_db").map_or(String::new(), |db| format!(", {} dB", plus_minus(db, 1)));
    let help = facts.number("without_help_db").map_or(String::new(), |db| format!(", without help {db:.1} dB"));
    Some(format!(
        "Satellite and subwoofer: crossover {}{farther}{gain} leaves {ripple_db:.1} dB of ripple at the worst seat{help}.",
        frequency_text(hz)
    ))
}

fn unmended(found: Facts<'_>) -> Option<Entry> {
    if found.text("mended_by")? != "no setting" {
        return None;
    }
    let why = found.text("standing_wave").map_or(String::new(), |wave| format!(": standing wave of {wave}"));
    let (db, hz) = (found.number("level_db")?, found.number("at_hz")?);
    Some(Entry::text(
        &format!("{}, no setting mends", found.text("seat")?),
        format!("{} dB at {}{why}", plus_minus(db, 1), frequency_text(hz)),
    ))
}
