//! Driver in a closed box: small signals, no leaks, no filling.
//!
//! ```text
//! α = V_as/V_b        f_c = f_s·√(1 + α)        Q_tc = Q_ts·√(1 + α)        V_b = V_as/((Q_tc/Q_ts)² − 1)
//! |G|² = x⁴/((1 − x²)² + (x/Q_tc)²),  x = f/f_c
//! f_3 = f_c·√(y + √(y² + 1)),  y = 1/(2·Q_tc²) − 1
//! ```
//!
//! f_s, Q_ts, V_as: the driver in free air (Hz, –, m³). V_b: air volume of the box, m³. G: pressure far away over that far
//! above f_c, half space. f_3: where |G|² is a half. Holds while the box is small against the wavelength and the air behind
//! the cone weighs what it weighed before.
//! Source: R. H. Small, "Closed-Box Loudspeaker Systems, Part I: Analysis", J. Audio Eng. Soc. 20 (December 1972) 798–808.

/// What a box needs to know of a driver.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SmallSignal {
    /// Resonance in free air.
    pub fs_hz: f64,
    /// Total Q in free air.
    pub qts: f64,
    /// The air that yields as the suspension does.
    pub vas_m3: f64,
}

/// A driver in a closed box.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClosedBox {
    /// Resonance.
    pub fc_hz: f64,
    /// Total Q.
    pub qtc: f64,
}

/// The total Q that gives the flattest response: Butterworth's, 1/√2.
pub const FLATTEST_QTC: f64 = std::f64::consts::FRAC_1_SQRT_2;

/// What `driver` becomes when a closed box shuts this much air behind it.
pub fn closed_box(driver: &SmallSignal, volume_m3: f64) -> ClosedBox {
    let stiffening = (1.0 + driver.vas_m3 / volume_m3).sqrt();
    ClosedBox { fc_hz: driver.fs_hz * stiffening, qtc: driver.qts * stiffening }
}

/// The air volume with which `driver` comes to this total Q, m³; none where it has as much in free air already.
pub fn closed_box_volume_m3(driver: &SmallSignal, qtc: f64) -> Option<f64> {
    let volume_m3 = driver.vas_m3 / ((qtc / driver.qts).powi(2) - 1.0);
    (volume_m3.is_finite() && volume_m3 > 0.0).then_some(volume_m3)
}

impl ClosedBox {
    /// Where the response is 3 dB (a half of the power) below its level far above.
    pub fn f3_hz(&self) -> f64 {
        let y = 1.0 / (2.0 * self.qtc * self.qtc) - 1.0;
        self.fc_hz * (y + (y * y + 1.0).sqrt()).sqrt()
    }

    /// The response over its level far above, dB.
    pub fn level_db(&self, hz: f64) -> f64 {
        let x = hz / self.fc_hz;
        let square = x.powi(4) / ((1.0 - x * x).powi(2) + (x / self.qtc).powi(2));
        crate::quantity::db_from_power(square)
    }

    /// How high the response stands above its level far above, dB; 0 without a peak.
    pub fn peak_db(&self) -> f64 {
        if self.qtc <= FLATTEST_QTC {
            return 0.0;
        }
        let square = self.qtc * self.qtc;
        20.0 * (square / (square - 0.25).sqrt()).log10()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rows of `tests/reference/closed_box.csv`: published formulas worked out, and printed answers of lecture notes.
    #[test]
    fn published_boxes_come_out_as_printed() {
        let mut rows = 0;
        for line in
            include_str!("../../tests/reference/closed_box.csv").lines().filter(|line| !line.starts_with('#')).skip(1)
        {
            let fields: Vec<&str> = line.split(',').collect();
            let input = |name: &str| -> Option<f64> {
                fields[2].split(';').filter_map(|pair| pair.split_once('=')).find(|pair| pair.0 == name)?.1.parse().ok()
            };
            let number = |name: &str| input(name).unwrap_or(1.0);
            let driver = SmallSignal { fs_hz: number("fs_hz"), qts: number("qts"), vas_m3: number("vas_m3") };
            let given = ClosedBox { fc_hz: 1.0, qtc: number("qtc") };
            let boxed = closed_box(&driver, number("vab_m3"));
            let found = match fields[1] {
                "cb_f3_ratio" => given.f3_hz(),
                "cb_gain_db" => given.level_db(number("f_over_fc")),
                "cb_alpha" => boxed.fc_hz.powi(2) - 1.0,
                "cb_volume_for_qtc" => closed_box_volume_m3(&driver, number("qtc")).unwrap(),
                "cb_f3_from_ts" => boxed.f3_hz(),
                "cb_fc" => boxed.fc_hz,
                "cb_qtc" => boxed.qtc,
                other => panic!("{other}"),
            };
            let (expected, tolerance): (f64, f64) = (fields[3].parse().unwrap(), fields[4].parse().unwrap());
            // The tolerance beside each value: half of a printed digit, or double precision.
            assert!((found / expected - 1.0).abs() <= tolerance, "{line}: {found}");
            rows += 1;
        }
        assert_eq!(rows, 26);
    }

    #[test]
    fn the_table_by_total_q_comes_out_to_its_digits() {
        let mut rows = 0;
        for line in include_str!("../../tests/reference/closed_box_qtc.csv")
            .lines()
            .filter(|line| !line.starts_with('#'))
            .skip(1)
        {
            let fields: Vec<&str> = line.split(',').collect();
            let number = |at: usize| fields[at].parse::<f64>().unwrap();
            let boxed = ClosedBox { fc_hz: 1.0, qtc: number(0) };
            // 1e-9: ten digits are printed; 1e-6 dB: six decimals.
            assert!((boxed.f3_hz() / number(1) - 1.0).abs() < 1e-9, "{line}");
            assert!((boxed.level_db(boxed.f3_hz()) + 3.010_299_957).abs() < 1e-9, "{line}");
            assert!((boxed.level_db(number(2)) + 10.0).abs() < 1e-8, "{line}");
            assert!((boxed.peak_db() - number(3)).abs() <= 0.6e-6, "{line}: {}", boxed.peak_db());
            assert!((boxed.level_db(1.0) - number(5)).abs() <= 0.6e-6, "{line}");
            rows += 1;
        }
        assert_eq!(rows, 12);
    }

    #[test]
    fn a_driver_with_enough_q_already_has_no_box() {
        let driver = SmallSignal { fs_hz: 30.0, qts: 0.8, vas_m3: 0.05 };
        assert_eq!(closed_box_volume_m3(&driver, FLATTEST_QTC), None);
        assert_eq!(closed_box_volume_m3(&driver, 0.8), None);
        let volume_m3 = closed_box_volume_m3(&driver, 1.2).unwrap();
        // 1e-12: there and back.
        assert!((closed_box(&driver, volume_m3).qtc - 1.2).abs() < 1e-12);
    }
}
