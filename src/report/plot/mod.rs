//! Pictures: one description, drawn as SVG text or PNG bytes of the same look.
//!
//! A kind of picture ([`ResponsePicture`], [`DifferencePicture`], [`ImpedancePicture`], [`ImpulsePicture`], [`EnvelopePicture`],
//! [`DistortionPicture`], [`PhasesPicture`], [`DecayPicture`], [`BurstsPicture`],
//! [`BlendSeatPicture`], [`BlendMapPicture`]) turns its numbers into a [`Picture`]; that one knows axes, curves, bands and marks, and
//! nothing of loudspeakers.
//!
//! The rules of all of them: a number that is not finite is a gap, never a stroke. Measured is solid, predicted
//! dashed, twice the standard uncertainty a band, what lies outside the valid range stands on grey. Curves differ by
//! colour, width and marker, so that a grey print can be read. The legend stands above the curves, never on them.

mod axis;
mod bitmap;
mod blend;
#[cfg(test)]
mod check;
mod decay;
mod difference;
mod distortion;
mod envelope;
mod fitted;
mod font;
mod geometry;
mod impedance;
mod impulse;
mod kept;
mod kinship;
mod legible;
mod map;
mod palette;
mod pen;
mod phases;
mod picture;
mod range;
mod render;
mod response;
mod sheet;
mod trace;
mod vector;

pub use blend::{BlendMapPicture, BlendSeatPicture};
pub use decay::{BurstsPicture, DecayPicture, DecaySlice};
pub use difference::DifferencePicture;
pub use distortion::{DistortionPicture, HarmonicCurve, HighOrderCurve};
pub use envelope::EnvelopePicture;
pub use fitted::FittedPicture;
pub use font::page_font_css;
pub use impedance::{ImpedancePicture, OhmCurve};
pub use impulse::{GateShape, ImpulsePicture};
pub use kept::PagePicture;
pub use phases::PhasesPicture;
pub use picture::Picture;
pub use response::{LevelCurve, Origin, PhasePanel, ResponsePicture};
