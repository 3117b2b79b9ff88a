//! One way at small signals, by impedances: the truth that the time domain must reach.
//!
//! ```text
//! 1/Z_AB = 1/(R_AB + 1/jωC_AB) + 1/R_AL + ΣY_n        Z_M = R_ms + jω·M_ms + 1/(jω·C_ms) + S_d²·Z_AB
//! Z = R_e + jω·L_e + (jω·L₂ ∥ R₂) + Bl²/Z_M        v = (Bl/Z_M)·(u/Z)
//! q' = jω·S_d·v·(1 − Z_AB·(1/R_AL + ΣY_n))
//! ```
//!
//! Symbols: `circuit.rs`; Y_n: what else yields to the pressure in the box (`enclosure.rs`); between amplifier and
//! driver the filter and the pad divide the voltage as any ladder does. Written from the circuit diagram and not from
//! the differential equations, so that each can judge the other.
//!
//! Source: R. H. Small, "Closed-Box Loudspeaker Systems, Part I: Analysis", J. Audio Eng. Soc. 20 (December 1972)
//! 798–808, figures 1 to 3.

use super::driver::Driver;
use super::speaker::{Filter, Reactances, Way};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// Volume acceleration for each volt of the amplifier, m³/s²/V, positive polarity.
pub fn volume_acceleration(way: &Way, frequency_hz: f64) -> Complex64 {
    let s = Complex64::new(0.0, TAU * frequency_hz);
    let mechanical = mechanical_impedance(way, s);
    let velocity = way.driver.bl_tm / mechanical * terminal_voltage(way, s) / driver_impedance_at(way, s);
    s * way.driver.sd_m2 * velocity * (1.0 - rear_impedance(way, s) * (way.leak_conductance() + yielding(way, s)))
}

/// Impedance at the terminals of the driver in its box, ohm.
pub fn driver_impedance(way: &Way, frequency_hz: f64) -> Complex64 {
    driver_impedance_at(way, Complex64::new(0.0, TAU * frequency_hz))
}

fn driver_impedance_at(way: &Way, s: Complex64) -> Complex64 {
    coil_impedance(&way.driver, s) + way.driver.bl_tm * way.driver.bl_tm / mechanical_impedance(way, s)
}

/// R_e + jω·L_e + (jω·L₂ ∥ R₂), ohm: the voice coil when the cone is held.
pub(super) fn coil_impedance(d: &Driver, s: Complex64) -> Complex64 {
    let lossy = d.lossy.map_or(Complex64::ZERO, |lossy| parallel(s * lossy.l2_h, lossy.r2_ohm.into()));
    d.re_ohm + s * d.le_h + lossy
}

fn mechanical_impedance(way: &Way, s: Complex64) -> Complex64 {
    let d = &way.driver;
    d.rms_kg_s + s * d.mms_kg + 1.0 / (s * d.cms_m_n) + d.sd_m2 * d.sd_m2 * rear_impedance(way, s)
}

/// Z_AB.
pub(super) fn rear_impedance(way: &Way, s: Complex64) -> Complex64 {
    let filled = way.absorption_resistance() + 1.0 / (s * way.enclosure.compliance_m3_pa());
    1.0 / (1.0 / filled + way.leak_conductance() + yielding(way, s))
}

/// ΣY_n.
fn yielding(way: &Way, s: Complex64) -> Complex64 {
    way.enclosure.branches().into_iter().flatten().map(|branch| branch.admittance(s)).sum()
}

/// Volume accelerations of the cone and of the opening for one volt at the driver's terminals, both outwards, m³/s²/V.
pub(super) fn near_accelerations(way: &Way, s: Complex64) -> [Complex64; 2] {
    let velocity = way.driver.bl_tm / mechanical_impedance(way, s) / driver_impedance_at(way, s);
    let cone = s * way.driver.sd_m2 * velocity;
    let opening = way.enclosure.branches()[0].map_or(Complex64::ZERO, |branch| branch.admittance(s));
    [cone, -cone * rear_impedance(way, s) * opening]
}

/// The same for one volt of the amplifier, positive polarity.
pub fn surface_accelerations(way: &Way, frequency_hz: f64) -> [Complex64; 2] {
    let s = Complex64::new(0.0, TAU * frequency_hz);
    near_accelerations(way, s).map(|acceleration| acceleration * terminal_voltage(way, s))
}

/// Impedance of the whole way at the amplifier, filter and pad included, ohm.
pub fn input_impedance(way: &Way, frequency_hz: f64) -> Complex64 {
    let s = Complex64::new(0.0, TAU * frequency_hz);
    let driver = driver_impedance_at(way, s);
    let load = way.pad.series_ohm + way.pad.across_ohm.map_or(driver, |ohm| parallel(driver, ohm.into()));
    match way.filter {
        Filter::None => load,
        Filter::LowPass(parts) => coil(&parts, s) + parallel(capacitor(&parts, s), load),
        Filter::HighPass(parts) => capacitor(&parts, s) + parallel(coil(&parts, s), load),
    }
}

fn coil(parts: &Reactances, s: Complex64) -> Complex64 {
    s * parts.l_h + parts.dcr_ohm
}

fn capacitor(parts: &Reactances, s: Complex64) -> Complex64 {
    1.0 / (s * parts.c_f) + parts.esr_ohm
}

/// Voltage at the driver for one volt at the amplifier.
fn terminal_voltage(way: &Way, s: Complex64) -> Complex64 {
    let driver = driver_impedance_at(way, s);
    let padded = way.pad.across_ohm.map_or(driver, |ohm| parallel(driver, ohm.into()));
    let load = way.pad.series_ohm + padded;
    let node = match way.filter {
        Filter::None => Complex64::ONE,
        Filter::LowPass(parts) | Filter::HighPass(parts) => {
            let (coil, capacitor) = (coil(&parts, s), capacitor(&parts, s));
            let low = matches!(way.filter, Filter::LowPass(_));
            let (series, across) = if low { (coil, capacitor) } else { (capacitor, coil) };
            let across = parallel(across, load);
            across / (series + across)
        }
    };
    node * padded / load
}

