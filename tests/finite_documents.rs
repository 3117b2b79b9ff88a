//! No NaN and no infinity in any document: what is degenerate is refused with advice, or gives finite numbers.
//!
//! A NaN or an infinity would be written as `null`, which documents have nowhere but in a harmonic's column.
#![allow(clippy::unwrap_used)] // helpers of tests are tests, which clippy's own exception does not see

mod program;
mod systems;

use boxwright::files;
use boxwright::signal::SampleFormat;
use program::said;
use serde_json::Value;
use std::path::Path;
use systems::{Noise, recording};

/// Every number of a document, with the place where it stands.
fn walk(place: &str, value: &Value, check: &mut dyn FnMut(&str, &Value)) {
    match value {
        Value::Array(items) => {
            items.iter().enumerate().for_each(|(n, item)| walk(&format!("{place}/{n}"), item, check))
        }
        Value::Object(fields) => {
            fields.iter().for_each(|(name, field)| walk(&format!("{place}/{name}"), field, check));
        }
        _ => check(place, value),
    }
}

/// Refused with advice, or a document of finite numbers; what it was.
fn refused_or_finite(folder: &Path, words: &str) -> Option<Value> {
    let done = said(folder, &format!("{words} --json"));
    if done.status == 2 {
        // A value that no option takes.
        assert!(done.err.starts_with("error: "), "{words}: {}", done.err);
        return None;
    }
    if done.status == 1 {
        assert!(done.err.starts_with("error: ") && done.err.contains("try: "), "{words}: {}", done.err);
        for word in ["NaN", "inf ", "inf,", "00000000000"] {
            assert!(!done.err.contains(word), "{words}: {}", done.err);
        }
        return None;
    }
    assert!([0, 3].contains(&done.status), "{words}: {} {}", done.status, done.err);
    let document: Value = serde_json::from_str(&done.out).unwrap();
    walk("", &document, &mut |place, value| {
        let in_harmonic = place.starts_with("/distortion/") || place.starts_with("/high_order/");
        assert!(!value.is_null() || in_harmonic, "{words}: null at {place}");
        // 1e30: no level, time or frequency of a bench.
        assert!(value.as_f64().is_none_or(|number| number.abs() < 1e30), "{words}: {value} at {place}");
        assert!(value.as_str().is_none_or(|text| !text.contains("NaN")), "{words}: {value} at {place}");
    });
    Some(document)
}

fn write(folder: &Path, name: &str, samples: Vec<f64>, format: SampleFormat) {
    files::replace_wav(&folder.join(name), &recording(vec![samples], format)).unwrap();
}

/// Recordings that are none, and whether they must be refused.
#[test]
fn a_recording_that_is_none_is_refused_or_called_bad() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    assert_eq!(said(folder, "signal sweep --seconds 0.5 --repeats 2 --marks --out played.wav --quiet").status, 0);
    let played = files::read_wav(&folder.join("played.wav")).unwrap().recording.channels.remove(0);
    let frames = played.len();
    let mut noise = Noise::new(3);
    let noise: Vec<f64> = (0..frames).map(|_| 0.1 * noise.normal()).collect();
    let alternating = (0..frames).map(|n| if n % 2 == 0 { 0.5 } else { -0.5 }).collect();
    let mut one = vec![0.0; frames];
    one[frames / 2] = 1.0;
    for (name, samples) in [
        ("silence", vec![0.0; frames]),
        ("one-sample", vec![0.5]),
        ("nothing", vec![]),
        ("equal", vec![0.25; frames]),
        ("smallest", vec![2f64.powi(-23); frames]),
        ("two", vec![0.5, -0.5]),
        ("click", one),
        ("alternating", alternating),
        ("noise", noise),
        ("backwards", played.iter().rev().copied().collect()),
        ("short", played[..1_000].to_vec()),
    ] {
        let wav = format!("{name}.wav");
        write(folder, &wav, samples, SampleFormat::Pcm24);
        for gate in ["auto", "none", "5ms"] {
            let words = format!("response {wav} --excitation played.wav --gate {gate}");
            // Some may pass for a sound that is short and bad, but not unsaid.
            let is_said = |document: Value| {
                document["findings"].as_array().unwrap().iter().any(|finding| finding["severity"] != "note")
            };
            let found = refused_or_finite(folder, &words);
            assert!(found.is_none_or(is_said), "{words} gave a curve");
        }
    }
    // What is hardly there may give a curve, but a finite one.
    for (name, samples) in [
        ("faint", played.iter().map(|x| 1e-6 * x).collect()),
        ("loud", played.iter().map(|x| (1e3 * x).clamp(-1.0, 1.0)).collect()),
        ("itself", played.clone()),
    ] {
        let wav = format!("{name}.wav");
        write(folder, &wav, samples, SampleFormat::Pcm24);
        for more in ["", " --smooth 1/3", " --gate none", " --points-per-octave 1", " --gate 0.5ms"] {
            refused_or_finite(folder, &format!("response {wav} --excitation played.wav{more}"));
        }
    }
}

