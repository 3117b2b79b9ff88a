//! A driver beside its data sheet.
//!
//! ```text
//! z = (found − promised)/√(u² + u_r²)         u_r = half of the sheet's last digit/√3
//! ```
//!
//! u: of what was found; u_r: what rounding on the sheet hides, as any value within it is as likely. A difference counts
//! from z = 2 on; whether it is more than units of one production differ is another question, and is told beside it.
//! What units usually differ by is common practice, from memory: sheets rarely state it.

use super::Doubted;

/// What a data sheet may promise.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)] // each is the symbol it is written as
pub enum Promised {
    Re,
    Fs,
    Qms,
    Qes,
    Qts,
    Vas,
    Sd,
    Mms,
    Cms,
    Bl,
    Le,
    Sensitivity,
}

/// One promise, in the sheet's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Promise {
    /// Of what.
    pub of: Promised,
    /// How much.
    pub value: f64,
    /// Half of its last digit.
    pub half_digit: f64,
}

impl Promise {
    /// A promise with as many digits as the number needs; where more were written, `half_digit` is to be made smaller.
    pub fn new(of: Promised, value: f64) -> Self {
        let written = format!("{value}");
        let decimals = written.split_once('.').map_or(0, |(_, fraction)| fraction.len());
        Self { of, value, half_digit: 0.5 * 10f64.powi(-(decimals as i32)) }
    }
}

impl Promised {
    /// By how much units of one production usually differ from their sheet, in percent (dB for the sensitivity).
    pub fn usual_tolerance(self) -> f64 {
        match self {
            Self::Re | Self::Sd => 5.0,
            Self::Bl | Self::Mms | Self::Le => 10.0,
            Self::Fs => 15.0,
            Self::Qes | Self::Qts => 15.0,
            Self::Cms | Self::Vas | Self::Qms => 25.0,
            Self::Sensitivity => 1.5,
        }
    }
}

/// What became of a promise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Kept {
    /// Which.
    pub promise: Promise,
    /// What was found, in the sheet's unit.
    pub found: Doubted,
    /// Found less promised in percent of the promise; dB for the sensitivity.
    pub difference: Doubted,
    /// The difference over its uncertainty, rounding on the sheet counted.
    pub over_u: f64,
}

impl Kept {
    /// Whether chance explains the difference.
    pub fn is_significant(&self) -> bool {
        self.over_u.abs() > 2.0
    }

    /// Whether it is more than units of one production usually differ by, its doubt taken off.
    pub fn is_beyond_production(&self) -> bool {
        self.is_significant()
            && self.difference.value.abs() - 2.0 * self.difference.u > self.promise.of.usual_tolerance()
    }
}

/// Each promise beside what was found; those of which nothing was found are left out.
pub fn promises_kept(promises: &[Promise], found: impl Fn(Promised) -> Option<Doubted>) -> Vec<Kept> {
    let kept = |promise: &Promise| {
        let found = found(promise.of)?;
        let scale = if promise.of == Promised::Sensitivity { 1.0 } else { 100.0 / promise.value };
        let less = found.value - promise.value;
        let u = found.u.hypot(promise.half_digit / 3f64.sqrt());
        Some(Kept {
            promise: *promise,
            found,
            difference: Doubted { value: scale * less, u: scale * u },
            over_u: if less == 0.0 { 0.0 } else { less / u },
        })
    };
    promises.iter().filter_map(kept).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one(promised: f64, value: f64, u: f64) -> Kept {
        promises_kept(&[Promise::new(Promised::Fs, promised)], |_| Some(Doubted { value, u }))[0]
    }

    #[test]
    fn a_difference_counts_against_doubt_and_rounding() {
        // 40.1 against 38.5 ± 0.05/√3: z = 1.6/√(0.3² + 0.0289²) = 5.309; 4.156 %.
        let kept = one(38.5, 40.1, 0.3);
        assert!((kept.over_u - 5.309).abs() < 0.001 && (kept.difference.value - 4.156).abs() < 0.001, "{kept:?}");
        assert!(kept.is_significant() && !kept.is_beyond_production());
        // 38 may be anything from 37.5 to 38.5: 38.4 is no news however well it is known.
        assert!(!one(38.0, 38.4, 0.001).is_significant());
        // 24 % off and known to 1 %.
        assert!(one(38.5, 47.74, 0.4).is_beyond_production());
        // 17 ± 3 % (2u) off: more than 15 only if its doubt is not taken off.
        assert!(!one(38.5, 45.05, 0.58).is_beyond_production());
    }

    #[test]
    fn a_sheet_that_says_what_was_found_is_kept_to_the_letter() {
        let kept = one(38.123_456_7, 38.123_456_7, 0.0);
        assert_eq!((kept.over_u, kept.is_significant(), kept.difference.value), (0.0, false, 0.0));
    }

    #[test]
    fn the_sensitivity_differs_in_decibels() {
        let promise = [Promise::new(Promised::Sensitivity, 90.0)];
        let kept = promises_kept(&promise, |_| Some(Doubted { value: 87.0, u: 0.2 }))[0];
        assert_eq!(kept.difference.value, -3.0);
        assert!(kept.is_beyond_production());
    }
}
