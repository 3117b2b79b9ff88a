//! One way in the time domain: network, voice coil, cone and box as one system of ordinary differential equations.
//!
//! ```text
//! L_e(x)·di/dt  = u − R_e·i − R₂·(i − i₂) − Bl(x)·v − L_e'(x)·v·i
//! L₂(x)·di₂/dt  = R₂·(i − i₂) − L₂'(x)·v·i₂
//! dx/dt         = v
//! M_ms·dv/dt    = Bl(x)·i − R_ms·v − K(x)·x + ½·i²·L_e'(x) + ½·i₂²·L₂'(x) + S_d·p_r − F_d
//! C_AB·dp/dt    = −S_d·v − q_l − Σq_n      p_r = (p − R_AB·(S_d·v + Σq_n))/(1 + R_AB/R_AL)      q_l = p_r/R_AL
//! M_n·dq_n/dt   = p_r − R_n·q_n − X_n/C_n  dX_n/dt = q_n
//! low-pass:   L·di_L/dt = e − R_L·i_L − u_n      C·dv_C/dt = i_L − i_n      u_n = v_C + R_C·(i_L − i_n)
//! high-pass:  L·di_L/dt = u_n − R_L·i_L          C·dv_C/dt = i_L + i_n      u_n = e − v_C − R_C·(i_L + i_n)
//! u = u_n − R_s·i_n        i_n = i + u/R_p        output: q' = S_d·dv/dt + dq_l/dt + Σdq_n/dt
//! ```
//!
//! u, i: voltage and current at the driver; i₂: current in L₂; v: velocity of the cone, m/s; p, p_r: pressure in the
//! box's compliance and at the back of the cone, Pa; q_l: flow out through leaks, m³/s; q_n, X_n: flow through vent,
//! passive radiator or wall and the volume that it has moved (`enclosure.rs`); i_L, v_C: state of the filter; e:
//! amplifier voltage, V; q': volume acceleration of all that leaves the box, m³/s²; F_d: what a defect holds against the
//! cone, N (`motion.rs`), nothing in a healthy way. The rest: `driver.rs`, `speaker.rs`. Primes on L are derivatives with
//! respect to x. Solved step by step (`runge_kutta.rs`).
//!
//! Source: W. Klippel, "Loudspeaker Nonlinearities – Causes, Parameters, Symptoms", J. Audio Eng. Soc. 54 (October
//! 2006) 907–939 (large-signal model); box and filter: mesh and node equations of the circuits in `speaker.rs`.

use super::defect::Defect;
use super::driver::Driver;
use super::enclosure::Branch;
use super::fastest::spectral_radius;
use super::loose::LoosePart;
use super::rub::Wall;
use super::runge_kutta::Equations;
use super::speaker::{Filter, Way};

/// How many things may yield to the pressure in the box.
const BRANCHES: usize = 2;
/// Numbers in the state of a way.
pub const NUMBERS: usize = 7 + 2 * BRANCHES;
/// i, i₂, x, v, p, i_L, v_C, then q and X of each branch.
pub type State = [f64; NUMBERS];

/// Airtight boxes settle in a few ms.
const SETTLING_S: f64 = 0.1;
/// Time constants of a leak that are waited for: e⁻⁸ is 3e-4.
const CREEPING_TIMES: f64 = 8.0;

/// The equations of one way, with everything constant worked out.
#[derive(Clone)]
pub struct Circuit {
    driver: Driver,
    r2_ohm: f64,
    per_le: f64,
    l2_h: f64,
    per_l2: f64,
    stiffness_n_m: f64,
    filter: Kind,
    filter_ohm: [f64; 2],
    per_l: f64,
    per_c: f64,
    across_siemens: f64,
    /// Everything between the inner node of the filter and the driver.
    series_ohm: f64,
    divider: f64,
    per_compliance: f64,
    absorption: f64,
    leak: f64,
    rear_divider: f64,
    branches: [Branch; BRANCHES],
    /// 1/M of each; zero: there is none.
    per_mass: [f64; BRANCHES],
    fault: Option<Fault>,
    fastest_per_s: f64,
    settling_s: f64,
}

