//! Why a response could not be had.

use crate::quantity::Code;

/// Why a response could not be had. A message that a finding's code belongs to begins with it.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[allow(missing_docs)] // the messages say what each field is
pub enum ResponseError {
    #[error("sample rates differ: recorded at {recorded_hz} Hz, the excitation has {played_hz} Hz")]
    RatesDiffer { recorded_hz: f64, played_hz: f64 },
    #[error("channel {wanted} asked for, the recording has {found}")]
    NoSuchChannel { wanted: usize, found: usize },
    #[error("{code}: {recorded_s:.2} s recorded, and no whole sweep of {sweep_s:.2} s in it", code = Code::Truncated)]
    NoWholeSweep { recorded_s: f64, sweep_s: f64 },
    #[error("{code}: channel {channel} holds nothing but zeros", code = Code::TooQuiet)]
    Silent { channel: usize },
    #[error("{code}: the excitation rises only {found_db:.1} dB out of the noise of channel {channel}, \
             {needed_db:.0} dB are needed", code = Code::TooQuiet)]
    TooQuiet { channel: usize, found_db: f64, needed_db: f64 },
    #[error("{code}: channel {channel} is not a reply to this excitation: {found_percent:.1} % of its energy \
             gather at one arrival, at least {needed_percent:.0} % should", code = Code::WrongExcitation)]
    WrongExcitation { channel: usize, found_percent: f64, needed_percent: f64 },
    #[error("the excitation holds nothing but zeros")]
    EmptyExcitation,
    #[error("the excitation does not fit its description: {problem}")]
    Plan { problem: String },
    #[error("channel {channel} holds {found} at frame {frame}, which is no sample value")]
    NotFinite { channel: usize, frame: usize, found: f64 },
    #[error("channel {channel} has {found} frames, the first one {needed}")]
    UnequalChannels { channel: usize, found: usize, needed: usize },
    #[error("{found} points an octave, the range is 1 to {most}")]
    PointsPerOctave { found: u32, most: u32 },
    #[error("a level reference of {offset_db} dB: sensitivity, voltage and distance must be finite and above zero")]
    LevelReference { offset_db: f64 },
    #[error("a gate of {found_ms} ms, the range is {shortest_ms} to {longest_ms:.0} ms")]
    Gate { found_ms: f64, shortest_ms: f64, longest_ms: f64 },
    #[error("nothing can be reported: the gate allows {lowest_hz:.1} Hz and up, the band ends at {highest_hz:.1} Hz")]
    NoValidBand { lowest_hz: f64, highest_hz: f64 },
    #[error(
        "no overlap: the near field holds from {near_from_hz:.0} to {near_to_hz:.0} Hz, the far field from {far_from_hz:.0} to {far_to_hz:.0} Hz, and a third of an octave is needed"
    )]
    NoOverlap { near_from_hz: f64, near_to_hz: f64, far_from_hz: f64, far_to_hz: f64 },
    #[error(
        "joining at {hz:.0} Hz was asked for, both sides hold from {from_hz:.0} to {to_hz:.0} Hz, half an octave to each side"
    )]
    JoinOutside { hz: f64, from_hz: f64, to_hz: f64 },
    #[error("a curve whose frequencies do not rise, or that holds what is no number")]
    BrokenCurve,
    #[error("smoothing over {found} of an octave, the range is 1/96 to 1")]
    Smoothing { found: f64 },
    #[error("{} curve, an average needs two or more", if *found == 1 { "one".to_owned() } else { found.to_string() })]
    TooFewCurves { found: usize },
    #[error("a weight of {found}: weights are above zero, and none so large that the others count for nothing")]
    Weight { found: f64 },
    #[error("curve {curve} has no phase, which a complex average needs")]
    NoPhase { curve: usize },
    #[error("curve {curve} can't be read at a frequency: a column is too short, or holds what is no number of use")]
    NotACurve { curve: usize },
    #[error(
        "the curves have no point in common, or a single one: one begins at {from_hz:.1} Hz, one ends at {to_hz:.1} Hz"
    )]
    NoCommonBand { from_hz: f64, to_hz: f64 },
    #[error("nothing is left of the complex average, the curves cancel everywhere")]
    Cancelled,
    #[error("an angle of {found_deg} degrees, the range is -180 to 180")]
    Angle { found_deg: f64 },
    #[error("a room whose {side} is {} m, the range is 0.1 to 1000 m", short(*found_m))]
    Room { side: &'static str, found_m: f64 },
    #[error("the {what} would stand outside of the room: {found_m:.2} m along its {side}, which is {room_m} m")]
    OutsideRoom { what: &'static str, side: &'static str, found_m: f64, room_m: f64 },
    #[error("a distance of {found_m} m from loudspeaker to microphone, it must be above zero")]
    Distance { found_m: f64 },
}

/// A number in few digits, however large.
fn short(number: f64) -> String {
    if number.abs() < 1e6 { number.to_string() } else { format!("{number:e}") }
}

impl ResponseError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::RatesDiffer { .. } => "give the excitation that was played, at the rate it was played at",
            Self::NoSuchChannel { .. } => "count channels from 1 and name one that was recorded",
            Self::NoWholeSweep { .. } => {
                "start recording before the excitation and stop at least one second after its end"
            }
            Self::Silent { .. } => "check cable, input, phantom power and the permission to use the microphone",
            Self::TooQuiet { .. } => "raise the input gain, move the microphone closer, or use more repeats",
            Self::WrongExcitation { .. } => {
                "give the WAV that was really played, and check that no sound effect or noise suppression was on"
            }
            Self::EmptyExcitation => "give the WAV that was played",
            Self::Plan { .. } => "keep the description beside the WAV it was made with, or make the excitation anew",
            Self::NotFinite { .. } | Self::UnequalChannels { .. } => {
                "record again; the file was damaged or written by a program that does not mean it as sound"
            }
            Self::PointsPerOctave { .. } => "give a number of points within that range",
            Self::LevelReference { .. } => "give sensitivity, voltage and distance as measured",
            Self::Gate { .. } => "give a gate within that range, or --gate auto",
            Self::NoValidBand { .. } => "lengthen the gate, or use an excitation and tables that cover the band",
            Self::NoOverlap { .. } => {
                "lengthen the far field's gate: lift the loudspeaker, go closer with the microphone, or measure outdoors"
            }
            Self::JoinOutside { .. } => "give --at a frequency within that range, or leave it out",
            Self::BrokenCurve => "look for a level of minus infinity in the curve",
            Self::Smoothing { .. } => "give a fraction such as --smooth 1/12, or --smooth none",
            Self::TooFewCurves { .. } => "name the curves of all places or directions, one after the other",
            Self::Weight { .. } => "give each curve a weight such as 1 or 2",
            Self::NoPhase { .. } => "give curves with phase, or average --by power",
            Self::NotACurve { .. } => "look for a level or an uncertainty in it that can't be",
            Self::NoCommonBand { .. } => "leave out the curve whose range is another, or measure it again",
            Self::Cancelled => {
                "average --by power; look whether one of the loudspeakers is connected the wrong way round"
            }
            Self::Angle { .. } => "count from the axis, right and up positive",
            Self::Room { .. } => "give length x width x height in m",
            Self::OutsideRoom { .. } => {
                "count from one corner of the room, along the direction the loudspeaker faces first; or come closer"
            }
            Self::Distance { .. } => "give the distance as measured, in m",
        }
    }
}
