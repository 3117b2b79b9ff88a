//! Driver in a vented box: its response, and what the peaks of its impedance tell.
//!
//! ```text
//! G(s) = s⁴/(s⁴ + a₁·s³ + a₂·s² + a₃·s + 1)        s = j·f/√(f_s·f_b),  h = f_b/f_s
//! a₁ = 1/(√h·Q_ts) + √h/Q_L     a₂ = (α + 1 + h²)/h + 1/(Q_L·Q_ts)     a₃ = √h/Q_ts + 1/(√h·Q_L)
//! f_L, f_H: f⁴ − f²·(f_s²·(1 + α) + f_b²) + f_s²·f_b² = 0
//! f_L² + f_H² = f_C² + f_b²     f_L·f_H = f_s·f_b     α = (f_H² − f_b²)·(f_b² − f_L²)/(f_H²·f_L²)
//! Q_L = (h/α)·(1/(Q_es·(r_M − 1)) − 1/Q_ms)
//! ```
//!
//! G: pressure far away over that far above the tuning, half space. Q_L: all losses of the box as leakage. f_L, f_H:
//! peaks of the impedance without losses; f_C: its single peak when the vent is shut; r_M: |Z| between the peaks over
//! R_e, exact for f_b = f_s. Coefficients are counted from s³ down, as Small does; other texts count up from s.
//! Sources: A. N. Thiele, "Loudspeakers in Vented Boxes", J. Audio Eng. Soc. 19 (May and June 1971); R. H. Small,
//! "Vented-Box Loudspeaker Systems, Part I", J. Audio Eng. Soc. 21 (June 1973) 363–372, equations 20 to 24.

use num_complex::Complex64;

/// A driver in a vented box, by ratios.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VentedBox {
    /// Resonance of the driver.
    pub fs_hz: f64,
    /// Its total Q.
    pub qts: f64,
    /// V_as over the box's volume.
    pub alpha: f64,
    /// Tuning.
    pub fb_hz: f64,
    /// All losses of the box as leakage; absent: none.
    pub ql: Option<f64>,
}

/// What the peaks of an impedance tell of a vented box without losses.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ByPeaks {
    /// Tuning.
    pub fb_hz: f64,
    /// The driver's resonance with the box's air on its back.
    pub fs_hz: f64,
    /// V_as over the box's volume.
    pub alpha: f64,
}

impl VentedBox {
    /// The response over its level far above, dB.
    pub fn level_db(&self, hz: f64) -> f64 {
        let root = (self.fb_hz / self.fs_hz).sqrt();
        let (loss, damping) = (self.ql.map_or(0.0, f64::recip), 1.0 / self.qts);
        let a1 = damping / root + root * loss;
        let a2 = (self.alpha + 1.0 + root.powi(4)) / (root * root) + loss * damping;
        let a3 = root * damping + loss / root;
        let s = Complex64::new(0.0, hz / (self.fs_hz * self.fb_hz).sqrt());
        let fourth = s.powu(4);
        20.0 * (fourth / (fourth + a1 * s.powu(3) + a2 * s * s + a3 * s + 1.0)).norm().log10()
    }

    /// The highest frequency at which the response is 3 dB (a half of the power) below its level far above.
    pub fn f3_hz(&self) -> f64 {
        let half_db = -10.0 * 2f64.log10();
        let [mut low_hz, mut high_hz] = [0.01 * self.fs_hz.min(self.fb_hz), 100.0 * self.fs_hz.max(self.fb_hz)];
        // From above down to the first step below; then sixty halvings.
        while self.level_db(high_hz / STEP) > half_db && high_hz > low_hz {
            high_hz /= STEP;
        }
        low_hz = low_hz.max(high_hz / STEP);
        for _ in 0..60 {
            let middle_hz = (low_hz * high_hz).sqrt();
            if self.level_db(middle_hz) < half_db { low_hz = middle_hz } else { high_hz = middle_hz }
        }
        (low_hz * high_hz).sqrt()
    }

