//! Voltages and currents in a network with its loads.
//!
//! ```text
//! Σ_k Y_nk·(v_n − v_k) + i_n = 0  at every node n but the input and ground        i = Y_L·u
//! ```
//!
//! v: voltages against ground, the input's is 1 V; Y_nk: admittance of the parts between two nodes; u: voltages across the
//! loads; i: what they draw; Y_L: their admittances as a matrix, since drivers in one box feel each other (siemens).
//! A part between a and b whose admittance changes by dY changes a sum Σ t_n·v_n by −(λ_a − λ_b)·(v_a − v_b)·dY with Aᵀ·λ = t, A being the
//! matrix of the equations, and the input's current by dY·(v_a − v_b)²: one more solution tells the slopes along all parts. The latter
//! holds where Y_L is symmetric, as it is for drivers in one box. Source: S. W. Director, R. A. Rohrer, "The Generalized Adjoint Network and Network Sensitivities",
//! IEEE Trans. Circuit Theory 16 (August 1969) 318–323.
//! Source: Kirchhoff's laws; C.-W. Ho, A. E. Ruehli, P. A. Brennan, "The Modified Nodal Approach to Network Analysis",
//! IEEE Trans. Circuits and Systems 22 (June 1975) 504–509, without its extra unknowns: the only source is the amplifier.

use super::netlist::{GROUND, INPUT};
use super::{Netlist, NetworkError};
use crate::math::solved;
use num_complex::Complex64;
use std::f64::consts::TAU;

/// What hangs on the network at one frequency.
#[derive(Debug, Clone, PartialEq)]
pub struct Loads {
    /// The nodes at the ends of each.
    pub between: Vec<[usize; 2]>,
    /// Y_L, row after row, siemens.
    pub admittance_s: Vec<Complex64>,
}

/// A network at one frequency, for one volt at the input.
#[derive(Debug, Clone, PartialEq)]
pub struct Solved {
    /// Voltage of each node against ground.
    pub node_v: Vec<Complex64>,
    /// What the amplifier delivers.
    pub input_a: Complex64,
}

/// Every node leaks so much to ground, so that an open part leaves no node without a voltage: 1 TΩ.
const LEAST_SIEMENS: f64 = 1e-12;
/// Less than this is a short circuit to an amplifier.
const SHORT_OHM: f64 = 1e-3;

impl Loads {
    /// Loads that do not feel each other.
    pub fn apart(between: Vec<[usize; 2]>, ohm: &[Complex64]) -> Self {
        let count = ohm.len();
        let mut admittance_s = vec![Complex64::ZERO; count * count];
        for (at, ohm) in ohm.iter().enumerate() {
            admittance_s[at * count + at] = ohm.inv();
        }
        Self { between, admittance_s }
    }
}

impl Netlist {
    /// Voltages and currents at a frequency above zero.
    ///
    /// # Errors
    /// [`NetworkError::ShortCircuit`] where the input is as good as shorted, `Floating` where no answer exists.
    pub fn at(&self, hz: f64, loads: &Loads) -> Result<Solved, NetworkError> {
        let (matrix, right) = self.equations(hz, loads);
        let found = solved(&matrix, &right).ok_or_else(|| NetworkError::Floating { node: self.nodes[2].clone() })?;
        let node_v: Vec<Complex64> = [Complex64::ZERO, Complex64::ONE].into_iter().chain(found).collect();
        let input_a = self.input_a(TAU * hz, loads, &node_v);
        if input_a.norm() > 1.0 / SHORT_OHM {
            return Err(NetworkError::ShortCircuit { hz });
        }
        Ok(Solved { node_v, input_a })
    }

    /// How Σ `weights`·v and the input's current follow the logarithm of each part's value, where `solved` is the answer with these loads.
    ///
    /// # Errors
    /// [`NetworkError::Floating`] where no answer exists.
    pub fn slopes(
        &self,
        hz: f64,
        loads: &Loads,
        solved_v: &Solved,
        weights: &[Complex64],
    ) -> Result<Vec<[Complex64; 2]>, NetworkError> {
        let (matrix, right) = self.equations(hz, loads);
        let unknown = right.len();
        let transposed: Vec<Complex64> =
            (0..unknown * unknown).map(|at| matrix[at % unknown * unknown + at / unknown]).collect();
        let adjoint =
            solved(&transposed, &weights[2..]).ok_or_else(|| NetworkError::Floating { node: self.nodes[2].clone() })?;
        // Ground and input are held: nothing moves them.
        let adjoint = |node: usize| node.checked_sub(2).map_or(Complex64::ZERO, |node| adjoint[node]);
        let slope = |part: &super::Part| {
            let [one, other] = part.nodes;
            let across = solved_v.node_v[one] - solved_v.node_v[other];
            let by = part.slope_s(TAU * hz);
            [-(adjoint(one) - adjoint(other)) * across * by, across * across * by]
        };
        Ok(self.parts.iter().map(slope).collect())
    }

