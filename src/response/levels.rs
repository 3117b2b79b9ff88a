//! How loud reply and noise are.
//!
//! ```text
//! SNR = 10·log₁₀(⟨y²⟩/σ²)        level of the noise = 10·log₁₀(2σ²) dBFS
//! ```
//!
//! y: the reply while the sweep sounds, its own noise included; σ²: power of one sample of the noise, told by the silences. A sine
//! of the noise's power has the peak √(2σ²). No source needed: definitions (see the conventions in `lib.rs`).

use super::NoiseDensity;
use super::verdict::Evidence;

/// How loud reply and noise are.
pub(super) struct Levels {
    pub snr_db: Option<f64>,
    pub peak_dbfs: f64,
    pub noise_dbfs: Option<f64>,
}

impl Levels {
    pub(super) fn of(evidence: &Evidence<'_>, noise: Option<&NoiseDensity>) -> Self {
        let recorded = &evidence.recording.channels[evidence.settings.reply];
        let peak = recorded.iter().fold(0.0f64, |peak, x| peak.max(x.abs()));
        let start = evidence.heard.cut.before;
        let sweep = &evidence.heard.repeats.pieces[0][start..start + evidence.excitation.plan.frames];
        let power = sweep.iter().map(|x| x * x).sum::<f64>() / sweep.len() as f64;
        Self {
            snr_db: noise.map(|noise| 10.0 * (power / noise.power()).log10()).filter(|level| level.is_finite()),
            peak_dbfs: 20.0 * peak.max(f64::MIN_POSITIVE).log10(),
            noise_dbfs: noise.map(|noise| 10.0 * (2.0 * noise.power()).log10()).filter(|level| level.is_finite()),
        }
    }
}
