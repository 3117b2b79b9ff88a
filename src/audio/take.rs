//! One take, and the trait that every card and every stand-in for one keeps.
//!
//! No equation: a contract.

use super::{AudioError, CardFacts, ChannelFacts, HearError, Meter, Order, Side, SimulatedTruth};
use crate::quantity::SampleRate;
use std::sync::atomic::AtomicBool;

/// Something that plays and records at the same time.
pub trait SoundCard {
    /// The devices it consists of.
    fn describe(&self) -> CardFacts;

    /// Plays the order and hands over everything it records meanwhile.
    ///
    /// `hear` is called on the calling thread with whole frames of the kept channels, interleaved in the order's own
    /// sequence; it may take its time (disk). When it refuses, the take is stopped. `tell` is called a few times a second. When
    /// `stop` becomes true the sound fades out and a short tail is still recorded. What was heard until then stays heard in every case.
    ///
    /// # Errors
    /// [`AudioError`] when nothing could be played (device, rate, channel), or when `hear` refused. A take that began
    /// and ended early is no error: see [`Take::ended`].
    fn take(
        &mut self,
        order: &Order,
        stop: &AtomicBool,
        hear: &mut Hear<'_>,
        tell: &mut Tell<'_>,
    ) -> Result<Take, AudioError>;

    /// What it knows of itself and of what it played; only a simulated bench does.
    fn truth(&self, _wanted: TruthWanted) -> Option<SimulatedTruth> {
        None
    }
}

/// The take whose truth is wanted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TruthWanted {
    /// Frames a second.
    pub rate: SampleRate,
    /// Peak level of what was played.
    pub level_dbfs: f64,
    /// How long was recorded.
    pub duration_s: f64,
}

/// Takes the interleaved samples of the kept channels.
pub type Hear<'a> = dyn FnMut(&[f32]) -> Result<(), HearError> + 'a;

/// Takes news of a take that is under way.
pub type Tell<'a> = dyn FnMut(&Progress<'_>) + 'a;

/// News of a take under way.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Progress<'a> {
    /// Recorded so far.
    pub done_s: f64,
    /// About how long the recording will be.
    pub total_s: f64,
    /// Each kept channel since the last news.
    pub channels: &'a [Meter],
}

/// What can be said of a take that began.
#[derive(Debug, Clone, PartialEq)]
pub struct Take {
    /// Frames handed over.
    pub frames: usize,
    /// From the first to the last arrival of recorded samples, by the computer's own clock.
    pub wall_clock_s: f64,
    /// What went wrong on the way, counted.
    pub trouble: Trouble,
    /// How it ended.
    pub ended: Ended,
    /// Each kept channel over the whole take.
    pub channels: Vec<ChannelFacts>,
    /// True statements that a person should see with the result, each a sentence part without final stop.
    pub remarks: Vec<String>,
}

/// Mishaps by kind. A take without any may still have lost samples: only its content can tell.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Trouble {
    /// The card had recorded and was not asked in time.
    pub input_overruns: u64,
    /// The card had nothing to play in time.
    pub output_underruns: u64,
    /// Recorded frames that were dropped because `hear` was too slow for too long.
    pub frames_dropped: u64,
    /// Complaints of the sound system that name no kind.
    pub unexplained_errors: u64,
    /// Everything else it complained about.
    pub other_errors: u64,
}

impl Trouble {
    /// Whether samples are certainly missing: the take should be repeated.
    pub fn is_loss(&self) -> bool {
        self.input_overruns + self.output_underruns + self.frames_dropped > 0
    }
}

/// How a take ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ended {
    /// Everything was played and recorded.
    Complete,
    /// Somebody asked it to stop; the sound faded out.
    Stopped,
    /// A device went away; what had been recorded was handed over.
    DeviceLost {
        /// Which one.
        side: Side,
        /// How it showed.
        how: Lost,
    },
}

/// How it shows that a device is gone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lost {
    /// The sound system said so.
    Reported,
    /// The sound system put another device in its place.
    Replaced,
    /// Nothing but errors came any more.
    OnlyErrors,
    /// Nothing came any more.
    WentQuiet,
}

impl Take {
    /// Frames that the computer's clock says should have come, less those that did.
    ///
    /// Good to about one input buffer, because samples arrive in buffers; more than that, and samples were lost.
    pub fn frames_short(&self, rate: SampleRate) -> f64 {
        self.wall_clock_s * rate.hz() - self.frames as f64
    }
}