/// A defect with everything constant worked out.
#[derive(Clone)]
pub enum Fault {
    /// The coil scrapes on this.
    Rub(Wall),
    /// A part of the cone is loose.
    Loose(LoosePart),
}

/// What a defect does to the cone at one moment.
#[derive(Clone, Copy)]
pub struct AgainstCone {
    /// Force, N, positive inwards.
    pub force_n: f64,
    /// Mass that does not move with it just now, kg.
    pub without_kg: f64,
}

impl AgainstCone {
    /// Nothing: `a − 0` is `a` to the last bit and costs nothing.
    pub const NOTHING: Self = Self { force_n: 0.0, without_kg: 0.0 };
}

#[derive(Clone, Copy, PartialEq)]
enum Kind {
    None,
    LowPass,
    HighPass,
}

impl Circuit {
    /// The equations of a way whose values were checked.
    pub fn new(way: &Way) -> Self {
        let driver = way.driver.clone();
        let (r2_ohm, l2_h) = driver.lossy.map_or((0.0, 0.0), |lossy| (lossy.r2_ohm, lossy.l2_h));
        let (filter, parts) = match way.filter {
            Filter::None => (Kind::None, None),
            Filter::LowPass(parts) => (Kind::LowPass, Some(parts)),
            Filter::HighPass(parts) => (Kind::HighPass, Some(parts)),
        };
        let filter_ohm = parts.map_or([0.0; 2], |parts| [parts.dcr_ohm, parts.esr_ohm]);
        let across_siemens = way.pad.across_ohm.map_or(0.0, |ohm| 1.0 / ohm);
        let series_ohm = way.pad.series_ohm + filter_ohm[1];
        let divider = 1.0 / (1.0 + series_ohm * across_siemens);
        let (absorption, leak) = (way.absorption_resistance(), way.leak_conductance());
        let mut circuit = Self {
            settling_s: settling_s(way),
            r2_ohm,
            per_le: 1.0 / driver.le_h,
            l2_h,
            per_l2: if l2_h > 0.0 { 1.0 / l2_h } else { 0.0 },
            stiffness_n_m: 1.0 / driver.cms_m_n,
            filter,
            filter_ohm,
            per_l: parts.map_or(0.0, |parts| 1.0 / parts.l_h),
            per_c: parts.map_or(0.0, |parts| 1.0 / parts.c_f),
            across_siemens,
            series_ohm,
            divider,
            per_compliance: 1.0 / way.enclosure.compliance_m3_pa(),
            absorption,
            leak,
            rear_divider: 1.0 / (1.0 + absorption * leak),
            branches: way.enclosure.branches().map(Option::unwrap_or_default),
            per_mass: way.enclosure.branches().map(|branch| branch.map_or(0.0, |branch| 1.0 / branch.mass)),
            fault: way.defect.map(|defect| match defect {
                Defect::Rub(rub) => Fault::Rub(Wall::new(rub)),
                Defect::Loose(part) => Fault::Loose(part),
            }),
            fastest_per_s: 0.0,
            driver,
        };
        let defect_per_s = way.defect.map_or(0.0, |defect| defect.fastest_per_s(&way.driver));
        circuit.fastest_per_s = circuit.spectral_radius_per_s().max(defect_per_s);
        circuit
    }

    /// The greatest magnitude of the eigenvalues at rest, where the inductance is at its smallest, 1/s.
    fn spectral_radius_per_s(&self) -> f64 {
        let change = |small: &[f64]| {
            let mut state = [0.0; NUMBERS];
            state.copy_from_slice(small);
            self.change(&state, 0.0).0.to_vec()
        };
        spectral_radius(NUMBERS, change) / self.least_bend()
    }

    /// λ(x) where the inductance is smallest: at an end of its range.
    pub(super) fn least_bend(&self) -> f64 {
        let d = &self.driver;
        [-d.limit_m, d.limit_m].map(|x_m| d.inductance.at(x_m)).into_iter().fold(1.0, f64::min)
    }