pub(super) fn parallel(a: Complex64, b: Complex64) -> Complex64 {
    a * b / (a + b)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::air::{AIR_DENSITY_KG_M3, SPEED_OF_SOUND_M_S};
    use crate::bench::reference::{Row, rows};
    use crate::bench::{Bend, Driver, Enclosure, Pad, Polarity};

    /// A driver of these small-signal values, its coil all but free of inductance, in an airtight box without losses.
    fn boxed(fs_hz: f64, qts: f64, vas_m3: f64, volume_m3: f64) -> Way {
        let (sd_m2, re_ohm, mechanical_share): (f64, f64, f64) = (0.0137, 5.6, 0.1);
        let cms_m_n = vas_m3 / (AIR_DENSITY_KG_M3 * SPEED_OF_SOUND_M_S.powi(2) * sd_m2 * sd_m2);
        let mms_kg = 1.0 / ((TAU * fs_hz).powi(2) * cms_m_n);
        let damping = TAU * fs_hz * mms_kg / qts;
        let driver = Driver {
            re_ohm,
            le_h: 1e-12,
            lossy: None,
            bl_tm: ((1.0 - mechanical_share) * damping * re_ohm).sqrt(),
            mms_kg,
            rms_kg_s: mechanical_share * damping,
            cms_m_n,
            sd_m2,
            force_factor: Bend::STRAIGHT,
            stiffness: Bend::STRAIGHT,
            inductance: Bend::STRAIGHT,
            limit_m: 1e-3,
        };
        Way {
            name: "test".to_owned(),
            driver,
            enclosure: Enclosure::closed(volume_m3),
            filter: Filter::None,
            pad: Pad::default(),
            polarity: Polarity::Straight,
            above_axis_m: 0.0,
            defect: None,
        }
    }

    fn boxed_as(row: &Row) -> Way {
        boxed(row.input("fs_hz"), row.input("qts"), row.input("vas_m3"), row.input("vab_m3"))
    }

    #[test]
    fn a_closed_box_rolls_off_as_the_second_order_high_pass_it_is() {
        for row in rows("box_gain") {
            // Vas = 3·V doubles fs and Qts.
            let way = boxed(40.0, row.input("qtc") / 2.0, 0.06, 0.02);
            let plateau = way.driver.sd_m2 * way.driver.bl_tm / (way.driver.re_ohm * way.driver.mms_kg);
            let frequency_hz = 80.0 * row.input("f_over_fc");
            let gain_db = 20.0 * (volume_acceleration(&way, frequency_hz).norm() / plateau).log10();
            // 1e-7 dB: the inductance of 1e-12 H moves it by 1e-9 at most.
            assert!((gain_db - row.expected).abs() < 1e-7, "{gain_db} {}", row.expected);
        }
    }

    #[test]
    fn resonance_and_q_in_the_box_are_those_of_worked_examples() {
        for row in rows("box_fc") {
            let found_hz = boxed_as(&row).fc_hz();
            assert!((found_hz / row.expected - 1.0).abs() < row.rel_tol, "{found_hz} {}", row.expected);
        }
        for row in rows("box_qtc") {
            let found = boxed_as(&row).qtc();
            assert!((found / row.expected - 1.0).abs() < row.rel_tol, "{found} {}", row.expected);
        }
    }

    /// Without inductance the impedance is greatest at f_c, where it is `R_e·(1 + Q_mc/Q_ec)`.
    #[test]
    fn the_impedance_peaks_at_the_resonance_in_the_box() {
        let way = boxed(34.0, 0.47, 0.049, 0.04);
        let fc_hz = way.fc_hz();
        let at = |hz: f64| driver_impedance(&way, hz).norm();
        let highest_hz =
            (0..20_001).map(|n| fc_hz * (0.9 + 1e-5 * f64::from(n))).max_by(|a, b| at(*a).total_cmp(&at(*b)));
        // 1e-5: the grid's step.
        assert!((highest_hz.unwrap() / fc_hz - 1.0).abs() <= 1.01e-5);
        // Damping is a tenth mechanical: Q_mc/Q_ec = 9.
        assert!((at(fc_hz) / (10.0 * way.driver.re_ohm) - 1.0).abs() < 1e-9);
    }

    /// A leak lowers the impedance peak; what leaks out takes the bass away: one order more below the box's corner.
    #[test]
    fn a_leak_takes_bass_away_and_absorption_does_not() {
        let airtight = boxed(34.0, 0.47, 0.049, 0.04);
        let with = |ql, qa| Way { enclosure: Enclosure { ql, qa, ..airtight.enclosure }, ..airtight.clone() };
        let gain_db =
            |way: &Way, hz| 20.0 * (volume_acceleration(way, hz) / volume_acceleration(&airtight, hz)).norm().log10();
        let (leaky, filled) = (with(Some(5.0), None), with(None, Some(5.0)));
        let fc_hz = airtight.fc_hz();
        assert!(driver_impedance(&leaky, fc_hz).norm() < 0.7 * driver_impedance(&airtight, fc_hz).norm());
        assert!(gain_db(&leaky, 0.05 * fc_hz) < -3.0);
        assert!(gain_db(&filled, 0.05 * fc_hz).abs() < 0.5);
        // A leak so large that there is no box left: front and back cancel.
        let hole = with(Some(1e-4), None);
        assert!(gain_db(&hole, 0.5 * fc_hz) < -40.0);
    }
}
