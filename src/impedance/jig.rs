//! The jig's own part in what is measured, and how captures of an open, a shorted and a known load take it off.
//!
//! ```text
//! 1/H = A + B/(Z_lead + Z)          Z = B·H/(1 − A·H) − Z_lead
//! A = (1 + R_s·Y_in)/k,  B = R_s/k
//! ```
//!
//! H: load channel over drive channel; k: gain of the load channel over that of the drive channel; R_s: sense resistor, Ω;
//! Y_in: admittance of the load channel's input, S; Z_lead: what lies between the tap of the load channel and the load, Ω.
//! Derivation: a divider of R_s and of the load with its lead, beside which the input draws V·Y_in through R_s too.
//!
//! What each capture tells (index o: nothing connected, s: shorted at the load's end of the leads, k: a known resistor R_k):
//!
//! ```text
//! open     A = 1/H_o
//! short    Z_lead = B·H_s/(1 − A·H_s)
//! known    B = (1/H_k − A)·(Z_lead + R_k)
//! all      B = R_k/(H_k/(1 − A·H_k) − H_s/(1 − A·H_s)):  R_s is not needed
//! ```
//!
//! What they do not tell is taken from what is known of the jig: R_s, Z_lead, Y_in = 0, k = 1; its doubt then moves all points
//! together. Nothing is divided by the small H_s. A known resistor without an open load leaves k:
//! `1/k = (1/H_k)/(1 + R_s·Y_in + R_s/(Z_lead + R_k))`.
//! The doubt of the result follows from that of each part by its derivative (JCGM 100:2008, section 5.1), which is taken as
//! a difference quotient: Z is an analytic function of each.

use super::ImpedanceError;
use num_complex::Complex64;

/// What is known of a jig without a measurement. Tolerances are limits, as they are printed on parts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JigFacts {
    /// The sense resistor.
    pub sense_ohm: f64,
    /// How far it may be off, as a ratio.
    pub sense_tolerance_ratio: f64,
    /// Resistance of the leads to the load and back, beyond the taps of the load channel; absent: not known.
    pub lead_ohm: Option<f64>,
    /// The known resistor of a capture with it.
    pub known_ohm: Option<f64>,
    /// How far it may be off, as a ratio.
    pub known_tolerance_ratio: f64,
    /// How far the gains of the two inputs may lie apart; absent: not known.
    pub gain_limit_db: Option<f64>,
}

/// Two line inputs of one interface without knobs are alike within this (common practice); as a ratio of voltages, and in radians.
pub const GAIN_LIMIT_DB: f64 = 0.1;
/// Two inputs whose knobs are set alike by eye, or by meters with steps of a decibel, are alike within this (common practice).
pub const UNSAID_GAIN_LIMIT_DB: f64 = 1.0;
/// No two inputs that anyone would call alike differ by more, dB (ours).
const MOST_GAIN_LIMIT_DB: f64 = 20.0;
/// No line input loads the jig with less than this (common practice; most have more).
pub const LEAST_INPUT_OHM: f64 = 10_000.0;
/// Leads of which nothing is said: two metres of thin wire, there and back, and two clips have no more (ours).
pub const USUAL_LEAD_OHM: f64 = 0.1;
/// A lead's resistance that was told is off by no more than this share of it …
const LEAD_LIMIT_RATIO: f64 = 0.1;
/// … and a clip's contact comes anew each time.
const CONTACT_OHM: f64 = 0.01;
/// Standard deviation of what lies anywhere within limits of ±1 (JCGM 100:2008, section 4.3.7).
const OF_LIMITS: f64 = 0.577_350_269_189_625_8;

/// The ratios H of all captures at one frequency.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Ratios {
    pub load: Reading,
    pub open: Option<Reading>,
    pub short: Option<Reading>,
    pub known: Option<Reading>,
}

/// A ratio with its standard uncertainty by noise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Reading {
    pub ratio: Complex64,
    pub u_ratio: f64,
}