    /// Peaks of the impedance, losses left out: f_L, f_H.
    pub fn lossless_peaks_hz(&self) -> [f64; 2] {
        let (driver, tuning) = (self.fs_hz.powi(2), self.fb_hz.powi(2));
        let half = 0.5 * (driver * (1.0 + self.alpha) + tuning);
        let root = (half * half - driver * tuning).sqrt();
        [(driver * tuning / (half + root)).sqrt(), (half + root).sqrt()]
    }
}

/// Steps in which a half of the power is looked for.
const STEP: f64 = 1.01;

/// What the two peaks and the tuning tell.
pub fn by_peaks([low_hz, high_hz]: [f64; 2], fb_hz: f64) -> ByPeaks {
    let [low, high, tuning] = [low_hz, high_hz, fb_hz].map(|hz| hz * hz);
    ByPeaks { fb_hz, fs_hz: low_hz * high_hz / fb_hz, alpha: (high - tuning) * (tuning - low) / (high * low) }
}

/// The tuning, from the two peaks and the one with the vent shut; `None` where they contradict each other.
pub fn tuning_hz([low_hz, high_hz]: [f64; 2], shut_hz: f64) -> Option<f64> {
    let square = low_hz * low_hz + high_hz * high_hz - shut_hz * shut_hz;
    (square > 0.0).then(|| square.sqrt())
}

/// All losses as leakage, from the minimum between the peaks over R_e; exact where driver and box are tuned alike.
pub fn ql_from_minimum(boxed: &VentedBox, [qms, qes]: [f64; 2], minimum_over_re: f64) -> f64 {
    let h = boxed.fb_hz / boxed.fs_hz;
    h / boxed.alpha * (1.0 / (qes * (minimum_over_re - 1.0)) - 1.0 / qms)
}

