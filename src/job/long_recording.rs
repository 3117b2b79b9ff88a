//! The part of a recording that counts, where the whole of it is longer than a capture can be.
//!
//! No equation: a recorder that ran for an hour holds a minute of excitation. Where that lies is looked for piece by piece, and only the
//! stretch around it is kept, so that memory goes by the excitation and not by the file.

use crate::files::{self, CutShort, FileError, WavStretches};
use crate::response::{Stretch, StretchSearch};
use crate::signal::{Excitation, Recording};
use std::path::Path;

/// What exceeds the excitation by no more than this is read as a whole.
const READ_WHOLE_S: f64 = 120.0;

/// Channels of a recording, and where they lie in its file.
pub(super) struct ReadChannels {
    /// As many channels as the highest one that was wanted; the others are empty of sound.
    pub recording: Recording,
    /// How the file differs from what its header promises.
    pub cut_short: Option<CutShort>,
    /// From when to when it was read, s of the file; absent where that is the whole.
    pub stretch_s: Option<[f64; 2]>,
}

/// Only the `wanted` channels, from 0, are read; others are silence in their places, so that each keeps its number. The excitation is
/// looked for in channel `heard`.
pub(super) fn read_channels(
    wav: &Path,
    mut wanted: Vec<usize>,
    heard: usize,
    excitation: &Excitation,
) -> Result<ReadChannels, FileError> {
    wanted.sort_unstable();
    wanted.dedup();
    let mut file = WavStretches::open(wav)?;
    let facts = file.facts();
    let most = excitation.samples.len() as u64 + excitation.rate.frames(READ_WHOLE_S) as u64;
    // Rates that differ are told by the analysis; a search would find nothing.
    let is_long = facts.frames > most && facts.rate == excitation.rate;
    let stretch = if is_long { find(&mut file, heard, excitation)? } else { None };
    let range = match &stretch {
        Some(stretch) => stretch.clone(),
        // Nothing there: the beginning says so.
        None if is_long => 0..most,
        None => 0..facts.frames,
    };
    let read = file.read(&wanted, range)?;
    let mut channels = vec![vec![0.0; read.recording.frames()]; wanted.last().map_or(0, |last| last + 1)];
    for (&place, samples) in wanted.iter().zip(read.recording.channels) {
        channels[place] = samples;
    }
    let stretch_s = stretch.map(|stretch| [stretch.start, stretch.end].map(|frame| frame as f64 / facts.rate.hz()));
    Ok(ReadChannels { recording: Recording { channels, ..read.recording }, cut_short: read.cut_short, stretch_s })
}

/// Where the excitation lies in one channel.
fn find(file: &mut WavStretches, heard: usize, excitation: &Excitation) -> Result<Option<Stretch>, FileError> {
    let frames = file.facts().frames;
    let mut search = StretchSearch::new(excitation);
    let mut at = 0;
    while at < frames {
        let piece = file.read(&[heard], at..at + search.piece_frames() as u64)?.recording.channels;
        piece.iter().for_each(|samples| search.look(at, samples));
        at += search.step_frames() as u64;
    }
    Ok(search.found(frames))
}

/// An excitation longer than this can't be deconvolved in the memory of a usual computer: 23 min at 48 kHz, and no signal of ours is longer.
const MOST_EXCITATION_FRAMES: u64 = 1 << 26;

/// Whether an excitation can be used at all.
///
/// # Errors
/// [`FileError::ExcitationTooLong`].
pub(super) fn is_short_enough(wav: &Path) -> Result<(), FileError> {
    let facts = files::wav_facts(wav)?;
    if facts.frames <= MOST_EXCITATION_FRAMES {
        return Ok(());
    }
    let [found_s, longest_s] = [facts.frames, MOST_EXCITATION_FRAMES].map(|frames| frames as f64 / facts.rate.hz());
    Err(FileError::ExcitationTooLong { path: wav.into(), found_s, longest_s })
}
