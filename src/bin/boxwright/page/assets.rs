//! The page itself: what a browser loads once, the same for every job.
//!
//! In a debug build the variable `BOXWRIGHT_PAGE_ASSETS` may name a folder from which the files are taken instead, so that
//! they can be worked on without building.

use super::refusal::Refusal;
use axum::body::Bytes;
use axum::extract::Path;
use axum::extract::rejection::PathRejection;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};

/// A file of the page: its name, what it is, its bytes.
struct Asset {
    name: &'static str,
    bytes: &'static [u8],
}

/// Files of the page, by name.
macro_rules! assets {
    ($($name:literal),* $(,)?) => {
        [$(Asset { name: $name, bytes: include_bytes!(concat!("assets/", $name)) }),*]
    };
}

/// All of them.
static ASSETS: &[Asset] = &assets![
    "across.js",
    "analyse.js",
    "bench.js",
    "bench_view.js",
    "blend.js",
    "blend_desk.js",
    "box.js",
    "capture.js",
    "command.js",
    "compare.js",
    "curve.js",
    "driver.js",
    "element.js",
    "events.js",
    "field.js",
    "gate.js",
    "icon.svg",
    "impulse.js",
    "index.html",
    "job_view.js",
    "kept_open.js",
    "latest.js",
    "leaving.js",
    "notice.js",
    "number.js",
    "outcome.js",
    "overlay.js",
    "page.css",
    "page.js",
    "palette.js",
    "plot.js",
    "quantities.js",
    "record.js",
    "result.js",
    "result_pictures.js",
    "result_view.js",
    "server.js",
    "sheet.js",
    "slider.js",
    "sounding.js",
    "stage.js",
    "task.js",
    "token.js",
    "uPlot.LICENSE.txt",
    "uPlot.ORIGIN.txt",
    "uPlot.esm.js",
    "uPlot.min.css",
];

/// `GET /`.
pub async fn index() -> Result<Response, Refusal> {
    answer("index.html")
}

/// `GET /assets/NAME`.
pub async fn asset(name: Result<Path<String>, PathRejection>) -> Result<Response, Refusal> {
    let Path(name) = name?;
    answer(&name)
}

fn answer(name: &str) -> Result<Response, Refusal> {
    let bytes = worked_on(name).or_else(|| {
        let found = ASSETS.iter().find(|asset| asset.name == name);
        found.map(|asset| Bytes::from_static(asset.bytes))
    });
    let missing =
        || Refusal::new(StatusCode::NOT_FOUND, format!("{name:?} is not part of the page"), "load the page again");
    let bytes = bytes.ok_or_else(missing)?;
    Ok(([(header::CONTENT_TYPE, kind(name))], bytes).into_response())
}

fn kind(name: &str) -> &'static str {
    match name.rsplit_once('.').map_or("", |(_, ending)| ending) {
        "html" => "text/html; charset=utf-8",
        "css" => "text/css; charset=utf-8",
        "js" => "text/javascript; charset=utf-8",
        "svg" => "image/svg+xml",
        "png" => "image/png",
        "woff2" => "font/woff2",
        "txt" => "text/plain; charset=utf-8",
        _ => "application/octet-stream",
    }
}

/// The file in the folder that whoever works on the page has named.
#[cfg(debug_assertions)]
fn worked_on(name: &str) -> Option<Bytes> {
    let is_plain = |letter: char| letter.is_ascii_alphanumeric() || "-_.".contains(letter);
    let is_name = |part: &str| !part.starts_with('.') && part.chars().all(is_plain);
    let folder = std::env::var_os("BOXWRIGHT_PAGE_ASSETS")?;
    if !name.split('/').all(is_name) {
        return None;
    }
    std::fs::read(std::path::Path::new(&folder).join(name)).ok().map(Bytes::from)
}

#[cfg(not(debug_assertions))]
fn worked_on(_: &str) -> Option<Bytes> {
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_file_in_the_folder_is_listed() {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src/bin/boxwright/page/assets");
        let mut there = Vec::new();
        let mut folders = vec![folder.clone()];
        while let Some(at) = folders.pop() {
            for path in std::fs::read_dir(at).unwrap().map(|entry| entry.unwrap().path()) {
                let name = path.strip_prefix(&folder).unwrap().to_string_lossy().replace('\\', "/");
                if path.is_dir() { folders.push(path) } else { there.push(name) }
            }
        }
        there.sort();
        let mut listed: Vec<&str> = ASSETS.iter().map(|asset| asset.name).collect();
        listed.sort_unstable();
        assert_eq!(listed, there, "the page gets what is listed in this file");
    }

    #[test]
    fn every_file_of_the_page_has_a_kind_and_no_other_is_given() {
        for asset in ASSETS {
            assert_ne!(kind(asset.name), "application/octet-stream", "{}", asset.name);
            assert!(answer(asset.name).is_ok());
        }
        for name in ["../mod.rs", "mod.rs", "..", "", "/etc/passwd"] {
            assert_eq!(answer(name).unwrap_err().status.as_u16(), 404, "{name}");
        }
    }
}
