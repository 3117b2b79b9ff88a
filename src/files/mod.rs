//! The disk: WAV files, text tables, descriptions of signals and captures, results.

mod air_result;
mod average_result;
mod blend_result;
mod box_result;
mod capture_description;
mod check_result;
mod compare_result;
mod curve;
mod curve_bounds;
mod curve_write;
mod datasheet;
mod document;
mod driver_result;
mod error;
mod faults;
mod impedance_curve;
mod impedance_result;
mod job;
mod job_box;
mod job_driver;
mod job_speaker;
mod job_written;
mod join_result;
mod match_result;
mod network_result;
mod placement_result;
mod promise_result;
mod provenance;
mod report_result;
mod response_result;
mod room;
mod safe;
mod sampled_curve;
mod schemas;
mod sheet_result;
mod signal_description;
mod simulation_result;
mod status_result;
mod steady;
mod table;
mod text;
mod touchstone;
mod wav_coding;
mod wav_header;
mod wav_layout;
mod wav_read;
mod wav_write;

pub use air_result::AirTable;
pub use average_result::{AVERAGE_SCHEMA, AverageCurve, AverageDocument, AverageSettingsTable, LevelByFrequency};
pub use blend_result::{
    BLEND_SCHEMA, BlendCurve, BlendDocument, BlendSeat, BlendSettings, DistanceSetting, EndTable, LowPassTable,
    SatelliteTable, SettingTable, StandingWaveTable, ToleranceTable, UnevennessTable,
};
pub use box_result::{
    BOX_SCHEMA, BoxDocument, BoxSettingsTable, ChangeTable, DesignTable, FoundTable, HoleTable, LeakTable, LossTable,
    MovedTable, PortTable, WrinkleTable, quality_of,
};
pub use capture_description::{
    BenchUsed, CAPTURE_SCHEMA, CaptureDescription, CaptureKind, Ended, Played, Stream, capture_description_from,
    read_capture_description,
};
pub use check_result::{CHECK_SCHEMA, CheckDocument, CheckSettings, VerdictTable};
pub use compare_result::{
    AlignedTable, COMPARE_SCHEMA, CauseTable, ChangedTable, CompareDocument, CompareSettings, DeviationColumns,
    LeftTable, ThirdColumns, WorstPlace,
};
pub use curve::{Curve, Measure, curve_from, frequency_text, read_curve};
pub use curve_write::{curve_text, replace_curve};
pub use datasheet::{DataSheet, datasheet_from, read_datasheet};
pub use driver_result::{
    AgreementTable, CandidateTable, CovarianceTable, DRIVER_SCHEMA, DriverDocument, DriverSettings, MethodTable, Plain,
    SuspensionTable, ThreePointTable, VoiceCoilTable, driver_result_from, read_driver_result,
};
pub use error::FileError;
pub use faults::{fault_lines, faults_of, faults_of_inputs};
pub use impedance_curve::{curve_of, impedance_of};
pub use impedance_result::{
    IMPEDANCE_SCHEMA, ImpedanceColumns, ImpedanceDocument, ImpedanceSettings, MinimumTable, PeakTable, RepeatTable,
    VoltageTable,
};
pub use job::{Job, JobBench, JobLimits, JobTable, job_from, job_path, read_job};
pub use job_box::{JobBox, JobPort, material_names};
pub use job_driver::JobDriver;
pub use job_speaker::{JobBaffle, JobNetwork, JobSpeaker, JobUnit, JobWay};
pub use job_written::written_job;
pub use join_result::{JOIN_SCHEMA, JoinDocument, JoinSettings, JoinedColumns, JoinedTable, SideTable, SurfaceTable};
pub use match_result::{MATCH_SCHEMA, MatchDocument, MatchSettings, PairTable, UnitTable, WorstTable};
pub use network_result::{NETWORK_SCHEMA, NetworkDocument, NetworkSettings, PartTable};
pub use placement_result::{
    ClearTable, DistanceTable, GeometryTable, HeightTable, PLACEMENT_SCHEMA, PlaceTable, PlacementDocument,
    PlacementSettings, ReflectingTable,
};
pub use promise_result::{PromisedLoudness, promised_loudness_from, read_promised_loudness};
pub use provenance::{FromJob, Provenance, job_tables};
pub use report_result::{REPORT_SCHEMA, ReportDocument, ReportSettings};
pub use response_result::{
    DistortionTable, GateTable, HighOrderTable, ImpulseTable, InputFile, PhaseColumns, RESPONSE_SCHEMA,
    ReflectionTable, ResponseCurve, ResponseDocument, ResponseSettings, RingingTable, WrittenFile, decay_text,
    distortion_text, high_order_text, phase_text,
};
pub use room::{free_bytes, has_room};
pub use safe::{create_new, fresh_name, part_of, rename_new, replace, sha256_of, sha256_of_bytes};
pub use sampled_curve::sampled_of;
pub use schemas::schemas;
pub use sheet_result::{FoundBoxTable, PromiseTable, PromisedBoxTable, SheetBoxTable, SheetTable};
pub use signal_description::{
    Band, Layout, SIGNAL_SCHEMA, SignalDescription, SignalKind, SweepTable, read_signal_description,
    signal_description_from,
};
pub use simulation_result::{
    CurrentColumns, DelayColumns, ExcursionColumns, LevelColumns, MaxLevelColumns, OhmColumns, ParameterTable,
    ReplacedTable, RestsOnTable, SIMULATION_SCHEMA, SimulationDocument, SimulationSettings, SpeakerTable, SpeedColumns,
    TransferColumns, WayTable,
};
pub use status_result::{
    CaptureStanding, CommandToRun, FindingCounts, ResultStanding, STATUS_SCHEMA, StatusDocument, UnfinishedStanding,
    UnitStanding,
};
pub use text::{read_result_text, read_text, read_typed_text};
pub use touchstone::touchstone_text;
pub use wav_header::{CutShort, WavFacts};
pub use wav_layout::Lengths;
pub use wav_read::{Keep, WavFile, WavStretches, read_wav, read_wav_channels, read_wav_from, wav_facts};
pub use wav_write::{WavWriter, Written, replace_wav, wav_bytes, write_wav_new};
