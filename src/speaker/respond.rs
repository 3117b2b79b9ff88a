//! What a loudspeaker does at its frequencies: currents, volume velocities, pressures.
//!
//! ```text
//! a_n = Z_d,n + g_n²/Z_c,n        b_n = g_n/Z_c,n        S = Σ 1/a_n
//! U_n = (b_n·e_n − p)/a_n         p = Z_b·Σ U_n = Z_b/(1 + Z_b·S)·Σ b_n·e_n/a_n        i_n = (e_n − g_n·U_n)/Z_c,n
//! ```
//!
//! n: the cones in one box, whose pressure p they share; Z_b: acoustic impedance of the box, from `enclosure/boxed.rs` for
//! the cone with the largest V_as, whose resonance in it also says where the losses of a closed box are taken; the rest as
//! in `cone.rs`. So each cone draws a current for the voltage at the others, and the box is a load with as many terminals
//! as it has cones. Derivation: the equations of `cone.rs` with one pressure.

use super::cone::ConeAt;
use super::design::{CabinetOpening, Design, Rear, Source};
use super::{Cabinet, Cone, Reach, SpeakerError};
use crate::enclosure::{BoxedDriver, Enclosure, Moved, OpenBack, Opening};
use crate::network::{Loads, Solved};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// What a loudspeaker does at one frequency; all voltages, currents and pressures rms.
#[derive(Debug, Clone, PartialEq)]
pub struct Point {
    /// Frequency.
    pub hz: f64,
    /// Current of the amplifier, A.
    pub input_a: Complex64,
    /// Voltages of the network's nodes.
    pub node_v: Vec<Complex64>,
    /// The ways in the order of the design.
    pub ways: Vec<WayPoint>,
    /// What leaves the box through its opening, m³/s.
    pub opening_m3_s: Complex64,
    /// Pressure at the ear, Pa; absent where a way's curve does not reach and the way may count.
    pub pressure_pa: Option<Complex64>,
}

/// What a way does at one frequency.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WayPoint {
    /// Voltage across it.
    pub across_v: Complex64,
    /// Current through it.
    pub current_a: Complex64,
    /// Volume velocity of the cone, outwards; none for a way known by its curves.
    pub flow_m3_s: Option<Complex64>,
    /// Pressure at the ear of all that it moves, also through the box; none beyond its curve.
    pub pressure_pa: Option<Complex64>,
}

/// A way whose curve ends may be left out below this part of what the others give: −30 dB.
const SILENT_RATIO: f64 = 0.03;

/// The box at one frequency.
struct Air {
    /// Z_b.
    impedance: Complex64,
    /// What leaves through opening and leak, over the flow of the cones.
    opening_ratio: Complex64,
    leak_ratio: Complex64,
}

/// What `design` does at the frequencies of `reach`, which must have been made for its places.
///
/// # Errors
/// [`SpeakerError::Network`] when the network has no answer.
pub fn respond(design: &Design, reach: &Reach) -> Result<Vec<Point>, SpeakerError> {
    at_each(design, reach, |boxed, electrical, at| Ok(point(design, reach, boxed, electrical, at)))
}

/// The same with how it follows the parts of the network, exact: two solutions of the network at each frequency, however many parts there are
/// (`network/nodal.rs`).
///
/// # Errors
/// As [`respond`].
pub fn respond_with_slopes(design: &Design, reach: &Reach) -> Result<Vec<(Point, PartSlopes)>, SpeakerError> {
    at_each(design, reach, |boxed, electrical, at| {
        let slopes = part_slopes(design, reach, boxed, &electrical, at)?;
        Ok((point(design, reach, boxed, electrical, at), slopes))
    })
}

