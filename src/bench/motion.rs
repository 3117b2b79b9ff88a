//! A way that is followed in time from rest on, healthy or with its defect.
//!
//! ```text
//! healthy or seated → the equations of `circuit.rs`        rubbing → the same with F of `rub.rs` against the cone
//! lifted            → those of `loose.rs`, from the step after dv/dt < −g until the part rests again
//! ```
//!
//! The healthy way pays for the others with one branch a step.

use super::circuit::{Circuit, Fault, NUMBERS, State, quieten};
use super::converter::Between;
use super::loose::{Flight, LoosePart};
use super::runge_kutta::{self, Equations};

/// A way in motion.
pub struct Motion<'a> {
    circuit: &'a Circuit,
    state: State,
    /// A loose part that is not seated.
    flight: Option<Flight>,
}

impl<'a> Motion<'a> {
    /// At rest.
    pub fn new(circuit: &'a Circuit) -> Self {
        Self { circuit, state: [0.0; NUMBERS], flight: None }
    }

    /// One step; gives what is heard at its start. `drive_v`: at its start, middle and end.
    #[inline(always)]
    pub fn heard_step<const N: usize>(&mut self, heard: &impl Hear<N>, drive_v: [f64; 3], step_s: f64) -> [f64; N] {
        let x_m = self.state[2];
        // Before the branches meet: what of the change nobody hears is then not even kept.
        let Some(fault) = self.circuit.fault() else {
            let (change, leaving) = runge_kutta::step(self.circuit, &mut self.state, drive_v, step_s);
            return heard.hear(x_m, &change, leaving);
        };
        let (change, leaving) = self.faulty_step(fault, drive_v, step_s);
        heard.hear(x_m, &change, leaving)
    }

    /// Gives the change of the state in one second and the volume acceleration, m³/s², at its start.
    #[inline(never)]
    fn faulty_step(&mut self, fault: &Fault, drive_v: [f64; 3], step_s: f64) -> (State, f64) {
        match fault {
            Fault::Rub(_) => runge_kutta::step(&Rubbing(self.circuit), &mut self.state, drive_v, step_s),
            Fault::Loose(part) => self.loose_step(part, drive_v, step_s),
        }
    }

    fn loose_step(&mut self, part: &LoosePart, drive_v: [f64; 3], step_s: f64) -> (State, f64) {
        let Some(mut flight) = self.flight else {
            let outcome = runge_kutta::step(self.circuit, &mut self.state, drive_v, step_s);
            self.flight = (outcome.0[3] < -part.lifts_at_m_s2).then(Flight::default);
            return outcome;
        };
        let outcome = part.step(&mut flight, self.circuit, &mut self.state, drive_v, step_s);
        self.flight = (!part.rests(flight, outcome.0[3])).then_some(flight);
        outcome
    }
}

/// A way whose coil rubs.
struct Rubbing<'a>(&'a Circuit);

impl Equations<NUMBERS> for Rubbing<'_> {
    fn change(&self, state: &State, drive_v: f64) -> (State, f64) {
        self.0.change_against(state, drive_v, 0.0, self.0.rubbing(state))
    }
}

/// N values that are wanted of a way in motion.
pub trait Hear<const N: usize> {
    /// They, from the excursion, the change of the state in one second and the volume acceleration of all that leaves the
    /// box.
    fn hear(&self, x_m: f64, change: &State, leaving: f64) -> [f64; N];
}

/// The volume acceleration of all that leaves the box.
pub struct All;

impl Hear<1> for All {
    #[inline(always)]
    fn hear(&self, _: f64, _: &State, leaving: f64) -> [f64; 1] {
        [leaving]
    }
}

/// The excursion of the cone.
pub struct Excursion;

impl Hear<1> for Excursion {
    #[inline(always)]
    fn hear(&self, x_m: f64, _: &State, _: f64) -> [f64; 1] {
        [x_m]
    }
}

/// A way that is played through the converters.
pub struct Played<'a, H> {
    motion: Motion<'a>,
    heard: H,
}

impl<'a, H> Played<'a, H> {
    /// At rest.
    pub fn new(circuit: &'a Circuit, heard: H) -> Self {
        Self { motion: Motion::new(circuit), heard }
    }
}

