//! Why nothing could be played and recorded.

use super::Side;

/// Why samples could not be taken over, in the words of whoever refused them.
pub type HearError = Box<dyn std::error::Error + Send + Sync>;

/// Why nothing could be played and recorded.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // the messages say what each field is
pub enum AudioError {
    #[error("built without sound card support, so there is no {wanted}")]
    NotBuilt { wanted: &'static str },
    #[error("the sound system can't be reached: {says}")]
    NoSoundSystem { says: String },
    #[error("no sound device has an {side}")]
    NoDevice { side: Side },
    #[error("no {side} device is called {asked:?}; there is {there}")]
    UnknownDevice { side: Side, asked: String, there: String },
    #[error("{asked:?} fits several {side} devices: {fits}")]
    AmbiguousDevice { side: Side, asked: String, fits: String },
    #[error("{device} has no {side} rate of {found_hz} Hz; it has {has}")]
    Rate { device: String, side: Side, found_hz: u32, has: String },
    #[error("{device} has no {side} channel {found}; it has {has}")]
    Channel { device: String, side: Side, found: usize, has: usize },
    #[error("{device} offers no {side} sample format of 16, 24 or 32 bits at {rate_hz} Hz")]
    Format { device: String, side: Side, rate_hz: u32 },
    #[error("{device} did not open for {side}: {says}")]
    NotOpened { device: String, side: Side, says: String },
    #[error("the sound system gave no answer within {waited_s} s while {doing}")]
    NoAnswer { doing: &'static str, waited_s: f64 },
    #[error("the {side} of {device} opened but nothing moved for {waited_s} s")]
    NeverStarted { device: String, side: Side, waited_s: f64 },
    #[error("frame {frame} of the signal is {found}, which is no sample")]
    NotASample { frame: usize, found: f64 },
    #[error("frame {frame} of the signal is {found}, full scale is 1")]
    TooLoud { frame: usize, found: f64 },
    #[error("no {side} channel was named")]
    NoChannels { side: &'static str },
    #[error("{side} channel {channel} was named twice")]
    ChannelTwice { side: &'static str, channel: usize },
    #[error("a level of {found_dbfs} dBFS was asked for, the limit is {limit_dbfs} dBFS")]
    OverTheLimit { found_dbfs: f64, limit_dbfs: f64 },
    #[error("a tone of {found_s} s, the range is {shortest_s} to {longest_s} s")]
    ToneLength { found_s: f64, shortest_s: f64, longest_s: f64 },
    #[error("the recording ended after {found_s:.2} s, before a level could be read")]
    CutShort { found_s: f64 },
    #[error("the recording could not be kept: {0}")]
    NotKept(HearError),
    #[error("the simulated bench has its own output and input, {with:?} can't go with it")]
    HalfSimulated { with: String },
    #[error("the simulated bench: {0}")]
    Bench(#[from] crate::bench::BenchError),
    #[error(transparent)]
    Signal(#[from] crate::signal::SignalError),
}

impl AudioError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::NotBuilt { .. } => {
                "build with the feature `audio` (on by default), or name `simulated`, the built-in bench"
            }
            Self::NoSoundSystem { .. } => "start the sound system, or name `simulated`, the built-in bench",
            Self::NoDevice { .. } => "connect an interface and look at `boxwright devices`",
            Self::UnknownDevice { .. } => "name one of these, by its id or a part of the name that only it has",
            Self::AmbiguousDevice { .. } => "give the whole id of the one you mean",
            Self::Rate { .. } => "give --rate one that both devices have",
            Self::Channel { .. } => "give a channel that the device has; channels count from 1",
            Self::Format { .. } => "choose another entry of the same device in `boxwright devices`",
            Self::NotOpened { .. } => "close other programs that use the device, then try again",
            Self::NoAnswer { .. } => "restart the sound system, or unplug the interface and plug it in again",
            Self::NeverStarted { .. } => {
                "check that the device is on and not muted by the sound system, or choose another entry of it"
            }
            Self::NotASample { .. } => "make the signal anew, its file is damaged",
            Self::TooLoud { .. } => "lower the level of the signal",
            Self::NoChannels { .. } => "name at least one channel to play on and one to keep",
            Self::ChannelTwice { .. } => "name each channel once",
            Self::OverTheLimit { .. } => {
                "lower --tone-dbfs, or raise --level-dbfs if you know that amplifier and driver bear it"
            }
            Self::ToneLength { .. } => "give --seconds within that range",
            Self::CutShort { .. } => "check that the interface stays connected, then try again",
            Self::NotKept(_) => "make room on the disk or choose another folder, then take it again",
            Self::HalfSimulated { .. } => "give `simulated` alone, or two real devices",
            Self::Bench(error) => error.advice(),
            Self::Signal(error) => error.advice(),
        }
    }
}
