//! One step of the Runge–Kutta method of fourth order.
//!
//! ```text
//! k₁ = f(y, u₀)    k₂ = f(y + h/2·k₁, u_½)    k₃ = f(y + h/2·k₂, u_½)    k₄ = f(y + h·k₃, u₁)
//! y ← y + h/6·(k₁ + 2·(k₂ + k₃) + k₄)
//! ```
//!
//! y: state; f: its change in one second; h: step, s; u₀, u_½, u₁: voltage at the start, middle and end of the step.
//! Source: W. Kutta, "Beitrag zur näherungsweisen Integration totaler Differentialgleichungen", Z. Math. Phys. 46 (1901)
//! 435–453 (from memory).

/// What changes in time as f says, with N numbers in its state.
pub trait Equations<const N: usize> {
    /// The change of the state in one second, and one number that is wanted beside it.
    fn change(&self, state: &[f64; N], drive_v: f64) -> ([f64; N], f64);
}

/// Moves `state` on by one step; gives the change at its start and the number beside it.
#[inline(always)]
pub fn step<const N: usize>(
    equations: &impl Equations<N>,
    state: &mut [f64; N],
    drive_v: [f64; 3],
    step_s: f64,
) -> ([f64; N], f64) {
    let [start_v, middle_v, end_v] = drive_v;
    let (k1, outcome) = equations.change(state, start_v);
    let (k2, _) = equations.change(&moved(state, &k1, 0.5 * step_s), middle_v);
    let (k3, _) = equations.change(&moved(state, &k2, 0.5 * step_s), middle_v);
    let (k4, _) = equations.change(&moved(state, &k3, step_s), end_v);
    for n in 0..N {
        state[n] += step_s / 6.0 * (k1[n] + 2.0 * (k2[n] + k3[n]) + k4[n]);
    }
    (k1, outcome)
}

#[inline(always)]
fn moved<const N: usize>(state: &[f64; N], change: &[f64; N], by_s: f64) -> [f64; N] {
    let mut there = *state;
    for n in 0..N {
        there[n] += by_s * change[n];
    }
    there
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Decay;

    impl Equations<1> for Decay {
        fn change(&self, state: &[f64; 1], drive_v: f64) -> ([f64; 1], f64) {
            ([drive_v - state[0]], 0.0)
        }
    }

    /// y' = u − y from rest under a voltage of 1: 1 − e^(−t), and half the step leaves a sixteenth of the error.
    #[test]
    fn half_the_step_leaves_a_sixteenth_of_the_error() {
        let error = |steps: u32| {
            let mut state = [0.0];
            for _ in 0..steps {
                step(&Decay, &mut state, [1.0; 3], 1.0 / f64::from(steps));
            }
            state[0] - (1.0 - (-1.0_f64).exp())
        };
        // The next term of the error is 1/8 of a step: 1.5 % at 1/16, halved with it.
        assert!((error(16) / error(32) / 16.0 - 1.0).abs() < 0.05, "{}", error(16) / error(32));
    }
}