impl<const N: usize, H: Hear<N>> Between<N> for Played<'_, H> {
    #[inline(always)]
    fn step(&mut self, drive_v: [f64; 3], step_s: f64) -> [f64; N] {
        self.motion.heard_step(&self.heard, drive_v, step_s)
    }

    fn begin_block(&mut self, _time_s: f64) {
        quieten(&mut self.motion.state);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::{Defect, Enclosure, Filter, Rub, Speaker, Way};
    use std::f64::consts::TAU;

    const STEP_S: f64 = 1.0 / 768_000.0;

    /// The mid-woofer at the amplifier, its curves straight, its box airtight and without losses.
    fn woofer(defect: Option<Defect>) -> Way {
        let way = Speaker::rear_satellite().ways[0].straightened();
        Way { enclosure: Enclosure::closed(1.9e-3), filter: Filter::None, defect, ..way }
    }

    /// A cone that is let go 1.5 mm from rest, its coil shorted: what it loses is what coil, suspension and wall took.
    #[test]
    fn a_wall_takes_the_energy_that_the_cone_loses() {
        let way = woofer(Some(Defect::Rub(Rub { roughness_ratio: 1.0, ..Rub::hard(-0.3e-3) })));
        let circuit = Circuit::new(&way);
        let (d, lossy) = (&way.driver, way.driver.lossy.unwrap());
        let energy_j = |state: &State| {
            let &[i, i2, x, v, p, ..] = state;
            let magnetic = d.le_h * i * i + lossy.l2_h * i2 * i2;
            0.5 * (magnetic + d.mms_kg * v * v + x * x / d.cms_m_n + way.enclosure.compliance_m3_pa() * p * p)
        };
        let taken_w = |state: &State| {
            let &[i, i2, _, v, ..] = state;
            let wall = circuit.rubbing(state).force_n * v;
            let others = d.re_ohm * i * i + lossy.r2_ohm * (i - i2).powi(2) + d.rms_kg_s * v * v;
            [wall, wall + others]
        };
        let mut motion = Motion::new(&circuit);
        motion.state[2] = -1.5e-3;
        let start_j = energy_j(&motion.state);
        let mut taken_j = [0.0; 2];
        for _ in 0..20_000 {
            let before_w = taken_w(&motion.state);
            motion.heard_step(&All, [0.0; 3], STEP_S);
            let after_w = taken_w(&motion.state);
            assert!(after_w[0] >= 0.0);
            (0..2).for_each(|n| taken_j[n] += 0.5 * STEP_S * (before_w[n] + after_w[n]));
        }
        let lost_j = start_j - energy_j(&motion.state);
        // 1e-6: the trapezoids over a wall whose grains are met in ten and more steps.
        assert!((taken_j[1] / lost_j - 1.0).abs() < 1e-6, "{taken_j:?} {lost_j:e}");
        assert!(taken_j[0] > 0.02 * start_j, "{taken_j:?} {start_j:e}");
    }

    /// The change of the state.
    struct Whole;

    impl Hear<NUMBERS> for Whole {
        fn hear(&self, _: f64, change: &State, _: f64) -> [f64; NUMBERS] {
            *change
        }
    }

    /// A tone of 5 V through a woofer with this defect, 0.3 s long; `at` is told of every step.
    fn follow(defect: Option<Defect>, hz: f64, mut at: impl FnMut(usize, &Motion<'_>, &State)) {
        let circuit = Circuit::new(&woofer(defect));
        let mut motion = Motion::new(&circuit);
        for n in 0..(0.3 / STEP_S) as usize {
            let volt = |half: f64| 5.0 * (TAU * hz * STEP_S * (n as f64 + half)).sin();
            let change = motion.heard_step(&Whole, [volt(0.0), volt(0.5), volt(1.0)], STEP_S);
            at(n, &motion, &change);
        }
    }

    #[test]
    fn a_part_that_is_not_shaken_off_is_no_defect_to_the_last_bit() {
        let hz = 100.0;
        let mut strongest: f64 = 0.0;
        let mut healthy = Vec::new();
        follow(None, hz, |_, motion, change| {
            strongest = strongest.max(-change[3]);
            healthy.push(motion.state);
        });
        let lifts = |share: f64| Some(Defect::Loose(LoosePart::lead(share * strongest)));
        follow(lifts(1.0001), hz, |n, motion, _| {
            assert!(motion.flight.is_none() && motion.state == healthy[n]);
        });
        let mut lifted = 0;
        follow(lifts(0.9999), hz, |_, motion, _| lifted += usize::from(motion.flight.is_some()));
        assert!(lifted > 0);
    }

    /// Steady, shaken at 1.5 times what it bears: it takes off once a period, lands where a ballistic flight over a cone that
    /// goes on as before lands, and comes to rest.
    #[test]
    fn a_part_flies_as_a_stone_does() {
        let hz = 60.0;
        let mut strongest: f64 = 0.0;
        follow(None, hz, |n, _, change| {
            if n > 200_000 {
                strongest = strongest.max(-change[3]);
            }
        });
        let part = LoosePart { mass_kg: 1e-6, ..LoosePart::lead(strongest / 1.5) };
        let (mut starts, mut landings, mut before) = (Vec::new(), Vec::new(), None::<Flight>);
        follow(Some(Defect::Loose(part)), hz, |n, motion, _| {
            let now = motion.flight;
            match (before, now) {
                (None, Some(_)) => starts.push(n as f64 * STEP_S),
                (Some(a), Some(b)) if a.lifted_m >= 0.0 && b.lifted_m < 0.0 && landings.len() < starts.len() => {
                    landings.push(n as f64 * STEP_S);
                }
                _ => {}
            }
            before = now;
        });
        let [start_s, landing_s] = [&starts, &landings].map(|times| times[times.len() - 2]);
        let period_s = starts[starts.len() - 1] - start_s;
        assert!((period_s * hz - 1.0).abs() < 1e-3, "{starts:?}");
        // Cone: −1.5·g·cos φ. Aloft from φ₀ = −acos(1/1.5), the part rises by 1.5·g/ω²·(cos φ₀ − cos φ − (φ − φ₀)·sin φ₀)
        // less g·(φ − φ₀)²/(2ω²) until that is nothing again.
        let phi_0 = -(1.0_f64 / 1.5).acos();
        let height = |phi: f64| {
            let gone = phi - phi_0;
            1.5 * (phi_0.cos() - phi.cos() - gone * phi_0.sin()) - 0.5 * gone * gone
        };
        let [mut low, mut high] = [phi_0 + 0.5, phi_0 + TAU];
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if height(middle) > 0.0 { low = middle } else { high = middle }
        }
        let found = TAU * hz * (landing_s - start_s);
        // 0.1 %: nothing else bends, a part of a 3000th of the cone's mass moves it by as little, and a step is 5e-4 rad.
        assert!((found / (low - phi_0) - 1.0).abs() < 1e-3, "{found} {}", low - phi_0);
    }
}
