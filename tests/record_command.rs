//! The record of a job as its user sees it: `new`, `status`, `check`, and results that say how they were made.
//!
//! Checksums are compared with `sha2` of the files as the test finds them; everything else is what the person asked for.
#![allow(clippy::unwrap_used)] // helpers of tests are tests, which clippy's own exception does not see

mod program;

use program::{json, json_with, said};
use serde_json::Value;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

const TABLE: &str = "10 0\n1000 0\n20000 0\n";
const DESIGN: &str = "[driver.mid]\nre_ohm = 3.4\nfs_hz = 110\nqms = 4.2\nqes = 0.71\nvas_l = 2.3\nsd_cm2 = 50\n\
     [box.rear]\nkind = \"closed\"\nvolume_l = 1.9\n[speaker.rear]\nbox = \"rear\"\nways = [ { driver = \"mid\" } ]\n\
     [unit.rear-left]\nspeaker = \"rear\"\n[unit.rear-right]\nspeaker = \"rear\"\n";

fn done(folder: &Path, words: &str) -> String {
    let done = said(folder, words);
    assert_eq!(done.status, 0, "{words}: {}", done.err);
    done.out
}

/// A job with a microphone's table, in its own folder below `at`.
fn job(at: &Path, more: &str) -> PathBuf {
    done(at, "new pair --quiet");
    let folder = at.join("pair");
    std::fs::write(folder.join("mic.txt"), TABLE).unwrap();
    let text = format!(
        "[job]\nname = \"pair\"\n[bench]\noutput = \"simulated\"\ninput = \"simulated\"\nreference_channel = 2\nmic = \"mic.txt\"\ndistance_m = 0.5\n{more}"
    );
    std::fs::write(folder.join("job.toml"), text).unwrap();
    folder
}

fn captured(folder: &Path, unit: &str, seed: u32) {
    done(
        folder,
        &format!("capture response --unit {unit} --stage on-the-stand --seconds 1 --simulated-seed {seed} --quiet"),
    );
}

fn texts(list: &Value, key: &str) -> Vec<String> {
    list.as_array().unwrap().iter().map(|one| one[key].as_str().unwrap().to_owned()).collect()
}

/// The commands of a list, words joined.
fn commands(list: &Value) -> Vec<String> {
    let words = |one: &Value| {
        let words = one["command"].as_array().unwrap().iter().map(|word| word.as_str().unwrap());
        words.collect::<Vec<_>>().join(" ")
    };
    list.as_array().unwrap().iter().map(words).collect()
}

/// Every file below a folder with its bytes.
fn bytes(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut all = BTreeMap::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            all.extend(bytes(&path));
        } else {
            all.insert(path.clone(), std::fs::read(&path).unwrap());
        }
    }
    all
}

#[test]
fn a_new_job_explains_itself_and_is_never_overwritten() {
    let folder = tempfile::tempdir().unwrap();
    let document = json(folder.path(), "new rear-pair");
    assert_eq!(document["settings"]["name"], "rear-pair");
    let path = folder.path().join("rear-pair/job.toml");
    let before = std::fs::read(&path).unwrap();
    let again = said(folder.path(), "new rear-pair");
    assert!(again.status == 1 && again.err.contains("exists already"), "{}", again.err);
    assert_eq!(std::fs::read(&path).unwrap(), before);
    let status = json(folder.path(), "status rear-pair");
    assert_eq!((status["name"].as_str(), status["captures"].as_array().unwrap().len()), (Some("rear-pair"), 0));
    let nowhere = said(folder.path(), "status rear-piar");
    assert!(nowhere.status == 1 && nowhere.err.contains("rear-piar"), "{}", nowhere.err);
    let unit = "[unit.left]\nspeaker = \"raer\"\n[speaker.rear]\nways = [ { driver = \"mid\" } ]\n";
    std::fs::write(&path, unit).unwrap();
    let stray = json(folder.path(), "status rear-pair");
    assert!(stray["findings"][0]["says"].as_str().unwrap().contains("there is no [speaker.raer]"), "{stray}");
    // Its own finding of a name that is wrong: line, column, the nearest right one.
    std::fs::write(&path, String::from_utf8(before).unwrap().replace("#pair_db = 1.0", "pairs_db = 1.0")).unwrap();
    let wrong = said(folder.path(), "status rear-pair");
    assert!(
        wrong.status == 1 && wrong.err.contains("column 1: \"pairs_db\" is not known here, did you mean \"pair_db\"?")
    );
}

