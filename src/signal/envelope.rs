//! Ramps that let a signal begin and end without a click.
//!
//! ```text
//! r(x) = (1 − cos πx)/2        x = 0 … 1
//! ```
//!
//! The raised cosine, also called Hann ramp. Source: the Hann window's half, F. J. Harris, "On the use of windows for
//! harmonic analysis with the discrete Fourier transform", Proc. IEEE 66 (January 1978) 51–83.

/// The raised cosine at the fraction `ratio` of its way up: 0 before it starts, 1 after it ends.
pub fn rise(ratio: f64) -> f64 {
    0.5 - 0.5 * (std::f64::consts::PI * ratio.clamp(0.0, 1.0)).cos()
}

/// The falling half: 1 before it starts, 0 after it ends.
pub fn fall(ratio: f64) -> f64 {
    rise(1.0 - ratio)
}

/// The samples with a raised cosine over the first and the last `ramp_frames` frames.
pub fn with_ramps(mut samples: Vec<f64>, ramp_frames: usize) -> Vec<f64> {
    let total = samples.len();
    let ramp = ramp_frames.min(total / 2);
    for at in 0..ramp {
        // Half a step in, so that no sample of the ramp is wasted on an exact zero.
        let gain = rise((at as f64 + 0.5) / ramp as f64);
        samples[at] *= gain;
        samples[total - 1 - at] *= gain;
    }
    samples
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rise_and_fall_add_up_to_one() {
        for step in 0..=20 {
            let ratio = f64::from(step) / 20.0;
            // 1e-15: one cosine each.
            assert!((rise(ratio) + fall(ratio) - 1.0).abs() < 1e-15);
        }
        assert_eq!([rise(-1.0), rise(0.0), rise(1.0), rise(2.0)], [0.0, 0.0, 1.0, 1.0]);
    }

    #[test]
    fn ramps_are_symmetric_and_leave_the_middle_alone() {
        let shaped = with_ramps(vec![1.0; 10], 3);
        assert_eq!(shaped[3..7], [1.0; 4]);
        assert_eq!(shaped[0], shaped[9]);
        assert!(shaped[0] > 0.0 && shaped[0] < shaped[1] && shaped[1] < shaped[2]);
    }
}
