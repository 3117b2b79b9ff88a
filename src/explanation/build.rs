//! A loudspeaker as it may have been built and measured, and what would then be measured.
//!
//! A deviation for each cause that has a number (`cause.rs`), and the causes that are there or not. The prediction is one
//! column: levels in dB, then the logarithms of the impedance, real parts (of the magnitude) and imaginary ones (phase), then the
//! logarithm of the distance that the sound travelled, where that is known.

use super::Evidence;
use super::cause::Cause;
use crate::network::Condition;
use crate::speaker::{Design, Knob, Reach, SpeakerError, level_db, respond, respond_with_slopes};
use num_complex::Complex64;
use std::collections::BTreeMap;
use std::f64::consts::{LN_10, TAU};
use std::sync::{Mutex, PoisonError};

/// A loudspeaker as it may have been built and measured.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Build {
    /// For each of the `numbers` of the question, how far it is off.
    pub deviations: Vec<f64>,
    /// What is there beside them.
    pub events: Vec<Cause>,
}

/// A design, what was measured of it, and how measurements follow from a build.
pub(super) struct Question<'a> {
    pub design: &'a Design,
    pub evidence: &'a Evidence,
    /// Causes with a number, in the order of deviations.
    pub numbers: Vec<Cause>,
    reach: Reaches,
}

/// The ways from the loudspeaker to the ear for distances that are off; only the distance's steps are worked out, each once.
struct Reaches {
    steps: Mutex<BTreeMap<i32, Reach>>,
}

/// Step of the logarithm of the distance; between steps the reaches are straight lines.
const DISTANCE_STEP: f64 = 0.1;

impl Reaches {
    fn at(&self, design: &Design, hz: &[f64], by: f64) -> Result<Reach, SpeakerError> {
        let below = (by / DISTANCE_STEP).floor();
        let share = by / DISTANCE_STEP - below;
        let one = self.step(design, hz, below as i32)?;
        if share == 0.0 {
            return Ok(one);
        }
        let other = self.step(design, hz, below as i32 + 1)?;
        let between = |one: &[Complex64], other: &[Complex64]| {
            one.iter().zip(other).map(|(one, other)| one * (1.0 - share) + other * share).collect::<Vec<_>>()
        };
        let ways = |one: &[Vec<Complex64>], other: &[Vec<Complex64>]| {
            one.iter().zip(other).map(|(one, other)| between(one, other)).collect()
        };
        Ok(Reach {
            of_flow: ways(&one.of_flow, &other.of_flow),
            of_curve: ways(&one.of_curve, &other.of_curve),
            of_back: between(&one.of_back, &other.of_back),
            hz: one.hz,
        })
    }

    fn known(&self) -> std::sync::MutexGuard<'_, BTreeMap<i32, Reach>> {
        self.steps.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// At a step, times the distance, so that what lies between is nearly straight.
    fn step(&self, design: &Design, hz: &[f64], step: i32) -> Result<Reach, SpeakerError> {
        if let Some(known) = self.known().get(&step) {
            return Ok(known.clone());
        }
        let mut moved = design.clone();
        let ratio = (f64::from(step) * DISTANCE_STEP).exp();
        moved.ear.distance_m *= ratio;
        let mut reach = Reach::new(&moved, hz)?;
        let columns = reach.of_flow.iter_mut().chain(&mut reach.of_curve).chain([&mut reach.of_back]);
        columns.flatten().for_each(|value| *value *= ratio);
        self.known().insert(step, reach.clone());
        Ok(reach)
    }
}

/// A microphone that stands farther off than this, or nearer, would have been noticed: a factor of e².
const MOST_FARTHER: f64 = 2.0;
/// Louder or quieter than this no curve can be: what would be silence has some level.
const SILENCE_DB: f64 = -60.0;

impl<'a> Question<'a> {
    pub fn new(design: &'a Design, evidence: &'a Evidence) -> Result<Self, SpeakerError> {
        let mut numbers: Vec<Cause> = Knob::all(design).into_iter().map(Cause::Number).collect();
        if !evidence.level.is_empty() {
            numbers.push(Cause::Level);
            if evidence.calibrated {
                numbers.push(Cause::Distance);
            }
        }
        if !evidence.ohm.is_empty() {
            numbers.push(Cause::SenseResistor);
        }
        let reach = Reaches { steps: Mutex::default() };
        reach.at(design, &evidence.hz, 0.0)?;
        Ok(Self { design, evidence, numbers, reach })
    }

    /// Everything as designed.
    pub fn healthy(&self) -> Build {
        Build { deviations: vec![0.0; self.numbers.len()], events: Vec::new() }
    }

    /// The loudspeaker itself as it was built.
    fn built(&self, build: &Build) -> Design {
        let mut design = self.design.clone();
        for (cause, by) in self.numbers.iter().zip(&build.deviations) {
            if let Cause::Number(knob) = cause
                && *by != 0.0
            {
                knob.turn(&mut design, *by);
            }
        }
        for event in &build.events {
            match *event {
                Cause::Polarity(way) => design.ways[way].polarity = design.ways[way].polarity.turned(),
                Cause::Swapped(one, other) => swap(&mut design, one, other),
                Cause::Broken(part, condition) => design.network.parts[part].condition = condition,
                _ => {}
            }
        }
        design
    }

