//! `POST /api/blend/open`, `/api/blend/sum`: satellite and subwoofer that stay open while settings are tried.

use super::Shared;
use super::command::{Way, admitted};
use super::opened::OpenOrder;
use super::order::Order;
use super::refusal::Refusal;
use super::shelf::off_the_loop;
use crate::cli;
use axum::Json;
use axum::extract::State;
use boxwright::blend::{BlendError, Filters, Polarity, Setting, Shape};
use boxwright::job::{BlendJobError, LiveBlend, LiveSeat};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use std::sync::PoisonError;

/// An open one, and what is tried.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SumOrder {
    blend: u64,
    setting: Tried,
}

/// A setting as the page holds it.
#[derive(Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
struct Tried {
    crossover_hz: f64,
    high_pass: String,
    low_pass: String,
    low_pass_hz: f64,
    delay_ms: f64,
    polarity: String,
    gain_db: f64,
}

/// Filters that receivers and subwoofers usually have (common practice).
const USUAL_FILTERS: [&str; 5] = ["none", "BW2", "LR2", "BW4", "LR4"];

/// Opens the curves.
pub async fn open(State(page): State<Shared>, Order(order): Order<OpenOrder>) -> Result<Json<Value>, Refusal> {
    let arguments = admitted(&order.arguments, Way::Silent, &page.folder)?;
    off_the_loop(move || {
        let live = LiveBlend::open(cli::blend_order(&arguments)?).map_err(refusal)?;
        let mut said = opened(&live);
        said["blend"] = json!(page.blends.keep(live));
        Ok(Json(said))
    })
    .await
}

fn opened(live: &LiveBlend) -> Value {
    let mut crossovers_hz: Vec<f64> = live.filters().iter().map(|filters| filters.crossover_hz).collect();
    crossovers_hz.sort_by(f64::total_cmp);
    crossovers_hz.dedup();
    let mut filters: Vec<String> = USUAL_FILTERS.map(String::from).to_vec();
    for shape in live.filters().iter().flat_map(|filters| [filters.high_pass, filters.low_pass]) {
        let name = name(shape);
        if !filters.contains(&name) {
            filters.push(name);
        }
    }
    json!({
        "seats": live.seats(),
        "frequency_hz": live.hz(),
        "crossovers_hz": crossovers_hz,
        "filters": filters,
        "delay_ms": live.delay_s().map(|s| 1e3 * s),
        "gain_db": live.gain_db(),
        "without_help": Tried::from(&live.without_help().setting),
    })
}

/// What a setting makes.
pub async fn sum(State(page): State<Shared>, Order(order): Order<SumOrder>) -> Result<Json<Value>, Refusal> {
    let live = page.blends.find(order.blend)?;
    let setting = order.setting.setting()?;
    off_the_loop(move || {
        let live = live.lock().unwrap_or_else(PoisonError::into_inner);
        let sum = live.sum(&setting).map_err(refusal)?;
        Ok(Json(json!({
            "band_hz": sum.band_hz,
            "worst_ripple_db": sum.worst_ripple_db,
            "seats": sum.seats.iter().map(seat).collect::<Vec<_>>(),
        })))
    })
    .await
}

fn seat(seat: &LiveSeat) -> Value {
    json!({
        "name": seat.name,
        "ripple_db": seat.ripple_db,
        "sum_db": seat.sum_db,
        "satellite_db": seat.satellite_db,
        "subwoofer_db": seat.subwoofer_db,
    })
}

fn name(shape: Option<Shape>) -> String {
    shape.map_or_else(|| "none".to_owned(), |shape| shape.to_string())
}

fn shape(name: &str) -> Result<Option<Shape>, Refusal> {
    if name == "none" {
        return Ok(None);
    }
    name.parse().map(Some).map_err(|error: BlendError| Refusal::cannot(&error, error.advice()))
}

/// Further than any receiver can be set, ms and dB.
const MOST_DELAY_MS: f64 = 100.0;
const MOST_GAIN_DB: f64 = 60.0;
/// As far as crossovers between satellite and subwoofer go, Hz.
const CROSSOVERS_HZ: std::ops::RangeInclusive<f64> = 20.0..=500.0;

impl Tried {
    fn setting(&self) -> Result<Setting, Refusal> {
        let within = |what: &str, value: f64, is_within: bool| match is_within {
            true => Ok(value),
            false => Err(Refusal::cannot(format!("{what} of {value}"), "take one that the receiver can be set to")),
        };
        let corner = |hz: f64| within("a crossover frequency", hz, CROSSOVERS_HZ.contains(&hz));
        let polarity = match self.polarity.as_str() {
            "+" => Polarity::Straight,
            "-" => Polarity::Reversed,
            other => return Err(Refusal::cannot(format!("a polarity of {other:?}"), "give + or -")),
        };
        let filters = Filters {
            crossover_hz: corner(self.crossover_hz)?,
            high_pass: shape(&self.high_pass)?,
            low_pass_hz: corner(self.low_pass_hz)?,
            low_pass: shape(&self.low_pass)?,
        };
        let delay_s = 1e-3 * within("a delay in ms", self.delay_ms, self.delay_ms.abs() <= MOST_DELAY_MS)?;
        let gain_db = within("a gain in dB", self.gain_db, self.gain_db.abs() <= MOST_GAIN_DB)?;
        Ok(Setting { filters, delay_s, polarity, gain_db })
    }
}

impl From<&Setting> for Tried {
    fn from(setting: &Setting) -> Self {
        let Setting { filters, delay_s, polarity, gain_db } = *setting;
        Self {
            crossover_hz: filters.crossover_hz,
            high_pass: name(filters.high_pass),
            low_pass: name(filters.low_pass),
            low_pass_hz: filters.low_pass_hz,
            delay_ms: 1e3 * delay_s,
            polarity: if polarity == Polarity::Straight { "+" } else { "-" }.into(),
            gain_db,
        }
    }
}

fn refusal(error: BlendJobError) -> Refusal {
    Refusal::cannot(&error, error.advice())
}
