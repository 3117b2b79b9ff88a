//! The house rule: a room uses rooms on lower floors only, and outside crates stay in the rooms that wrap them.
#![allow(clippy::unwrap_used)] // a test that can't go on may stop

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Rooms and their floors, as `src/lib.rs` lists them.
const FLOORS: [(&str, u32); 18] = [
    ("math", 0),
    ("quantity", 1),
    ("signal", 2),
    ("response", 3),
    ("impedance", 4),
    ("driver", 5),
    ("enclosure", 6),
    ("network", 6),
    ("baffle", 6),
    ("blend", 7),
    ("diagnosis", 7),
    ("speaker", 7),
    ("explanation", 8),
    ("bench", 8),
    ("files", 9),
    ("report", 9),
    ("audio", 9),
    ("job", 10),
];

/// Rooms that a room may not use although they lie lower: the bench judges the analysis, so it shares nothing with it.
const FORBIDDEN: [(&str, &str); 9] = [
    ("bench", "response"),
    ("bench", "impedance"),
    ("bench", "driver"),
    ("bench", "enclosure"),
    ("bench", "network"),
    ("bench", "baffle"),
    ("bench", "blend"),
    ("bench", "diagnosis"),
    ("bench", "speaker"),
];

/// Where an outside crate, or a part of the standard library that touches the machine, may be used.
const AT_HOME: [(&str, &[&str]); 16] = [
    ("libm", &["baffle"]),
    ("realfft", &["math"]),
    ("nalgebra", &["math"]),
    ("levenberg_marquardt", &["math"]),
    ("cpal", &["audio"]),
    ("rtrb", &["audio"]),
    ("alsa", &["audio"]),
    ("plotters", &["report"]),
    ("maud", &["report"]),
    ("png", &["report"]),
    ("roxmltree", &["report"]),
    ("encoding_rs", &["files"]),
    ("sha2", &["files", "report"]),
    ("tempfile", &["files"]),
    ("rustix", &["files"]),
    ("std::fs", &["files", "job"]),
];

fn sources() -> Vec<(String, String, String)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut found = Vec::new();
    let mut folders: Vec<PathBuf> = vec![root.clone()];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|ending| ending == "rs") {
                let inside = path.strip_prefix(&root).unwrap().to_string_lossy().replace('\\', "/");
                if let Some((room, _)) = inside.split_once('/') {
                    found.push((room.to_owned(), inside.clone(), std::fs::read_to_string(&path).unwrap()));
                }
            }
        }
    }
    found
}

/// Code without comments, and without the tests at the end of a file, which may use anything.
fn code(text: &str) -> String {
    let tested = text.split("#[cfg(test)]\nmod ").next().unwrap();
    tested.lines().filter(|line| !line.trim_start().starts_with("//")).collect::<Vec<_>>().join("\n")
}

/// The rooms that a text names after `crate::`, also in `use crate::{a::…, b::…}`.
fn rooms_named(text: &str) -> Vec<String> {
    let mut named = Vec::new();
    for (at, _) in text.match_indices("crate::") {
        let rest = &text[at + "crate::".len()..];
        if let Some(group) = rest.strip_prefix('{') {
            let mut depth = 0;
            let mut word = String::new();
            for c in group.chars() {
                match c {
                    '{' => depth += 1,
                    '}' if depth == 0 => break,
                    '}' => depth -= 1,
                    ',' if depth == 0 => named.push(std::mem::take(&mut word)),
                    _ if depth == 0 => word.push(c),
                    _ => {}
                }
            }
            named.push(word);
        } else {
            named.push(rest.to_owned());
        }
    }
    let first_name = |text: String| text.trim().chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
    named.into_iter().map(first_name).collect()
}

/// What breaks the rules, in words.
fn faults(sources: &[(String, String, String)]) -> Vec<String> {
    let floors: BTreeMap<&str, u32> = FLOORS.into_iter().collect();
    let mut faults = Vec::new();
    for (room, file, text) in sources {
        if room == "bin" {
            continue;
        }
        let Some(floor) = floors.get(room.as_str()) else {
            faults.push(format!("{file}: the room {room} has no floor"));
            continue;
        };
        let code = code(text);
        for other in rooms_named(&code) {
            if let Some(other_floor) = floors.get(other.as_str())
                && other != *room
                && (other_floor >= floor || FORBIDDEN.contains(&(room.as_str(), other.as_str())))
            {
                faults.push(format!("{file}: {room} uses {other}"));
            }
        }
        for (outside, homes) in AT_HOME {
            if code.contains(&format!("{outside}::")) && !homes.contains(&room.as_str()) {
                faults.push(format!("{file}: {outside} is used outside of {homes:?}"));
            }
        }
    }
    faults
}

#[test]
fn rooms_use_lower_floors_only_and_outside_crates_stay_at_home() {
    let sources = sources();
    assert!(sources.len() > 60, "{} files found", sources.len());
    assert_eq!(faults(&sources), Vec::<String>::new());
}

/// The check itself: each kind of fault is seen.
#[test]
fn each_kind_of_fault_is_seen() {
    let one = |room: &str, text: &str| vec![(room.to_owned(), format!("{room}/x.rs"), text.to_owned())];
    assert_eq!(faults(&one("math", "use crate::signal::Mark;")).len(), 1);
    assert_eq!(faults(&one("files", "use crate::report::Picture;")).len(), 1);
    assert_eq!(faults(&one("bench", "use crate::{math::Random, response::{Gate, lag}};")).len(), 1);
    assert_eq!(faults(&one("cellar", "")).len(), 1);
    assert_eq!(faults(&one("signal", "let plan = realfft::RealFftPlanner::<f64>::new();")).len(), 1);
    assert_eq!(faults(&one("signal", "// crate::job\nuse crate::{math::Random, quantity::SampleRate};")).len(), 0);
}
