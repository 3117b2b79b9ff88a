//! Bringing a growing file to the disk itself now and then, so that a power cut takes seconds and not minutes.
//!
//! No equation. A write reaches the system at once and survives the program; only `fsync` makes it survive the machine, and may take
//! as long as the disk likes: so it runs beside the recording, one at a time, and whoever records never waits for it.

use std::fs::File;
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// A power cut takes at most this much, and what the disk needs to write it.
const EVERY: Duration = Duration::from_secs(5);

/// When a file was last brought to the disk.
#[derive(Debug)]
pub(super) struct Steady {
    began: Instant,
    under_way: Option<JoinHandle<()>>,
}

impl Steady {
    /// A file that was just opened.
    pub(super) fn new() -> Self {
        Self { began: Instant::now(), under_way: None }
    }

    /// Brings `file` to the disk if it is time, without waiting.
    pub(super) fn keep(&mut self, file: &File) {
        let is_busy = self.under_way.as_ref().is_some_and(|thread| !thread.is_finished());
        if is_busy || self.began.elapsed() < EVERY {
            return;
        }
        self.began = Instant::now();
        // Without it the file is only as safe as the system's own habits make it: no reason to stop.
        self.under_way = file.try_clone().ok().and_then(|file| {
            let sync = move || {
                let _ = file.sync_data();
            };
            std::thread::Builder::new().spawn(sync).ok()
        });
    }
}