/// A, B and the lead at one frequency.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Terms {
    pub a: Complex64,
    pub b_ohm: Complex64,
    pub lead_ohm: Complex64,
}

/// An impedance at one frequency.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Solved {
    pub ohm: Complex64,
    pub u_noise_ohm: f64,
    pub u_common_ohm: f64,
    pub terms: Terms,
}

/// What is taken for granted, each a number that may be varied.
#[derive(Debug, Clone, Copy)]
struct Granted {
    sense_ohm: Complex64,
    lead_ohm: Complex64,
    known_ohm: Complex64,
    gain: Complex64,
    input_siemens: Complex64,
}

/// A part of the whole that has a doubt: where it stands, by how much it is varied, its standard uncertainty.
type Part = (fn(&mut (Ratios, Granted)) -> Option<&mut Complex64>, f64, f64);

impl JigFacts {
    /// A jig of which nothing is known but its sense resistor, between two line inputs of one interface: 1 % tolerances, leads not
    /// measured, inputs alike within [`GAIN_LIMIT_DB`].
    pub fn of_sense(sense_ohm: f64) -> Self {
        Self {
            sense_ohm,
            sense_tolerance_ratio: 0.01,
            lead_ohm: None,
            known_ohm: None,
            known_tolerance_ratio: 0.01,
            gain_limit_db: Some(GAIN_LIMIT_DB),
        }
    }

    /// How far the gains of the two inputs may lie apart.
    pub fn gain_limit_db(&self) -> f64 {
        self.gain_limit_db.unwrap_or(UNSAID_GAIN_LIMIT_DB)
    }

    /// # Errors
    /// [`ImpedanceError::Setting`] for a resistance or tolerance that can't be.
    pub(super) fn check(&self) -> Result<(), ImpedanceError> {
        let refuse = |what, found, needed| Err(ImpedanceError::Setting { what, found, needed });
        let is_above_zero = |ohm: f64| ohm > 0.0 && ohm.is_finite();
        if !is_above_zero(self.sense_ohm) {
            return refuse("the sense resistor in ohm", self.sense_ohm, "more than 0");
        }
        if let Some(found) = self.known_ohm.filter(|ohm| !is_above_zero(*ohm)) {
            return refuse("the known resistor in ohm", found, "more than 0");
        }
        if let Some(found) = self.lead_ohm.filter(|ohm| !(*ohm >= 0.0 && ohm.is_finite())) {
            return refuse("the leads' resistance in ohm", found, "0 or more");
        }
        if let Some(found) = self.gain_limit_db.filter(|db| !(0.0..=MOST_GAIN_LIMIT_DB).contains(db)) {
            return refuse("what the inputs may differ by in dB", found, "0 to 20 dB");
        }
        let tolerances = [self.sense_tolerance_ratio, self.known_tolerance_ratio];
        match tolerances.into_iter().find(|ratio| !(0.0..1.0).contains(ratio)) {
            Some(found) => refuse("a tolerance", found, "0 to 100 %"),
            None => Ok(()),
        }
    }

    /// Standard uncertainty of the leads' resistance where no short was measured.
    pub(super) fn u_lead_ohm(&self) -> f64 {
        let limit = self.lead_ohm.map_or(USUAL_LEAD_OHM, |ohm| (LEAD_LIMIT_RATIO * ohm).max(CONTACT_OHM));
        OF_LIMITS * limit
    }

    /// Standard uncertainty of the known resistor, as a ratio.
    pub(super) fn u_known_ratio(&self) -> f64 {
        OF_LIMITS * self.known_tolerance_ratio
    }

    /// Standard uncertainty of the sense resistor, as a ratio.
    pub(super) fn u_sense_ratio(&self) -> f64 {
        OF_LIMITS * self.sense_tolerance_ratio
    }

