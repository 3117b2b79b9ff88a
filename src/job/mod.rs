//! A measurement from start to finish, where domain, disk and card meet.

mod alike;
mod average;
mod bench_keys;
mod blend;
mod blend_check;
mod blend_curves;
mod blend_document;
mod blend_findings;
mod blend_limits;
mod blend_pictures;
mod box_document;
mod boxed;
mod capture;
mod capture_files;
mod capture_findings;
mod capture_names;
mod chain;
mod check;
mod compare;
mod curve_shelf;
mod demo;
mod design;
mod design_tables;
mod driver;
mod driver_document;
mod impede;
mod impede_document;
mod join;
mod join_document;
mod join_told;
mod known_excitation;
mod live_blend;
mod live_gate;
mod long_recording;
mod make_signal;
mod network;
mod new_job;
mod placement;
mod record;
mod report;
mod respond;
mod response_document;
mod response_pictures;
mod results_folder;
mod sheet;
mod simulate;
mod treble;

pub use alike::{LevelCounts, MatchError, MatchOrder, match_units};
pub use average::{AverageError, AverageOrder, Averaged, average_curves};
pub use bench_keys::bench_keys;
pub use blend::{BlendJobError, BlendOrder, Blended, FilteredBy, USUAL_CROSSOVERS_HZ, blend};
pub use boxed::{BoxOrder, ExamineError, Examined, USUAL_WALL_M, examine};
pub use capture::{CaptureError, CaptureOrder, Captured, Known, can_begin, capture};
pub use chain::{Chain, ChainError, Inputs, LOUD_DBFS, Loudness, USUAL_DBFS, USUAL_JIG_DBFS, chain, jig_chain};
pub use check::{CheckError, check};
pub use compare::{CompareError, CompareOrder, Compared, ExplainOrder, compare};
pub use curve_shelf::{CurveShelf, KnownCurve};
pub use demo::{Demo, DemoError, DemoOrder, demo};
pub use design::{Basis, DesignError, Designed, designs, read_netlist};
pub use design_tables::design_tables;
pub use driver::{CharacteriseError, Characterised, DriverOrder, characterise};
pub use impede::{ImpedanceOrder, ImpedeError, Impeded, impede};
pub use join::{JoinError, JoinJob, JoinOrder, JoinedCurves, join_curves};
pub use known_excitation::{KnownExcitation, PlanFrom, known_excitation};
pub use live_blend::{LiveBlend, LiveSeat, LiveSum};
pub use live_gate::LiveGate;
pub use make_signal::{Existing, MadeSignal, MakeSignalError, SignalOrder, SignalSettings, make_signal};
pub use network::{LoadIs, NetworkOrder, NetworkOrderError, work_out};
pub use new_job::new_job;
pub use placement::{RoomOrder, place};
pub use record::{
    Anew, Found, FoundCapture, FoundResult, PartState, Ran, Stage, Standing, State, Subject, Unfinished, files_below,
    find, name_unfinished, standings, status, subjects, todo,
};
pub use report::{Added, Additions, JobReportError, ReportOrder, Reported, report};
pub use respond::{
    Pictures, ReferenceChoice, RespondError, Responded, ResponseOrder, SmoothingChoice, TableIs, respond,
};
pub use sheet::{SheetError, against_sheet};
pub use simulate::{Banding, SimulateError, Simulated, SimulationOrder, simulate_job};
pub use treble::{TrebleError, treble_limit_hz};
