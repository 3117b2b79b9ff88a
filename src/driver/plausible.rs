//! Whether a driver's numbers go together as those of real drivers do.
//!
//! ```text
//! ln f_s, ln M_ms, ln Bl against ln S_d: between the lines of common practice, widened
//! ```
//!
//! S_d: area that moves the air. The lines go through five classes of drivers from 25 mm domes to 380 mm subwoofers;
//! they hold a factor of ten in a diameter or a mass, not good from bad. Source: common practice, from memory.

use super::DriverParameters;
use crate::quantity::{Air, Code, Finding, Severity};

/// A class of drivers: S_d in cm², then lowest and highest f_s in Hz, M_ms in g, Bl in T·m.
struct Class {
    sd_cm2: f64,
    fs_hz: [f64; 2],
    mms_g: [f64; 2],
    bl_tm: [f64; 2],
}

const CLASSES: [Class; 5] = [
    Class { sd_cm2: 7.3, fs_hz: [500.0, 1800.0], mms_g: [0.2, 0.5], bl_tm: [1.5, 4.0] },
    Class { sd_cm2: 69.0, fs_hz: [45.0, 110.0], mms_g: [4.0, 10.0], bl_tm: [4.0, 8.0] },
    Class { sd_cm2: 134.0, fs_hz: [30.0, 60.0], mms_g: [10.0, 20.0], bl_tm: [5.0, 9.0] },
    Class { sd_cm2: 267.0, fs_hz: [22.0, 45.0], mms_g: [25.0, 70.0], bl_tm: [7.0, 13.0] },
    Class { sd_cm2: 650.0, fs_hz: [15.0, 35.0], mms_g: [80.0, 350.0], bl_tm: [10.0, 25.0] },
];

/// Drivers as much as this outside of their class are rare; at a factor of ten in diameter f_s alone is off by 5 and more.
const WIDENED: f64 = 2.5;
/// Smallest and largest cones that a builder of boxes meets: 15 mm domes and 600 mm woofers, cm².
const SD_CM2: [f64; 2] = [1.5, 2500.0];
/// What a wrong diameter is usually wrong by, and how.
const SLIPS: [(f64, &str); 4] =
    [(10.0, "cm taken for mm"), (0.1, "a zero too many"), (2.0, "the radius taken for the diameter"), (0.5, "twice")];

/// A caution where the numbers do not go together, with the slip that would explain it.
pub(super) fn plausibility(found: &DriverParameters, air: &Air) -> Option<Finding> {
    let sd_cm2 = 1e4 * found.value("sd_m2")?.value;
    let known = Known {
        fs_hz: found.value("fs_hz")?.value,
        mms_g: found.value("mms_kg").map(|mass| 1e3 * mass.value),
        bl_tm: found.value("bl_tm").map(|factor| factor.value),
    };
    let odd = known.odd_at(sd_cm2);
    if odd.is_empty() {
        return None;
    }
    let vas = found.value("vas_m3").map_or(String::new(), |vas| format!(", V_as {} l", three_digits(1e3 * vas.value)));
    let air_kg = super::air_load_kg(1e-4 * sd_cm2, super::Mounting::FreeAir, air);
    let too_light = known.mms_g.is_some_and(|mass_g| mass_g < 1e3 * air_kg);
    let air_words = if too_light { ", less than the air it moves" } else { "" };
    let diameter_mm = 1e3 * (4.0 * 1e-4 * sd_cm2 / std::f64::consts::PI).sqrt();
    let says = format!(
        "a cone of {diameter_mm:.0} mm ({} cm²) does not go with {}{vas}{air_words}",
        three_digits(sd_cm2),
        odd.join(", ")
    );
    let slip = SLIPS.iter().find(|(factor, _)| known.odd_at(sd_cm2 * factor * factor).is_empty());
    let advice = match slip {
        Some((factor, how)) => format!(
            "check the diameter: {:.0} mm would be usual ({how}); it is that of the cone and half of its surround",
            diameter_mm * factor
        ),
        None => {
            "check the diameter (cone and half of the surround, in mm), the added mass (in g), and the curve".into()
        }
    };
    Some(Finding::new(Code::Implausible, Severity::Caution, says, advice))
}

struct Known {
    fs_hz: f64,
    mms_g: Option<f64>,
    bl_tm: Option<f64>,
}

impl Known {
    /// What does not go with a cone of this area, in words.
    fn odd_at(&self, sd_cm2: f64) -> Vec<String> {
        let mut odd = Vec::new();
        if !(SD_CM2[0]..=SD_CM2[1]).contains(&sd_cm2) || is_outside(self.fs_hz, usual(sd_cm2, |class| class.fs_hz)) {
            odd.push(format!("a resonance of {} Hz", three_digits(self.fs_hz)));
        }
        if let Some(mms_g) = self.mms_g.filter(|&mms_g| is_outside(mms_g, usual(sd_cm2, |class| class.mms_g))) {
            odd.push(format!("a moving mass of {} g", three_digits(mms_g)));
        }
        if let Some(bl_tm) = self.bl_tm.filter(|&bl_tm| is_outside(bl_tm, usual(sd_cm2, |class| class.bl_tm))) {
            odd.push(format!("a force factor of {} T·m", three_digits(bl_tm)));
        }
        odd
    }
}

fn is_outside(value: f64, [lowest, highest]: [f64; 2]) -> bool {
    !(lowest / WIDENED..=highest * WIDENED).contains(&value)
}

/// The usual span at an area: straight between the classes on logarithmic scales, level beyond them.
fn usual(sd_cm2: f64, span: impl Fn(&Class) -> [f64; 2]) -> [f64; 2] {
    let above = CLASSES.partition_point(|class| class.sd_cm2 < sd_cm2);
    if above == 0 || above == CLASSES.len() {
        return span(&CLASSES[above.min(CLASSES.len() - 1)]);
    }
    let (low, high) = (&CLASSES[above - 1], &CLASSES[above]);
    let t = (sd_cm2 / low.sd_cm2).ln() / (high.sd_cm2 / low.sd_cm2).ln();
    [0, 1].map(|end| span(low)[end].powf(1.0 - t) * span(high)[end].powf(t))
}

/// Three digits that count, without an exponent.
fn three_digits(value: f64) -> String {
    let decimals = (2.0 - value.abs().max(1e-9).log10().floor()).clamp(0.0, 9.0);
    format!("{value:.0$}", decimals as usize)
}