/// Tuning of a box with a passive radiator: `f_b = f_p·√(1 + V_ap/V)`.
///
/// `stiffness_ratio`: V_ap/V, the box's air against the radiator's suspension. Source: R. H. Small, "Passive-Radiator
/// Loudspeaker Systems, Part I", J. Audio Eng. Soc. 22 (October 1974) 592–601.
pub fn radiator_tuning_hz(fp_hz: f64, stiffness_ratio: f64) -> f64 {
    fp_hz * (1.0 + stiffness_ratio).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::driver::{DriverModel, Suspension, VoiceCoil};
    use crate::enclosure::{BoxedDriver, Enclosure, LossFactors, Moved, Opening, Port, PortEnds};
    use crate::quantity::Air;

    #[test]
    fn tabulated_alignments_come_out_to_their_digits() {
        let mut rows = 0;
        let lines = include_str!("../../tests/reference/vented_alignments.csv").lines();
        for line in lines.filter(|line| !line.starts_with('#')).skip(1) {
            let fields: Vec<&str> = line.split(',').collect();
            let number = |at: usize| fields[at].parse::<f64>().unwrap();
            let boxed = VentedBox {
                fs_hz: 1.0,
                qts: number(2),
                alpha: number(4),
                fb_hz: number(3),
                ql: fields[1].parse().ok(),
            };
            // 3e-7: eight digits of h and α.
            assert!((boxed.f3_hz() / number(5) - 1.0).abs() < 3e-7, "{line}: {}", boxed.f3_hz());
            assert!((boxed.level_db(number(6)) + 10.0).abs() < 1e-5, "{line}");
            rows += 1;
        }
        assert!(rows > 70, "{rows}");
    }

    /// The circuit of `boxed.rs` without inductance has the response of the polynomial.
    #[test]
    fn the_circuit_sounds_as_the_polynomial_says() {
        let (fs_hz, qms, qes, alpha, fb_hz, ql) = (38.0, 4.2, 0.42, 1.6, 42.0, 7.0);
        let driver = DriverModel {
            re_ohm: 5.6,
            fs_hz,
            qms,
            qes,
            voice_coil: VoiceCoil::Inductance { le_h: 0.0 },
            suspension: Suspension::Plain,
        };
        let losses = LossFactors { leakage: 1.0 / ql, ..LossFactors::default() };
        let enclosure = Enclosure { alpha, opening: Opening::Vent { fb_hz }, losses };
        let circuit = BoxedDriver { driver, moved: Moved::NOTHING, enclosure };
        let polynomial = VentedBox { fs_hz, qts: driver.qts(), alpha, fb_hz, ql: Some(ql) };
        let sound_db = |hz: f64| {
            let flows = circuit.flows(hz);
            20.0 * (hz * (flows.cone + flows.opening + flows.leak).norm()).log10()
        };
        let far_above = sound_db(1e6) - polynomial.level_db(1e6);
        for hz in [10.0, 25.0, 38.0, 42.0, 60.0, 200.0] {
            // 1e-7 dB: roundings, and 38²/10¹² at the reference.
            assert!((sound_db(hz) - polynomial.level_db(hz) - far_above).abs() < 1e-7, "{hz}");
        }
    }

    #[test]
    fn published_relations_come_out_as_printed() {
        let mut rows = 0;
        for line in include_str!("../../tests/reference/box_relations.csv")
            .lines()
            .filter(|line| !line.starts_with('#'))
            .skip(1)
        {
            let fields: Vec<&str> = line.split(',').collect();
            let input = |name: &str| -> Option<f64> {
                fields[1].split(';').filter_map(|pair| pair.split_once('=')).find(|pair| pair.0 == name)?.1.parse().ok()
            };
            let number = |name: &str| input(name).unwrap_or(1.0);
            let boxed = VentedBox {
                fs_hz: number("fs_hz"),
                qts: number("qts"),
                alpha: number("alpha"),
                fb_hz: input("fb_hz").unwrap_or(number("h")),
                ql: input("ql"),
            };
            let peaks_hz = [number("fl_hz"), number("fh_hz")];
            // Temperature that has this speed by c = 343.2·√(T/293.15 K).
            let air = Air::new((number("c") / 343.2).powi(2) * 293.15 - 273.15, 101.325).unwrap_or_default();
            let port = Port {
                diameter_m: 2.0 * number("a_m"),
                length_m: number("lp_m"),
                count: input("n").unwrap_or(1.0) as u32,
                ends: PortEnds::FlangedFree,
            };
            let found = match fields[0] {
                "vb_gain_db" => boxed.level_db(number("f_over_fs")),
                "vb_f3_over_fs" => boxed.f3_hz(),
                "vb_fl" => boxed.lossless_peaks_hz()[0],
                "vb_fh" => boxed.lossless_peaks_hz()[1],
                "fb_from_peaks" => tuning_hz(peaks_hz, number("fc_hz")).unwrap(),
                "fsb_from_peaks" => by_peaks(peaks_hz, number("fb_hz")).fs_hz,
                "alpha_from_peaks" => by_peaks(peaks_hz, number("fb_hz")).alpha,
                "ql_from_rm" => ql_from_minimum(&boxed, [number("qms"), number("qes")], number("rm")),
                "port_length" => port.tuned_to(number("fb_hz"), number("vb_m3"), &air).unwrap().length_m,
                "port_fb" => port.fb_hz(number("vb_m3"), &air),
                "pr_fb" => radiator_tuning_hz(number("fp_hz"), number("vap_m3") / number("vb_m3")),
                other => panic!("{other}"),
            };
            let (expected, tolerance): (f64, f64) = (fields[2].parse().unwrap(), fields[3].parse().unwrap());
            // The tolerance beside each value, and the rows' end correction of four digits on that of ours.
            let tolerance = tolerance.max(if fields[0].starts_with("port") { 6e-5 } else { 0.0 });
            let tolerance = if fields[0] == "port_length" { tolerance.max(0.011) } else { tolerance };
            assert!((found / expected - 1.0).abs() <= tolerance, "{line}: {found}");
            rows += 1;
        }
        assert_eq!(rows, 18);
    }

    #[test]
    fn peaks_that_contradict_each_other_have_no_tuning() {
        assert_eq!(tuning_hz([20.0, 50.0], 60.0), None);
    }
}
