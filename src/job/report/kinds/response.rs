//! A response: how far the curve reaches, what bounds it, how loud, how clean.

use super::super::facts::Facts;
use super::super::told::{Shown, Told};
use crate::files::frequency_text;
use crate::quantity::{Quantity, Unit};
use crate::report::Entry;

/// What a response document tells.
pub(in super::super) fn told(facts: Facts<'_>) -> Told {
    let gate = facts.number("gate.length_ms").map(|ms| format!(", seen through a gate of {ms:.2} ms"));
    let reach = facts.band("valid_hz").map(|band| format!("Valid from {band}{}.", gate.unwrap_or_default()));
    Told {
        heading: "Response".into(),
        prose: reach.into_iter().collect(),
        numbers: numbers(facts),
        pictures: if facts.text("settings.gate") == Some("none") { pictures_of_a_room() } else { pictures() },
        verdicts: Vec::new(),
    }
}

fn numbers(facts: Facts<'_>) -> Vec<Entry> {
    let mut numbers: Vec<Entry> = facts.line("arrival", "arrival").into_iter().collect();
    numbers.extend(facts.line("clock drift", "clock_drift"));
    if let (Some(ms), Some(db)) = (facts.number("reflection.peak_ms"), facts.number("reflection.level_db")) {
        let says = format!("{ms:.2} ms after the arrival, {db:.1} dB re the direct sound");
        numbers.push(Entry::text("first reflection", says));
    }
    numbers.extend(facts.number("snr_db").map(|db| Entry::text("signal over noise", format!("{db:.1} dB"))));
    numbers.extend(facts.text("level_reference").map(|text| Entry::text("levels are", text.replace("uPa", "µPa"))));
    numbers.extend(level_at(facts, 1000.0).map(|level| Entry::quantity("level at 1 kHz", level)));
    numbers.extend([100.0, 1000.0].into_iter().filter_map(|hz| {
        let percent = facts.column_at("distortion.frequency_hz", "distortion.thd_percent", hz)?;
        Some(Entry::text(&format!("THD at {}", frequency_text(hz)), format!("{percent:.2} %")))
    }));
    numbers.extend(facts.all("ringing").into_iter().take(MOST_RINGING).filter_map(ringing));
    numbers
}

/// Of what rings, the first so many of the list.
const MOST_RINGING: usize = 4;

fn ringing(found: Facts<'_>) -> Option<Entry> {
    let hz = found.number("frequency_hz")?;
    let q = found.number("q").map_or(String::new(), |q| format!(", Q {q:.0}"));
    Some(Entry::text("rings", format!("at {}{q}", frequency_text(hz))))
}

fn level_at(facts: Facts<'_>, hz: f64) -> Option<Quantity> {
    let of = |column| facts.column_at("curve.frequency_hz", column, hz);
    Some(Quantity { value: of("curve.level_db")?, u: of("curve.u_db")?, unit: Unit::Decibel })
}

fn pictures() -> Vec<Shown> {
    vec![
        Shown::open(
            "response",
            "Level and phase of the direct sound, the band ± 2u. On grey lies what the gate does not resolve.",
        ),
        Shown::open(
            "distortion",
            "Harmonics against the note that excites them; nothing is drawn where noise hides them.",
        ),
        Shown::folded("impulse", "The impulse response, and the gate that is laid over it."),
        Shown::folded("envelope", "The same as energy over time: what comes after the direct sound is the room."),
        Shown::folded("step", "The step response: ways that arrive one after the other, or upside down, show here."),
        Shown::folded(
            "phase",
            "Phase, the phase that the level alone asks for, and the rest; beneath, the group delay.",
        ),
        Shown::folded("decay", "What still sounds when the first moments are cut away, one curve for each moment."),
        Shown::folded("bursts", "The same in periods of each note: a resonance stands up like a tower."),
    ]
}

/// Without a gate the room is most of it: phase and step response would tell of walls.
fn pictures_of_a_room() -> Vec<Shown> {
    vec![
        Shown::open("response", "Level and phase with the room in it, the band ± 2u."),
        Shown::folded("envelope", "Energy over time: the direct sound, and the room after it."),
        Shown::folded(
            "bursts",
            "What goes on sounding, in periods of each note: the modes of the room stand up like towers.",
        ),
        Shown::folded("decay", "What still sounds when the first moments are cut away, one curve for each moment."),
        Shown::folded(
            "distortion",
            "Harmonics against the note that excites them; nothing is drawn where noise hides them.",
        ),
    ]
}
