//! The keys of a job's bench that count for the analysis of a capture: those of which the capture itself says nothing.

use super::capture_files::description_beside;
use crate::files::{BenchUsed, CaptureKind};
use std::path::Path;

/// Their dotted names, for the record. What a capture says of itself wins over the job, so that a change there changes nothing.
pub fn bench_keys(wav: &Path, kind: CaptureKind) -> Vec<String> {
    let described = description_beside(wav).ok().flatten().map(|description| description.bench);
    let said = |key: &str| described.as_ref().is_some_and(|bench| is_said(bench, key));
    let keys: &[&str] = match kind {
        CaptureKind::Response => {
            &["reply_channel", "reference_channel", "mic", "mic_sensitivity_dbfs_at_94db", "distance_m"]
        }
        CaptureKind::Impedance => &["drive_channel", "load_channel", "sense_ohm", "input_full_scale_v"],
    };
    keys.iter().filter(|key| !said(key)).map(|key| format!("bench.{key}")).collect()
}

fn is_said(bench: &BenchUsed, key: &str) -> bool {
    match key {
        "reply_channel" => bench.reply_channel.is_some(),
        // A capture without a loopback says so by leaving it out.
        "reference_channel" => true,
        "mic" => bench.mic.is_some(),
        "mic_sensitivity_dbfs_at_94db" => bench.mic_sensitivity_dbfs_at_94db.is_some(),
        "distance_m" => bench.distance_m.is_some(),
        "drive_channel" => bench.drive_channel.is_some(),
        "load_channel" => bench.load_channel.is_some(),
        "sense_ohm" => bench.sense_ohm.is_some(),
        "input_full_scale_v" => bench.input_full_scale_v.is_some(),
        _ => false,
    }
}
