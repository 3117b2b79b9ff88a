//! What happens, as it happens: an endless answer of one JSON object a line.
//!
//! `here` says every two seconds that the server still is; the rest is what [`super::takes`] says. It ends with the server.

use super::Shared;
use super::takes::{Line, line};
use axum::body::{Body, Bytes};
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use futures_util::stream;
use serde_json::json;
use std::collections::VecDeque;
use std::convert::Infallible;
use std::time::Duration;
use tokio::sync::broadcast::error::RecvError;
use tokio::sync::{broadcast, watch};
use tokio::time::{Interval, MissedTickBehavior, interval};

const HERE_EVERY: Duration = Duration::from_secs(2);

/// Who listens.
struct Listener {
    page: Shared,
    waiting: VecDeque<Line>,
    heard: broadcast::Receiver<Line>,
    ending: watch::Receiver<bool>,
    here: Interval,
}

/// `GET /api/events`.
pub async fn events(State(page): State<Shared>) -> Response {
    let (first, heard) = page.takes.listen();
    let ending = page.ending.subscribe();
    let mut here = interval(HERE_EVERY);
    here.set_missed_tick_behavior(MissedTickBehavior::Delay);
    let listener = Listener { page, waiting: VecDeque::from([first]), heard, ending, here };
    let lines = stream::unfold(listener, |mut listener| async {
        let said = listener.next().await?;
        Some((Ok::<_, Infallible>(Bytes::copy_from_slice(said.as_bytes())), listener))
    });
    ([(header::CONTENT_TYPE, "application/x-ndjson")], Body::from_stream(lines)).into_response()
}

impl Listener {
    /// The next line; none when the server ends.
    async fn next(&mut self) -> Option<Line> {
        loop {
            if let Some(said) = self.waiting.pop_front() {
                return Some(said);
            }
            if *self.ending.borrow() {
                return None;
            }
            tokio::select! {
                biased;
                // What was said before the end is still handed over.
                heard = self.heard.recv() => match heard {
                    Ok(said) => return Some(said),
                    Err(RecvError::Lagged(_)) => {
                        self.waiting.extend([self.page.takes.now(), line(&json!({ "kind": "changed" }))]);
                    }
                    Err(RecvError::Closed) => return None,
                },
                _ = self.ending.changed() => {}
                _ = self.here.tick() => return Some(line(&json!({ "kind": "here" }))),
            }
        }
    }
}
