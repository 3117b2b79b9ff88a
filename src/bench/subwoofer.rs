//! A subwoofer beside the satellite, with an amplifier of its own.
//!
//! No equation: a second loudspeaker (`speaker.rs`), the place where it stands and how late its amplifier is.

use super::driver::{Bend, Driver, LossyInductance};
use super::enclosure::Enclosure;
use super::error::{BenchError, check};
use super::speaker::{Filter, Pad, Polarity, Speaker, Way};
use serde::{Deserialize, Serialize};

/// A second loudspeaker for the bass.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Subwoofer {
    /// What it is.
    pub speaker: Speaker,
    /// Where it stands, from the satellite's place: ahead along the satellite's axis, aside, up. It faces the same way.
    pub beside_m: [f64; 3],
    /// Voltage at it for a sample value of 1, a peak.
    pub drive_v_at_full_scale: f64,
    /// How late its amplifier's own processing makes it.
    pub late_s: f64,
}

impl Default for Subwoofer {
    /// On the floor near the front wall, to the other side; its amplifier works digitally and takes 4 ms for it.
    fn default() -> Self {
        Self {
            speaker: Speaker::subwoofer(),
            beside_m: [-0.25, 1.75, -0.75],
            drive_v_at_full_scale: 25.0,
            late_s: 4e-3,
        }
    }
}

impl Subwoofer {
    pub(super) fn check(&self) -> Result<(), BenchError> {
        self.speaker.check()?;
        for length_m in self.beside_m {
            check("distance of the subwoofer beside the satellite in m", length_m, [-100.0, 100.0])?;
        }
        check("drive voltage of the subwoofer at full scale", self.drive_v_at_full_scale, [1e-6, 1000.0])?;
        check("lateness of the subwoofer in s", self.late_s, [0.0, 1.0])
    }
}

impl Speaker {
    /// A subwoofer in a closed box of 22 l: a driver of 214 cm², with its box at 46 Hz and Q_tc 0.7.
    ///
    /// Ours: no real loudspeaker. Its force factor loses a quarter at 9 mm inwards.
    pub fn subwoofer() -> Self {
        let driver = Driver {
            re_ohm: 3.4,
            le_h: 0.9e-3,
            lossy: Some(LossyInductance { l2_h: 1.2e-3, r2_ohm: 3.5 }),
            bl_tm: 8.4,
            mms_kg: 55e-3,
            rms_kg_s: 2.1,
            cms_m_n: 0.59e-3,
            sd_m2: 214e-4,
            force_factor: Bend([6.0, -2.5e3, 0.0, 0.0]),
            stiffness: Bend([-8.0, 4.0e3, 0.0, 0.0]),
            inductance: Bend([-20.0, -400.0, 0.0, 0.0]),
            limit_m: 9e-3,
        };
        let way = Way {
            name: "subwoofer".to_owned(),
            driver,
            enclosure: Enclosure { ql: Some(40.0), qa: Some(12.0), ..Enclosure::closed(22e-3) },
            filter: Filter::None,
            pad: Pad::default(),
            polarity: Polarity::Straight,
            above_axis_m: 0.0,
            defect: None,
        };
        Self { ways: vec![way], baffle_width_m: 0.32 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// f_c = f_s·√(1 + V_as/V), Q_tc = Q_ts·√(1 + V_as/V), by hand from the values above.
    #[test]
    fn the_subwoofer_is_tuned_as_its_description_says() {
        let way = &Speaker::subwoofer().ways[0];
        // 1/(2π·√(0.055·0.59e-3)) = 27.94 Hz; V_as = 1.2046·343.2²·0.0214²·0.59e-3 = 38.34 l; √(1 + 38.34/22) = 1.656.
        assert!((way.fc_hz() - 46.26).abs() < 0.03, "{}", way.fc_hz());
        // Q_ms 4.60, Q_es 0.465: Q_ts 0.4225.
        assert!((way.qtc() - 0.700).abs() < 0.002, "{}", way.qtc());
    }
}
