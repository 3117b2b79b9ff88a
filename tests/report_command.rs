//! `report` as its user sees it: a job of sample captures, told by stages in one file that nothing can be smuggled into.
#![allow(clippy::unwrap_used)] // a test that can't go on may stop

mod program;

use html5gum::{Token, Tokenizer};
use program::{json, said};
use std::path::Path;

const HOSTILE: &str = "</style></svg><script>alert(1)</script><img src=x onerror=alert(1)>";

/// Copies a sample capture into the job, with a unit, a stage and a note of our own.
fn put(job: &Path, name: &str, [unit, stage, note]: [&str; 3]) {
    let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-captures");
    let captures = job.join("captures");
    std::fs::create_dir_all(&captures).unwrap();
    for ending in ["wav", "excitation.wav", "excitation.toml", "truth.json"] {
        std::fs::copy(samples.join(format!("{name}.{ending}")), captures.join(format!("{name}.{ending}"))).unwrap();
    }
    let said = std::fs::read_to_string(samples.join(format!("{name}.toml"))).unwrap();
    let own = |line: &str| match line.split_once(" = ") {
        Some(("unit", _)) => format!("unit = {}", toml::Value::from(unit)),
        Some(("stage", _)) => format!("stage = {}\nnote = {}", toml::Value::from(stage), toml::Value::from(note)),
        Some(("note", _)) => String::new(),
        _ => line.to_owned(),
    };
    let said: Vec<String> = said.lines().map(own).collect();
    std::fs::write(captures.join(format!("{name}.toml")), said.join("\n")).unwrap();
}

/// A job with a driver on the bench and a loudspeaker on the stand, analysed.
fn job() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let text = format!(
        "[job]\nname = {}\n[box.rear]\nkind = \"closed\"\nvolume_l = 1.9\n[limits]\npair_db = 1.0\n",
        toml::Value::from(format!("rear pair {HOSTILE}"))
    );
    std::fs::write(folder.path().join("job.toml"), text).unwrap();
    put(folder.path(), "anechoic-loopback", ["rear left", "on the stand", HOSTILE]);
    put(folder.path(), "impedance-driver", [HOSTILE, "on the bench", "hung free"]);
    json(folder.path(), "response captures/anechoic-loopback.wav");
    json(folder.path(), "impedance captures/impedance-driver.wav --sense-ohm 10");
    folder
}

/// The page that `report` makes.
fn page(job: &Path) -> String {
    let done = said(job, "report");
    assert_eq!((done.status, done.err.as_str()), (0, ""));
    std::fs::read_to_string(job.join("report.html")).unwrap()
}

/// All opening tags with their attributes, as an independent reader of HTML sees them.
fn tags(page: &str) -> Vec<(String, Vec<(String, String)>)> {
    let read = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
    let of = |token: Token| match token {
        Token::StartTag(tag) => {
            let attributes = tag.attributes.iter().map(|(name, value)| (read(name), read(value))).collect();
            Some((read(&tag.name), attributes))
        }
        Token::Error(error) => panic!("{error:?}"),
        _ => None,
    };
    // What stands in a script is no HTML; a tokenizer alone does not know that.
    let (before, rest) = page.split_once("<script>").unwrap();
    let (_, after) = rest.split_once("</script>").unwrap();
    Tokenizer::new(&format!("{before}<script></script>{after}")).filter_map(|token| of(token.unwrap())).collect()
}

/// The page holds no script but one, no handler, and nothing that asks for anything from outside.
fn is_harmless(page: &str) {
    let tags = tags(page);
    assert_eq!(tags.iter().filter(|(name, _)| name == "script").count(), 1);
    assert!(
        tags.iter().any(|(_, attributes)| attributes.iter().any(|(_, value)| value.starts_with("default-src 'none';")))
    );
    for (name, attributes) in &tags {
        assert!(!matches!(name.as_str(), "img" | "iframe" | "link" | "object" | "image" | "foreignobject"), "{name}");
        for (key, value) in attributes {
            assert!(!key.starts_with("on") && !matches!(key.as_str(), "src" | "srcset" | "style"), "{key}");
            assert!(!value.contains("//") || value == "http://www.w3.org/2000/svg", "{key}={value}");
            assert!(key != "href" || value.starts_with('#'), "{value}");
        }
    }
    let style = page.split("<style>").nth(1).unwrap().split("</style>").next().unwrap();
    assert_eq!(style.matches("url(").count(), style.matches("url(data:font/woff2;base64,").count());
}

#[test]
fn a_job_is_told_by_stages_in_one_harmless_file() {
    let job = job();
    let page = page(job.path());
    is_harmless(&page);
    let at = |text: &str| page.find(text).unwrap_or_else(|| panic!("{text} is not told"));
    let stages =
        [">What was built</h2>", ">On the bench</h2>", ">On the stand</h2>", ">Before you do this yourself</h2>"];
    assert!(stages.map(at).is_sorted());
    assert!(at(">Impedance</h4>") < at(">Response</h4>"));
    // The pictures that lie beside the results, at once and folded away; numbers, notes and origin.
    assert_eq!(page.matches("<svg").count(), 1 + 8);
    for told in [
        "rated impedance",
        "hung free",
        "&lt;script&gt;alert(1)",
        "closed, 1.9 l",
        "SHA-256 ",
        "Captured 2026-11-25 08:39",
    ] {
        at(told);
    }
    at("boxwright impedance captures/impedance-driver.wav --sense-ohm 10");
    assert!(!page.contains("Out of date"));
    // Both pictures alone, with the font: what a page of this size consists of.
    assert!(page.len() < 700_000, "{}", page.len());
}

