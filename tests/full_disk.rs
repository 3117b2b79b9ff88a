//! A disk that is full, at every stage: before the sound, in the midst of it, when files get their names, and under results.

#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used)] // a test that can't go on may stop

mod program;
mod small_disk;

use boxwright::files;
use program::{json, said};
use small_disk::{PAGE_BYTES, SmallDisk, where_it_may_mount};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

const CAPTURE: &str = "capture response --output simulated --simulated-seed 7 --simulated-room none --seconds 1 --repeats 2 --pause 0.5 \
                       --from 100 --unit left --quiet";

fn whole(folder: &Path) -> Vec<f64> {
    let done = said(folder, CAPTURE);
    assert_eq!(done.status, 0, "{}", done.err);
    files::read_wav(&folder.join("captures/left-response.wav")).unwrap().recording.channels.remove(0)
}

#[test]
fn a_capture_that_has_no_room_is_refused_before_it_sounds() {
    where_it_may_mount("a_capture_that_has_no_room_is_refused_before_it_sounds", || {
        let disk = SmallDisk::new(3);
        let done = said(disk.path(), CAPTURE);
        assert_eq!((done.status, done.out.as_str()), (1, ""), "{}", done.err);
        assert!(
            done.err.starts_with("error: ") && done.err.contains("needs 4.") && done.err.contains("MB"),
            "{}",
            done.err
        );
        assert!(done.err.contains("3.1 MB are free"), "3 MiB are 3.1 MB: {}", done.err);
        assert_eq!(std::fs::read_dir(disk.path()).unwrap().count(), 0, "nothing was written");
    });
}

/// The disk fills up while the reply is being made, so that so much is left for the recording and what comes after it.
fn captured_with_room_for(disk: &SmallDisk, left_bytes: u64) -> (i32, String) {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin("boxwright"));
    command.current_dir(disk.path()).args(CAPTURE.split_whitespace());
    let child = command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let (began, begun) = (Instant::now(), disk.path().join("captures/left-response.toml.part"));
    while !begun.exists() {
        assert!(began.elapsed() < Duration::from_secs(60), "the capture never began");
    }
    disk.fill_up_to(left_bytes);
    let output = child.wait_with_output().unwrap();
    (output.status.code().unwrap(), String::from_utf8(output.stderr).unwrap())
}

#[test]
fn what_was_recorded_before_the_disk_was_full_is_kept_and_gets_its_name() {
    where_it_may_mount("what_was_recorded_before_the_disk_was_full_is_kept_and_gets_its_name", || {
        let elsewhere = tempfile::tempdir().unwrap();
        let whole = whole(elsewhere.path());
        let wav_bytes = 4 * whole.len() as u64;
        // What the recording has of the first page is there already. The truth has about 130 kB, a description less than a page.
        let rooms = [
            40 * PAGE_BYTES,
            wav_bytes / 2,
            wav_bytes - PAGE_BYTES,
            wav_bytes + PAGE_BYTES,
            wav_bytes + 10 * PAGE_BYTES,
        ];
        for room in rooms {
            let disk = SmallDisk::new(16);
            let (status, err) = captured_with_room_for(&disk, room);
            assert_eq!(status, 1, "with room for {room} bytes: {err}");
            assert!(err.contains("s that were recorded are in"), "{err}");
            // While the disk is full: what happened is told, and the recording can be read.
            let before = json(disk.path(), "status");
            disk.make_room();
            assert_eq!(said(disk.path(), "status --do --quiet").status, 0);
            let document = json(disk.path(), "status");
            assert_eq!(document["unfinished"].as_array().unwrap().len(), 0, "{document}");
            let told = before["unfinished"].as_array().unwrap().len() + before["captures"].as_array().unwrap().len();
            assert_eq!((told, document["captures"].as_array().unwrap().len()), (1, 1), "{before}");
            let wav = disk.path().join("captures/left-response.wav");
            let heard = files::read_wav(&wav).unwrap().recording;
            assert_eq!(heard.channels[0][..], whole[..heard.frames()]);
            // Every page that the disk had was used, but for the last one and the header.
            let expected = (room.min(wav_bytes) / 4).saturating_sub(2 * PAGE_BYTES / 4);
            assert!(heard.frames() as u64 >= expected, "{} of {expected} frames", heard.frames());
            let description = files::read_capture_description(&wav.with_extension("toml")).unwrap();
            assert_eq!(description.stream.frames, heard.frames() as u64);
            assert_eq!(description.stream.ended, files::Ended::BrokenOff);
        }
        let disk = SmallDisk::new(16);
        assert_eq!(captured_with_room_for(&disk, wav_bytes + 60 * PAGE_BYTES).0, 0, "room for all of it");
    });
}

/// `what` runs once with room and once more, differently, without: nothing of the first run is lost or half replaced.
fn stays_whole(disk: &SmallDisk, folder: &str, with_room: &str, without: &str) {
    let done = said(disk.path(), with_room);
    assert_eq!(done.status, 0, "{with_room}: {}", done.err);
    for room in [0, 1, 3, 40, 90].map(|pages| pages * PAGE_BYTES) {
        disk.fill_up_to(room);
        let done = said(disk.path(), without);
        // The smallest results may still have had room.
        assert!(done.status == 1 || (done.status == 0 && room > 0), "{without}, {room}: {} {}", done.status, done.err);
        assert!(done.status == 0 || done.err.contains("make room") && !done.err.contains("panicked"), "{}", done.err);
        assert_eq!(said(disk.path(), "status --quiet").status, 0);
        disk.make_room();
        for entry in std::fs::read_dir(disk.path().join(folder)).unwrap() {
            let path = entry.unwrap().path();
            let bytes = std::fs::read(&path).unwrap();
            let text = || std::str::from_utf8(&bytes).unwrap();
            let is_whole = match path.extension().and_then(|ending| ending.to_str()).unwrap_or_default() {
                "json" => serde_json::from_slice::<serde_json::Value>(&bytes).is_ok(),
                "wav" => files::read_wav(&path).is_ok_and(|wav| wav.cut_short.is_none()),
                "csv" => text().ends_with('\n') && files::read_curve(&path).is_ok() || text().lines().count() > 3,
                "html" => text().trim_end().ends_with("</html>"),
                "svg" => text().trim_end().ends_with("</svg>"),
                _ => true,
            };
            let is_left_behind = path.file_name().unwrap().to_string_lossy().starts_with(".boxwright");
            assert!(is_whole && !is_left_behind, "{path:?} with room for {room}");
        }
    }
}

#[test]
fn results_that_were_there_stay_whole_on_a_full_disk() {
    where_it_may_mount("results_that_were_there_stay_whole_on_a_full_disk", || {
        let disk = SmallDisk::new(24);
        whole(disk.path());
        let response = "response captures/left-response.wav --quiet --no-pictures";
        stays_whole(&disk, "captures/left-response", &format!("{response} --gate 4"), &format!("{response} --gate 6"));
        std::fs::create_dir(disk.path().join("pages")).unwrap();
        stays_whole(&disk, "pages", "report --quiet --out pages/report.html", "report --quiet --out pages/report.html");
    });
}