    /// The load's impedance at one frequency, with its doubt.
    pub(super) fn solve(&self, ratios: Ratios) -> Solved {
        let granted = Granted {
            sense_ohm: self.sense_ohm.into(),
            lead_ohm: self.lead_ohm.unwrap_or(0.0).into(),
            known_ohm: self.known_ohm.unwrap_or(0.0).into(),
            gain: Complex64::ONE,
            input_siemens: Complex64::ZERO,
        };
        let whole = (ratios, granted);
        let u = |reading: Option<Reading>| reading.map_or(0.0, |reading| reading.u_ratio);
        let by_noise: [Part; 4] = [
            (|whole| Some(&mut whole.0.load.ratio), RATIO_STEP, ratios.load.u_ratio),
            (|whole| whole.0.open.as_mut().map(|reading| &mut reading.ratio), RATIO_STEP, u(ratios.open)),
            (|whole| whole.0.short.as_mut().map(|reading| &mut reading.ratio), RATIO_STEP, u(ratios.short)),
            (|whole| whole.0.known.as_mut().map(|reading| &mut reading.ratio), RATIO_STEP, u(ratios.known)),
        ];
        let u_gain = OF_LIMITS * (10f64.powf(self.gain_limit_db() / 20.0) - 1.0);
        let u_known_ohm = self.u_known_ratio() * self.known_ohm.unwrap_or(0.0);
        let by_parts: [Part; 5] = [
            (|whole| Some(&mut whole.1.sense_ohm), OHM_STEP, self.u_sense_ratio() * self.sense_ohm),
            (|whole| Some(&mut whole.1.lead_ohm), OHM_STEP, self.u_lead_ohm()),
            (|whole| Some(&mut whole.1.known_ohm), OHM_STEP, u_known_ohm),
            (|whole| Some(&mut whole.1.gain), RATIO_STEP, u_gain),
            (|whole| Some(&mut whole.1.input_siemens), SIEMENS_STEP, OF_LIMITS / LEAST_INPUT_OHM),
        ];
        let terms = terms(&ratios, &granted);
        Solved {
            ohm: terms.impedance_ohm(ratios.load.ratio),
            u_noise_ohm: doubt(&whole, &by_noise),
            u_common_ohm: doubt(&whole, &by_parts),
            terms,
        }
    }
}

impl Terms {
    /// Z, from H.
    pub fn impedance_ohm(&self, ratio: Complex64) -> Complex64 {
        self.b_ohm * ratio / (1.0 - self.a * ratio) - self.lead_ohm
    }

    /// |dZ/dH|.
    pub fn slope_ohm(&self, ratio: Complex64) -> f64 {
        self.b_ohm.norm() / (1.0 - self.a * ratio).norm_sqr()
    }

    /// R_s, as the captures of open and known load tell it.
    pub fn sense_ohm(&self) -> f64 {
        (self.b_ohm / self.a).re
    }
}

/// Steps of the difference quotients: small against each part, and large against the rounding of a double.
const RATIO_STEP: f64 = 1e-6;
const OHM_STEP: f64 = 1e-4;
const SIEMENS_STEP: f64 = 1e-8;

/// √Σ(|∂Z/∂p|·u_p)².
fn doubt(whole: &(Ratios, Granted), parts: &[Part]) -> f64 {
    let ohm = |(ratios, granted): &(Ratios, Granted)| terms(ratios, granted).impedance_ohm(ratios.load.ratio);
    let of_part = |&(part, step, u): &Part| -> Option<f64> {
        let (mut above, mut below) = (*whole, *whole);
        *part(&mut above)? += step;
        *part(&mut below)? -= step;
        Some((ohm(&above) - ohm(&below)).norm() / (2.0 * step) * u)
    };
    parts.iter().filter_map(of_part).map(|u| u * u).sum::<f64>().sqrt()
}

