//! The job as a live page on this machine: what a browser asks for is what a person could type.
//!
//! The page builds argument lists of this program's own commands. What makes no sound is run as a process of its own
//! (`running`); what sounds is played here, one take at a time whoever asks (`takes`, `sounding`), so that a stop always
//! works; what a drag needs many times a second is kept open (`gate`, `blending`). Everybody who listens hears how it goes
//! (`events`).
//!
//! Whoever opens a page in a browser on this machine could ask too, so that each request is looked at first (`guard`): by
//! which name it asks, from whose page it comes, whether it knows the token. No path leads out of the job's folder
//! (`folder`, `command`). The server listens on 127.0.0.1 only.

mod assets;
mod blending;
mod command;
mod events;
mod folder;
mod gate;
mod guard;
#[cfg(any(test, fuzzing))]
pub mod hostile;
mod opened;
mod order;
mod refusal;
mod running;
mod serve;
mod shelf;
mod sounding;
mod takes;
mod token;

pub use serve::{Listening, listen};

use boxwright::job::{CurveShelf, LiveBlend, LiveGate};
use folder::JobFolder;
use guard::Guard;
use opened::Opened;
use std::sync::{Arc, Mutex};
use takes::Takes;
use tokio::sync::{Semaphore, watch};

/// Everything that the answers rest on.
struct Page {
    folder: JobFolder,
    guard: Guard,
    takes: Takes,
    runs: Semaphore,
    curves: Mutex<CurveShelf>,
    gates: Opened<LiveGate>,
    blends: Opened<LiveBlend>,
    /// Becomes true when the server ends.
    ending: watch::Sender<bool>,
}

/// As handlers share it.
type Shared = Arc<Page>;
