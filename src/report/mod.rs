//! Results for people: pictures, tables, the page. Returns text or bytes and writes nothing.

mod error;
mod plot;

pub use error::ReportError;
pub use plot::{
    DistortionPicture, EnvelopePicture, GateShape, HarmonicCurve, ImpulsePicture, LevelCurve, Origin, PhasePanel, Picture,
    ResponsePicture, page_font_css,
};