    /// How the measurement itself is off: level in dB, ratio of the sense resistor, logarithm of the distance.
    fn measured_off(&self, build: &Build) -> (f64, f64, f64) {
        let (mut level_off_db, mut sense_ratio, mut farther) = (0.0, 1.0, 0.0);
        for (cause, by) in self.numbers.iter().zip(&build.deviations) {
            match cause {
                Cause::Level => level_off_db = *by,
                Cause::Distance => farther = by.clamp(-MOST_FARTHER, MOST_FARTHER),
                Cause::SenseResistor => sense_ratio = by.exp(),
                _ => {}
            }
        }
        (level_off_db, sense_ratio, farther)
    }

    /// ∂(differences)/∂(deviation) of each part of the network, by its place there; exact.
    pub fn part_slopes(&self, build: &Build) -> Result<Vec<Vec<f64>>, SpeakerError> {
        let design = self.built(build);
        let (_, _, farther) = self.measured_off(build);
        let reach = self.reach.at(self.design, &self.evidence.hz, farther)?;
        let points = respond_with_slopes(&design, &reach)?;
        let of_part = |part: usize| {
            let level = self.evidence.level.iter().map(|(place, _)| {
                let (point, slopes) = &points[*place];
                let heard = point.pressure_pa.filter(|pressure| level_db(*pressure) > SILENCE_DB);
                heard.map_or(0.0, |pressure| 20.0 / LN_10 * (slopes.pressure_pa[part] / pressure).re)
            });
            let turned = self.evidence.ohm.iter().map(|(place, _)| {
                let (point, slopes) = &points[*place];
                -slopes.input_a[part] / point.input_a
            });
            let turned: Vec<Complex64> = turned.collect();
            let ohm = turned.iter().map(|ratio| ratio.re).chain(turned.iter().map(|ratio| ratio.im));
            level.chain(ohm).chain(self.evidence.travelled_m.map(|_| 0.0)).collect()
        };
        Ok((0..design.network.parts.len()).map(of_part).collect())
    }

    /// Predicted less measured, one column.
    pub fn differences(&self, build: &Build) -> Result<Vec<f64>, SpeakerError> {
        let design = self.built(build);
        let (mut level_off_db, sense_ratio, farther) = self.measured_off(build);
        let reach = self.reach.at(self.design, &self.evidence.hz, farther)?;
        level_off_db -= 20.0 * farther / LN_10;
        let points = respond(&design, &reach)?;
        let mut column = Vec::with_capacity(self.evidence.level.len() + 2 * self.evidence.ohm.len());
        for (place, measured_db) in &self.evidence.level {
            let predicted_db = points[*place].pressure_pa.map_or(SILENCE_DB, level_db).max(SILENCE_DB);
            column.push(predicted_db + level_off_db - measured_db);
        }
        // A sense resistor that is larger than was said makes everything look smaller.
        let ratios = self
            .evidence
            .ohm
            .iter()
            .map(|(place, measured)| (design.drive_v / points[*place].input_a / measured / sense_ratio).ln());
        let ratios: Vec<Complex64> = ratios.collect();
        let travelled = self.evidence.travelled_m.map(|found_m| (self.design.ear.distance_m / found_m).ln() + farther);
        column.extend(ratios.iter().map(|ratio| ratio.re));
        column.extend(ratios.iter().map(|ratio| ratio.im));
        column.extend(travelled);
        Ok(column)
    }

    /// How well the phases agree, −1 to 1, at the delay that suits them best; 1 where none is known.
    pub fn agreement(&self, build: &Build) -> f64 {
        let phases = &self.evidence.phase_rad;
        if phases.is_empty() {
            return 1.0;
        }
        let design = self.built(build);
        let Ok(reach) = self.reach.at(self.design, &self.evidence.hz, 0.0) else { return 0.0 };
        let Ok(points) = respond(&design, &reach) else { return 0.0 };
        let turned: Vec<(f64, Complex64)> = self
            .evidence
            .level
            .iter()
            .zip(phases)
            .filter_map(|((place, _), phase)| {
                Some((self.evidence.hz[*place], Complex64::cis(phase - points[*place].pressure_pa?.arg())))
            })
            .collect();
        let at = |delay_s: f64| {
            let sum: Complex64 = turned.iter().map(|(hz, turn)| turn * Complex64::cis(TAU * hz * delay_s)).sum();
            sum.re / turned.len().max(1) as f64
        };
        (-DELAY_STEPS..=DELAY_STEPS).map(|step| at(f64::from(step) * DELAY_STEP_S)).fold(-1.0, f64::max)
    }
}

/// An arrival was found to better than this; in steps that turn 20 kHz by less than half a circle.
const DELAY_STEPS: i32 = 40;
const DELAY_STEP_S: f64 = 8e-6;

fn swap(design: &mut Design, one: usize, other: usize) {
    let nodes = [design.ways[one].nodes, design.ways[other].nodes];
    (design.ways[one].nodes, design.ways[other].nodes) = (nodes[1], nodes[0]);
}

/// Whether an event can be added to those that are there.
pub(super) fn fits(events: &[Cause], event: Cause) -> bool {
    let part = |cause: &Cause| if let Cause::Broken(part, _) = cause { Some(*part) } else { None };
    !events.iter().any(|there| *there == event || (part(there).is_some() && part(there) == part(&event)))
}

/// Condition of a part as a word.
pub(super) fn condition_word(condition: Condition) -> &'static str {
    match condition {
        Condition::Sound => "sound",
        Condition::Open => "open",
        Condition::Shorted => "shorted",
    }
}
