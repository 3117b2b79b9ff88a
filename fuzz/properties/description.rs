//! What lies beside a WAV, from any text: a plan that fits its file, and the same again once written.

use crate::refusal::of_file;
use boxwright::files::{capture_description_from, signal_description_from};
use std::path::Path;

/// Reads the bytes as either kind of description and checks what came of it.
pub fn check(bytes: &[u8]) {
    let (text, name) = (String::from_utf8_lossy(bytes), Path::new("t"));
    match signal_description_from(&text, name) {
        Ok(signal) => {
            let plan = signal.plan();
            let ends =
                plan.starts.iter().map(|start| start.checked_add(plan.frames).expect("no end beyond all numbers"));
            assert!(plan.frames > 0 && ends.clone().count() > 0 && ends.max() <= Some(signal.layout.total_frames));
            assert!(plan.level_dbfs <= 0.0 && plan.band_hz[0] <= plan.band_hz[1]);
            assert_eq!(signal_description_from(&signal.text(), name).expect("what was written can be read"), signal);
        }
        Err(error) => of_file(&error),
    }
    match capture_description_from(&text, name) {
        Ok(capture) => {
            let written = capture.text(name).expect("what was read can be written");
            assert_eq!(capture_description_from(&written, name).expect("what was written can be read"), capture);
        }
        Err(error) => of_file(&error),
    }
}
