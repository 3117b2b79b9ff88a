//! Why a picture could not be had.

/// Why a picture could not be had.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[allow(missing_docs)] // the messages say what each field is
pub enum ReportError {
    #[error("picture {title:?} could not be drawn: {why}")]
    Drawing { title: String, why: String },
    #[error("picture {title:?} could not be packed as PNG: {why}")]
    Packing { title: String, why: String },
    #[error("not a picture that this program draws: {what}")]
    NotOurs { what: String },
}

impl ReportError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::Drawing { .. } | Self::Packing { .. } => {
                "use the numbers, which are complete without the picture, and report this as a fault of the program"
            }
            Self::NotOurs { .. } => "run the command that made the result again: it draws its pictures anew",
        }
    }
}
