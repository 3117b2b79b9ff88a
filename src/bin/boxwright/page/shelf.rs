//! What lies in the job's folder: `GET /api/job`, `/api/document`, `/api/curve`.

use super::Shared;
use super::command::path_of;
use super::refusal::Refusal;
use super::running::as_json;
use super::sounding::caution_list;
use axum::Json;
use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::response::Response;
use boxwright::files::{self, FileError, Measure, ResultStanding};
use boxwright::job::{Anew, KnownCurve, status};
use boxwright::report::Moment;
use serde::Deserialize;
use serde_json::{Map, Value, json};
use std::path::Path;
use std::sync::PoisonError;

/// A file of the folder.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Named {
    path: String,
}

/// What the address asks for, or that it can't be read.
type Asked = Result<Query<Named>, QueryRejection>;

/// The job, how it stands, and its curves.
pub async fn job(State(page): State<Shared>) -> Result<Json<Value>, Refusal> {
    off_the_loop(move || {
        let folder = page.folder.path();
        let mut said = json!({ "folder": folder.display().to_string() });
        match files::written_job(folder) {
            Ok(Some(job)) => said["job"] = job,
            Ok(None) => {}
            Err(error) => said["job_error"] = json!({ "says": error.to_string(), "advice": error.advice() }),
        }
        let mut results = Vec::new();
        match status(folder, Anew::OutOfDate) {
            Ok(document) => {
                said["status"] = serde_json::to_value(&document).map_err(Refusal::own)?;
                results = document.results;
            }
            Err(error) => said["status_error"] = json!({ "says": error.to_string(), "advice": error.advice() }),
        }
        let curves = page.curves.lock().unwrap_or_else(PoisonError::into_inner).look(folder).map_err(file_refusal)?;
        said["curves"] = curves.iter().map(|curve| curve_entry(curve, &results)).collect();
        said["cautions"] = caution_list(&[Moment::BeforeSound, Moment::Wiring]);
        Ok(Json(said))
    })
    .await
}

/// What tells a result from any other document.
#[derive(Debug, Deserialize)]
struct Head {
    schema: String,
}

/// A result document, as it lies there.
pub async fn document(State(page): State<Shared>, asked: Asked) -> Result<Response, Refusal> {
    let Query(named) = asked?;
    off_the_loop(move || {
        let path = path_of(&named.path, &page.folder)?;
        let text = files::read_text(&path).map_err(file_refusal)?;
        let head: Option<Head> = serde_json::from_str(&text).ok();
        match head.filter(|head| head.schema.starts_with("boxwright/")) {
            Some(_) => Ok(as_json(text)),
            None => Err(Refusal::cannot(format!("{}: not a result of this program", named.path), "name a result.json")),
        }
    })
    .await
}

/// A curve with all its points.
pub async fn curve(State(page): State<Shared>, asked: Asked) -> Result<Json<Value>, Refusal> {
    let Query(named) = asked?;
    off_the_loop(move || {
        let path = path_of(&named.path, &page.folder)?;
        let curve = files::read_curve(&path).map_err(file_refusal)?;
        let says = curve.says();
        let header: Map<String, Value> = curve.header.into_iter().map(|(key, value)| (key, value.into())).collect();
        let mut said = json!({
            "path": named.path,
            "measure": measure(curve.measure),
            "frequency_hz": curve.frequency_hz,
            "values": curve.values,
            "header": header,
            "says": says,
        });
        for (key, column) in [("phase_deg", curve.phase_deg), ("u", curve.u)] {
            column.into_iter().for_each(|column| said[key] = json!(column));
        }
        Ok(Json(said))
    })
    .await
}

/// Work that may take its time, on a thread for it.
pub async fn off_the_loop<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Refusal> + Send + 'static,
) -> Result<T, Refusal> {
    tokio::task::spawn_blocking(work).await.map_err(Refusal::own)?
}

fn file_refusal(error: FileError) -> Refusal {
    Refusal::cannot(&error, error.advice())
}

fn measure(measure: Measure) -> &'static str {
    match measure {
        Measure::LevelDb => "level_db",
        Measure::MagnitudeOhm => "magnitude_ohm",
    }
}

/// A curve, with whose it is and of which stage: as its header says, else the result that it lies beside.
fn curve_entry(curve: &KnownCurve, results: &[ResultStanding]) -> Value {
    let mut entry = json!({
        "path": slashed(&curve.path),
        "measure": measure(curve.measure),
        "points": curve.points,
        "from_hz": curve.band_hz[0],
        "to_hz": curve.band_hz[1],
        "what": curve.what,
    });
    let beside = results.iter().find(|result| Path::new(&result.path).parent() == curve.path.parent());
    let unit = curve.unit.as_ref().or(beside.and_then(|result| result.unit.as_ref()));
    let stage = curve.stage.as_ref().or(beside.and_then(|result| result.stage.as_ref()));
    for (key, word) in [("unit", unit), ("stage", stage)] {
        word.iter().for_each(|word| entry[key] = json!(word));
    }
    entry
}

/// A path as command lines on every system take it.
fn slashed(path: &Path) -> String {
    path.components().map(|part| part.as_os_str().to_string_lossy()).collect::<Vec<_>>().join("/")
}