    /// The fastest rate of the way, 1/s: it limits the step.
    pub fn fastest_per_s(&self) -> f64 {
        self.fastest_per_s
    }

    /// How long a steady tone takes to settle to 1e-3 of its shift of the cone's mean place.
    pub fn settling_s(&self) -> f64 {
        self.settling_s
    }

    /// What is wrong with it.
    #[inline(always)]
    pub fn fault(&self) -> Option<&Fault> {
        self.fault.as_ref()
    }

    /// What a coil that rubs holds against the cone; a loose part is followed elsewhere (`motion.rs`).
    #[inline(always)]
    pub(super) fn rubbing(&self, state: &State) -> AgainstCone {
        match &self.fault {
            Some(Fault::Rub(wall)) => AgainstCone { force_n: wall.force_n(state[2], state[3]), without_kg: 0.0 },
            _ => AgainstCone::NOTHING,
        }
    }

    /// Volume accelerations of the cone and of the opening, outwards, from the change of the state in one second, m³/s².
    #[inline(always)]
    pub fn surfaces(&self, change: &State) -> [f64; 2] {
        [self.driver.sd_m2 * change[3], change[7]]
    }

    /// What the way draws from an amplifier of voltage e in this state: `siemens·e + amperes`, both given.
    #[inline(always)]
    pub(super) fn drawn(&self, state: &State) -> [f64; 2] {
        let &[i, _, _, _, _, coil_a, capacitor_v, ..] = state;
        let siemens = self.divider * self.across_siemens;
        match self.filter {
            Kind::None => [siemens, self.divider * i],
            Kind::LowPass => [0.0, coil_a],
            Kind::HighPass => {
                let held_v = capacitor_v + self.filter_ohm[1] * coil_a;
                [siemens, coil_a + self.divider * i - siemens * held_v]
            }
        }
    }

    /// Gives the coil, the losses and the spring other values than those that the way began with.
    pub(super) fn grow_into(&mut self, re_ohm: f64, rms_kg_s: f64, cms_m_n: f64) {
        (self.driver.re_ohm, self.driver.rms_kg_s, self.stiffness_n_m) = (re_ohm, rms_kg_s, 1.0 / cms_m_n);
    }

    /// Force of the spring, N, when its end lies at `crept_m` instead of 0.
    #[inline(always)]
    pub(super) fn spring_n(&self, x_m: f64, crept_m: f64) -> f64 {
        let d = &self.driver;
        self.stiffness_n_m * d.stiffness.at(x_m.clamp(-d.limit_m, d.limit_m)) * (x_m - crept_m)
    }

