//! A simulation: what the design promises.

use super::super::facts::Facts;
use super::super::told::{Shown, Told};
use crate::files::frequency_text;
use crate::report::Entry;

/// What a simulation document tells, of each loudspeaker in it.
pub(in super::super) fn told(facts: Facts<'_>) -> Told {
    let speakers = facts.parts("speakers");
    let names: Vec<&str> = speakers.iter().map(|(name, _)| *name).collect();
    let mut numbers: Vec<Entry> = Vec::new();
    numbers.extend(facts.text("level_reference").map(|text| Entry::text("levels are", text.replace("uPa", "µPa"))));
    numbers.extend(speakers.iter().flat_map(|(name, speaker)| of_speaker(name, *speaker)));
    let pictures = names.iter().flat_map(|name| {
        [
            Shown::open(
                format!("{name}-response"),
                "The loudspeaker and each of its ways as designed, with what parts and drivers usually are off.",
            ),
            Shown::folded(format!("{name}-impedance"), "What the amplifier will see."),
        ]
    });
    Told {
        heading: format!("{} as designed", if names.is_empty() { "The loudspeaker".into() } else { names.join(", ") }),
        prose: vec!["Drivers, box, front and network of the job, worked out together.".into()],
        numbers,
        pictures: pictures.collect(),
        verdicts: Vec::new(),
    }
}

fn of_speaker(name: &str, speaker: Facts<'_>) -> Vec<Entry> {
    let mut numbers = Vec::new();
    if let (Some(ohm), Some(hz)) = (speaker.number("minimum.ohm"), speaker.number("minimum.at_hz")) {
        numbers.push(Entry::text(&format!("{name}: least impedance"), format!("{ohm:.2} Ω at {}", frequency_text(hz))));
    }
    let level = speaker.column_at("response.frequency_hz", "response.level_db", 1000.0);
    numbers.extend(level.map(|db| Entry::text(&format!("{name}: level at 1 kHz"), format!("{db:.1} dB"))));
    let rests = speaker.all("rests_on").into_iter();
    numbers.extend(rests.filter_map(|rests| {
        let name = format!("{name}: {}", rests.text("of")?);
        Some(Entry::text(&name, format!("rests on a {}", rests.text("rests_on")?)))
    }));
    numbers
}
