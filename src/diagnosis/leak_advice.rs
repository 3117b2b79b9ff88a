//! What a leak means to a builder: how large the hole is, where such holes are, how to find them.
//!
//! ```text
//! p̂ = √2·U·Bl·|D⁻¹·Z⁻¹·z_b|/S_d
//! ```
//!
//! p̂: amplitude of the pressure in the box at its resonance, Pa; U: voltage across the loudspeaker, rms; other symbols
//! as in `enclosure/boxed.rs`.

use super::{FoundBox, KnownDriver, LeakVerdict};
use crate::driver::Doubted;
use crate::enclosure::{Hole, HoleFlow, LeakPath, equivalent_hole, equivalent_seam_m, leak_resistance_pa_s_m3};
use crate::quantity::{Air, Code, Finding, Quantity, Severity, Unit};
use std::f64::consts::SQRT_2;

/// A leak in a builder's words.
#[derive(Debug, Clone, PartialEq)]
pub struct LeakAdvice {
    /// The hole that would leak as much; absent without a volume or where no round hole does.
    pub hole: Option<Hole>,
    /// With what to do.
    pub finding: Finding,
}

/// Below this Q_L a box is no closed box any more, below that its bass and damping are others.
const SEVERE_QL: f64 = 10.0;
/// A seam of this length is told the width of.
const SEAM_M: f64 = 0.1;
/// A hole whose air weighs more than friction holds back is more a vent.
const MOSTLY_MASS: f64 = 1.0;

const FIND: &str = "look at seams, terminal plate, cable hole and the driver's gasket and screws; a printed wall can be porous between its \
                    layers. To find it: leave the driver in, play a quiet tone below the resonance (keep the level low, ears away from \
                    the cone), and feel for air with a wet finger or a strip of tissue, or brush soapy water on the outside, away from \
                    driver and terminals; no flame and no smoke. Press putty or tape on one suspect after the other and measure \
                    again. Seal it, let solvents and glue air out as their label says, wear a dust mask for sanding";

/// What a leak means; `None` where none is seen and none can hide. `wall_m`: how thick the walls are; `load_v`: voltage
/// across the loudspeaker at its resonance, rms.
pub fn leak_advice(
    found: &FoundBox,
    driver: Option<&KnownDriver>,
    wall_m: f64,
    load_v: Option<f64>,
    air: &Air,
) -> Option<LeakAdvice> {
    if found.leak.verdict == LeakVerdict::Airtight {
        return None;
    }
    if found.leak.verdict == LeakVerdict::Undecided {
        return Some(LeakAdvice { hole: None, finding: undecided(found) });
    }
    let path = path(found, driver, wall_m, load_v, air);
    let hole = path.as_ref().and_then(|path| equivalent_hole(path, air));
    let size = match (&path, &hole) {
        (Some(path), Some(hole)) => format!("; {}", size_words(path, hole, air)),
        _ => String::new(),
    };
    let (says, severity) = match found.leak.ql {
        Some(ql) => {
            let severity = if ql.value < SEVERE_QL { Severity::Fault } else { Severity::Caution };
            (format!("the box leaks: Q_L = {}{size}", shown(ql)), severity)
        }
        None => ("the box leaks".to_owned(), Severity::Caution),
    };
    Some(LeakAdvice { hole, finding: Finding::new(Code::Leak, severity, says, FIND) })
}

/// A pure number as people are shown it, ± 2u.
fn shown(number: Doubted) -> Quantity {
    Quantity { value: number.value, u: number.u, unit: Unit::Pure }
}

fn undecided(found: &FoundBox) -> Finding {
    let says = match found.leak.ql_above {
        Some(above) => {
            format!("whether the box leaks can't be told: a leak with a Q_L of {above:.0} or more could hide")
        }
        None => "whether the box leaks can't be told from this curve".to_owned(),
    };
    let advice = "start the sweep two octaves below the resonance, with more repeats, and give the driver's document with --driver";
    Finding::new(Code::Leak, Severity::Note, says, advice)
}

/// The leak as the wall sees it; `None` without Q_L or volume.
fn path(
    found: &FoundBox,
    driver: Option<&KnownDriver>,
    wall_m: f64,
    load_v: Option<f64>,
    air: &Air,
) -> Option<LeakPath> {
    let (ql, volume) = (found.leak.ql?, found.number("volume_m3")?);
    let hz = found.model.reference_hz();
    let pressure_pa = driver.zip(load_v).and_then(|(driver, load_v)| {
        let (bl_tm, sd_m2) = (driver.bl_tm?.value, driver.sd_m2?.value);
        let pressed = found.model.flows(hz).cone * found.model.box_impedance(hz);
        Some(SQRT_2 * load_v * bl_tm * pressed.norm() / sd_m2)
    });
    Some(LeakPath {
        resistance_pa_s_m3: leak_resistance_pa_s_m3(ql.value, volume.value, hz, air),
        wall_m,
        hz,
        pressure_pa,
    })
}

