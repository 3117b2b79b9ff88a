//! What a loudspeaker in a box really does: played, recorded, explained.
//!
//! The rooms, lowest floor first; a room uses rooms on lower floors only (`tests/layers.rs`):
//!
//! | floor | room | holds |
//! |---|---|---|
//! | 0 | [`math`] | what is true without loudspeakers: transforms, windows, interpolation |
//! | 1 | [`quantity`] | numbers that carry a rule: rates, grids, levels, values with uncertainty |
//! | 2 | [`signal`] | what we play, and a recording of what came back |
//! | 3 | [`response`] | what a system does: from a recording to impulse, frequency response, distortion |
//! | 4 | [`impedance`] | what the amplifier sees: impedance through a sense resistor |
//! | 5 | [`driver`] | the driver behind an impedance: model, fit, what moves |
//! | 6 | [`enclosure`] | the box: what a driver becomes in it |
//! | 6 | [`network`] | passive parts between amplifier and drivers |
//! | 6 | [`baffle`] | the front of a box: what its edges do to the sound |
//! | 7 | [`speaker`] | a whole loudspeaker: its design, and what the design promises |
//! | 7 | [`blend`] | where satellite and subwoofer meet: crossover, delay, polarity, level |
//! | 7 | [`diagnosis`] | what a finished box really is: fit, leak, tuning, ringing walls, before and after |
//! | 8 | [`explanation`] | measured over expected: how they differ, and why |
//! | 8 | [`bench`](mod@bench) | the simulated bench, which shares nothing with rooms 3 to 7 so that it can be their judge |
//! | 9 | [`files`] | the disk: WAV, text tables, descriptions, results |
//! | 9 | [`report`] | results for people: pictures, tables, the page; writes nothing |
//! | 9 | [`audio`] | the sound card, or what stands in for it |
//! | 10 | [`job`] | a measurement from start to finish, where domain, disk and card meet |
//!
//! # Conventions that all rooms share
//!
//! - Time dependence is `exp(+jωt)`: a pure delay τ has the phase −2πfτ.
//! - The forward Fourier transform is unscaled, the inverse divides by its length.
//! - Time zero of an impulse response is the moment at which the excitation's first sample was played;
//!   its index in the stored samples is kept beside them, fractions of a sample included.
//! - Wrapped phase lies in (−180°, 180°].
//! - Channels count from 1 for people and from 0 inside.
//! - A sample value of ±1 is full scale. A level in dBFS is that of a sine whose peak is the full-scale
//!   fraction (a full-scale sine has 0 dBFS, rms or peak: AES17); a sweep's level is its peak.
//! - Sound pressure levels are in dB re 20 µPa.
//! - `u` is a standard uncertainty (k = 1); people are shown ± 2u.
//! - Inside the library: SI without prefixes, radians, linear magnitudes. Units for people are made in
//!   `files`, `report` and the program.

pub mod audio;
pub mod baffle;
pub mod bench;
pub mod blend;
pub mod diagnosis;
pub mod driver;
pub mod enclosure;
pub mod explanation;
pub mod files;
pub mod impedance;
pub mod job;
pub mod math;
pub mod network;
pub mod quantity;
pub mod report;
pub mod response;
pub mod signal;
pub mod speaker;

/// Name and version, as every document names its maker.
pub const MADE_BY: &str = concat!("boxwright ", env!("CARGO_PKG_VERSION"));
