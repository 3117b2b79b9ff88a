//! What the page's server does: one take at a time, heard by all, stopped by all; commands; gates; its end.

#![allow(clippy::unwrap_used)] // a test that can't go on may stop

mod page_client;
mod program;

use boxwright::files::{self, Ended};
use page_client::Server;
use program::{json, said};
use serde_json::{Value, json};
use std::path::Path;
use std::time::Duration;

const SHORT: &str = "capture response --output simulated --seconds 0.3 --from 100 --pause 0.5 --simulated-seed 7";

/// A folder with one capture and its response.
fn job() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("job.toml"), "[job]\nname = \"rear pair\"\n").unwrap();
    captured(folder.path(), &format!("{SHORT} --unit left --stage raw"));
    json(folder.path(), "response captures/left-response.wav --no-pictures");
    folder
}

/// The document of a capture in a terminal.
fn captured(folder: &Path, words: &str) -> Value {
    let done = said(folder, &format!("{words} --json"));
    assert_eq!(done.status, 0, "{}", done.err);
    serde_json::from_str(&done.out).unwrap()
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|number| number.as_f64().unwrap()).collect()
}

#[test]
fn a_take_is_heard_by_all_and_nobody_else_sounds_meanwhile() {
    let folder = tempfile::tempdir().unwrap();
    let server = Server::start(folder.path());
    let (mut one, mut other) = (server.events(), server.events());
    assert_eq!(one.next().unwrap(), json!({ "kind": "silent" }));
    let words = format!("{SHORT} --unit left --reference 2");
    let begun = server.command("/api/sound", &words);
    assert_eq!((begun.status, begun.json()), (202, json!({ "take": 1 })));
    let sounding = one.of("sounding");
    assert_eq!(sounding["arguments"], json!(words.split_whitespace().collect::<Vec<_>>()));
    assert!(sounding["says"].as_str().unwrap().starts_with("Playing at -20 dBFS on outputs 1 and 2"), "{sounding}");
    assert_eq!(sounding["cautions"][0]["heading"], "Your ears");
    for words in ["level --output simulated", &words] {
        let second = server.command("/api/sound", words);
        assert!(second.status == 409 && second.says().contains("another tab"), "{second:?}");
    }
    // Who comes late hears what is under way first.
    assert_eq!(server.events().next().unwrap(), sounding);
    let all = one.until("changed");
    let news: Vec<&Value> = all.iter().filter(|event| event["kind"] == "news").collect();
    // A tenth of a second each, 5 s or so.
    assert!(news.len() > 30, "{}", news.len());
    assert!(news.iter().all(|event| event["take"] == 1 && event["total_s"].as_f64().unwrap() > 4.0));
    let done: Vec<f64> = news.iter().map(|event| event["done_s"].as_f64().unwrap()).collect();
    assert!(done.is_sorted());
    let channels =
        |event: &Value| numbers(&event["inputs"].as_array().unwrap().iter().map(|i| i["channel"].clone()).collect());
    assert!(news.iter().all(|event| channels(event) == [1.0, 2.0]));
    let loudest = |at: usize| {
        let levels = news.iter().filter_map(|event| event["inputs"][at]["peak_dbfs"].as_f64());
        levels.fold(f64::MIN, f64::max)
    };
    // The cable's gain is −6 dB, the sweep's level −20 dBFS.
    assert!((-27.0..-25.0).contains(&loudest(1)), "{}", loudest(1));
    let ended = all.iter().find(|event| event["kind"] == "ended").unwrap();
    assert_eq!((&ended["take"], &ended["exit"], ended.get("error")), (&json!(1), &json!(0), None));
    assert_eq!(ended["document"]["schema"], files::CAPTURE_SCHEMA);
    assert_eq!(ended["document"]["files"][0]["path"], "captures/left-response.wav");
    assert_eq!(other.of("ended"), *ended);
    let wav = folder.path().join("captures/left-response.wav");
    assert_eq!(files::read_capture_description(&wav.with_extension("toml")).unwrap().stream.ended, Ended::Complete);
    // Nothing sounds any more: the next one may.
    assert_eq!(server.post("/api/stop", &json!({})).json(), json!({ "was_sounding": false }));
    assert_eq!(server.command("/api/sound", "level --output simulated --seconds 0.5").json(), json!({ "take": 2 }));
    let ended = other.of("ended");
    assert_eq!(ended["document"]["schema"], "boxwright/level/1", "{ended}");
}

/// The page's capture is the program's own: the same samples, the same words beside them.
#[test]
fn what_the_page_records_is_what_the_program_records() {
    let (page, terminal) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let words = format!("{SHORT} --unit left");
    let server = Server::start(page.path());
    let mut events = server.events();
    assert_eq!(server.command("/api/sound", &words).status, 202);
    let by_page = events.of("ended")["document"].clone();
    let by_terminal = captured(terminal.path(), &words);
    let whole = |folder: &Path| std::fs::read(folder.join("captures/left-response.wav")).unwrap();
    assert_eq!(whole(page.path()), whole(terminal.path()));
    let timeless = |mut document: Value| {
        document.as_object_mut().unwrap().remove("when");
        document
    };
    assert_eq!(timeless(by_page), timeless(by_terminal));
}