/// A, B and the lead, from what was measured and what is granted.
fn terms(ratios: &Ratios, granted: &Granted) -> Terms {
    let Granted { sense_ohm, lead_ohm, known_ohm, gain, input_siemens } = *granted;
    let [open, short, known] = [ratios.open, ratios.short, ratios.known].map(|reading| reading.map(|r| r.ratio));
    let loaded = 1.0 + sense_ohm * input_siemens;
    // σ = Z_lead/B
    let lead_share = |a: Complex64, short: Complex64| short / (1.0 - a * short);
    match (open, short, known) {
        (Some(open), Some(short), Some(known)) => {
            let a = open.inv();
            let lead_share = lead_share(a, short);
            let b_ohm = known_ohm / (known / (1.0 - a * known) - lead_share);
            Terms { a, b_ohm, lead_ohm: b_ohm * lead_share }
        }
        (Some(open), None, Some(known)) => {
            let a = open.inv();
            Terms { a, b_ohm: (known.inv() - a) * (lead_ohm + known_ohm), lead_ohm }
        }
        (None, short, Some(known)) => {
            let of_gain = |lead_ohm: Complex64| {
                let inverse_gain = known.inv() / (loaded + sense_ohm / (lead_ohm + known_ohm));
                (loaded * inverse_gain, sense_ohm * inverse_gain)
            };
            let mut lead_ohm = lead_ohm;
            // The lead changes the gain by its share of the known resistor: each round is that much closer.
            for _ in 0..short.map_or(0, |_| LEAD_ROUNDS) {
                let (a, b_ohm) = of_gain(lead_ohm);
                lead_ohm = b_ohm * lead_share(a, short.unwrap_or_default());
            }
            let (a, b_ohm) = of_gain(lead_ohm);
            Terms { a, b_ohm, lead_ohm }
        }
        (open, short, None) => {
            let a = open.map_or(loaded / gain, |open| open.inv());
            let b_ohm = a * sense_ohm / loaded;
            Terms { a, b_ohm, lead_ohm: short.map_or(lead_ohm, |short| b_ohm * lead_share(a, short)) }
        }
    }
}

/// Enough for a lead of a third of the known resistor.
const LEAD_ROUNDS: usize = 40;

#[cfg(test)]
mod tests {
    use super::*;

    /// A jig with everything wrong at once.
    const GAIN: Complex64 = Complex64::new(0.89, 0.05);
    const SENSE_OHM: f64 = 9.7;
    const LEAD_OHM: Complex64 = Complex64::new(0.13, 0.02);
    const KNOWN_OHM: f64 = 8.2;
    const LOAD_OHM: Complex64 = Complex64::new(6.0, 4.5);

    /// The divider, solved by itself: the source sees the sense resistor in series with load and input side by side.
    fn ratio(load_ohm: Complex64, gain: Complex64, input_siemens: f64, lead_ohm: Complex64) -> Complex64 {
        let across = ((load_ohm + lead_ohm).inv() + input_siemens).inv();
        gain * across / (SENSE_OHM + across)
    }

    fn read(ratio: Complex64) -> Reading {
        Reading { ratio, u_ratio: 0.0 }
    }

    fn facts() -> JigFacts {
        JigFacts { known_ohm: Some(KNOWN_OHM), ..JigFacts::of_sense(SENSE_OHM) }
    }

    #[test]
    fn each_set_of_captures_takes_off_what_it_can_tell() {
        let far: Complex64 = 1e15.into();
        for present in 0..8u32 {
            let has = |bit: u32| present & (1 << bit) != 0;
            let (has_open, has_short, has_known) = (has(0), has(1), has(2));
            // What no capture tells is as the facts say.
            let gain = if has_open || has_known { GAIN } else { Complex64::ONE };
            let input_siemens = if has_open && has_known { 2e-4 } else { 0.0 };
            let lead_ohm = if has_short { LEAD_OHM } else { Complex64::new(0.13, 0.0) };
            let of = |ohm: Complex64| read(ratio(ohm, gain, input_siemens, lead_ohm));
            let ratios = Ratios {
                load: of(LOAD_OHM),
                open: has_open.then(|| of(far)),
                short: has_short.then(|| of(0.0.into())),
                known: has_known.then(|| of(KNOWN_OHM.into())),
            };
            // With all three the sense resistor is not needed.
            let sense_ohm = if has_open && has_known { 33.0 } else { SENSE_OHM };
            let solved = JigFacts { sense_ohm, lead_ohm: Some(0.13), ..facts() }.solve(ratios);
            // 1e-11: a few divisions, one of them by 1e15.
            assert!((solved.ohm - LOAD_OHM).norm() < 1e-11, "{present:03b}: {}", solved.ohm);
            assert!((solved.terms.lead_ohm - lead_ohm).norm() < 1e-11, "{present:03b}");
            if has_open && has_known {
                // R_s/(1 + R_s·Y_in).
                let expected = SENSE_OHM / (1.0 + SENSE_OHM * 2e-4);
                assert!((solved.terms.sense_ohm() - expected).abs() < 1e-10, "{}", solved.terms.sense_ohm());
            }
        }
    }

