//! The curves that a design promises.
//!
//! ```text
//! τ = −dφ/dω        x̂ = √2·|U|/(ω·S_d)        v̂ = √2·|q|/S_p
//! P_n = Re{u_n·i_n*}        L_max = L + 20·log₁₀ min(x_max/x̂, √(P_max/P))
//! ```
//!
//! φ: phase of the pressure at the ear, delay left out, rad; x̂: peak excursion of a cone, m; U: its volume velocity; v̂: peak
//! air speed in a vent of area S_p, m/s; q: flow through it; P: power that a driver takes, W. The displacement limit holds
//! for a steady tone of each frequency alone. R. H. Small, J. Audio Eng. Soc. 20 (December 1972) 798–808, for both limits.

use super::design::{CabinetOpening, Design, Rear};
use super::{Point, Reach, SpeakerError, respond};
use crate::quantity::Air;
use num_complex::Complex64;
use std::f64::consts::{SQRT_2, TAU};

/// What a design promises at its frequencies.
#[derive(Debug, Clone, PartialEq)]
pub struct Simulation {
    /// All that was solved, at all frequencies asked for.
    pub points: Vec<Point>,
    /// Frequencies with a pressure, Hz.
    pub hz: Vec<f64>,
    /// Pressure there, Pa rms.
    pub pressure_pa: Vec<Complex64>,
    /// Group delay there, s.
    pub group_delay_s: Vec<f64>,
    /// What each way adds.
    pub ways: Vec<WayCurves>,
    /// Peak air speed in the vent, m/s, at all frequencies; none without one of known area.
    pub port_m_s: Option<Vec<f64>>,
    /// Loudest level; none where no limit is known.
    pub loudest: Option<Loudest>,
}

/// A way's curves.
#[derive(Debug, Clone, PartialEq)]
pub struct WayCurves {
    /// Frequencies with a pressure.
    pub hz: Vec<f64>,
    /// Pressure there.
    pub pressure_pa: Vec<Complex64>,
    /// Peak excursion at all frequencies, m; none where S_d is not known.
    pub excursion_m: Option<Vec<f64>>,
}

/// The loudest level at each frequency of the pressure, by what limits it, dB re 20 µPa.
#[derive(Debug, Clone, PartialEq)]
pub struct Loudest {
    /// By the excursion of the cone that is first at its end.
    pub by_excursion_db: Option<Vec<f64>>,
    /// By the power of the driver that gets hot first.
    pub by_power_db: Option<Vec<f64>>,
}

impl Loudest {
    /// The lower of the two.
    pub fn level_db(&self) -> Vec<f64> {
        match (&self.by_excursion_db, &self.by_power_db) {
            (Some(one), Some(other)) => one.iter().zip(other).map(|(one, other)| one.min(*other)).collect(),
            (Some(one), None) | (None, Some(one)) => one.clone(),
            (None, None) => Vec::new(),
        }
    }
}

/// Simulates a design at these frequencies.
///
/// # Errors
/// [`SpeakerError`] when a way is beside the front, the network has no answer, or no frequency has a pressure.
pub fn simulate(design: &Design, hz: &[f64]) -> Result<Simulation, SpeakerError> {
    let points = respond(design, &Reach::new(design, hz)?)?;
    simulation(design, points)
}

/// The curves from what was solved.
fn simulation(design: &Design, points: Vec<Point>) -> Result<Simulation, SpeakerError> {
    let sounding: Vec<(&Point, Complex64)> =
        points.iter().filter_map(|point| Some((point, point.pressure_pa?))).collect();
    if sounding.is_empty() {
        let ends = [points.first(), points.last()].map(|point| point.map_or(0.0, |point| point.hz));
        let why = "no driver's curve reaches there".to_owned();
        return Err(SpeakerError::NoPoint { from_hz: ends[0], to_hz: ends[1], why });
    }
    let hz: Vec<f64> = sounding.iter().map(|(point, _)| point.hz).collect();
    let pressure_pa: Vec<Complex64> = sounding.iter().map(|(_, pressure)| *pressure).collect();
    let loudest = loudest(design, &sounding);
    let ways = (0..design.ways.len()).map(|way| way_curves(design, &points, way)).collect();
    Ok(Simulation {
        group_delay_s: group_delay_s(&hz, &pressure_pa),
        hz,
        pressure_pa,
        ways,
        port_m_s: port_m_s(design, &points),
        loudest,
        points,
    })
}

