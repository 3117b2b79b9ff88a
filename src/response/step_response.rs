//! The step response: what comes back when the drive jumps by one and stays.
//!
//! ```text
//! s[n] = Σ_{m ≤ n} h[m]·w[m]
//! ```
//!
//! h: impulse response, whose samples already hold the time between them; w: gate. Ways that arrive one after the other, or upside
//! down, are seen as separate jumps; the bass as the slow fall after them.
//! Derivation: the step is the running sum of the impulse.

use super::Gate;
use super::analysis::ImpulseResponse;

/// The running sum of what `gate` lets through; one value for each sample of `impulse`.
pub fn step_response(impulse: &ImpulseResponse, gate: Gate) -> Vec<f64> {
    let mut sum = 0.0;
    let weighed = impulse
        .samples
        .iter()
        .enumerate()
        .map(|(index, sample)| sample * gate.weight(index as f64 - impulse.arrival_index));
    weighed
        .map(|sample| {
            sum += sample;
            sum
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A first-order high-pass of time constant T: h = δ − e^{−t/T}/T, s = e^{−t/T}, closed form.
    #[test]
    fn a_high_pass_lets_a_step_die_away_with_its_time_constant() {
        let (rate_hz, tail_s): (f64, f64) = (48_000.0, 2e-3);
        let a = (-1.0 / (rate_hz * tail_s)).exp();
        // Sampled exactly: s[n] = aⁿ, h[n] = s[n] − s[n − 1].
        let samples: Vec<f64> = (0..480)
            .map(|n| {
                if n < 100 {
                    0.0
                } else if n == 100 {
                    1.0
                } else {
                    a.powi(n - 100) - a.powi(n - 101)
                }
            })
            .collect();
        let impulse = ImpulseResponse { samples, arrival_index: 100.0 };
        let found = step_response(&impulse, Gate { before_frames: 50.0, after_frames: 300.0, fall_frames: 75.0 });
        assert_eq!(found[99], 0.0);
        for n in [100, 150, 300] {
            // 1e-12: two hundred additions.
            assert!((found[n] - a.powi(n as i32 - 100)).abs() < 1e-12, "{n}");
        }
    }
}
