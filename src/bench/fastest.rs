//! The fastest rate of a linear system: it limits the step of whoever follows it in time.
//!
//! ```text
//! x' = A·x        max|λ(A)| = lim ‖Aᵏ‖^{1/k}
//! ```
//!
//! x: state, mixed units. λ: eigenvalues, 1/s. k = 2¹² by repeated squaring; each power is scaled to norm one and the
//! logarithms of the scales are summed. Different units in A move the result by less than a hundredth at this k.
//!
//! Source: I. Gelfand, "Normierte Ringe", Mat. Sbornik 9 (1941) 3–24 (the formula of the spectral radius).

const SQUARINGS: i32 = 12;
/// So small a state that products of two states vanish beside it.
const TINY: f64 = 1e-12;

/// The greatest magnitude of the eigenvalues of `change` around rest, 1/s, for a state of `size` numbers.
pub fn spectral_radius(size: usize, change: impl Fn(&[f64]) -> Vec<f64>) -> f64 {
    let unit = |column: usize| {
        let mut state = vec![0.0; size];
        state[column] = TINY;
        change(&state).into_iter().map(|change| change / TINY).collect()
    };
    let mut power: Vec<Vec<f64>> = (0..size).map(unit).collect();
    let mut log_norm = 0.0;
    for squaring in 0..=SQUARINGS {
        let norm = power.iter().flatten().fold(0.0, |norm: f64, entry| norm.max(entry.abs()));
        log_norm += norm.ln() * 0.5f64.powi(squaring);
        power.iter_mut().flatten().for_each(|entry| *entry /= norm);
        let entry = |column: usize, row: usize| (0..size).map(|inner| power[inner][row] * power[column][inner]).sum();
        power = (0..size).map(|column| (0..size).map(|row| entry(column, row)).collect()).collect();
    }
    log_norm.exp()
}