fn size_words(path: &LeakPath, hole: &Hole, air: &Air) -> String {
    let kind = match hole.flow {
        HoleFlow::Laminar => "",
        HoleFlow::Orifice => " at this level",
    };
    let rough = if hole.mass_over_friction > MOSTLY_MASS { " (roughly: the air in it counts as well)" } else { "" };
    format!(
        "as much as a round hole of {:.1} mm{kind} through {:.1} mm{rough}, or a seam of 100 mm that gapes by {:.3} mm",
        1e3 * hole.diameter_m,
        1e3 * path.wall_m,
        1e3 * equivalent_seam_m(path, SEAM_M, air)
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnosis::{BoxKind, Leak, Traced};
    use crate::driver::{DriverModel, Suspension, VoiceCoil};
    use crate::enclosure::{BoxedDriver, Enclosure, LossFactors, Moved, Opening};
    use num_complex::Complex64;
    use std::f64::consts::TAU;

    const VOLUME_M3: f64 = 2e-3;
    const SD_M2: f64 = 50e-4;
    const BL_TM: f64 = 3.27;
    const MMS_KG: f64 = 3.2e-3;
    const RE_OHM: f64 = 3.4;
    const FS_HZ: f64 = 110.0;
    const QMS: f64 = 4.0;

    /// A driver in SI units in a box with this leak.
    fn leaky(ql: f64, verdict: LeakVerdict) -> (FoundBox, KnownDriver) {
        let omega_s = TAU * FS_HZ;
        let model = DriverModel {
            re_ohm: RE_OHM,
            fs_hz: FS_HZ,
            qms: QMS,
            qes: omega_s * MMS_KG * RE_OHM / (BL_TM * BL_TM),
            voice_coil: VoiceCoil::Inductance { le_h: 0.0 },
            suspension: Suspension::Plain,
        };
        let stiffness_n_m = omega_s * omega_s * MMS_KG;
        let alpha = Air::default().bulk_modulus_pa() * SD_M2 * SD_M2 / VOLUME_M3 / stiffness_n_m;
        let losses = LossFactors { leakage: 1.0 / ql, ..LossFactors::default() };
        let found = FoundBox {
            kind: BoxKind::Closed,
            model: BoxedDriver {
                driver: model,
                moved: Moved::NOTHING,
                enclosure: Enclosure { alpha, opening: Opening::None, losses },
            },
            numbers: vec![("volume_m3", Traced { value: VOLUME_M3, u_own: 1e-5, shared: Vec::new() })],
            leak: Leak { verdict, ql: Some(Doubted { value: ql, u: 0.1 }), ql_above: Some(30.0), evidence: 100.0 },
            wrinkles: Vec::new(),
            left_ohm: Vec::new(),
            residual_percent: 0.1,
            misfit_ratio: Some(1.0),
            widened_ratio: 1.0,
            band_hz: [10.0, 20e3],
            findings: Vec::new(),
        };
        let known = KnownDriver {
            model,
            covariance: Vec::new(),
            vas_m3: None,
            sd_m2: Some(Doubted { value: SD_M2, u: 0.0 }),
            mms_kg: Some(Doubted { value: MMS_KG, u: 0.0 }),
            bl_tm: Some(Doubted { value: BL_TM, u: 0.0 }),
        };
        (found, known)
    }

    /// The same circuit in SI units: v = Bl·i/Z_M, p = S_d·v·Z_AB.
    #[test]
    fn the_pressure_in_the_box_is_that_of_the_circuit_in_si_units() {
        let (found, known) = leaky(8.0, LeakVerdict::Leaky);
        let air = Air::default();
        let path = path(&found, Some(&known), 5e-3, Some(0.1), &air).unwrap();
        let omega = TAU * path.hz;
        let compliance = VOLUME_M3 / air.bulk_modulus_pa();
        let rear = 1.0 / (Complex64::new(0.0, omega * compliance) + 1.0 / path.resistance_pa_s_m3);
        let omega_s = TAU * FS_HZ;
        let reactance = omega * MMS_KG - omega_s * omega_s * MMS_KG / omega;
        let mechanical = Complex64::new(omega_s * MMS_KG / QMS, reactance) + SD_M2 * SD_M2 * rear;
        let current = SQRT_2 * 0.1 / (RE_OHM + BL_TM * BL_TM / mechanical);
        let pressure = (SD_M2 * BL_TM * current / mechanical * rear).norm();
        // 1e-9: roundings.
        assert!((path.pressure_pa.unwrap() / pressure - 1.0).abs() < 1e-9, "{path:?} {pressure}");
    }

    #[test]
    fn a_leak_is_as_bad_as_its_q_and_its_advice_is_safe() {
        let advice = |ql: f64, verdict| {
            let (found, known) = leaky(ql, verdict);
            leak_advice(&found, Some(&known), 5e-3, Some(0.1), &Air::default())
        };
        let (bad, mild) = (advice(4.0, LeakVerdict::Leaky).unwrap(), advice(20.0, LeakVerdict::Leaky).unwrap());
        assert_eq!((bad.finding.severity, mild.finding.severity), (Severity::Fault, Severity::Caution));
        assert!(bad.hole.unwrap().diameter_m > mild.hole.unwrap().diameter_m);
        assert!(bad.finding.says.contains("a round hole of") && bad.finding.advice.contains("no flame and no smoke"));
        assert!(advice(80.0, LeakVerdict::Airtight).is_none());
        let open = advice(80.0, LeakVerdict::Undecided).unwrap();
        assert!(
            open.finding.severity == Severity::Note && open.finding.says.contains("30 or more could hide"),
            "{open:?}"
        );
    }
}