#[test]
fn what_changed_is_named_and_what_rests_on_it_done_again() {
    let at = tempfile::tempdir().unwrap();
    let folder = job(at.path(), "[limits]\npair_db = 20\n[unit.left]\n[unit.right]\n");
    captured(&folder, "left", 1);
    let open = json(&folder, "status");
    assert_eq!(commands(&open["next"])[0], "response captures/left-response.wav");
    assert_eq!(texts(&open["next"], "says")[1], "right has not been measured on the stand");
    done(&folder, "response captures/left-response.wav --quiet");
    captured(&folder, "right", 2);
    done(&folder, "response captures/right-response.wav --quiet");
    done(&folder, "match captures/left-response/response.csv captures/right-response/response.csv --out match --quiet");
    let current = json(&folder, "status");
    assert_eq!(texts(&current["results"], "state"), ["current"; 3]);
    assert_eq!(texts(&current["results"], "kind"), ["response", "response", "match"]);
    assert_eq!(current["results"][0]["unit"], "left");
    assert!(current["todo"].as_array().unwrap().is_empty());

    // The microphone's table: both responses, and the match that rests on them, the responses first.
    std::fs::write(folder.join("mic.txt"), "10 0\n1000 1\n20000 0\n").unwrap();
    let old = json(&folder, "status");
    assert_eq!(texts(&old["results"], "state"), ["out-of-date"; 3]);
    assert_eq!(old["results"][0]["because"][0], "the microphone's table mic.txt changed");
    assert_eq!(old["results"][2]["because"][0], "captures/left-response/result.json is out of date");
    let expected = [
        "response captures/left-response.wav",
        "response captures/right-response.wav",
        "match captures/left-response/response.csv captures/right-response/response.csv --out match",
    ];
    assert_eq!(commands(&old["todo"]), expected);
    let seen = said(at.path(), "status pair --do --quiet");
    assert_eq!((seen.status, seen.err.matches("\n  because ").count()), (0, 3), "{}", seen.err);
    assert_eq!(texts(&json(at.path(), "status pair")["results"], "state"), ["current"; 3]);

    // A job's key into which only the match looks; and one into which nothing does.
    let text = std::fs::read_to_string(folder.join("job.toml")).unwrap();
    std::fs::write(
        folder.join("job.toml"),
        text.replace("pair_db = 20", "pair_db = 19") + "[driver.mid]\nfs_hz = 100\n",
    )
    .unwrap();
    let old = json(&folder, "status");
    assert_eq!(texts(&old["results"], "state"), ["current", "current", "out-of-date"]);
    assert_eq!(old["results"][2]["because"][0], "limits.pair_db in job.toml was 20 and is 19");
    done(&folder, "status --do --quiet");

    // What only counts when something is played, or what the capture says itself, changes no result; what the capture says does.
    let text = std::fs::read_to_string(folder.join("job.toml")).unwrap();
    std::fs::write(folder.join("job.toml"), text.replace("distance_m = 0.5", "distance_m = 1\nlevel_dbfs = -30"))
        .unwrap();
    assert_eq!(texts(&json(&folder, "status")["results"], "state"), ["current"; 3]);
    let beside = folder.join("captures/left-response.toml");
    let own = std::fs::read_to_string(&beside).unwrap();
    std::fs::write(&beside, own.replace("distance_m = 0.5", "distance_m = 1.0")).unwrap();
    assert_eq!(json(&folder, "status")["results"][0]["because"][0], "captures/left-response.toml changed");
    std::fs::write(&beside, own).unwrap();

    // What comes out as it was needs no further command: a comment in the table changes its checksum only.
    std::fs::write(folder.join("mic.txt"), "# a comment\n10 0\n1000 1\n20000 0\n").unwrap();
    let seen = said(&folder, "status --do");
    assert_eq!(seen.err.matches("\n  because ").count(), 2, "the match stays: {}", seen.err);

    // A file that was lost with its result is made again; a recording that is lost can't be.
    std::fs::remove_file(folder.join("captures/left-response/response.csv")).unwrap();
    let old = json(&folder, "status");
    assert_eq!(old["results"][0]["because"][0], "captures/left-response/response.csv is not there any more");
    done(&folder, "status --do --quiet");
    std::fs::remove_file(folder.join("captures/right-response.wav")).unwrap();
    let lost = json(&folder, "status");
    assert!(lost["todo"].as_array().unwrap().is_empty(), "{}", lost["todo"]);
    assert_eq!(texts(&lost["findings"], "code"), ["missing-file"]);
}

