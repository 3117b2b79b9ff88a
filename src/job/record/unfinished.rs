//! Recordings that are not whole: what a program that was ended in the midst of a capture has left, and how it gets its name.
//!
//! No equation: names and a lock. A capture is `NAME.wav.part` with `NAME.toml.part` until it is whole; while it is recorded its recorder
//! holds a lock on the first, which the system takes back from whoever ends, however that happens.

use super::found::find;
use super::place::shown;
use crate::files::{self, CaptureDescription, Ended, FileError};
use crate::job::capture_files::{description_beside, description_path};
use crate::job::capture_names::{beside, stem_of};
use std::fs::{File, TryLockError};
use std::path::{Path, PathBuf};

/// A recording without its final name.
#[derive(Debug, Clone, PartialEq)]
pub struct Unfinished {
    /// The recording, relative to the job's folder.
    pub part: PathBuf,
    /// The name it is to have, likewise.
    pub wav: PathBuf,
    /// What became of it.
    pub state: PartState,
    /// How long it is.
    pub duration_s: f64,
    /// Its sweeps that are whole for certain, and all that were to be played; absent where nothing says what was played.
    pub sweeps: Option<[usize; 2]>,
    /// What was written down of it.
    pub description: Option<CaptureDescription>,
}

/// What became of a recording.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PartState {
    /// Somebody records it now.
    BeingRecorded,
    /// Its program was ended, or the disk took no more.
    BrokenOff,
    /// All of it is there; only the name is missing.
    Unnamed,
    /// It holds no sample.
    Empty,
}

impl PartState {
    /// As documents say it.
    pub fn name(self) -> &'static str {
        match self {
            Self::BeingRecorded => "being-recorded",
            Self::BrokenOff => "broken-off",
            Self::Unnamed => "unnamed",
            Self::Empty => "empty",
        }
    }
}

/// Between the first sample of a recording and the first of the excitation, at most: half a second of silence, and buffers each way.
pub(in crate::job) const LEAD_S: f64 = 1.5;

/// What a file is, if it is a recording without its name.
pub(super) fn unfinished(folder: &Path, path: &Path) -> Option<Unfinished> {
    let name = path.file_name()?.to_string_lossy();
    if !name.ends_with(".wav.part") {
        return None;
    }
    let wav = path.with_extension("");
    let own = |path: &Path| path.strip_prefix(folder).unwrap_or(path).to_owned();
    let description = description_beside(path).ok().flatten();
    let facts = files::wav_facts(path).ok();
    let is_whole = |frames: u64| {
        let told = description.as_ref().map(|description| &description.stream);
        told.is_some_and(|stream| stream.ended != Ended::BrokenOff && stream.frames == frames)
    };
    let state = match facts {
        _ if is_being_recorded(path) => PartState::BeingRecorded,
        None => PartState::Empty,
        Some(facts) if is_whole(facts.frames) => PartState::Unnamed,
        Some(_) => PartState::BrokenOff,
    };
    let duration_s = facts.map_or(0.0, |facts| facts.frames as f64 / facts.rate.hz());
    let sweeps = files::read_signal_description(&beside(path, "excitation.toml")).ok().map(|played| {
        let rate_hz = f64::from(played.rate_hz);
        let plan = played.plan();
        let is_there = |start: &&usize| (**start + plan.frames) as f64 / rate_hz + LEAD_S <= duration_s;
        [plan.starts.iter().filter(is_there).count(), plan.starts.len()]
    });
    Some(Unfinished { part: own(path), wav: own(&wav), state, duration_s, sweeps, description })
}

/// Whether somebody holds the lock of a recorder.
fn is_being_recorded(part: &Path) -> bool {
    let locked = |file: File| matches!(file.try_lock_shared(), Err(TryLockError::WouldBlock));
    File::open(part).is_ok_and(locked)
}

/// Gives what broke off in a job's folder its names; those that were given, relative to the folder.
///
/// # Errors
/// [`FileError`] of the first that can't have its name; all that was recorded is still there.
pub fn name_unfinished(folder: &Path) -> Result<Vec<PathBuf>, FileError> {
    let mut named = Vec::new();
    for part in find(folder)?.unfinished.iter().filter(|part| part.can_be_named()) {
        if part.name(folder)? {
            named.push(part.wav.clone());
        }
    }
    Ok(named)
}

impl Unfinished {
    /// What there is to say of it.
    pub fn says(&self) -> String {
        let (part, seconds) = (shown(&self.part), self.duration_s);
        let sweeps = match self.sweeps {
            Some([0, all]) => format!(", none of its {all} sweeps is whole for certain"),
            Some([whole, all]) if whole == all => format!(", its {} whole", sweeps_are(all)),
            Some([whole, all]) => format!(", at least {whole} of its {all} sweeps whole"),
            None => String::new(),
        };
        match self.state {
            PartState::BeingRecorded => format!("{part} is being recorded now: {seconds:.1} s so far"),
            PartState::BrokenOff => format!("{part} broke off: {seconds:.1} s were recorded{sweeps}"),
            PartState::Unnamed => format!("{part} is complete, {seconds:.1} s, and only its name is missing"),
            PartState::Empty => format!("{part} holds nothing: its capture was ended before anything was recorded"),
        }
    }

    /// What the person can do next.
    pub fn advice(&self) -> String {
        let stem = shown(&stem_of(&self.part));
        match self.state {
            PartState::BeingRecorded => "wait until it has ended".into(),
            PartState::BrokenOff if self.sweeps.is_some_and(|[whole, _]| whole == 0) => format!(
                "take it again; `boxwright status --do` keeps what is there as {stem}.wav, a capture that broke off"
            ),
            PartState::BrokenOff => format!(
                "`boxwright status --do` gives it the name {stem}.wav, as a capture that broke off; its whole sweeps can be used"
            ),
            PartState::Unnamed => format!("`boxwright status --do` gives it the name {stem}.wav"),
            PartState::Empty => format!("take it again; {stem}.wav.part and what lies beside it can be removed"),
        }
    }

    /// Whether [`Self::name`] has something to do.
    pub fn can_be_named(&self) -> bool {
        matches!(self.state, PartState::BrokenOff | PartState::Unnamed)
    }

    /// Gives recording and description their names; nothing that exists is overwritten. Whether there was anything left to do: somebody else
    /// may have been at it.
    ///
    /// # Errors
    /// [`FileError`]; then all that was recorded is still there.
    pub fn name(&self, folder: &Path) -> Result<bool, FileError> {
        let (part, wav) = (folder.join(&self.part), folder.join(&self.wav));
        let Ok(file) = File::options().read(true).write(true).open(&part) else { return Ok(false) };
        if matches!(file.try_lock(), Err(TryLockError::WouldBlock)) || !part.exists() {
            return Ok(false);
        }
        if wav.symlink_metadata().is_ok() {
            return Err(FileError::Exists { path: wav });
        }
        let told = description_path(&part);
        if let (Some(path), Some(mut description)) = (told, description_beside(&part)?) {
            let frames = files::wav_facts(&part)?.frames;
            let final_name = beside(&part, "toml");
            if description.stream.ended == Ended::BrokenOff && description.stream.frames != frames {
                description.stream.frames = frames;
                files::replace(&path, description.text(&final_name)?.as_bytes())?;
            }
            if path != final_name {
                files::rename_new(&path, &final_name)?;
            }
        }
        files::rename_new(&part, &wav)?;
        Ok(true)
    }
}

fn sweeps_are(count: usize) -> String {
    if count == 1 { "one sweep is".into() } else { format!("{count} sweeps are all") }
}
