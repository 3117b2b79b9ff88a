//! How far the curves of a design move when its numbers turn out otherwise.
//!
//! ```text
//! s_k = (f(+σ_k) − f(−σ_k))/2        u = √(Σ s_k²)
//! ```
//!
//! f: level in dB or logarithm of |Z|; σ_k: usual deviation of knob k (`knob.rs`). Linear in each knob: JCGM 100:2008, "Guide
//! to the expression of uncertainty in measurement", 5.1; compared with chance in a test.

use super::{Design, Knob, Reach, SpeakerError, level_db, respond};

/// What a knob's usual deviation does.
#[derive(Debug, Clone, PartialEq)]
pub struct Influence {
    /// Which.
    pub knob: Knob,
    /// σ, a deviation of the knob.
    pub spread: f64,
    /// By how much the level moves for it, dB.
    pub level_db: Vec<f64>,
    /// By how much the logarithm of |Z| moves for it.
    pub ln_ohm: Vec<f64>,
}

/// A design's curves with how far they move; columns of one length.
#[derive(Debug, Clone, PartialEq)]
pub struct Tolerance {
    /// Frequencies.
    pub hz: Vec<f64>,
    /// u of the level, dB.
    pub u_db: Vec<f64>,
    /// u of the logarithm of |Z|.
    pub u_ln_ohm: Vec<f64>,
    /// What does it, the strongest on the level first.
    pub influences: Vec<Influence>,
}

/// How the curves of a design follow its numbers at these frequencies, all of them with a pressure.
///
/// # Errors
/// As [`simulate`](super::simulate).
pub fn tolerance(design: &Design, hz: &[f64]) -> Result<Tolerance, SpeakerError> {
    let reach = Reach::new(design, hz)?;
    let mut influences = Vec::new();
    for knob in Knob::all(design) {
        let spread = knob.spread(design);
        let side = |by: f64| {
            let mut turned = design.clone();
            knob.turn(&mut turned, by);
            let points = respond(&turned, &reach)?;
            let level = points.iter().map(|point| point.pressure_pa.map_or(0.0, level_db)).collect();
            let ohm = points.iter().map(|point| (design.drive_v / point.input_a.norm()).ln()).collect();
            Ok::<[Vec<f64>; 2], SpeakerError>([level, ohm])
        };
        // A loss factor that is nothing can only grow.
        let below =
            if knob.turning() == super::Turning::Difference { -spread.min(knob.value(design)) } else { -spread };
        let ([above_db, above_ohm], [below_db, below_ohm]) = (side(spread)?, side(below)?);
        let share = spread / (spread - below);
        let slope = |above: &[f64], below: &[f64]| above.iter().zip(below).map(|(a, b)| (a - b) * share).collect();
        influences.push(Influence {
            knob,
            spread,
            level_db: slope(&above_db, &below_db),
            ln_ohm: slope(&above_ohm, &below_ohm),
        });
    }
    let sum = |of: &dyn Fn(&Influence) -> &[f64]| {
        (0..hz.len()).map(|at| influences.iter().map(|one| of(one)[at].powi(2)).sum::<f64>().sqrt()).collect()
    };
    let (u_db, u_ln_ohm) = (sum(&|one| &one.level_db), sum(&|one| &one.ln_ohm));
    let strength = |one: &Influence| one.level_db.iter().map(|db| db * db).sum::<f64>();
    influences.sort_by(|one, other| strength(other).total_cmp(&strength(one)));
    Ok(Tolerance { hz: hz.to_vec(), u_db, u_ln_ohm, influences })
}