    /// A and the right side, for the nodes but ground and input.
    fn equations(&self, hz: f64, loads: &Loads) -> (Vec<Complex64>, Vec<Complex64>) {
        let omega = TAU * hz;
        let unknown = self.nodes.len() - 2;
        let mut matrix = vec![Complex64::ZERO; unknown * unknown];
        let mut right = vec![Complex64::ZERO; unknown];
        // Current from `of` for the voltage of `by`.
        let mut stamp = |of: usize, by: usize, siemens: Complex64| {
            if of < 2 || by == GROUND {
            } else if by == INPUT {
                right[of - 2] -= siemens;
            } else {
                matrix[(of - 2) * unknown + by - 2] += siemens;
            }
        };
        for part in &self.parts {
            let siemens = part.admittance_s(omega);
            let [one, other] = part.nodes;
            for (of, by, sign) in [(one, one, 1.0), (one, other, -1.0), (other, other, 1.0), (other, one, -1.0)] {
                stamp(of, by, sign * siemens);
            }
        }
        let count = loads.between.len();
        for (row, ends) in loads.between.iter().enumerate() {
            for (column, others) in loads.between.iter().enumerate() {
                let siemens = loads.admittance_s[row * count + column];
                for (of, of_sign) in [(ends[0], 1.0), (ends[1], -1.0)] {
                    for (by, by_sign) in [(others[0], 1.0), (others[1], -1.0)] {
                        stamp(of, by, of_sign * by_sign * siemens);
                    }
                }
            }
        }
        (0..unknown).for_each(|node| matrix[node * unknown + node] += LEAST_SIEMENS);
        (matrix, right)
    }

    /// What leaves the input.
    fn input_a(&self, omega: f64, loads: &Loads, node_v: &[Complex64]) -> Complex64 {
        let leaving = |[one, other]: [usize; 2]| match (one == INPUT, other == INPUT) {
            (true, false) => 1.0,
            (false, true) => -1.0,
            _ => 0.0,
        };
        let through = |part: &super::Part| part.admittance_s(omega) * (node_v[part.nodes[0]] - node_v[part.nodes[1]]);
        let parts: Complex64 = self.parts.iter().map(|part| leaving(part.nodes) * through(part)).sum();
        let drawn = (0..loads.between.len()).map(|load| leaving(loads.between[load]) * loads.current_a(load, node_v));
        parts + drawn.sum::<Complex64>()
    }
}

impl Loads {
    /// Voltage across a load.
    pub fn across_v(&self, load: usize, node_v: &[Complex64]) -> Complex64 {
        node_v[self.between[load][0]] - node_v[self.between[load][1]]
    }

