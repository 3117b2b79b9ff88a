//! The twin of the sound card in a build without sound.
//!
//! The same functions as `card`, each answering that there is none, so that no other room has to ask how it was built.

use super::{AudioError, CardFacts, DeviceFacts, Hear, Order, SoundCard, Take, Tell};
use std::sync::atomic::AtomicBool;

/// A card that can't exist.
#[derive(Debug)]
pub enum Card {}

/// Never a list.
///
/// # Errors
/// Always [`AudioError::NotBuilt`].
pub fn devices() -> Result<Vec<DeviceFacts>, AudioError> {
    Err(AudioError::NotBuilt { wanted: "list of devices" })
}

/// Never a card.
///
/// # Errors
/// Always [`AudioError::NotBuilt`].
pub fn open(_output: &str, _input: &str) -> Result<Card, AudioError> {
    Err(AudioError::NotBuilt { wanted: "sound card" })
}

impl SoundCard for Card {
    fn describe(&self) -> CardFacts {
        match *self {}
    }

    fn take(
        &mut self,
        _order: &Order,
        _stop: &AtomicBool,
        _hear: &mut Hear<'_>,
        _tell: &mut Tell<'_>,
    ) -> Result<Take, AudioError> {
        match *self {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_build_without_sound_says_so_and_what_helps() {
        for error in [devices().err(), open("", "").err()] {
            let error = error.unwrap();
            assert!(error.to_string().contains("without sound card support"), "{error}");
            assert!(error.advice().contains("`audio`"));
        }
    }
}
