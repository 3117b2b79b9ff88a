//! What moves behind the terminals, once the moving mass is known.
//!
//! ```text
//! C_ms = 1/(ω_s²·M_ms)     R_ms = ω_s·M_ms/Q_ms     Bl = √(ω_s·M_ms·R_e/Q_es)     V_as = ρc²·S_d²·C_ms
//! η₀ = ρ·(Bl·S_d)²/(2πc·R_e·M_ms²)       L = 20·log₁₀(ρ·Bl·S_d·e/(2π·R_e·M_ms·p₀))       ω_s = 2πf_s
//! ```
//!
//! M_ms: moving mass with its air, kg; C_ms: m/N; R_ms: every mechanical loss at f_s, kg/s; Bl: T·m; V_as: m³; S_d: m²;
//! η₀: acoustic over electrical power far above f_s, half space; L: dB re 20 µPa at 1 m, half space, for e volts rms.
//! Holds while the cone moves as one and is small against the wavelength.
//! Source: R. H. Small, "Direct-Radiator Loudspeaker System Analysis", J. Audio Eng. Soc. 20 (June 1972) 383–395.

use crate::quantity::{Air, db_from_amplitude};
use std::f64::consts::TAU;

/// What a driver's impedance tells of its resonance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Resonance {
    /// Resistance of the voice coil.
    pub re_ohm: f64,
    /// Resonance.
    pub fs_hz: f64,
    /// Mechanical Q.
    pub qms: f64,
    /// Electrical Q.
    pub qes: f64,
    /// Creep of the suspension; 0: none.
    pub lambda: f64,
}

impl Resonance {
    /// Q_ts.
    pub fn qts(&self) -> f64 {
        self.qms * self.qes / (self.qms + self.qes)
    }

    /// 2πf_s.
    pub fn omega(&self) -> f64 {
        TAU * self.fs_hz
    }

    /// C_ms of a driver with this moving mass, m/N.
    pub fn compliance_m_n(&self, mms_kg: f64) -> f64 {
        1.0 / (self.omega().powi(2) * mms_kg)
    }

    /// R_ms of a driver with this moving mass, kg/s.
    pub fn resistance_kg_s(&self, mms_kg: f64) -> f64 {
        self.omega() * mms_kg / self.qms
    }

    /// Bl of a driver with this moving mass, T·m.
    pub fn force_factor_tm(&self, mms_kg: f64) -> f64 {
        (self.omega() * mms_kg * self.re_ohm / self.qes).sqrt()
    }

    /// M_ms of a driver with this V_as and cone, kg.
    pub fn mass_kg(&self, vas_m3: f64, sd_m2: f64, air: &Air) -> f64 {
        air.bulk_modulus_pa() * sd_m2 * sd_m2 / (self.omega().powi(2) * vas_m3)
    }
}

/// V_as of a suspension behind a cone, m³.
pub fn equivalent_volume_m3(cms_m_n: f64, sd_m2: f64, air: &Air) -> f64 {
    air.bulk_modulus_pa() * sd_m2 * sd_m2 * cms_m_n
}

/// A driver as a source of sound far above its resonance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Radiator {
    /// Resistance of the voice coil.
    pub re_ohm: f64,
    /// Force factor.
    pub bl_tm: f64,
    /// Moving mass.
    pub mms_kg: f64,
    /// Area that moves the air.
    pub sd_m2: f64,
}

/// The voltage that gives 1 W in 8 Ω, as data sheets round it.
pub const DATA_SHEET_V: f64 = 2.83;

impl Radiator {
    /// η₀, half space.
    pub fn efficiency_ratio(&self, air: &Air) -> f64 {
        let strength = self.bl_tm * self.sd_m2 / self.mms_kg;
        air.density_kg_m3() * strength.powi(2) / (TAU * air.speed_of_sound_m_s() * self.re_ohm)
    }

    /// Sound pressure level at 1 m in half space for `drive_v` volts, dB re 20 µPa.
    pub fn level_db_spl(&self, drive_v: f64, air: &Air) -> f64 {
        let pascal = air.density_kg_m3() * self.bl_tm * self.sd_m2 * drive_v / (TAU * self.re_ohm * self.mms_kg);
        db_from_amplitude(pascal / Air::REFERENCE_PA)
    }
}

#[cfg(test)]
mod tests {
    use super::super::reference::{air_of, cases, examples};
    use super::*;

    fn resonance(re_ohm: f64, fs_hz: f64, qms: f64, qes: f64) -> Resonance {
        Resonance { re_ohm, fs_hz, qms, qes, lambda: 0.0 }
    }

    #[test]
    fn the_published_relations_are_reproduced() {
        let mut rows = 0;
        let quantities = ["bl_from_ts", "vas_from_cms", "cms_from_f_m", "rms_from_q", "qts_from_q"];
        for case in cases(&quantities) {
            let or_one = |name: &str| case.maybe(name).unwrap_or(1.0);
            let driver = resonance(or_one("re_ohm"), or_one("fs_hz"), or_one("qms"), or_one("qes"));
            let found = match case.quantity.as_str() {
                "bl_from_ts" => driver.force_factor_tm(case.input("mms_kg")),
                "cms_from_f_m" => driver.compliance_m_n(case.input("mms_kg")),
                "rms_from_q" => driver.resistance_kg_s(case.input("mms_kg")),
                "qts_from_q" => driver.qts(),
                _ => {
                    let air = air_of(case.input("rho"), case.input("c"));
                    equivalent_volume_m3(case.input("cms"), case.input("sd_m2"), &air)
                }
            };
            case.assert_close(found);
            rows += 1;
        }
        assert_eq!(rows, 12);
    }

