//! What is played, where it lies in a recording, and what the path between should have made of it.

use boxwright::math::Random;

/// Noise whose every stretch is unlike any other, in values that a 32-bit float holds exactly; peak 0.1 (−20 dBFS).
pub fn noise(frames: usize, seed: u64) -> Vec<f64> {
    let mut random = Random::new(seed);
    (0..frames).map(|_| f64::from((0.2 * random.uniform() - 0.1) as f32)).collect()
}

/// Where the beginning of `played` lies in `heard`: the first place at which a stretch agrees.
pub fn place(heard: &[f32], played: &[f64], tolerance: f64) -> Option<usize> {
    const STRETCH: usize = 64;
    heard.windows(STRETCH).position(|window| {
        window.iter().zip(played).all(|(heard, played)| (f64::from(*heard) - played).abs() <= tolerance)
    })
}

/// A decaying response of 2,000 frames with a delay of 40: a plausible small loudspeaker, and no symmetry.
pub fn response() -> Vec<f64> {
    let mut random = Random::new(42);
    let decay = |frame: usize| (-(frame as f64) / 150.0).exp();
    let one = |frame: usize| if frame < 40 { 0.0 } else { 0.3 * decay(frame - 40) * (random.uniform() - 0.5) };
    let mut response: Vec<f64> = (0..2_000).map(one).map(|sample| f64::from(sample as f32)).collect();
    response[40] = 0.5;
    response
}

/// What the second channel of a jig has beside the first one.
pub const SECOND_GAIN: f64 = -0.5;

/// The same as a file of two channels for the card, the second one with [`SECOND_GAIN`].
pub fn write_response(path: &str) -> Result<String, String> {
    let sample_format = hound::SampleFormat::Float;
    let format = hound::WavSpec { channels: 2, sample_rate: 48_000, bits_per_sample: 32, sample_format };
    let says = |error: hound::Error| error.to_string();
    let mut file = hound::WavWriter::create(path, format).map_err(says)?;
    for sample in response() {
        file.write_sample(sample as f32).map_err(says)?;
        file.write_sample((SECOND_GAIN * sample) as f32).map_err(says)?;
    }
    file.finalize().map_err(says)?;
    Ok("a response for the card".to_owned())
}

/// `played` through `response`, sum by sum: slow and plain.
pub fn convolved(played: &[f64], response: &[f64]) -> Vec<f64> {
    let mut sum = vec![0.0; played.len() + response.len() - 1];
    for (at, sample) in played.iter().enumerate() {
        for (later, gain) in response.iter().enumerate() {
            sum[at + later] += sample * gain;
        }
    }
    sum
}

/// The delay within `0..longest` at which `heard` resembles `expected` most.
pub fn best_delay(heard: &[f32], expected: &[f64], longest: usize) -> usize {
    let stretch = 4_000.min(expected.len());
    let likeness = |delay: usize| -> f64 {
        heard[delay..].iter().zip(&expected[..stretch]).map(|(heard, expected)| f64::from(*heard) * expected).sum()
    };
    (0..longest).max_by(|one, other| likeness(*one).total_cmp(&likeness(*other))).unwrap_or(0)
}
