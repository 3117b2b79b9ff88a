//! The sound card, or what stands in for it.
//!
//! Everything that plays and records does it through [`SoundCard`]: the real card (`card`, with the feature `audio`),
//! its twin in a build without sound (`absent`), and the simulated bench (`simulated`). [`devices`] and [`open`]
//! are the same functions in both builds; [`connect()`] chooses by name.
//!
//! What the caller may rely on: recording starts before the first sample is played and ends after the last; where the
//! reply lies in it is *not* known and differs from take to take, so it has to be found by content.

mod connect;
mod device;
mod error;
mod level;
mod meter;
mod order;
mod simulated;
mod stand;
mod take;

#[cfg(not(feature = "audio"))]
mod absent;
#[cfg(feature = "audio")]
mod card;

#[cfg(not(feature = "audio"))]
pub use absent::{Card, devices, open};
#[cfg(feature = "audio")]
pub use card::{Card, devices, open};
pub use connect::connect;
pub use device::{CardFacts, DeviceFacts, RateRange, Route, Side, SideFacts, choose};
pub use error::{AudioError, HearError};
pub use level::{ChannelLevel, LevelReport, LevelSettings, Proposal, measure_level};
pub use meter::{ChannelFacts, Meter, Meters};
pub use order::{Channels, FADE_OUT_S, MarksApart, Order};
pub use simulated::{SIMULATED, Simulated};
pub use stand::{SimulatedSettings, SimulatedTruth};
pub use take::{Ended, Hear, Lost, Progress, SoundCard, Take, Tell, Trouble, TruthWanted};