#[test]
fn results_come_out_to_the_last_digit_also_where_the_job_was_moved_to() {
    let at = tempfile::tempdir().unwrap();
    let folder = job(at.path(), DESIGN);
    captured(&folder, "left", 1);
    done(&folder, "response captures/left-response.wav --quiet");
    done(&folder, "capture impedance --unit mid --seconds 1 --repeats 1 --sense-ohm 10 --quiet");
    done(&folder, "impedance captures/mid-impedance.wav --quiet");
    // What tells the jig is told once.
    done(&folder, "capture impedance --unit spare --seconds 1 --repeats 1 --sense-ohm 10 --quiet");
    done(&folder, "impedance captures/mid-impedance.wav --lead-ohm 0.05 --quiet");
    let next = commands(&json(&folder, "status")["next"]);
    assert!(next.contains(&"impedance captures/spare-impedance.wav --lead-ohm 0.05".to_owned()), "{next:?}");
    done(&folder, "driver captures/mid-impedance/impedance.csv --mms-g 4 --sd-cm2 50 --out driver --quiet");
    done(&folder, "simulate . --quiet --no-tolerance");
    done(&folder, "compare captures/left-response/response.csv simulation/rear-response.csv --limits 60 --quiet");
    let before = bytes(&folder);
    let moved = at.path().join("elsewhere");
    std::fs::rename(&folder, &moved).unwrap();
    let status = json(&moved, "status");
    assert_eq!(texts(&status["results"], "state"), ["current"; 5], "{status}");
    let seen = said(at.path(), "status elsewhere --do --all --quiet");
    assert_eq!((seen.status, seen.err.matches("\n  because ").count()), (0, 5), "{}", seen.err);
    let after = bytes(&moved);
    assert_eq!(before.len(), after.len());
    for (path, old) in &before {
        let new = &after[&moved.join(path.strip_prefix(&folder).unwrap())];
        assert!(old == new, "{} came out otherwise", path.display());
    }
}

#[test]
fn a_job_is_judged_by_its_own_limits() {
    let at = tempfile::tempdir().unwrap();
    let folder = job(at.path(), DESIGN);
    let text = std::fs::read_to_string(folder.join("job.toml")).unwrap();
    let limits = |limits: &str| std::fs::write(folder.join("job.toml"), format!("{text}[limits]\n{limits}")).unwrap();
    let refused = said(&folder, "check");
    assert!(refused.status == 1 && refused.err.contains("no limits"), "{}", refused.err);
    limits("pair_db = 1\nagainst_design_db = 60\n");
    let refused = said(&folder, "check");
    assert!(refused.status == 1 && refused.err.contains("rear-left has not been measured"), "{}", refused.err);
    done(&folder, "simulate . --quiet --no-tolerance");
    for (seed, unit) in [(1, "rear-left"), (2, "rear-right")] {
        captured(&folder, unit, seed);
        done(&folder, &format!("response captures/{unit}-response.wav --quiet --no-pictures"));
    }
    // The same loudspeaker twice: alike within 1 dB, and nothing is 60 dB off its design.
    let document = json(&folder, "check");
    assert_eq!(texts(&document["verdicts"], "verdict"), ["within"; 3], "{document}");
    assert_eq!(texts(&document["verdicts"], "against"), ["design", "design", "rear-right"]);
    // It is a whole two-way, and its design here one of a woofer alone.
    limits("pair_db = 1\nagainst_design_db = 1\n");
    let document = json_with(&folder, "check", &[3]);
    assert_eq!(texts(&document["verdicts"], "verdict"), ["outside", "outside", "within"]);
    assert_eq!(document["within"], false);
    // What it rests on is out of date: judged, and said so.
    std::fs::write(folder.join("mic.txt"), "10 0\n1000 0.5\n20000 0\n").unwrap();
    let document = json_with(&folder, "check", &[3]);
    assert_eq!(texts(&document["findings"], "code"), ["out-of-date"; 2]);
}

#[test]
fn what_is_cut_off_or_comes_from_elsewhere_does_not_hide_the_rest() {
    let at = tempfile::tempdir().unwrap();
    let folder = job(at.path(), "");
    captured(&folder, "left", 1);
    done(&folder, "response captures/left-response.wav --quiet");
    let whole = std::fs::read_to_string(folder.join("captures/left-response/result.json")).unwrap();
    std::fs::write(folder.join("half.json"), &whole[..whole.len() / 2]).unwrap();
    std::fs::write(folder.join("other.json"), "[1, 2]").unwrap();
    std::fs::write(folder.join("broken.toml"), "schema = \"boxwright/capture/1\"\n").unwrap();
    std::fs::write(folder.join("broken.wav"), "").unwrap();
    let status = json(&folder, "status");
    assert_eq!((status["captures"].as_array().unwrap().len(), status["results"].as_array().unwrap().len()), (1, 1));
    assert_eq!(texts(&status["findings"], "code"), ["unreadable"; 2], "{}", status["findings"]);
}
