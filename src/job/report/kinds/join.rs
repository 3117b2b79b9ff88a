//! One curve of near and far field: where they were joined and how well they agreed.

use super::super::facts::Facts;
use super::super::told::{Shown, Told};
use crate::files::frequency_text;
use crate::report::Entry;

/// What a join document tells.
pub(in super::super) fn told(facts: Facts<'_>) -> Told {
    let at = facts.number("joined.at_hz").map(frequency_text);
    let mut numbers: Vec<Entry> = at.iter().map(|at| Entry::text("joined at", at.clone())).collect();
    let apart = facts.number("joined.disagreement_rms_db").map(|db| format!("{db:.2} dB rms"));
    numbers.extend(apart.map(|says| Entry::text("disagreement in the overlap", says)));
    numbers.extend(facts.line("near field moved by", "joined.level"));
    numbers.extend(facts.band("near.valid_hz").map(|band| Entry::text("near field holds", band)));
    numbers.extend(facts.band("far.valid_hz").map(|band| Entry::text("far field holds", band)));
    Told {
        heading: "Near and far field as one curve".into(),
        prose: vec![
            "The near field tells the bass without the room, the far field the rest; front and distance are taken into account.".into(),
        ],
        numbers,
        pictures: vec![Shown::open("join", "The joined curve with ± 2u, the near field as it would be at the far microphone, and the far field.")],
        verdicts: Vec::new(),
    }
}