/// What `of` makes of the currents at each frequency.
fn at_each<T>(
    design: &Design,
    reach: &Reach,
    of: impl Fn(&Boxed<'_>, Electrical, usize) -> Result<T, SpeakerError>,
) -> Result<Vec<T>, SpeakerError> {
    let between: Vec<[usize; 2]> = design.ways.iter().map(|way| way.nodes).collect();
    if let Some(node) = design.network.floating(&between) {
        return Err(crate::network::NetworkError::Floating { node: node.to_owned() }.into());
    }
    let boxed = Boxed::of(design);
    let at_one = |(at, &hz): (usize, &f64)| of(&boxed, Electrical::at(design, &boxed, &between, hz)?, at);
    reach.hz.iter().enumerate().map(at_one).collect()
}

/// The cones that share the box.
struct Boxed<'a> {
    /// Place among the ways, and the cone.
    cones: Vec<(usize, &'a Cone)>,
    /// The one with the largest V_as in the box; none where there is no box.
    leading: Option<(BoxedDriver, &'a Cone)>,
    back: Option<OpenBack>,
}

impl<'a> Boxed<'a> {
    fn of(design: &'a Design) -> Self {
        let in_box = design.ways.iter().enumerate().filter(|(_, way)| way.rear == Rear::InBox);
        let cones: Vec<(usize, &Cone)> = in_box.filter_map(|(at, way)| Some((at, way.cone()?))).collect();
        let leading = cones.iter().map(|(_, cone)| *cone).max_by(|one, other| one.vas_m3.total_cmp(&other.vas_m3));
        match design.cabinet {
            Some(Cabinet { volume_m3, opening: CabinetOpening::Back { area_m2 }, .. }) => {
                Self { cones, leading: None, back: Some(OpenBack { volume_m3, area_m2 }) }
            }
            Some(cabinet) => {
                let boxed = leading.map(|cone| (boxed_driver(design, &cabinet, cone), cone));
                Self { cones, leading: boxed, back: None }
            }
            None => Self { cones, leading: None, back: None },
        }
    }

    fn air(&self, design: &Design, hz: f64) -> Air {
        if let Some(back) = &self.back {
            let flow = back.at(hz, &design.air);
            return Air { impedance: flow.impedance, opening_ratio: flow.opening_ratio, leak_ratio: Complex64::ZERO };
        }
        let Some((boxed, cone)) = &self.leading else {
            return Air { impedance: Complex64::ZERO, opening_ratio: Complex64::ZERO, leak_ratio: Complex64::ZERO };
        };
        let per_mass = design.air.bulk_modulus_pa() / (TAU * cone.model.fs_hz * cone.vas_m3);
        let flows = boxed.flows(hz);
        Air {
            impedance: boxed.box_impedance(hz) * per_mass,
            opening_ratio: flows.opening / flows.cone,
            leak_ratio: flows.leak / flows.cone,
        }
    }
}

/// The leading cone as if it were alone in the box.
fn boxed_driver(design: &Design, cabinet: &Cabinet, cone: &Cone) -> BoxedDriver {
    let opening = match cabinet.opening {
        CabinetOpening::PassiveRadiator { fb_hz, fp_hz } => Opening::PassiveRadiator { fb_hz, fp_hz },
        other => other.tuning_hz(cabinet.volume_m3, &design.air).map_or(Opening::None, |fb_hz| Opening::Vent { fb_hz }),
    };
    let enclosure = Enclosure { alpha: cone.vas_m3 / cabinet.volume_m3, opening, losses: cabinet.losses };
    BoxedDriver { driver: cone.model, moved: Moved::NOTHING, enclosure }
}

/// Cones and network of a design at one frequency, for one volt at the input.
struct Electrical {
    air: Air,
    cones: Vec<Option<ConeAt>>,
    in_box: Vec<bool>,
    /// ∂U_n/∂e_m, row after row.
    moved_by: Vec<Complex64>,
    loads: Loads,
    solved: Solved,
}

impl Electrical {
    fn at(design: &Design, boxed: &Boxed<'_>, between: &[[usize; 2]], hz: f64) -> Result<Self, SpeakerError> {
        let count = design.ways.len();
        let air = boxed.air(design, hz);
        let cones: Vec<Option<ConeAt>> = design.ways.iter().map(|way| Some(way.cone()?.at(hz, &design.air))).collect();
        let inner = |cone: &ConeAt| cone.moving + cone.force * cone.force / cone.blocked_ohm;
        let shared: Complex64 =
            boxed.cones.iter().filter_map(|(way, _)| cones[*way].as_ref()).map(|cone| inner(cone).inv()).sum();
        let pressing = air.impedance / (1.0 + air.impedance * shared);
        let in_box: Vec<bool> = (0..count).map(|way| boxed.cones.iter().any(|(place, _)| *place == way)).collect();
        let moved = |way: usize, other: usize| {
            let (Some(cone), Some(by)) = (&cones[way], &cones[other]) else { return Complex64::ZERO };
            let alone = if way == other { cone.force / cone.blocked_ohm / inner(cone) } else { Complex64::ZERO };
            let pressed = if in_box[way] && in_box[other] {
                pressing * (by.force / by.blocked_ohm) / inner(by) / inner(cone)
            } else {
                Complex64::ZERO
            };
            alone - pressed
        };
        let moved_by: Vec<Complex64> = (0..count * count).map(|at| moved(at / count, at % count)).collect();
        let sign = |way: usize| design.ways[way].polarity.sign();
        let mut admittance_s = vec![Complex64::ZERO; count * count];
        for (way, source) in design.ways.iter().map(|way| &way.source).enumerate() {
            match (source, &cones[way]) {
                (Source::Cone(_), Some(cone)) => {
                    for other in 0..count {
                        let direct = if way == other { cone.blocked_ohm.inv() } else { Complex64::ZERO };
                        let drawn = direct - cone.force / cone.blocked_ohm * moved_by[way * count + other];
                        // Reversed wires turn voltage and current.
                        admittance_s[way * count + other] = sign(way) * sign(other) * drawn;
                    }
                }
                (Source::Curves(curves), _) => admittance_s[way * count + way] = curves.admittance_s(hz),
                (Source::Cone(_), None) => {}
            }
        }
        let loads = Loads { between: between.to_vec(), admittance_s };
        let solved = design.network.at(hz, &loads)?;
        Ok(Self { air, cones, in_box, moved_by, loads, solved })
    }

    /// ∂U_n/∂u_m, by the voltage across a way.
    fn flow_by(&self, design: &Design, way: usize, other: usize) -> Complex64 {
        design.ways[other].polarity.sign() * self.moved_by[way * design.ways.len() + other]
    }
}

fn point(design: &Design, reach: &Reach, boxed: &Boxed<'_>, mut electrical: Electrical, at: usize) -> Point {
    let hz = reach.hz[at];
    let count = design.ways.len();
    electrical.solved.node_v.iter_mut().for_each(|volt| *volt *= design.drive_v);
    let Electrical { air, cones, in_box, loads, solved, .. } = &electrical;
    let across: Vec<Complex64> = (0..count).map(|way| loads.across_v(way, &solved.node_v)).collect();
    let mut opening_m3_s = Complex64::ZERO;
    let ways: Vec<WayPoint> = (0..count)
        .map(|way| {
            let pushed = |other: usize| electrical.flow_by(design, way, other) * across[other];
            let flow = cones[way].as_ref().map(|_| (0..count).map(pushed).sum::<Complex64>());
            let pressure_pa = match (&design.ways[way].source, flow) {
                (Source::Curves(_), _) => by_curve(design, reach, way, at).map(|per_volt| per_volt * across[way]),
                (Source::Cone(_), Some(flow)) => Some(flow * sounding(reach, boxed, air, way, at, in_box[way])),
                (Source::Cone(_), None) => None,
            };
            if let (true, Some(flow)) = (in_box[way], flow) {
                opening_m3_s += flow * air.opening_ratio;
            }
            WayPoint {
                across_v: across[way],
                current_a: loads.current_a(way, &solved.node_v),
                flow_m3_s: flow,
                pressure_pa,
            }
        })
        .collect();
    let pressure_pa = total(&ways, design, hz);
    let input_a = solved.input_a * design.drive_v;
    Point { hz, input_a, node_v: electrical.solved.node_v, ways, opening_m3_s, pressure_pa }
}

/// How pressure and input current of a design follow the logarithms of its parts' values, at one frequency.
#[derive(Debug, Clone, PartialEq)]
pub struct PartSlopes {
    /// Of the pressure at the ear, Pa, for each part of the network; a way beyond its curve counts as silent.
    pub pressure_pa: Vec<Complex64>,
    /// Of the amplifier's current, A.
    pub input_a: Vec<Complex64>,
}

fn part_slopes(
    design: &Design,
    reach: &Reach,
    boxed: &Boxed<'_>,
    electrical: &Electrical,
    at: usize,
) -> Result<PartSlopes, SpeakerError> {
    let Electrical { air, cones, in_box, loads, solved, .. } = electrical;
    // Pressure at the ear for a volt across each way, whatever it moves.
    let mut by_across = vec![Complex64::ZERO; cones.len()];
    for way in 0..cones.len() {
        if cones[way].is_some() {
            let loud = sounding(reach, boxed, air, way, at, in_box[way]);
            for (other, sum) in by_across.iter_mut().enumerate() {
                *sum += loud * electrical.flow_by(design, way, other);
            }
        } else {
            by_across[way] += by_curve(design, reach, way, at).unwrap_or_default();
        }
    }
    let mut weights = vec![Complex64::ZERO; solved.node_v.len()];
    for ([one, other], by) in loads.between.iter().zip(by_across) {
        weights[*one] += by;
        weights[*other] -= by;
    }
    let slopes = design.network.slopes(reach.hz[at], loads, solved, &weights)?;
    let of = |which: usize| slopes.iter().map(|slope| slope[which] * design.drive_v).collect();
    Ok(PartSlopes { pressure_pa: of(0), input_a: of(1) })
}

/// Pressure at the ear for a volt across a way that is known by its curve; none beyond it.
fn by_curve(design: &Design, reach: &Reach, way: usize, at: usize) -> Option<Complex64> {
    let Source::Curves(curves) = &design.ways[way].source else { return None };
    Some(design.ways[way].polarity.sign() * curves.pressure_pa(reach.hz[at])? * reach.of_curve[way][at])
}

/// Pressure of a cone and of what it drives out of the box, for each m³/s of it.
fn sounding(reach: &Reach, boxed: &Boxed<'_>, air: &Air, way: usize, at: usize, in_box: bool) -> Complex64 {
    let front = reach.of_flow[way][at];
    match (in_box, &boxed.back) {
        (false, _) => front,
        (true, None) => front * (1.0 + air.opening_ratio + air.leak_ratio),
        (true, Some(_)) => front + air.opening_ratio * reach.of_back[at],
    }
}

/// The sum of the ways, if all are known or what is not known can't count.
fn total(ways: &[WayPoint], design: &Design, hz: f64) -> Option<Complex64> {
    let known: Complex64 = ways.iter().filter_map(|way| way.pressure_pa).sum();
    let may_count = |(way, point): (usize, &WayPoint)| match (&design.ways[way].source, point.pressure_pa) {
        (Source::Curves(curves), None) => {
            // At the near end of its curve it would be as loud as there, at this voltage.
            let [from, to] = curves.range_hz();
            // A hair inside: the ends went through a logarithm.
            let loud = curves.pressure_pa(hz.clamp(from * (1.0 + 1e-12), to * (1.0 - 1e-12)));
            let loud = loud.map_or(f64::INFINITY, |pa| (pa * point.across_v).norm());
            loud > SILENT_RATIO * known.norm()
        }
        _ => false,
    };
    (!ways.iter().enumerate().any(may_count)).then_some(known)
}
