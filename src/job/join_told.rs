//! What options, job and the curves' own headers tell about a loudspeaker whose near and far field are joined.
//!
//! No equation: an option comes first, then the curve, then the job.

use super::design::one_design;
use super::join::{JoinError, JoinJob, JoinOrder};
use crate::baffle::Outline;
use crate::files::{self, Curve};
use crate::quantity::{Air, Code, Finding, Severity};
use crate::speaker::{Around, CabinetOpening, Design, Front, Surface, Surround, radius_of_m};
use std::path::PathBuf;

/// What options and job tell about the loudspeaker.
pub(super) struct Told {
    pub surfaces: Vec<Surface>,
    pub surround: Surround,
    pub front_is: String,
    pub distance_from: &'static str,
    pub temperature_c: f64,
    pub findings: Vec<Finding>,
}

impl Told {
    pub(super) fn of(order: &JoinOrder, far: &Curve, inputs: &mut Vec<PathBuf>) -> Result<Self, JoinError> {
        let mut findings = Vec::new();
        let told = order.job.as_ref().map(|asked| of_job(asked, inputs)).transpose()?;
        let way = told.as_ref().map(|told| &told.design.ways[told.way]);
        let cone_m2 = order.cone_m2.or(way.and_then(|way| way.cone()?.sd_m2)).ok_or(JoinError::NoArea)?;
        let of_job = || told.as_ref().and_then(|told| told.design.front.clone()).map(Around::Front);
        let front = order.front.clone().or_else(of_job).unwrap_or_else(|| {
            let says =
                "nothing says what the front is, so that the bass is told for an endless wall, up to 6 dB too loud";
            let advice = "give --baffle WIDTHxHEIGHT, or --job";
            findings.push(Finding::new(Code::Assumed, Severity::Caution, says, advice));
            Around::Wall
        });
        let middle_m = match &front {
            Around::Front(front) => front.middle_m(),
            Around::Wall | Around::Step { .. } => [0.0; 2],
        };
        let cone_m = order.cone_at_m.or(way.and_then(|way| way.at_m)).unwrap_or(middle_m);
        let axis_m = match &told {
            Some(told) if order.cone_at_m.is_none() && matches!(front, Around::Front(_)) => told.design.axis_m(),
            _ => cone_m,
        };
        let (distance_m, distance_from) = distance(order, far, told.as_ref(), &mut findings);
        let temperature_c =
            told.as_ref().map_or(Air::default().temperature_c(), |told| told.design.air.temperature_c());
        let air = told.as_ref().map_or(Air::default(), |told| told.design.air);
        let port_m2 = told.as_ref().and_then(|told| told.port_m2);
        Ok(Self {
            surfaces: surfaces(order, cone_m2, port_m2)?,
            front_is: front_words(&front),
            surround: Surround { front, cone_m, axis_m, distance_m, speed_m_s: air.speed_of_sound_m_s() },
            distance_from,
            temperature_c,
            findings,
        })
    }
}

struct OfJob {
    design: Design,
    way: usize,
    port_m2: Option<f64>,
    distance_m: Option<f64>,
}

fn of_job(asked: &JoinJob, inputs: &mut Vec<PathBuf>) -> Result<OfJob, JoinError> {
    let path = files::job_path(&asked.job);
    let job = files::read_job(&path)?;
    let designed = one_design(&job, &path, asked.speaker.as_deref())?;
    inputs.push(path);
    inputs.extend(designed.inputs);
    let ways = &designed.design.ways;
    let with_cone = || ways.iter().enumerate().filter_map(|(at, way)| Some((at, way.cone()?.sd_m2?)));
    let way = match &asked.way {
        Some(name) => {
            with_cone().map(|(at, _)| at).find(|at| ways[*at].name == *name).ok_or_else(|| JoinError::WhichWay {
                name: name.clone(),
                known: with_cone().map(|(at, _)| ways[at].name.clone()).collect(),
            })?
        }
        None => with_cone().max_by(|a, b| a.1.total_cmp(&b.1)).map(|(at, _)| at).ok_or(JoinError::NoArea)?,
    };
    let port_m2 = designed.design.cabinet.and_then(|cabinet| match cabinet.opening {
        CabinetOpening::Port(port) => Some(port.area_m2()),
        _ => None,
    });
    Ok(OfJob { design: designed.design, way, port_m2, distance_m: job.bench.distance_m })
}

fn front_words(front: &Around) -> String {
    match front {
        Around::Wall => "endless wall".to_owned(),
        Around::Step { width_m } => format!("a step for a width of {:.0} mm", 1e3 * width_m),
        Around::Front(Front::Sphere { diameter_m }) => format!("a ball of {:.0} mm", 1e3 * diameter_m),
        Around::Front(Front::Flat(baffle)) => match &baffle.outline {
            Outline::Circle { diameter_m, .. } => format!("a disc of {:.0} mm", 1e3 * diameter_m),
            Outline::Polygon(corners) => {
                let reach = |at: usize| corners.iter().map(|corner| corner[at]).fold(0.0, f64::max);
                format!(
                    "{:.0} × {:.0} mm, edges of {:.0} mm",
                    1e3 * reach(0),
                    1e3 * reach(1),
                    1e3 * baffle.edge_radius_m
                )
            }
        },
    }
}

fn distance(order: &JoinOrder, far: &Curve, told: Option<&OfJob>, findings: &mut Vec<Finding>) -> (f64, &'static str) {
    let sources = [
        (order.distance_m, "asked for"),
        (far.header_number("distance_m"), "the far curve"),
        (told.and_then(|told| told.distance_m), "the job"),
        (far.header_number("travelled_m"), "the time of flight"),
    ];
    match sources.into_iter().find_map(|(metres, from)| Some((metres?, from))) {
        Some(found) => found,
        None => {
            let says = "nothing says how far away the microphone stood; 1 m is assumed, which shifts the level and little else";
            findings.push(Finding::new(Code::Assumed, Severity::Note, says, "give it with --distance"));
            (1.0, "assumed")
        }
    }
}

fn surfaces(order: &JoinOrder, cone_m2: f64, port_m2: Option<f64>) -> Result<Vec<Surface>, JoinError> {
    let ports = order.near.len() - 1;
    let fits = |what: &'static str, found: usize, needed: &[usize]| {
        if needed.contains(&found) { Ok(()) } else { Err(JoinError::PortCount { what, found, ports }) }
    };
    fits("port sizes", order.ports_m2.len(), &[0, 1, ports])?;
    fits("numbers of ports", order.port_counts.len(), &[0, 1, ports])?;
    fits("places", order.ports_at_m.len(), &[0, ports])?;
    let cone = Surface { radius_m: radius_of_m(cone_m2), place_m: order.cone_at_m, count: 1, away_m: order.near_m };
    let each = |at: usize, all: usize| if all == 1 { 0 } else { at };
    let port = |at: usize| {
        let area_m2 = order.ports_m2.get(each(at, order.ports_m2.len())).copied().or(port_m2);
        Ok(Surface {
            radius_m: radius_of_m(area_m2.ok_or_else(|| JoinError::NoPortArea { path: order.near[at + 1].clone() })?),
            place_m: order.ports_at_m.get(at).copied(),
            count: order.port_counts.get(each(at, order.port_counts.len())).copied().unwrap_or(1),
            away_m: order.near_m,
        })
    };
    std::iter::once(Ok(cone)).chain((0..ports).map(port)).collect()
}