#[test]
fn a_stop_always_works_and_keeps_what_was_recorded() {
    let folder = tempfile::tempdir().unwrap();
    let server = Server::start(folder.path());
    let mut events = server.events();
    let words = "capture response --output simulated --unit left --seconds 3";
    assert_eq!(server.command("/api/sound", words).status, 202);
    let first = events.of("news");
    assert!(first["done_s"].as_f64().unwrap() < 1.0, "{first}");
    assert_eq!(server.post("/api/stop", &json!({})).json(), json!({ "was_sounding": true }));
    let ended = events.of("ended");
    assert_eq!(ended["exit"], 1);
    assert!(ended["error"]["says"].as_str().unwrap().starts_with("stopped: "), "{ended}");
    assert!(ended["error"]["advice"].as_str().unwrap().contains("captures/left-response.wav"), "{ended}");
    assert_eq!(ended["document"]["stream"]["ended"], "stopped", "{}", ended["document"]);
    let wav = folder.path().join("captures/left-response.wav");
    let recorded = files::read_wav(&wav).unwrap().recording;
    assert!(recorded.frames() > 4_800 && recorded.frames() < 96_000, "{}", recorded.frames());
    events.of("changed");
    assert_eq!(server.command("/api/sound", "level --output nobody-has-this").status, 422, "no such device");
    assert_eq!(server.command("/api/sound", "level --output simulated --tone-dbfs 3").status, 422);
    assert_eq!(server.command("/api/sound", "level --output simulated --seconds 0.5").status, 202, "nothing hangs");
}

#[test]
fn a_command_is_run_as_in_a_terminal() {
    let folder = job();
    let server = Server::start(folder.path());
    let mut events = server.events();
    let words = "response captures/left-response.wav --gate 5 --no-pictures --out by-page";
    let done = server.command("/api/run", words);
    assert_eq!(done.status, 200, "{done:?}");
    let answer = done.json();
    assert_eq!((&answer["exit"], &answer["arguments"][0]), (&json!(0), &json!("response")));
    events.of("changed");
    let by_terminal = json(folder.path(), &words.replace("by-page", "by-terminal"));
    assert_eq!(answer["document"]["curve"], by_terminal["curve"]);
    let written = server.get("/api/document?path=by-page/result.json").json();
    assert_eq!(written["curve"], by_terminal["curve"]);
    // Exit status 3: done, and outside of the limits.
    std::fs::write(folder.path().join("a.csv"), "100 80\n200 80\n400 80\n800 80\n").unwrap();
    std::fs::write(folder.path().join("b.csv"), "100 85\n200 80\n400 80\n800 80\n").unwrap();
    let outside = server.command("/api/run", "match a.csv b.csv --limits 1");
    assert!(outside.status == 200 && outside.json()["exit"] == 3, "{outside:?}");

    let job = server.get("/api/job").json();
    assert_eq!((&job["job"]["job"]["name"], &job["status"]["name"]), (&json!("rear pair"), &json!("rear pair")));
    assert_eq!(job["folder"], folder.path().canonicalize().unwrap().to_str().unwrap());
    let curves = job["curves"].as_array().unwrap();
    let of = |path: &str| curves.iter().find(|curve| curve["path"] == path).unwrap_or_else(|| panic!("{path}"));
    let response = of("captures/left-response/response.csv");
    assert_eq!([&response["unit"], &response["stage"], &response["what"]], ["left", "raw", "response"]);
    assert_eq!((&of("a.csv")["points"], &of("a.csv")["measure"]), (&json!(4), &json!("level_db")));
    assert!(!job["cautions"].as_array().unwrap().is_empty());
    let curve = server.get("/api/curve?path=captures/left-response/response.csv").json();
    assert_eq!(curve["frequency_hz"].as_array().unwrap().len(), response["points"].as_u64().unwrap() as usize);
    assert!(curve["header"]["level_reference"].is_string() && curve["u"].is_array() && curve["phase_deg"].is_array());
    let devices = server.get("/api/devices").json();
    assert_eq!(devices["schema"], "boxwright/devices/1");
    let simulated = devices["devices"].as_array().unwrap().iter().any(|device| device["id"] == "simulated");
    assert!(simulated, "{devices}");
    // A job that can't be read keeps nobody from looking at the curves.
    std::fs::write(folder.path().join("job.toml"), "[job]\nnmae = \"x\"\n").unwrap();
    let job = server.get("/api/job").json();
    assert!(job["status_error"]["says"].as_str().unwrap().contains("\"name\""), "{job}");
    assert!(!job["curves"].as_array().unwrap().is_empty() && job["job"]["job"]["nmae"] == "x");
}

