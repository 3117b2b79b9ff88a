//! An impedance in real time: the card is the jig, what hangs on it is a circuit whose impedance is known.
//!
//! ```text
//! Z(s) = R_e + R_m/(1 + Q·(s/ω₀ + ω₀/s))        v_load/v_drive = Z/(Z + R_s)
//! s = 2·f_s·(z − 1)/(z + 1)        so that f becomes f_s/π·tan(π·f/f_s)
//! ```
//!
//! R_e 6 Ω, R_m 30 Ω, Q 3, f₀ 42 Hz: a woofer without inductance; R_s 10 Ω. The card plays the impulse response of the
//! ratio as a recursive filter gives it, which is exact but for the bent frequency axis.
//! Source: the bilinear transform, A. V. Oppenheim, R. W. Schafer, "Discrete-Time Signal Processing", section 7.1.

use super::program::{boxwright, says};
use boxwright::files;
use boxwright::math::{Spectrum, good_length};
use num_complex::Complex64;
use serde_json::Value;
use std::f64::consts::{PI, TAU};
use std::path::{Path, PathBuf};

const RATE_HZ: f64 = 48_000.0;
const SENSE_OHM: f64 = 10.0;
const COIL_OHM: f64 = 6.0;
const PEAK_OHM: f64 = 30.0;
const RESONANCE_HZ: f64 = 42.0;
const Q: f64 = 3.0;
/// What both inputs show of the drive voltage.
const GAIN: f64 = 0.8;
/// The ratio rings with Q·16/46 = 1.04: after half a second e^{−π·42·0.5/1.04} = 3e-28 is left.
const FRAMES: usize = 24_000;

fn impedance(frequency_hz: f64) -> Complex64 {
    let ratio = (RATE_HZ / PI) * (PI * frequency_hz / RATE_HZ).tan() / RESONANCE_HZ;
    COIL_OHM + PEAK_OHM / Complex64::new(1.0, Q * (ratio - 1.0 / ratio))
}

/// Z/(Z + R_s) as `(b₂s² + b₁s + b₀)/(a₂s² + a₁s + a₀)` with s in ω₀, then in z.
fn impulse_response() -> Vec<f64> {
    let over = [Q * COIL_OHM, COIL_OHM + PEAK_OHM, Q * COIL_OHM];
    let under = [Q * (COIL_OHM + SENSE_OHM), COIL_OHM + SENSE_OHM + PEAK_OHM, Q * (COIL_OHM + SENSE_OHM)];
    let scale = 2.0 * RATE_HZ / (TAU * RESONANCE_HZ);
    let in_z = |[two, one, zero]: [f64; 3]| {
        let (two, one) = (two * scale * scale, one * scale);
        [two + one + zero, 2.0 * (zero - two), two - one + zero]
    };
    let (b, a) = (in_z(over), in_z(under));
    let mut response = vec![0.0; FRAMES];
    for n in 0..FRAMES {
        let fed = if n < 3 { b[n] } else { 0.0 };
        let back: f64 = (1..=2.min(n)).map(|lag| a[lag] * response[n - lag]).sum();
        response[n] = (fed - back) / a[0];
    }
    response
}

/// Both taps of the jig as a file for the card.
pub fn write_jig(path: &str) -> Result<String, String> {
    let sample_format = hound::SampleFormat::Float;
    let format = hound::WavSpec { channels: 2, sample_rate: RATE_HZ as u32, bits_per_sample: 32, sample_format };
    let mut file = hound::WavWriter::create(path, format).map_err(says)?;
    for (n, load) in impulse_response().into_iter().enumerate() {
        let drive = if n == 0 { GAIN } else { 0.0 };
        file.write_sample(drive as f32).map_err(says)?;
        file.write_sample((GAIN * load) as f32).map_err(says)?;
    }
    file.finalize().map_err(says)?;
    Ok(format!("an impedance of {COIL_OHM} ohm with a resonance at {RESONANCE_HZ} Hz for the card"))
}

/// `capture impedance` through the card; plain transforms of both channels, compared with the closed form.
pub fn captured() -> Result<String, String> {
    let folder = tempfile::tempdir().map_err(says)?;
    let words =
        "capture impedance --output alsa:virtual --input alsa:virtual --sense-ohm 10 --seconds 3 --repeats 2 --quiet";
    let output = boxwright(words).arg("--out").arg(folder.path()).output().map_err(says)?;
    if !output.status.success() {
        return Err(format!("{output:?}"));
    }
    let wav = PathBuf::from(String::from_utf8_lossy(&output.stdout).trim());
    let description = files::read_capture_description(&wav.with_extension("toml")).map_err(says)?;
    let bench = description.bench;
    if (bench.drive_channel, bench.load_channel, bench.sense_ohm) != (Some(1), Some(2), Some(SENSE_OHM)) {
        return Err(format!("{bench:?}"));
    }
    let recording = files::read_wav(&wav).map_err(says)?.recording;
    let [drive, load] = recording.channels.as_slice() else { return Err("not two channels".to_owned()) };
    let length = good_length(recording.frames());
    let mut spectrum = Spectrum::new(length);
    let [drive, load] = [drive, load].map(|channel| spectrum.bins(channel));
    let (mut worst, mut at_hz) = (0.0f64, 0.0);
    // Twelfth octaves from 20 Hz to 20 kHz; each at the nearest frequency of the transform.
    for step in 0..120 {
        let bin = (20.0 * 2f64.powf(f64::from(step) / 12.0) * length as f64 / RATE_HZ).round() as usize;
        let hz = bin as f64 * RATE_HZ / length as f64;
        let seen = load[bin] / drive[bin];
        let off = (SENSE_OHM * seen / (1.0 - seen) / impedance(hz) - 1.0).norm();
        if !(off <= worst) {
            (worst, at_hz) = (off, hz);
        }
    }
    let (analysed, analysed_hz) = analysed(&wav)?;
    let text = format!(
        "|Z| and phase from 20 Hz to 20 kHz within {worst:.1e} of the circuit by plain transforms (worst at {at_hz:.0} Hz), within \
         {analysed:.1e} by `impedance` (worst at {analysed_hz:.0} Hz)"
    );
    // 1e-4, the 0.01 % that a bench's best resistors have; the card's convolver works in 32-bit floats.
    if worst < 1e-4 && analysed < 1e-4 { Ok(text) } else { Err(text) }
}

/// The largest difference between the curve that `boxwright impedance` writes and the circuit, and where it is.
fn analysed(wav: &Path) -> Result<(f64, f64), String> {
    let output = boxwright("impedance --lead-ohm 0 --json --no-pictures").arg(wav).output().map_err(says)?;
    if !output.status.success() {
        return Err(format!("{output:?}"));
    }
    let document: Value = serde_json::from_slice(&output.stdout).map_err(says)?;
    let column = |name: &str| -> Result<Vec<f64>, String> {
        let values = document["curve"][name].as_array().ok_or(format!("no {name}"))?;
        values.iter().map(|value| value.as_f64().ok_or(format!("{value} in {name}"))).collect()
    };
    let (hz, ohm, degrees) = (column("frequency_hz")?, column("magnitude_ohm")?, column("phase_deg")?);
    let off = |at: usize| (Complex64::from_polar(ohm[at], degrees[at].to_radians()) / impedance(hz[at]) - 1.0).norm();
    let points = (0..hz.len()).filter(|&at| (20.0..=20_000.0).contains(&hz[at])).map(|at| (off(at), hz[at]));
    points.max_by(|a, b| a.0.total_cmp(&b.0)).ok_or_else(|| "no points".to_owned())
}
