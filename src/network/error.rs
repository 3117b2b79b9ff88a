//! Why a network can't be used.

use crate::quantity::{WORD, excerpt};

/// Why a network can't be used; lines count from 1.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[allow(missing_docs)] // the messages say what each field is
pub enum NetworkError {
    #[error("line {line}: {card:?} has {found} words, a part needs a name, two nodes and a value")]
    TooShort { line: usize, card: String, found: usize },
    #[error("line {line}: {name:?} is not a resistor, a coil or a capacitor (R…, L…, C…)")]
    UnknownCard { line: usize, name: String },
    #[error("line {line}: {word:?} is not a value such as 4.7, 6.8u or 0.39m")]
    Value { line: usize, word: String },
    #[error("line {line}: {name} is {found:e}, no part is that small or large")]
    OutOfBounds { line: usize, name: String, found: f64 },
    #[error("line {line}: {name} is {found}, it must be more than 0 and finite")]
    NotPositive { line: usize, name: String, found: f64 },
    #[error("line {line}: {name} is there already, in line {before}")]
    Twice { line: usize, name: String, before: usize },
    #[error("line {line}: {name} has both ends at {node}")]
    Loop { line: usize, name: String, node: String },
    #[error("line {line}: {word:?} is not understood behind a value; losses are dcr= or esr= in ohm")]
    UnknownOption { line: usize, word: String },
    #[error("line {line}: more than {most} parts")]
    TooMany { line: usize, most: usize },
    #[error("there is no part in it")]
    Empty,
    #[error("no part is at node {}; the amplifier is at in, the other side of everything at 0", excerpt(node, WORD))]
    NoSuchNode { node: String },
    #[error("node {} hangs in the air: no way from it to the amplifier", excerpt(node, WORD))]
    Floating { node: String },
    #[error("the amplifier sees a short circuit at {hz:.0} Hz")]
    ShortCircuit { hz: f64 },
}

impl NetworkError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::TooShort { .. } | Self::Value { .. } => "write a line for each part, as in: L1 in mid 0.39m dcr=0.25",
            Self::UnknownCard { .. } => {
                "describe drivers in the job, and let the file hold the parts between them and the amplifier"
            }
            Self::NotPositive { .. } => "leave the part out, and give the nodes at its ends one name if it is a wire",
            Self::Twice { .. } => "give each part a name of its own",
            Self::Loop { .. } => "join each end of the part to the node that it has in the drawing",
            Self::UnknownOption { .. } => {
                "write dcr=0.25 for a coil, esr=0.05 for a capacitor, or a comment behind a semicolon"
            }
            Self::OutOfBounds { .. } => "compare the value with the part's label; 1m is a thousandth, 1meg a million",
            Self::TooMany { .. } => "check that this is the network of one loudspeaker",
            Self::Empty => "write a line for each part, as in: C1 in treble 5.6u",
            Self::NoSuchNode { .. } => "compare the names of the nodes with those in the job",
            Self::Floating { .. } => "look for a node that is written in two ways, or a part that is missing",
            Self::ShortCircuit { .. } => "do not connect an amplifier; look for a wire across the input",
        }
    }
}