#[test]
fn a_band_from_1_hz_to_1_hz_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let done = said(folder, "signal sweep --from 1 --to 1 --out played.wav");
    assert!([1, 2].contains(&done.status) && done.err.contains("1 Hz to 1 Hz"), "{} {}", done.status, done.err);
    std::fs::write(folder.join("a.csv"), "1,0,0\n1,0,0\n").unwrap();
    std::fs::write(folder.join("b.csv"), "1000,90,0\n").unwrap();
    for curve in ["a.csv", "b.csv"] {
        for words in [
            "average C C",
            "average C C --by power",
            "match C C",
            "compare C C",
            "join C C --sd-cm2 100",
            "blend --sat C --sub C",
        ] {
            let words = words.replace('C', curve);
            assert!(refused_or_finite(folder, &words).is_none(), "{words} gave a curve");
        }
    }
}

/// Curves that are all alike, nothing at all, or at the ends of what a number can be.
#[test]
fn degenerate_curves_give_finite_numbers_or_a_reason() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let curve = |name: &str, level: &dyn Fn(usize) -> String| {
        let rows: Vec<String> =
            (0..60).map(|n| format!("{:.3},{},0", 20.0 * (n as f64 / 6.0).exp2(), level(n))).collect();
        std::fs::write(folder.join(name), rows.join("\n")).unwrap();
    };
    curve("equal.csv", &|_| "90".into());
    curve("zero.csv", &|_| "0".into());
    curve("deep.csv", &|_| "-300".into());
    curve("deepest.csv", &|_| "-100000".into());
    curve("high.csv", &|_| "100000".into());
    curve("jump.csv", &|n| if n % 2 == 0 { "-200".into() } else { "200".into() });
    let names = ["equal.csv", "zero.csv", "deep.csv", "deepest.csv", "high.csv", "jump.csv"];
    for one in names {
        for other in ["equal.csv", one] {
            for words in [
                "average A B",
                "average A B --by power",
                "match A B",
                "compare A B",
                "compare A B --align level,delay",
                "join A B --sd-cm2 100",
                "blend --sat A --sub B --crossover 60:120",
            ] {
                refused_or_finite(folder, &words.replace('A', one).replace('B', other));
            }
        }
    }
}

#[test]
fn rooms_that_are_none_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let room = |size: &str, stands: &str| {
        refused_or_finite(folder.path(), &format!("response --room {size} --stands {stands}"))
    };
    assert!(room("4.3x3.4x2.45", "0.9,1.45,1.0").is_some());
    for (size, stands) in [("0x0x0", "0,0,0"), ("1x1x1", "1,1,1"), ("1e300x1x1", "0.5,0.5,0.5"), ("4x3x2.5", "4,3,2.5")]
    {
        assert!(room(size, stands).is_none(), "{size} {stands}");
    }
}
