//! What a page has opened to look at it many times: the last few, by number.

use super::refusal::Refusal;
use serde::Deserialize;
use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};

/// So many are kept: a tab each, and one more when it opens another.
const KEPT: usize = 4;

/// A command whose files are to be opened and looked at, not its results.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OpenOrder {
    pub arguments: Vec<String>,
}

/// The last few of a kind.
pub struct Opened<T> {
    /// What a person calls one.
    what: &'static str,
    all: Mutex<Numbered<T>>,
}

struct Numbered<T> {
    last: u64,
    kept: VecDeque<(u64, Arc<Mutex<T>>)>,
}

impl<T> Opened<T> {
    /// None yet.
    pub fn new(what: &'static str) -> Self {
        Self { what, all: Mutex::new(Numbered { last: 0, kept: VecDeque::new() }) }
    }

    /// Keeps one and gives its number; the oldest goes.
    pub fn keep(&self, one: T) -> u64 {
        let mut all = self.all.lock().unwrap_or_else(PoisonError::into_inner);
        all.last += 1;
        let number = all.last;
        all.kept.push_back((number, Arc::new(Mutex::new(one))));
        if all.kept.len() > KEPT {
            all.kept.pop_front();
        }
        number
    }

    /// The one of a number.
    pub fn find(&self, number: u64) -> Result<Arc<Mutex<T>>, Refusal> {
        let all = self.all.lock().unwrap_or_else(PoisonError::into_inner);
        let found = all.kept.iter().find(|(kept, _)| *kept == number).map(|(_, one)| Arc::clone(one));
        found.ok_or_else(|| {
            let says = format!("{} {number} is not open any more", self.what);
            Refusal::new(axum::http::StatusCode::NOT_FOUND, says, "open it again")
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_few_are_kept_under_their_numbers() {
        let opened = Opened::new("gate");
        let numbers: Vec<u64> = (0..6).map(|one| opened.keep(one)).collect();
        assert_eq!(numbers, [1, 2, 3, 4, 5, 6]);
        assert_eq!(*opened.find(3).unwrap().lock().unwrap(), 2);
        let gone = opened.find(2).unwrap_err();
        assert_eq!((gone.status.as_u16(), gone.says.as_str()), (404, "gate 2 is not open any more"));
    }
}
