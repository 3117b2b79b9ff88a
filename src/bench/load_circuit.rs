//! What hangs on the jig in the time domain: all ways and the series capacitor as one system behind one resistance.
//!
//! ```text
//! i_k = g_k·u + j_k        u = (e − v_C − R·Σj_k)/(1 + R·Σg_k)        i = Σ i_k        C·dv_C/dt = i
//! ```
//!
//! e, R: voltage and resistance that the load sees (`jig.rs`). u: voltage at the ways, V. i_k: current of way k, A, which
//! its state fixes (j_k, g_k: [`Circuit::drawn`]), so that the ways, which share R, need no iteration. v_C: voltage of the
//! capacitor in series, V. The equations of a way: `circuit.rs`; of its creeping suspension: `creep.rs`.
//! Derivation: Kirchhoff's laws at the node where the ways meet. Solved step by step (`runge_kutta.rs`).

use super::circuit::{Circuit, NUMBERS, State, quieten};
use super::converter::Between;
use super::creep::{SPRINGS, rates_per_s};
use super::fastest::spectral_radius;
use super::load::{HungDriver, Load};
use super::runge_kutta::{self, Equations};

/// Loudspeakers of more ways would need more room in the state.
pub const MOST_WAYS: usize = 2;
/// Numbers in the state of one way.
const OF_A_WAY: usize = NUMBERS;
/// The slow springs of the first way, then the capacitor.
const SLOW: usize = MOST_WAYS * OF_A_WAY;
const CAPACITOR: usize = SLOW + SPRINGS;
const SIZE: usize = CAPACITOR + 1;

type Whole = [f64; SIZE];

/// The equations of a load that moves.
#[derive(Clone)]
pub struct LoadCircuit {
    ways: Vec<(Circuit, f64)>,
    hung: Option<Box<HungDriver>>,
    /// R.
    series_ohm: f64,
    /// 1/C; zero without a capacitor.
    per_c: f64,
    /// κ·C_ms, m/N.
    creeping_m_n: f64,
}

impl LoadCircuit {
    /// For a load that was checked, behind this resistance; none for one that does not move.
    pub fn new(load: &Load, series_ohm: f64) -> Option<Self> {
        let ways: Vec<_> = load.ways().iter().map(|way| (Circuit::new(way), way.polarity.sign())).collect();
        let hung = if let Load::Driver(hung) = load { Some(hung.clone()) } else { None };
        let capacitor_f = hung.as_ref().and_then(|hung| hung.series_capacitor_f);
        let creeping_m_n = hung.as_ref().map_or(0.0, |hung| hung.creep_per_decade * hung.driver.cms_m_n);
        let per_c = capacitor_f.map_or(0.0, |farad| 1.0 / farad);
        (!ways.is_empty()).then_some(Self { ways, hung, series_ohm, per_c, creeping_m_n })
    }

    /// The fastest rate, where the inductances are at their smallest, 1/s.
    pub fn fastest_per_s(&self) -> f64 {
        let change = |small: &[f64]| {
            let mut state = [0.0; SIZE];
            state.copy_from_slice(small);
            self.change(&state, 0.0).0.to_vec()
        };
        let least_bend = self.ways.iter().map(|(way, _)| way.least_bend()).fold(1.0, f64::min);
        spectral_radius(SIZE, change) / least_bend
    }
}

/// Beside the change: the current.
impl Equations<SIZE> for LoadCircuit {
    #[inline(always)]
    fn change(&self, state: &Whole, drive_v: f64) -> (Whole, f64) {
        let [mut siemens, mut amperes] = [0.0; 2];
        for (index, (way, sign)) in self.ways.iter().enumerate() {
            let [siemens_of, amperes_of] = way.drawn(&state_of(state, index));
            siemens += siemens_of;
            amperes += sign * amperes_of;
        }
        let node_v = (drive_v - state[CAPACITOR] - self.series_ohm * amperes) / (1.0 + self.series_ohm * siemens);
        let current = siemens * node_v + amperes;
        let mut changes = [0.0; SIZE];
        let crept_m: f64 = state[SLOW..CAPACITOR].iter().sum();
        for (index, (way, sign)) in self.ways.iter().enumerate() {
            let own = state_of(state, index);
            let crept_m = if index == 0 { crept_m } else { 0.0 };
            let (change, _) = way.change_against(&own, sign * node_v, crept_m, way.rubbing(&own));
            changes[index * OF_A_WAY..(index + 1) * OF_A_WAY].copy_from_slice(&change);
        }
        if self.creeping_m_n > 0.0 {
            let give_m = self.creeping_m_n * self.ways[0].0.spring_n(state[2], crept_m);
            for (slow, rate) in rates_per_s().into_iter().enumerate() {
                changes[SLOW + slow] = (give_m - state[SLOW + slow]) * rate;
            }
        }
        changes[CAPACITOR] = current * self.per_c;
        (changes, current)
    }
}

#[inline(always)]
fn state_of(state: &Whole, way: usize) -> State {
    std::array::from_fn(|n| state[way * OF_A_WAY + n])
}

/// A load that is played through the converters, from rest on.
pub struct PlayedLoad {
    circuit: LoadCircuit,
    state: Whole,
    /// The recording starts so much later than the first voltage.
    lead_s: f64,
}

impl PlayedLoad {
    /// At rest, cold and new; the recording starts `lead_s` after the first voltage.
    pub fn new(circuit: &LoadCircuit, lead_s: f64) -> Self {
        Self { circuit: circuit.clone(), state: [0.0; SIZE], lead_s }
    }
}

impl Between<1> for PlayedLoad {
    #[inline(always)]
    fn step(&mut self, drive_v: [f64; 3], step_s: f64) -> [f64; 1] {
        let (_, current) = runge_kutta::step(&self.circuit, &mut self.state, drive_v, step_s);
        [current]
    }

    fn begin_block(&mut self, time_s: f64) {
        quieten(&mut self.state);
        if let Some(hung) = self.circuit.hung.as_ref().filter(|hung| hung.changes()) {
            let now = hung.driver_at(time_s - self.lead_s);
            self.circuit.ways[0].0.grow_into(now.re_ohm, now.rms_kg_s, now.cms_m_n);
            self.circuit.creeping_m_n = hung.creep_per_decade * now.cms_m_n;
        }
    }
}
