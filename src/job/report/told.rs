//! What there is to tell of a result, whichever kind it is: words, numbers, and which of its pictures show what.

use super::facts::Facts;
use super::kinds;
use crate::report::Entry;

/// What a result document comes to.
#[derive(Debug, Clone, Default)]
pub(super) struct Told {
    /// What it is, for its heading.
    pub heading: String,
    /// What was done and what came of it, a paragraph each.
    pub prose: Vec<String>,
    /// Its numbers.
    pub numbers: Vec<Entry>,
    /// Its pictures, in order.
    pub pictures: Vec<Shown>,
    /// The answer in a sentence, where it gives one.
    pub verdicts: Vec<String>,
}

/// A picture beside a result.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Shown {
    /// The name of its file without the ending.
    pub stem: String,
    /// What to see in it.
    pub caption: String,
    /// Whether it is seen at once, or folded away with others.
    pub at_once: bool,
}

impl Shown {
    /// A picture that is seen at once.
    pub fn open(stem: impl Into<String>, caption: impl Into<String>) -> Self {
        Self { stem: stem.into(), caption: caption.into(), at_once: true }
    }

    /// A picture that is folded away.
    pub fn folded(stem: impl Into<String>, caption: impl Into<String>) -> Self {
        Self { at_once: false, ..Self::open(stem, caption) }
    }
}

/// What a document of a kind tells; of a kind that is not known, what can be told of any.
pub(super) fn told(kind: &str, facts: Facts<'_>) -> Told {
    match kind {
        "response" => kinds::response::told(facts),
        "impedance" => kinds::impedance::told(facts),
        "driver" => kinds::driver::told(facts),
        "box" => kinds::boxed::told(facts),
        "join" => kinds::join::told(facts),
        "average" => kinds::average::told(facts),
        "simulation" => kinds::simulation::told(facts),
        "network" => kinds::network::told(facts),
        "compare" => kinds::compare::told(facts),
        "match" => kinds::alike::told(facts),
        "blend" => kinds::blend::told(facts),
        other => Told { heading: format!("Result of {other}"), ..Told::default() },
    }
}

/// The name of a curve from its path: the folder that it lies in, or its own.
pub(super) fn curve_name(path: &str) -> String {
    let path = path.trim_end_matches('/');
    let mut parts = path.rsplit(['/', '\\']);
    let file = parts.next().unwrap_or(path);
    let stem = file.rsplit_once('.').map_or(file, |(stem, _)| stem);
    let folder = parts.next().filter(|folder| !folder.is_empty() && !folder.starts_with('.'));
    match (stem, folder) {
        ("response" | "impedance" | "joined" | "average" | "result", Some(folder)) => {
            folder.trim_end_matches("-response").trim_end_matches("-impedance").replace('-', " ")
        }
        (stem, _) => stem.replace('-', " "),
    }
}

/// A number with its sign, a real minus.
pub(super) fn plus_minus(number: f64, decimals: usize) -> String {
    format!("{number:+.decimals$}").replace('-', "−")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_curve_is_called_by_what_was_captured() {
        assert_eq!(curve_name("captures/rear-left-response/response.csv"), "rear left");
        assert_eq!(curve_name("captures/rear-left-response-2/response.csv"), "rear left response 2");
        assert_eq!(curve_name("simulation/rear-response.csv"), "rear response");
        assert_eq!(curve_name("response.csv"), "response");
        assert_eq!(curve_name("../response.csv"), "response");
    }
}
