//! Plays a tone on the simulated bench and compares what the microphone channel recorded with the bench's own truth.

use boxwright::bench::{Bench, BenchError, BenchSettings};
use std::f64::consts::TAU;

fn main() -> Result<(), BenchError> {
    // No room, no noise, no drift: the loudspeaker alone.
    let bench = Bench::new(BenchSettings::default().quiet())?;
    let rate_hz = bench.settings().rate.hz();
    let (tone_hz, level_dbfs) = (1000.0, -20.0);

    let peak = 10f64.powf(level_dbfs / 20.0);
    let play: Vec<f64> = (0..48_000).map(|n| peak * (TAU * tone_hz * f64::from(n) / rate_hz).sin()).collect();
    let channels = bench.record(&play, bench.frames_needed(play.len()));

    // 480 whole periods, half a second after the start.
    let steady = &channels[0][24_000..24_000 + 480 * 48];
    let (mut cosine, mut sine) = (0.0, 0.0);
    for (n, sample) in steady.iter().enumerate() {
        let angle = TAU * tone_hz * n as f64 / rate_hz;
        cosine += sample * angle.cos();
        sine += sample * angle.sin();
    }
    let found_dbfs = 20.0 * (2.0 * f64::hypot(cosine, sine) / steady.len() as f64).log10();

    let truth = bench.truth(&[tone_hz], level_dbfs);
    let tone = truth.harmonics.frequency_hz.iter().position(|&hz| hz == tone_hz);
    let compression_db = tone.map_or(0.0, |tone| truth.harmonics.compression_db[tone]);
    let expected_dbfs = level_dbfs + truth.direct.level_db[0] + compression_db;
    // A thousandth of a dB: the step of the bench's equations leaves a tenth of that.
    assert!(
        (found_dbfs - expected_dbfs).abs() < 1e-3,
        "recorded {found_dbfs:.4} dBFS, the truth is {expected_dbfs:.4}"
    );
    Ok(())
}
