//! The real sound card: two devices of the machine, an output and an input.
//!
//! They are opened as two streams, because no sound system here offers one stream for both; they start at different
//! times and may run on different clocks. The callbacks of the streams ([`player`], [`ear`]) touch nothing but their own
//! memory and atomics; a ring that needs no lock carries the recording to the calling thread ([`run`]).

mod ear;
mod host;
mod listing;
mod player;
mod run;
mod setup;
mod shared;
mod stored;
mod streams;

use super::{AudioError, CardFacts, DeviceFacts, Hear, Order, Side, SoundCard, Take, Tell, choose};
use listing::Found;
use setup::Setup;
use std::sync::atomic::AtomicBool;

/// Two devices of this machine that play and record together.
#[derive(Debug)]
pub struct Card {
    output: Found,
    input: Found,
}

/// Every sound device of this machine that could serve.
///
/// Entries that only stand for nothing (a null device) or repeat another one are left out.
///
/// # Errors
/// [`AudioError::NoSoundSystem`] or `NoAnswer`.
pub fn devices() -> Result<Vec<DeviceFacts>, AudioError> {
    Ok(listing::found()?.into_iter().map(|found| found.facts).collect())
}

/// The card made of two devices, named by id or a part of the name; an empty name is the system's own choice.
///
/// # Errors
/// As [`devices`], and as [`choose`].
pub fn open(output: &str, input: &str) -> Result<Card, AudioError> {
    let found = listing::found()?;
    let facts: Vec<DeviceFacts> = found.iter().map(|found| found.facts.clone()).collect();
    let pick = |asked: &str, side| -> Result<Found, AudioError> {
        let id = &choose(&facts, asked, side)?.id;
        let one = found.iter().find(|found| found.facts.id == *id);
        one.cloned().ok_or(AudioError::NoDevice { side })
    };
    Ok(Card { output: pick(output, Side::Output)?, input: pick(input, Side::Input)? })
}

impl SoundCard for Card {
    fn describe(&self) -> CardFacts {
        CardFacts { output: self.output.facts.clone(), input: self.input.facts.clone() }
    }

    fn take(
        &mut self,
        order: &Order,
        stop: &AtomicBool,
        hear: &mut Hear<'_>,
        tell: &mut Tell<'_>,
    ) -> Result<Take, AudioError> {
        let output = Setup::new(&self.output, Side::Output, order)?;
        let input = Setup::new(&self.input, Side::Input, order)?;
        let mut remarks = Vec::new();
        for (found, side) in [(&self.output, Side::Output), (&self.input, Side::Input)] {
            if found.facts.may_resample(side) {
                remarks.push(format!(
                    "the {side} {} is a part of the sound system, which may resample without saying so",
                    found.facts.name
                ));
            }
        }
        let mut take = run::run(order, [output, input], stop, hear, tell)?;
        remarks.append(&mut take.remarks);
        Ok(Take { remarks, ..take })
    }
}
