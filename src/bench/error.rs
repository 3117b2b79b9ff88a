//! Why a bench can't be set up.

/// Why a bench can't be set up.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[allow(missing_docs)] // the messages say what each field is
pub enum BenchError {
    #[error("{what} is {found}, it must lie from {least} to {most}")]
    OutOfRange { what: &'static str, found: f64, least: f64, most: f64 },
    #[error("{what} of the {way} falls to {found} at {at_mm:.2} mm of excursion, it must stay above zero")]
    CurveBelowZero { what: &'static str, way: String, found: f64, at_mm: f64 },
    #[error("the loudspeaker has no way")]
    NoWay,
    #[error("the near field is that of way {found} counted from 0, the loudspeaker has {ways}")]
    NoSuchWay { found: usize, ways: usize },
    #[error("the near field is that of an opening, the box of the {way} has none")]
    NoOpening { way: String },
    #[error(
        "the {way} has a part that settles in {found_s:.1e} s, the shortest time that can be followed is {least_s:.1e} s"
    )]
    TooFast { way: String, found_s: f64, least_s: f64 },
    #[error("the {what} lies at {found_m:.2} m along axis {axis} of a room that is {room_m:.2} m long there")]
    OutsideRoom { what: &'static str, axis: usize, found_m: f64, room_m: f64 },
    #[error("a part of the {way} is loose, which the jig can't follow")]
    LooseOnJig { way: String },
    #[error("the loudspeaker on the jig has {found} ways, {most} can be followed at most")]
    TooManyWays { found: usize, most: usize },
}

impl BenchError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::OutOfRange { .. } => "choose a value within that range",
            Self::CurveBelowZero { .. } => "lower the coefficients of that curve or the excursion up to which it holds",
            Self::NoWay => "give the loudspeaker at least one way",
            Self::NoSuchWay { .. } => "choose one of its ways",
            Self::NoOpening { .. } => "place the microphone before the cone or open the box",
            Self::TooFast { .. } => {
                "raise the inductances and capacitors of that way, lower its resistances or soften the contact of its defect"
            }
            Self::OutsideRoom { .. } => "move the loudspeaker, shorten the distance or enlarge the room",
            Self::LooseOnJig { .. } => "fasten that part or measure the loudspeaker with a microphone",
            Self::TooManyWays { .. } => "hang a loudspeaker of fewer ways on the jig",
        }
    }
}

/// Refuses a number outside its range, NaN included.
pub(super) fn check(what: &'static str, found: f64, [least, most]: [f64; 2]) -> Result<(), BenchError> {
    if (least..=most).contains(&found) { Ok(()) } else { Err(BenchError::OutOfRange { what, found, least, most }) }
}
