//! What sounds, if anything does: one take at a time, whichever page asked for it, and everybody hears of it.
//!
//! What is said goes to all who listen as lines of JSON. Who is too slow misses some of them, and is told how things stand now.

use super::refusal::Refusal;
use axum::http::StatusCode;
use serde_json::{Value, json};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio::sync::{broadcast, watch};

/// One line of the stream, its end included.
pub type Line = Arc<str>;

/// A line of a document.
pub fn line(document: &Value) -> Line {
    format!("{document}\n").into()
}

/// The one take, and who listens.
pub struct Takes {
    state: Mutex<State>,
    heard: broadcast::Sender<Line>,
    sounds: watch::Sender<bool>,
}

struct State {
    last: u64,
    now: Option<Now>,
    /// Nothing more shall sound: the server ends.
    is_closed: bool,
}

/// A take that somebody has asked for.
struct Now {
    stop: Arc<AtomicBool>,
    /// What was said when it began to sound; none while it is still made ready.
    begun: Option<Line>,
}

/// The right to sound; nobody else has it at the same time.
#[derive(Debug, Clone)]
pub struct Claim {
    pub take: u64,
    pub stop: Arc<AtomicBool>,
}

/// So many lines may wait for who listens slowly: 20 s of meters.
const WAITING: usize = 256;

impl Takes {
    /// Nothing sounds yet.
    pub fn new() -> Self {
        let state = Mutex::new(State { last: 0, now: None, is_closed: false });
        Self { state, heard: broadcast::Sender::new(WAITING), sounds: watch::Sender::new(false) }
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The right to sound.
    ///
    /// # Errors
    /// 409 while somebody else has it, 503 once the server ends.
    pub fn claim(&self) -> Result<Claim, Refusal> {
        let mut state = self.state();
        if state.is_closed {
            let says = "the page is being ended in its terminal";
            return Err(Refusal::new(StatusCode::SERVICE_UNAVAILABLE, says, "start `boxwright page` again"));
        }
        if state.now.is_some() {
            let says = "something sounds already, here or in another tab";
            return Err(Refusal::new(StatusCode::CONFLICT, says, "wait until it has ended, or stop it"));
        }
        state.last += 1;
        let stop = Arc::new(AtomicBool::new(false));
        state.now = Some(Now { stop: Arc::clone(&stop), begun: None });
        self.sounds.send_replace(true);
        Ok(Claim { take: state.last, stop })
    }

    /// Nothing came of it.
    pub fn give_back(&self) {
        self.state().now = None;
        self.sounds.send_replace(false);
    }

    /// It sounds from now on.
    pub fn begin(&self, said: Line) {
        let mut state = self.state();
        state.now.iter_mut().for_each(|now| now.begun = Some(Arc::clone(&said)));
        // Nobody listening is no reason not to sound.
        let _ = self.heard.send(said);
    }

    /// It has ended.
    pub fn end(&self, said: Line) {
        let mut state = self.state();
        state.now = None;
        let _ = self.heard.send(said);
        let _ = self.heard.send(line(&json!({ "kind": "changed" })));
        self.sounds.send_replace(false);
    }

    /// Fades out what sounds; whether anything did.
    pub fn stop(&self) -> bool {
        let state = self.state();
        state.now.iter().for_each(|now| now.stop.store(true, Ordering::Relaxed));
        state.now.is_some()
    }

    /// Fades out what sounds; nothing sounds any more afterwards.
    pub fn close(&self) {
        self.state().is_closed = true;
        self.stop();
    }

    /// Says something to everybody.
    pub fn say(&self, said: Line) {
        let _ = self.heard.send(said);
    }

    /// How things stand, and all that is said from now on.
    pub fn listen(&self) -> (Line, broadcast::Receiver<Line>) {
        let state = self.state();
        (how_it_stands(&state), self.heard.subscribe())
    }

    /// How things stand, for who missed something.
    pub fn now(&self) -> Line {
        how_it_stands(&self.state())
    }

    /// Until nothing sounds.
    pub async fn silence(&self) {
        // The sender lives as long as this: there is no error.
        let _ = self.sounds.subscribe().wait_for(|sounds| !sounds).await;
    }
}

fn how_it_stands(state: &State) -> Line {
    let begun = state.now.as_ref().and_then(|now| now.begun.clone());
    begun.unwrap_or_else(|| line(&json!({ "kind": "silent" })))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_take_at_a_time_and_everybody_hears_of_it() {
        let takes = Takes::new();
        let (at_first, mut heard) = takes.listen();
        assert_eq!((&*at_first, takes.stop()), ("{\"kind\":\"silent\"}\n", false));
        let claim = takes.claim().unwrap();
        assert_eq!((claim.take, takes.claim().unwrap_err().status.as_u16()), (1, 409));
        assert_eq!(&*takes.now(), "{\"kind\":\"silent\"}\n", "it is made ready, but does not sound yet");
        takes.begin("begun\n".into());
        assert_eq!((&*takes.now(), &*takes.listen().0), ("begun\n", "begun\n"));
        assert!(takes.stop() && claim.stop.load(Ordering::Relaxed));
        takes.end("ended\n".into());
        let all: Vec<Line> = std::iter::from_fn(|| heard.try_recv().ok()).collect();
        assert_eq!(
            all.iter().map(|line| &**line).collect::<Vec<_>>(),
            ["begun\n", "ended\n", "{\"kind\":\"changed\"}\n"]
        );
        let claim = takes.claim().unwrap();
        assert!(claim.take == 2 && !claim.stop.load(Ordering::Relaxed));
        takes.give_back();
        let claim = takes.claim().unwrap();
        takes.close();
        assert!(claim.stop.load(Ordering::Relaxed));
        takes.give_back();
        assert_eq!(takes.claim().unwrap_err().status.as_u16(), 503);
    }
}