    /// `dZ = (Z/R_s)·dR_s`, `dZ = −dZ_lead`, `dZ/dH = R_s/(1 − H)²` for a jig of which nothing was measured.
    #[test]
    fn the_doubt_of_a_jig_without_captures_is_that_of_its_parts() {
        let plain = ratio(LOAD_OHM, Complex64::ONE, 0.0, Complex64::ZERO);
        let ratios = Ratios { load: Reading { ratio: plain, u_ratio: 1e-4 }, open: None, short: None, known: None };
        let solved = facts().solve(ratios);
        let u_noise_ohm = 1e-4 * SENSE_OHM / (1.0 - plain).norm_sqr();
        // 1e-6: difference quotients.
        assert!((solved.u_noise_ohm / u_noise_ohm - 1.0).abs() < 1e-6);
        let root_3 = 3f64.sqrt();
        let by_sense = 0.01 / root_3 * LOAD_OHM.norm();
        let by_lead = 0.1 / root_3;
        // Of H/(1 − H/k) by k, and of B·H/(1 − A·H) by Y_in: −Z·(Z + R_s)/R_s·dk and Z²·dY.
        let by_gain = (10f64.powf(0.1 / 20.0) - 1.0) / root_3 * (LOAD_OHM * (LOAD_OHM + SENSE_OHM)).norm() / SENSE_OHM;
        let by_input = 1e-4 / root_3 * LOAD_OHM.norm_sqr();
        let expected = [by_sense, by_lead, by_gain, by_input].map(|u| u * u).iter().sum::<f64>().sqrt();
        assert!((solved.u_common_ohm / expected - 1.0).abs() < 1e-6, "{} {expected}", solved.u_common_ohm);
    }

    /// With all three captures only the known resistor is left, and what it is off by Z is off by.
    #[test]
    fn with_all_captures_the_doubt_is_that_of_the_known_resistor() {
        let of = |ohm: Complex64| Some(read(ratio(ohm, GAIN, 1e-4, LEAD_OHM)));
        let ratios = Ratios {
            load: of(LOAD_OHM).unwrap(),
            open: of(1e12.into()),
            short: of(0.0.into()),
            known: of(KNOWN_OHM.into()),
        };
        let solved = JigFacts { known_tolerance_ratio: 0.001, ..facts() }.solve(ratios);
        let expected = 0.001 / 3f64.sqrt() * LOAD_OHM.norm();
        // 1e-6: difference quotients.
        assert!((solved.u_common_ohm / expected - 1.0).abs() < 1e-6, "{} {expected}", solved.u_common_ohm);
        assert_eq!(solved.u_noise_ohm, 0.0);
    }

    #[test]
    fn a_jig_that_can_not_be_is_refused() {
        for (broken, word) in [
            (JigFacts::of_sense(0.0), "sense"),
            (JigFacts { known_ohm: Some(-1.0), ..facts() }, "known"),
            (JigFacts { lead_ohm: Some(f64::NAN), ..facts() }, "leads"),
            (JigFacts { sense_tolerance_ratio: 1.0, ..facts() }, "tolerance"),
        ] {
            assert!(broken.check().unwrap_err().to_string().contains(word), "{broken:?}");
        }
        assert!(facts().check().is_ok());
    }
}