    /// The change of the state in one second, and the volume acceleration, m³/s². `crept_m`: see [`Self::spring_n`].
    #[inline(always)]
    pub(super) fn change_against(
        &self,
        state: &State,
        drive_v: f64,
        crept_m: f64,
        against: AgainstCone,
    ) -> (State, f64) {
        let &[i, i2, x, v, p, coil_a, capacitor_v, q1, x1, q2, x2] = state;
        let d = &self.driver;
        let held = x.clamp(-d.limit_m, d.limit_m);
        let moving = if held == x { v } else { 0.0 };
        let (bend, slope) = (d.inductance.at(held), d.inductance.slope_at(held));
        let per_bend = 1.0 / bend;
        let bl = d.bl_tm * d.force_factor.at(held);
        let [dcr_ohm, esr_ohm] = self.filter_ohm;
        // Voltage behind the capacitor's resistance: what the driver's side sees when it draws nothing.
        let open_v = match self.filter {
            Kind::None => drive_v,
            Kind::LowPass => capacitor_v + esr_ohm * coil_a,
            Kind::HighPass => drive_v - capacitor_v - esr_ohm * coil_a,
        };
        let u = (open_v - self.series_ohm * i) * self.divider;
        let drawn_a = i + u * self.across_siemens;
        let node_v = open_v - esr_ohm * drawn_a;
        let lossy_v = self.r2_ohm * (i - i2);
        let di = (u - d.re_ohm * i - lossy_v - bl * v - d.le_h * slope * moving * i) * self.per_le * per_bend;
        let di2 = (lossy_v - self.l2_h * slope * moving * i2) * self.per_l2 * per_bend;
        let pushed = d.sd_m2 * v + q1 + q2;
        let rear_pa = (p - self.absorption * pushed) * self.rear_divider;
        let dp = (-pushed - rear_pa * self.leak) * self.per_compliance;
        let [one, two] = &self.branches;
        let dq1 = (rear_pa - one.resistance * q1 - one.elastance * x1) * self.per_mass[0];
        let dq2 = (rear_pa - two.resistance * q2 - two.elastance * x2) * self.per_mass[1];
        let pull = if held == x { 0.5 * slope * (i * i * d.le_h + i2 * i2 * self.l2_h) } else { 0.0 };
        let spring = self.spring_n(x, crept_m);
        let force_n = bl * i - d.rms_kg_s * v - spring + pull + d.sd_m2 * rear_pa - against.force_n;
        let dv = force_n / (d.mms_kg - against.without_kg);
        let (dcoil, dcapacitor) = match self.filter {
            Kind::None => (0.0, 0.0),
            Kind::LowPass => (drive_v - dcr_ohm * coil_a - node_v, coil_a - drawn_a),
            Kind::HighPass => (node_v - dcr_ohm * coil_a, coil_a + drawn_a),
        };
        let leaving = d.sd_m2 * dv + dq1 + dq2;
        let leaking = (dp - self.absorption * leaving) * self.rear_divider * self.leak;
        let (dcoil_a, dcapacitor_v) = (dcoil * self.per_l, dcapacitor * self.per_c);
        ([di, di2, v, dv, dp, dcoil_a, dcapacitor_v, dq1, q1, dq2, q2], leaving + leaking)
    }
}

/// The healthy way.
impl Equations<NUMBERS> for Circuit {
    #[inline(always)]
    fn change(&self, state: &State, drive_v: f64) -> (State, f64) {
        self.change_against(state, drive_v, 0.0, AgainstCone::NOTHING)
    }
}

/// A state below this is silence: numbers near the smallest double would slow the processor down a hundredfold.
const SILENCE: f64 = 1e-100;

/// Puts what is as good as nothing to nothing.
pub(super) fn quieten(state: &mut [f64]) {
    state.iter_mut().filter(|value| value.abs() < SILENCE).for_each(|value| *value = 0.0);
}

/// How long a steady tone takes to reach its mean place.
fn settling_s(way: &Way) -> f64 {
    // A cone that was shifted creeps back as its suspension squeezes the air through the leak.
    let leak = way.leak_conductance();
    let creeping_s = if leak > 0.0 { way.enclosure.compliance_m3_pa() / leak * way.stiffening().powi(2) } else { 0.0 };
    SETTLING_S + CREEPING_TIMES * creeping_s
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::{LossyInductance, Reactances, Speaker};

    /// A way whose parts are far apart in speed: each rate is then that of one part alone.
    #[test]
    fn the_fastest_rate_is_that_of_the_fastest_part() {
        let mut way = Speaker::rear_satellite().ways[0].straightened();
        way.filter = Filter::None;
        way.driver.lossy = Some(LossyInductance { l2_h: 1.0, r2_ohm: 2.0 });
        way.driver.le_h = 1e-6;
        // (R_e + R_2)/L_e; 2 % for the k-th root of mixed units and the other parts.
        let coil = Circuit::new(&way).fastest_per_s() / (5.4 / 1e-6);
        assert!((coil - 1.0).abs() < 0.02, "{coil}");
        way.driver.le_h = 0.1;
        way.filter = Filter::LowPass(Reactances { l_h: 1e-4, dcr_ohm: 0.0, c_f: 1e-7, esr_ohm: 0.0 });
        // The coil of the driver is open at this speed: 1/√(LC) is left.
        let filter = Circuit::new(&way).fastest_per_s() / (1.0 / (1e-4 * 1e-7_f64).sqrt());
        assert!((filter - 1.0).abs() < 0.02, "{filter}");
    }
}
