//! The stages of building a loudspeaker, in their order.

/// How far a loudspeaker was built when it was captured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stage {
    /// The driver alone.
    OnTheBench,
    /// The driver in its box, closed up.
    InItsBox,
    /// The finished loudspeaker.
    OnTheStand,
    /// At the seats, with the subwoofer.
    WithTheSubwoofer,
}

impl Stage {
    /// All of them, in order.
    pub const ALL: [Self; 4] = [Self::OnTheBench, Self::InItsBox, Self::OnTheStand, Self::WithTheSubwoofer];

    /// As it is written in descriptions of captures.
    pub fn name(self) -> &'static str {
        match self {
            Self::OnTheBench => "on the bench",
            Self::InItsBox => "in its box",
            Self::OnTheStand => "on the stand",
            Self::WithTheSubwoofer => "with the subwoofer",
        }
    }

    /// The stage of this name, capitals or not; none of any other text.
    pub fn named(text: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|stage| stage.name().eq_ignore_ascii_case(text.trim()))
    }
}
