//! What each repeat of a channel tells by itself: its first sound, and what broke into it.
//!
//! No equation of its own: see [`super::continuity`] and [`super::interruption`]. One repeat is held at a time, so that memory does not
//! grow with their number.

use super::continuity::{FirstSound, Sounds};
use super::deconvolve::WrappedImpulse;
use super::{Cut, Deconvolution, Interruption, Repeats, foreign, interruption};
use num_complex::Complex64;

/// The repeats of one channel, each deconvolved by the excitation's file.
pub(super) struct EachRepeat {
    /// One for each repeat that has room around it.
    pub first_sounds: Vec<FirstSound>,
    /// What broke into them, each with the repeat's number; empty where nobody asked.
    pub interruptions: Vec<(usize, Interruption)>,
    /// Spectrum and impulse response, where there is but one repeat.
    pub only: Option<(Vec<Complex64>, WrappedImpulse)>,
}

/// A channel whose repeats are cut.
#[derive(Clone, Copy)]
pub(super) struct CutChannel<'a> {
    pub repeats: &'a Repeats,
    pub cut: Cut,
    /// Frames of the whole recording.
    pub recorded: usize,
    /// Frame of the recording at which the first frame of the sweep arrives, for each of the plan's repeats.
    pub arrivals: &'a [i64],
    /// The same in a piece.
    pub arrival: i64,
}

impl EachRepeat {
    /// What they tell; what broke into them if `events` are asked for.
    pub fn of(channel: CutChannel<'_>, deconvolution: &Deconvolution, sounds: &Sounds, events: Events) -> Self {
        let CutChannel { repeats, cut, recorded, arrivals, arrival } = channel;
        let mut told = Self { first_sounds: Vec::new(), interruptions: Vec::new(), only: None };
        for (piece, &number) in repeats.pieces.iter().zip(&repeats.numbers) {
            let bins = deconvolution.spectrum(piece);
            let impulse = deconvolution.impulse(&bins, deconvolution.played());
            if sounds.has_room(recorded, arrivals[number]) {
                told.first_sounds.extend(sounds.first_of_sweep(&impulse, arrival, arrivals[number]));
            }
            if events == Events::LookedFor {
                let event = interruption(deconvolution, piece, &impulse, cut.before, arrival);
                told.interruptions.extend(event.map(|event| (number, event)));
            }
            told.only = Some((bins, impulse));
        }
        told.only = told.only.filter(|_| repeats.pieces.len() == 1);
        told.interruptions = foreign(told.interruptions, repeats.pieces.len());
        told
    }
}

/// Whether it is asked what broke into repeats.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Events {
    LookedFor,
    Ignored,
}
