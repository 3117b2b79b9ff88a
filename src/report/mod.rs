//! Results for people: pictures, tables, the page. Returns text or bytes and writes nothing.

mod cautions;
mod command;
mod error;
mod page;
mod plot;
mod policy;
mod symbol;
mod table;

pub use cautions::{CAUTIONS, Caution, Danger, LOCAL_CODES_FIRST, Moment, cautions_at};
pub use command::command_text;
pub use error::ReportError;
pub use page::{Chapter, Figure, Story, page_html};
pub use plot::{
    BlendMapPicture, BlendSeatPicture, BurstsPicture, DecayPicture, DecaySlice, DifferencePicture, DistortionPicture,
    EnvelopePicture, FittedPicture, GateShape, HarmonicCurve, HighOrderCurve, ImpedancePicture, ImpulsePicture,
    LevelCurve, OhmCurve, Origin, PagePicture, PhasePanel, PhasesPicture, Picture, ResponsePicture, page_font_css,
};
pub use symbol::symbol;
pub use table::{Entry, Layout, Paint, Value, cautions_text, findings_text, numbers_text};
