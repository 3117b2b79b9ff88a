//! `POST /api/gate/open`, `/api/gate/curve`: a capture that stays open while its gate is dragged.

use super::Shared;
use super::command::{Way, admitted};
use super::opened::OpenOrder;
use super::order::Order;
use super::refusal::Refusal;
use super::shelf::off_the_loop;
use crate::cli;
use axum::Json;
use axum::extract::State;
use boxwright::job::{LiveGate, RespondError};
use serde::Deserialize;
use serde_json::{Value, json};
use std::sync::PoisonError;

/// An open one, and how long the gate is to be.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CurveOrder {
    gate: u64,
    length_ms: f64,
}

/// The impulse response is shown from so long before the arrival.
const SHOWN_BEFORE_S: f64 = 3e-3;
/// And so many frames of it.
const MOST_FRAMES: usize = 65_536;

/// Opens a capture.
pub async fn open(State(page): State<Shared>, Order(order): Order<OpenOrder>) -> Result<Json<Value>, Refusal> {
    let arguments = admitted(&order.arguments, Way::Silent, &page.folder)?;
    off_the_loop(move || {
        let order = cli::response_order(&arguments)?;
        let live = LiveGate::open(&order).map_err(refusal)?;
        let mut said = opened(&live);
        said["gate"] = json!(page.gates.keep(live));
        Ok(Json(said))
    })
    .await
}

fn opened(live: &LiveGate) -> Value {
    let heard = live.heard();
    let impulse = heard.impulse(SHOWN_BEFORE_S, MOST_FRAMES);
    let step_ms = 1e3 / heard.rate_hz();
    // Single precision is finer than any picture.
    let values: Vec<f32> = impulse.samples.iter().map(|sample| *sample as f32).collect();
    let [shortest_s, longest_s] = heard.range_s();
    let mut said = json!({
        "impulse": { "from_ms": -impulse.arrival_index * step_ms, "step_ms": step_ms, "values": values },
        "proposed_ms": 1e3 * heard.proposed_s(),
        "shortest_ms": 1e3 * shortest_s,
        "longest_ms": 1e3 * longest_s,
        "level_reference": heard.settings().level.name(),
    });
    if let Some(found) = heard.reflection() {
        said["reflection_ms"] = json!(1e3 * found.peak_s);
        said["reflection_db"] = json!(found.level_db);
    }
    said
}

/// What a gate of some length shows.
pub async fn curve(State(page): State<Shared>, Order(order): Order<CurveOrder>) -> Result<Json<Value>, Refusal> {
    let live = page.gates.find(order.gate)?;
    off_the_loop(move || {
        let live = live.lock().unwrap_or_else(PoisonError::into_inner);
        let curve = live.curve(1e-3 * order.length_ms).map_err(refusal)?;
        Ok(Json(json!({
            "length_ms": order.length_ms,
            "valid_hz": curve.valid_hz,
            "frequency_hz": curve.hz,
            "level_db": curve.level_db(),
        })))
    })
    .await
}

fn refusal(error: RespondError) -> Refusal {
    Refusal::cannot(&error, error.advice())
}