#[test]
fn the_same_job_gives_the_same_bytes() {
    let job = job();
    let first = page(job.path());
    let second = page(job.path());
    assert!(first.len() > 100_000 && first == second);
    let moved = tempfile::tempdir().unwrap();
    let there = moved.path().join("elsewhere");
    std::fs::rename(job.path(), &there).unwrap();
    assert_eq!(page(&there), first, "after the job was moved");
    std::fs::create_dir_all(job.path()).unwrap(); // so that its guard has something to take away
}

#[test]
fn what_is_out_of_date_is_told_with_its_reason_and_its_command() {
    let job = job();
    put(job.path(), "impedance-driver", ["mid", "on the bench", "with another note"]);
    let page = page(job.path());
    let (_, warning) = page.split_once("class=\"warning\">").unwrap();
    let (warning, _) = warning.split_once("</p>").unwrap();
    assert!(warning.starts_with("Out of date: "), "{warning}");
    assert!(warning.contains("impedance-driver.toml"), "{warning}");
    assert!(warning.contains("`boxwright impedance captures/impedance-driver.wav --sense-ohm 10`"), "{warning}");
    assert!(page.contains("1 result is out of date"));
}

#[test]
fn a_picture_that_is_not_ours_is_left_out_by_name() {
    let job = job();
    let picture = job.path().join("captures/anechoic-loopback/response.svg");
    let ours = std::fs::read_to_string(&picture).unwrap();
    for smuggled in [
        ours.replacen("<g ", "<g onload=\"alert(1)\" ", 1),
        ours.replace("</svg>", "<script>alert(1)</script></svg>"),
        ours.replace("</svg>", "<image href=\"http://example.org/x\"/></svg>"),
        "<svg xmlns=\"http://www.w3.org/2000/svg\"><style>@import url(http://example.org)</style></svg>".to_owned(),
    ] {
        assert_ne!(smuggled, ours);
        std::fs::write(&picture, smuggled).unwrap();
        let document = json(job.path(), "report");
        let says = document["findings"].to_string();
        assert!(says.contains("response.svg is left out: not a picture that this program draws"), "{says}");
        let page = std::fs::read_to_string(job.path().join("report.html")).unwrap();
        is_harmless(&page);
        assert_eq!(page.matches("<svg").count(), 8);
        assert!(page.contains("response.svg is left out"), "it is said in the page, as text");
    }
}

#[test]
fn a_result_without_pictures_says_which_command_draws_them() {
    let job = job();
    json(job.path(), "impedance captures/impedance-driver.wav --sense-ohm 10 --no-pictures --out captures/plain");
    let page = page(job.path());
    assert!(page.contains(
        "`boxwright impedance captures/impedance-driver.wav --sense-ohm 10 --out captures/plain` draws them"
    ));
}

#[test]
fn the_pictures_alone_get_names_that_say_what_they_show() {
    let job = job();
    put(job.path(), "impedance-heavier", ["mid", "on the bench", "3 g on the cone"]);
    json(job.path(), "impedance captures/impedance-heavier.wav --sense-ohm 10");
    let document = json(job.path(), "report --out told.HTML --pictures alone");
    let files: Vec<&str> =
        document["files"].as_array().unwrap().iter().map(|file| file["path"].as_str().unwrap()).collect();
    assert_eq!(files[0], "told.HTML");
    for name in [
        "on-the-stand-rear-left-response.svg",
        "on-the-stand-rear-left-response-bursts.png",
        "on-the-bench-mid-impedance.png",
    ] {
        assert!(files.contains(&format!("alone/{name}").as_str()), "{name}: {files:?}");
    }
    let copy = std::fs::read(job.path().join("alone/on-the-bench-mid-impedance.png")).unwrap();
    assert_eq!(copy, std::fs::read(job.path().join("captures/impedance-heavier/impedance.png")).unwrap());
    // The one that is drawn for the report: both impedances over each other.
    let overview = std::fs::read_to_string(job.path().join("alone/on-the-bench-impedances.svg")).unwrap();
    assert!(overview.contains("@font-face") && overview.matches("data-entry").count() == 2);
}

#[test]
fn what_is_no_job_or_no_page_is_refused() {
    let empty = tempfile::tempdir().unwrap();
    for (words, expected) in [
        ("report", "neither a job.toml nor a capture or a result lies in it"),
        ("report nowhere", "nowhere: no folder"),
        ("report --out job.toml", "job.toml: a report is an HTML file"),
    ] {
        let done = said(empty.path(), words);
        assert!(done.status == 1 && done.err.contains(expected), "{words}: {}", done.err);
        assert!(done.out.is_empty());
    }
    std::fs::write(empty.path().join("job.toml"), "[bnech]\n").unwrap();
    let done = said(empty.path(), "report");
    assert!(done.status == 1 && done.err.contains("did you mean \"bench\"?"), "{}", done.err);
    assert!(!empty.path().join("report.html").exists());
}