    /// What a load draws.
    pub fn current_a(&self, load: usize, node_v: &[Complex64]) -> Complex64 {
        let count = self.between.len();
        (0..count).map(|other| self.admittance_s[load * count + other] * self.across_v(other, node_v)).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ladder(text: &str, node: &str, ohm: f64, hz: f64) -> Complex64 {
        let netlist = Netlist::of_text(text).unwrap();
        let loads = Loads::apart(vec![[netlist.node(node).unwrap(), GROUND]], &[ohm.into()]);
        netlist.at(hz, &loads).unwrap().node_v[netlist.node(node).unwrap()]
    }

    /// H = 1/(1 + jωRC): both logarithmic slopes are −jωRC·H², those of the current jωC·H the same less the capacitor's own share. By hand.
    #[test]
    fn the_slopes_of_a_resistor_and_a_capacitor_are_those_of_the_closed_form() {
        let netlist = Netlist::of_text("R1 in out 100\nC1 out 0 2u").unwrap();
        let out = netlist.node("out").unwrap();
        let loads = Loads { between: Vec::new(), admittance_s: Vec::new() };
        for hz in [50.0, 800.0, 9e3] {
            let solved = netlist.at(hz, &loads).unwrap();
            let mut weights = vec![Complex64::ZERO; netlist.nodes.len()];
            weights[out] = 2.0.into();
            let found = netlist.slopes(hz, &loads, &solved, &weights).unwrap();
            let turned = Complex64::new(0.0, TAU * hz * 100.0 * 2e-6);
            let h = (1.0 + turned).inv();
            let current = turned * h / 100.0;
            let expected = [
                [-2.0 * turned * h * h, -turned * h * current],
                [-2.0 * turned * h * h, current - turned * h * current],
            ];
            for (found, expected) in found.iter().flatten().zip(expected.as_flattened()) {
                // 1e-8: a node leaks 1 TΩ, beside the capacitor's 1.6 kΩ.
                assert!((found - expected).norm() < 1e-8 * expected.norm().max(1e-6), "{hz}: {found} {expected}");
            }
        }
    }

    /// `crossover_components.csv` (ladder synthesis, checked by chain matrices): the filters that the tabulated parts make
    /// are Butterworth's, or their squares: |H|² = 1/(1 + x²ⁿ).
    #[test]
    fn the_tabulated_parts_make_the_filters_they_are_named_after() {
        let table = include_str!("../../tests/reference/crossover_components.csv");
        let mut filters: std::collections::BTreeMap<(String, i32, String), Vec<(String, f64)>> = Default::default();
        for line in table.lines().filter(|line| !line.starts_with('#')).skip(1) {
            let fields: Vec<&str> = line.split(',').collect();
            let key = (fields[0].to_owned(), fields[1].parse().unwrap(), fields[2].to_owned());
            filters.entry(key).or_default().push((fields[3].to_owned(), fields[4].parse().unwrap()));
        }
        let (ohm, crossover_hz) = (6.0, 2500.0);
        let omega = TAU * crossover_hz;
        for ((kind, order, band), parts) in &filters {
            // Parts from the source on: the series element of a low-pass is a coil, the next one lies across.
            let mut text = String::new();
            let mut node = "in".to_owned();
            for (at, (part, g)) in parts.iter().enumerate() {
                let value = if part.starts_with('L') { g * ohm / omega } else { g / (ohm * omega) };
                if at % 2 == 0 {
                    text.push_str(&format!("{part} {node} n{at} {value:e}\n"));
                    node = format!("n{at}");
                } else {
                    text.push_str(&format!("{part} {node} 0 {value:e}\n"));
                }
            }
            for x in [0.25, 0.5, 1.0, 2.0, 4.0] {
                let found = ladder(&text, &node, ohm, x * crossover_hz).norm();
                let (exponent, squared) = if kind == "LR" { (*order, 1.0) } else { (2 * order, 0.5) };
                let at = if band == "LP" { x } else { 1.0 / x };
                let expected = (1.0 + f64::powi(at, exponent)).powf(-squared);
                // 1e-9: the table has ten digits.
                assert!((found / expected - 1.0).abs() < 1e-8, "{kind}{order} {band} at {x}: {found}, {expected}");
            }
        }
        assert_eq!(filters.len(), 12);
    }

    #[test]
    fn what_the_amplifier_delivers_is_what_the_parts_and_loads_take() {
        let netlist = Netlist::of_text("L1 in w 0.39m dcr=0.25\nC1 w 0 6.8u esr=0.05\nR1 in 0 47\n").unwrap();
        let loads = Loads::apart(vec![[2, 0], [1, 0]], &[Complex64::new(4.0, 3.0), 8.0.into()]);
        let solved = netlist.at(1000.0, &loads).unwrap();
        let omega = TAU * 1000.0;
        let heat: f64 = netlist
            .parts
            .iter()
            .map(|part| part.heat_w(omega, solved.node_v[part.nodes[0]] - solved.node_v[part.nodes[1]]))
            .sum();
        let taken: f64 = (0..2)
            .map(|load| (loads.across_v(load, &solved.node_v) * loads.current_a(load, &solved.node_v).conj()).re)
            .sum();
        // 1e-12: conservation of power, a few roundings.
        assert!((solved.input_a.re / (heat + taken) - 1.0).abs() < 1e-9, "{solved:?}");
    }

    #[test]
    fn an_open_part_leaves_an_answer_and_a_short_circuit_is_named() {
        let mut netlist = Netlist::of_text("C1 in a 5u\nR1 a t 2\n").unwrap();
        netlist.parts[0].condition = super::super::Condition::Open;
        let loads = Loads::apart(vec![[3, 0]], &[8.0.into()]);
        assert!(netlist.at(1000.0, &loads).unwrap().node_v[3].norm() < 1e-9);
        let shorted = Netlist::of_text("R1 in 0 0.0001\n").unwrap();
        assert_eq!(shorted.at(50.0, &Loads::apart(vec![], &[])), Err(NetworkError::ShortCircuit { hz: 50.0 }));
    }
}