#[test]
fn a_gate_that_is_moved_shows_what_the_command_shows() {
    let folder = job();
    let server = Server::start(folder.path());
    let words = "response captures/left-response.wav --no-pictures --smooth none";
    let opened = server.command("/api/gate/open", words).json();
    assert_eq!((&opened["gate"], &opened["level_reference"]), (&json!(1), &json!("reply/drive")), "{opened}");
    let values = numbers(&opened["impulse"]["values"]);
    let (from_ms, step_ms) =
        (opened["impulse"]["from_ms"].as_f64().unwrap(), opened["impulse"]["step_ms"].as_f64().unwrap());
    assert!((from_ms + 3.0).abs() <= step_ms && values.len() <= 65_536 && values.len() > 20_000);
    let peak = values.iter().fold(0.0f64, |high, value| high.max(value.abs()));
    let at = values.iter().position(|value| value.abs() == peak).unwrap();
    // The direct sound is the loudest, within a millisecond.
    assert!((from_ms + at as f64 * step_ms).abs() < 1.0);
    for length_ms in [2.2, 4.7, 20.0, opened["proposed_ms"].as_f64().unwrap()] {
        let curve = server.post("/api/gate/curve", &json!({ "gate": 1, "length_ms": length_ms })).json();
        let document = json(folder.path(), &format!("{words} --out moved --gate {length_ms}"));
        assert_eq!(curve["valid_hz"], document["valid_hz"], "{length_ms}");
        assert_eq!(curve["frequency_hz"], document["curve"]["frequency_hz"], "{length_ms}");
        assert_eq!(curve["level_db"], document["curve"]["level_db"], "{length_ms}");
    }
    let short = server.post("/api/gate/curve", &json!({ "gate": 1, "length_ms": 0.4 }));
    let told = said(folder.path(), &format!("{words} --gate 0.4"));
    assert!(short.status == 422 && told.err.contains(&short.says()), "{short:?} {}", told.err);
    for _ in 0..4 {
        server.command("/api/gate/open", words);
    }
    assert_eq!(server.post("/api/gate/curve", &json!({ "gate": 1, "length_ms": 4 })).status, 404);
    assert_eq!(server.post("/api/gate/curve", &json!({ "gate": 5, "length_ms": 4 })).status, 200);
}

#[cfg(unix)]
#[test]
fn it_ends_at_once_and_keeps_a_take_that_is_under_way() {
    let folder = tempfile::tempdir().unwrap();
    let server = Server::start(folder.path());
    let mut events = server.events();
    events.next().unwrap();
    // A request that never ends either.
    let _half = {
        use std::io::Write;
        let mut stream = server.connect();
        stream.write_all(b"POST /api/run HTTP/1.1\r\nHost: ").unwrap();
        stream
    };
    server.interrupt();
    let (took, well) = server.ends();
    assert!(well && took < Duration::from_secs(2), "{took:?}");
    assert!(std::iter::from_fn(|| events.next()).all(|event| event["kind"] == "here"), "the stream ended");

    let server = Server::start(folder.path());
    let mut events = server.events();
    assert_eq!(server.command("/api/sound", "capture response --output simulated --unit left").status, 202);
    events.of("news");
    server.interrupt();
    let ended = events.of("ended");
    assert!(ended["error"]["says"].as_str().unwrap().starts_with("stopped: "), "{ended}");
    let (_, well) = server.ends();
    let toml = folder.path().join("captures/left-response.toml");
    assert!(well && files::read_capture_description(&toml).unwrap().stream.ended == Ended::Stopped);
    assert!(folder.path().join("captures/left-response.wav").is_file());
}

/// What a tab has asked for ends with the server, not with the tab.
#[cfg(target_os = "linux")]
#[test]
fn a_command_that_is_under_way_ends_with_the_server() {
    use std::io::Write;
    let folder = job();
    let server = Server::start(folder.path());
    let mark = format!("results-of-{}", server.port);
    let runs = || {
        let all = std::fs::read_dir("/proc").unwrap().flatten();
        let words = all.filter_map(|one| std::fs::read(one.path().join("cmdline")).ok());
        words.filter(|words| String::from_utf8_lossy(words).contains(&mark)).count()
    };
    let body = json!({ "arguments": ["response", "captures/left-response.wav", "--out", mark] }).to_string();
    let kind = "Content-Type: application/json";
    let head = format!("POST /api/run HTTP/1.1\r\n{}{kind}\r\nContent-Length: {}\r\n\r\n", server.usual(), body.len());
    let mut tab = server.connect();
    tab.write_all(head.as_bytes()).and_then(|()| tab.write_all(body.as_bytes())).unwrap();
    while runs() == 0 {
        std::thread::sleep(Duration::from_millis(1));
    }
    drop(tab);
    std::thread::sleep(Duration::from_millis(50));
    assert_eq!(runs(), 1, "it goes on without its tab");
    server.interrupt();
    let (took, well) = server.ends();
    assert!(well && took < Duration::from_secs(2), "{took:?}");
    // The system may take a moment for a process that was ended.
    let mut waits = 0;
    while runs() > 0 && waits < 100 {
        std::thread::sleep(Duration::from_millis(10));
        waits += 1;
    }
    assert_eq!(runs(), 0, "after {waits} waits");
    assert!(!folder.path().join(mark).join("result.json").exists());
}
