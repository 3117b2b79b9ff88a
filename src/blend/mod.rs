//! Where satellite and subwoofer meet: crossover, delay, polarity and level with which they join best at the seats.
//!
//! [`Parts`] hold what both do at each seat. [`best_setting`] searches what a receiver can be set to; [`useful_end`] says how far each
//! of them reaches, [`unevenness`] what no setting mends, and [`offset`] how both stand to each other in a capture
//! of both.

mod both_playing;
mod crossover;
mod error;
mod level_match;
mod offset;
mod parts;
mod ripple;
mod search;
mod unmendable;
mod useful;

pub use both_playing::{BothPlaying, Stand, TimeRange, left_with};
pub use crossover::{MOST_ORDER, Passes, Shape};
pub use error::BlendError;
pub use level_match::level_match_db;
pub use offset::{Offset, PolarityKnown, PolarityTold, offset};
pub use parts::{Filters, Parts, PartsAtSeat, Polarity, Setting, overlap_hz};
pub use ripple::Overlap;
pub use search::{ALTERNATIVES, AS_GOOD_DB, Candidate, Choices, Found, SETTLED_DB, best_setting};
pub use unmendable::{MendedBy, STANDS_OUT_DB, Unevenness, unevenness};
pub use useful::{End, FALLS_DB, MOST_DOUBT_RATIO, UsefulEnd, crossovers_from_hz, useful_end};
