//! The keys of a job's bench that count for the analysis of a capture: those of which the capture itself says nothing.

use super::capture_files::description_beside;
use crate::files::CaptureKind;
use std::path::Path;

/// Their dotted names, for the record. What a capture says of itself wins over the job, so that a change there changes nothing.
pub fn bench_keys(wav: &Path, kind: CaptureKind) -> Vec<String> {
    let described = description_beside(wav).ok().flatten().map(|description| description.bench);
    // A capture without a loopback says so by leaving it out.
    let is_described = described.is_some();
    let said = described.unwrap_or_default();
    let keys = match kind {
        CaptureKind::Response => vec![
            ("reply_channel", said.reply_channel.is_some()),
            ("reference_channel", is_described),
            ("mic", said.mic.is_some()),
            ("mic_sensitivity_dbfs_at_94db", said.mic_sensitivity_dbfs_at_94db.is_some()),
            ("distance_m", said.distance_m.is_some()),
        ],
        CaptureKind::Impedance => vec![
            ("drive_channel", said.drive_channel.is_some()),
            ("load_channel", said.load_channel.is_some()),
            ("sense_ohm", said.sense_ohm.is_some()),
            ("gain_limit_db", said.gain_limit_db.is_some()),
            ("input_full_scale_v", said.input_full_scale_v.is_some()),
        ],
    };
    keys.into_iter().filter(|(_, is_said)| !is_said).map(|(key, _)| format!("bench.{key}")).collect()
}