    #[test]
    fn the_published_efficiencies_and_levels_are_reproduced() {
        let mut rows = 0;
        for case in cases(&["eta0", "eta0_mech", "spl_voltage_1m", "spl_1w_1m"]) {
            let number = |name: &str| case.input(name);
            let air = air_of(case.maybe("rho").unwrap_or(1.2), case.maybe("c").unwrap_or(343.2));
            let stated = || Radiator {
                re_ohm: number("re_ohm"),
                bl_tm: number("bl"),
                mms_kg: number("mms_kg"),
                sd_m2: number("sd_m2"),
            };
            // Coil and cone are any: they cancel where only f_s, V_as, Q_es or η₀ is given.
            let (re_ohm, sd_m2) = (5.6, 0.0137);
            let found = match case.quantity.as_str() {
                "eta0_mech" => stated().efficiency_ratio(&air),
                "spl_voltage_1m" => stated().level_db_spl(number("e_v"), &air),
                "eta0" => {
                    let driver = resonance(re_ohm, number("fs_hz"), 4.0, number("qes"));
                    let mms_kg = driver.mass_kg(number("vas_m3"), sd_m2, &air);
                    Radiator { re_ohm, bl_tm: driver.force_factor_tm(mms_kg), mms_kg, sd_m2 }.efficiency_ratio(&air)
                }
                _ => {
                    let (mms_kg, density, speed) = (0.015, number("rho"), number("c"));
                    let bl_tm = (number("eta0") * TAU * speed * re_ohm / density).sqrt() * mms_kg / sd_m2;
                    Radiator { re_ohm, bl_tm, mms_kg, sd_m2 }.level_db_spl(re_ohm.sqrt(), &air)
                }
            };
            case.assert_close(found);
            rows += 1;
        }
        assert_eq!(rows, 4);
    }

    /// Three sets that are consistent to ten digits, from R_e, f_s, Q_ms, Q_es, M_ms and S_d to all the rest.
    #[test]
    fn the_constructed_examples_are_reproduced_to_their_digits() {
        for set in examples().iter().filter(|set| set.number("eta0").is_some() && set.number("zmax_ohm").is_some()) {
            let number = |name: &str| set.number(name).unwrap();
            if set.number("vas_m3").is_none() || set.name.starts_with("lecture") {
                continue;
            }
            let air = air_of(number("rho"), number("c"));
            let driver = resonance(number("re_ohm"), number("fs_hz"), number("qms"), number("qes"));
            let mms_kg = number("mms_kg");
            let cms_m_n = driver.compliance_m_n(mms_kg);
            let radiator =
                Radiator { re_ohm: number("re_ohm"), bl_tm: number("bl_tm"), mms_kg, sd_m2: number("sd_m2") };
            let found = [
                (driver.qts(), "qts"),
                (cms_m_n, "cms_m_per_n"),
                (driver.resistance_kg_s(mms_kg), "rms_kg_s"),
                (driver.force_factor_tm(mms_kg), "bl_tm"),
                (equivalent_volume_m3(cms_m_n, number("sd_m2"), &air), "vas_m3"),
                (driver.mass_kg(number("vas_m3"), number("sd_m2"), &air), "mms_kg"),
                (radiator.efficiency_ratio(&air), "eta0"),
                (radiator.level_db_spl(number("re_ohm").sqrt(), &air), "spl_1w_1m_db"),
                (radiator.level_db_spl(DATA_SHEET_V, &air), "spl_2v83_1m_db"),
            ];
            for (found, name) in found {
                // Half of the last printed digit, and the inputs' own: ten digits, each of which counts up to four times.
                let slack = set.half_digit(name) + 4e-10 * found.abs();
                assert!((found - number(name)).abs() <= slack, "{}: {name} {found}", set.name);
            }
        }
    }

    /// Rounded answers of public lecture notes, to half of their last digit.
    #[test]
    fn the_lecture_notes_answers_come_out_to_their_printed_digits() {
        let air = air_of(1.2, 344.0);
        // Re 6, Mms 38 g, Cms 0.9 mm/N, Rms 1.5, Bl 5, a 0.1 m: fs 27.2, Qms 4.33, Qes 1.56, Qts 1.15, Vas 126 l.
        let (mms, cms): (f64, f64) = (0.038, 0.0009);
        let omega = 1.0 / (mms * cms).sqrt();
        let driver = resonance(6.0, omega / TAU, omega * mms / 1.5, omega * mms * 6.0 / 25.0);
        assert_eq!(
            format!("{:.1} {:.2} {:.2} {:.2}", driver.fs_hz, driver.qms, driver.qes, driver.qts()),
            "27.2 4.33 1.56 1.15"
        );
        let volume_l = 1e3 * equivalent_volume_m3(driver.compliance_m_n(mms), 0.0314159265, &air);
        assert_eq!(format!("{volume_l:.0}"), "126");
        // Example 2: Vas 0.21 m³ for Cms 0.55 mm/N, Sd 519 cm²; Mms 88.2 g, Bl 11.6, Re 5.46: η₀ 0.47 %, 90.6 dB.
        assert_eq!(format!("{:.2}", equivalent_volume_m3(0.55e-3, 0.0519, &air)), "0.21");
        let radiator = Radiator { re_ohm: 5.46, bl_tm: 11.6, mms_kg: 0.0882, sd_m2: 0.0519 };
        assert_eq!(format!("{:.4}", radiator.efficiency_ratio(&air)), "0.0047");
        // Worked with 2.83 V; the notes' own rounding is 0.1 dB.
        let level_db = radiator.level_db_spl(DATA_SHEET_V, &air);
        assert!((level_db - 90.6).abs() < 0.1, "{level_db}");
    }
}