impl Simulation {
    /// Impedance at all frequencies, ohm.
    pub fn impedance_ohm(&self, design: &Design) -> Vec<Complex64> {
        self.points.iter().map(|point| design.drive_v / point.input_a).collect()
    }
}

/// dB re 20 µPa.
pub fn level_db(pressure_pa: Complex64) -> f64 {
    20.0 * (pressure_pa.norm() / Air::REFERENCE_PA).log10()
}

fn way_curves(design: &Design, points: &[Point], way: usize) -> WayCurves {
    let sounding = points.iter().filter_map(|point| Some((point.hz, point.ways[way].pressure_pa?)));
    let (hz, pressure_pa) = sounding.unzip();
    let area = design.ways[way].cone().and_then(|cone| cone.sd_m2);
    let excursion = |area: f64| points.iter().map(|point| excursion_m(point, way, area)).collect();
    WayCurves { hz, pressure_pa, excursion_m: area.map(excursion) }
}

fn excursion_m(point: &Point, way: usize, sd_m2: f64) -> f64 {
    SQRT_2 * point.ways[way].flow_m3_s.map_or(0.0, |flow| flow.norm()) / (TAU * point.hz * sd_m2)
}

/// −dφ/dω between the neighbours of each point; at the ends from the only one there is.
fn group_delay_s(hz: &[f64], pressure_pa: &[Complex64]) -> Vec<f64> {
    let last = hz.len() - 1;
    let between = |at: usize| {
        let (below, above) = (at.saturating_sub(1), (at + 1).min(last));
        if below == above {
            return 0.0;
        }
        // Two steps, so that each turns by less than half a circle.
        let turn = |from: usize, to: usize| (pressure_pa[to] * pressure_pa[from].conj()).arg();
        -(turn(below, at) + turn(at, above)) / (TAU * (hz[above] - hz[below]))
    };
    (0..hz.len()).map(between).collect()
}

fn port_m_s(design: &Design, points: &[Point]) -> Option<Vec<f64>> {
    let Some(CabinetOpening::Port(port)) = design.cabinet.map(|cabinet| cabinet.opening) else { return None };
    let boxed = design.ways.iter().any(|way| way.rear == Rear::InBox && way.cone().is_some());
    boxed.then(|| points.iter().map(|point| SQRT_2 * point.opening_m3_s.norm() / port.area_m2()).collect())
}

fn loudest(design: &Design, sounding: &[(&Point, Complex64)]) -> Option<Loudest> {
    let least = |ratios: &dyn Fn(usize, &Point) -> Option<f64>| {
        let one = |(point, pressure): &(&Point, Complex64)| {
            let ratio = (0..design.ways.len()).filter_map(|way| ratios(way, point)).fold(f64::INFINITY, f64::min);
            ratio.is_finite().then(|| level_db(*pressure) + 20.0 * ratio.log10())
        };
        sounding.iter().map(one).collect::<Option<Vec<f64>>>()
    };
    let by_excursion_db = least(&|way, point| {
        let cone = design.ways[way].cone()?;
        Some(cone.xmax_m? / excursion_m(point, way, cone.sd_m2?))
    });
    let by_power_db = least(&|way, point| {
        let bears_w = design.ways[way].cone()?.power_w?;
        let taken_w = (point.ways[way].across_v * point.ways[way].current_a.conj()).re;
        Some((bears_w / taken_w).sqrt())
    });
    (by_excursion_db.is_some() || by_power_db.is_some()).then_some(Loudest { by_excursion_db, by_power_db })
}
