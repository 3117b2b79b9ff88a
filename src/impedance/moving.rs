//! What moves behind the terminals, from all that is known of it, with every doubt carried along.
//!
//! ```text
//! ln M_ms = Σ wᵢ·ln M_i       wᵢ: the weights of the least doubt among added mass, test box, known mass
//! ```
//!
//! Each of the two curves tells its answer twice, by the resonance and by the damping, which are joined the same way.
//! The weights are found first and then held, so that the rest is one function of the numbers that were measured:
//! the covariance of everything follows from theirs (`math::propagated`). Where two answers differ by more than twice the
//! doubt of their difference, something is wrong that no doubt holds; the doubt of their mean is then widened in
//! proportion, and it is said.
//! Source of joining and widening: R. T. Birge, Physical Review 40 (1932) 207–227; the threshold of 2 is ours.

use super::added_mass::{grown_mass_kg, mass_growth};
use super::evidence::{Doubted, Evidence, Numbers, Place};
use super::plausible::plausibility;
use super::shift::{disagreement, shift_findings, two_ways};
use super::test_box::{BoxedCone, more_air_in_box_kg, stiffness_ratio_by_damping, stiffness_ratio_by_resonance};
use super::{
    DATA_SHEET_V, DriverFit, ImpedanceError, Mounting, Radiator, Resonance, air_load_kg, equivalent_volume_m3,
};
use crate::math::{Correlated, best_weights, propagated};
use crate::quantity::{Air, Finding};

/// How a moving mass was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)] // each is what it is called
pub enum Method {
    AddedMass,
    TestBox,
    KnownMass,
}

impl Method {
    /// Its name in documents.
    pub fn name(self) -> &'static str {
        match self {
            Self::AddedMass => "added-mass",
            Self::TestBox => "test-box",
            Self::KnownMass => "known-mass",
        }
    }
}

/// What one method alone gives; SI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MethodResult {
    /// Which.
    pub method: Method,
    /// M_ms; absent where the box is all there is and the cone's area is not known.
    pub mms_kg: Option<Doubted>,
    /// V_as; absent where the cone's area is not known.
    pub vas_m3: Option<Doubted>,
    /// What the textbook's formula makes of the two resonances alone: M_ms in kg, V_as in m³ for a test box.
    pub textbook: Option<f64>,
    /// How far resonance and damping are apart in this method, over the doubt of that.
    pub apart: Option<f64>,
    /// Its weight in the result.
    pub weight: f64,
}

/// Two methods side by side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Agreement {
    /// The one.
    pub a: Method,
    /// The other.
    pub b: Method,
    /// By how much the moving mass of `a` is above that of `b`.
    pub difference_percent: Doubted,
}

impl Agreement {
    /// Whether the difference is within what their doubts allow.
    pub fn agree(&self) -> bool {
        self.difference_percent.value.abs() <= MOST_APART * self.difference_percent.u
    }
}

/// Differences of more than so many standard uncertainties are none of chance.
const MOST_APART: f64 = 2.0;
/// Resonance and damping of one method are said to be apart from here on.
const CERTAINLY_APART: f64 = 3.0;

/// All parameters of a driver, as far as the evidence goes.
#[derive(Debug, Clone, PartialEq)]
pub struct DriverParameters {
    /// The fit's own names, then `qts`, `sd_m2`, `mms_kg`, `mmd_kg`, `cms_m_n`, `rms_kg_s`, `bl_tm`, `vas_m3`,
    /// `eta0_ratio`, `sensitivity_db` (2.83 V, 1 m, half space), `sensitivity_1w_db`; only those that can be had.
    pub names: Vec<&'static str>,
    /// Their values and covariance.
    pub numbers: Correlated,
    /// Each method by itself.
    pub methods: Vec<MethodResult>,
    /// The methods in pairs.
    pub agreements: Vec<Agreement>,
    /// What there is to say about trust.
    pub findings: Vec<Finding>,
}

impl DriverParameters {
    /// Value and standard uncertainty by name.
    pub fn value(&self, name: &str) -> Option<Doubted> {
        let at = self.names.iter().position(|&known| known == name)?;
        Some(Doubted { value: self.numbers.values[at], u: self.numbers.u(at) })
    }
}

/// All parameters of a driver from its free-air fit and whatever else is known.
///
/// # Errors
/// [`ImpedanceError::NotAMeasure`] for a mass, volume or area that is not above zero.
pub fn driver_parameters(free: &DriverFit, evidence: &Evidence) -> Result<DriverParameters, ImpedanceError> {
    let numbers = Numbers::of(free, evidence)?;
    let mut mechanics = Mechanics { numbers, air: evidence.air, mounting: evidence.mounting, ways: Ways::default() };
    let mut findings = shift_findings(free, evidence);
    let apart = mechanics.join_ways(&mut findings);
    let masses = propagated(&mechanics.numbers.all, |p| mechanics.log_masses(p).into_iter().map(|m| m.1).collect());
    let found: Vec<Method> = mechanics.log_masses(&mechanics.numbers.all.values).into_iter().map(|m| m.0).collect();
    let agreements = agreements(&found, &masses);
    mechanics.ways.methods = mass_weights(&found, &masses, &agreements);
    findings.extend(agreements.iter().filter(|pair| !pair.agree()).map(disagreement));
    let at_values = mechanics.parameters(&mechanics.numbers.all.values);
    let mut names = free.names.clone();
    names.extend(at_values.iter().map(|(name, _)| *name));
    let fitted = mechanics.numbers.free.end();
    let mut result = propagated(&mechanics.numbers.all, |p| {
        p[..fitted].iter().copied().chain(mechanics.parameters(p).into_iter().map(|(_, value)| value)).collect()
    });
    // The fit's own numbers stay what they are, to the last digit.
    for (row, own) in result.covariance.iter_mut().zip(&free.covariance) {
        row[..fitted].copy_from_slice(own);
    }
    let methods = mechanics.method_results(apart);
    let mut parameters = DriverParameters { names, numbers: result, methods, agreements, findings };
    parameters.findings.extend(plausibility(&parameters, &evidence.air));
    Ok(parameters)
}

/// The weights of the two ways within each method, and of the methods.
#[derive(Debug, Clone, Default, PartialEq)]
struct Ways {
    mass: [f64; 2],
    volume: [f64; 2],
    /// Places of what widens a method whose ways are apart: 0 with the doubt that is to be added.
    mass_slack: Option<usize>,
    box_slack: Option<usize>,
    methods: Vec<(Method, f64)>,
}

struct Mechanics {
    numbers: Numbers,
    air: Air,
    mounting: Mounting,
    ways: Ways,
}

impl Mechanics {
    /// Weighs resonance against damping within each method; how far they are apart.
    fn join_ways(&mut self, findings: &mut Vec<Finding>) -> [Option<f64>; 2] {
        let mut apart = [None, None];
        if let Some((loaded, _)) = self.numbers.loaded.clone().zip(self.numbers.added) {
            let free = self.numbers.free.clone();
            let two = propagated(&self.numbers.all, |p| mass_growth(&free.resonance(p), &loaded.resonance(p)).into());
            if two.values.iter().all(|growth| growth.is_finite()) && two.values[0] > 0.0 {
                let joined = Joined::of(&two);
                self.ways.mass = joined.weights;
                self.ways.mass_slack = Some(self.add_slack(joined.slack));
                apart[0] = Some(joined.apart);
            } else {
                self.numbers.loaded = None;
            }
        }
        if self.numbers.boxed.is_some() {
            let two = propagated(&self.numbers.all, |p| self.stiffness_ratios(p));
            if two.values.iter().all(|alpha| alpha.is_finite() && *alpha > 0.0) {
                let joined = match self.numbers.sd {
                    Some(_) => Joined::of(&two),
                    None => Joined { weights: [0.0, 1.0], slack: 0.0, apart: 0.0 },
                };
                self.ways.volume = joined.weights;
                self.ways.box_slack = Some(self.add_slack(joined.slack));
                apart[1] = self.numbers.sd.map(|_| joined.apart);
            } else {
                self.numbers.boxed = None;
            }
        }
        for (apart, method) in apart.iter().zip([Method::AddedMass, Method::TestBox]) {
            findings.extend(apart.filter(|apart| apart.abs() > CERTAINLY_APART).map(|apart| two_ways(method, apart)));
        }
        apart
    }

    fn add_slack(&mut self, u: f64) -> usize {
        let all = &mut self.numbers.all;
        let at = all.values.len();
        all.values.push(0.0);
        all.covariance.iter_mut().for_each(|row| row.push(0.0));
        let mut row = vec![0.0; at + 1];
        row[at] = u * u;
        all.covariance.push(row);
        at
    }

    /// α by resonance, which needs the cone's area, and by damping.
    fn stiffness_ratios(&self, p: &[f64]) -> Vec<f64> {
        let Some(boxed) = &self.numbers.boxed else { return vec![f64::NAN; 2] };
        let (free, boxed) = (self.numbers.free.resonance(p), boxed.resonance(p));
        let by_damping = stiffness_ratio_by_damping(&free, &boxed);
        let by_resonance = self.boxed_cone(p).map(|cone| stiffness_ratio_by_resonance(&free, &boxed, &cone, &self.air));
        vec![by_resonance.unwrap_or(by_damping), by_damping]
    }

    fn boxed_cone(&self, p: &[f64]) -> Option<BoxedCone> {
        let (sd_m2, volume_m3) = (p[self.numbers.sd?], p[self.numbers.volume?]);
        let [mean_kg, u_kg] = more_air_in_box_kg(sd_m2, self.mounting, &self.air);
        Some(BoxedCone { volume_m3, sd_m2, more_air_kg: mean_kg + u_kg * p[self.numbers.more_air?] })
    }

    /// V_as by the test box.
    fn boxed_volume_m3(&self, p: &[f64]) -> Option<f64> {
        self.numbers.boxed.as_ref()?;
        let ratios = self.stiffness_ratios(p);
        let slack = self.ways.box_slack.map_or(0.0, |at| p[at]);
        let alpha = self.ways.volume[0] * ratios[0] + self.ways.volume[1] * ratios[1];
        Some(alpha * slack.exp() * p[self.numbers.volume?])
    }

    fn added_mass_kg(&self, p: &[f64]) -> Option<f64> {
        let loaded = self.numbers.loaded.as_ref()?.resonance(p);
        let growths = mass_growth(&self.numbers.free.resonance(p), &loaded);
        let slack = self.ways.mass_slack.map_or(0.0, |at| p[at]);
        let growth = self.ways.mass[0] * growths[0] + self.ways.mass[1] * growths[1];
        Some(grown_mass_kg(p[self.numbers.added?], growth * slack.exp()))
    }

    /// ln M_ms by each method that has one.
    fn log_masses(&self, p: &[f64]) -> Vec<(Method, f64)> {
        let free = self.numbers.free.resonance(p);
        let by_box = self.boxed_volume_m3(p).zip(self.numbers.sd).map(|(vas, sd)| free.mass_kg(vas, p[sd], &self.air));
        [
            (Method::AddedMass, self.added_mass_kg(p)),
            (Method::TestBox, by_box),
            (Method::KnownMass, self.numbers.mms.map(|at| p[at])),
        ]
        .into_iter()
        .filter_map(|(method, mass_kg)| Some((method, mass_kg?.ln())))
        .collect()
    }

    fn mass_kg(&self, p: &[f64]) -> Option<f64> {
        let masses = self.log_masses(p);
        let weight = |method| self.ways.methods.iter().find(|way| way.0 == method).map_or(0.0, |way| way.1);
        let sum: f64 = masses.iter().map(|(method, ln)| weight(*method) * ln).sum();
        (!masses.is_empty()).then(|| sum.exp())
    }

    fn parameters(&self, p: &[f64]) -> Vec<(&'static str, f64)> {
        let free = self.numbers.free.resonance(p);
        let sd_m2 = self.numbers.sd.map(|at| p[at]);
        let mut found = vec![("qts", free.qts())];
        found.extend(sd_m2.map(|sd_m2| ("sd_m2", sd_m2)));
        match self.mass_kg(p) {
            Some(mms_kg) => found.extend(self.of_mass(&free, mms_kg, sd_m2)),
            None => found.extend(self.boxed_volume_m3(p).map(|vas_m3| ("vas_m3", vas_m3))),
        }
        found
    }

    fn of_mass(&self, free: &Resonance, mms_kg: f64, sd_m2: Option<f64>) -> Vec<(&'static str, f64)> {
        let (cms_m_n, bl_tm) = (free.compliance_m_n(mms_kg), free.force_factor_tm(mms_kg));
        let mut found = vec![
            ("mms_kg", mms_kg),
            ("cms_m_n", cms_m_n),
            ("rms_kg_s", free.resistance_kg_s(mms_kg)),
            ("bl_tm", bl_tm),
        ];
        if let Some(sd_m2) = sd_m2 {
            let radiator = Radiator { re_ohm: free.re_ohm, bl_tm, mms_kg, sd_m2 };
            found.extend([
                ("mmd_kg", mms_kg - air_load_kg(sd_m2, self.mounting, &self.air)),
                ("vas_m3", equivalent_volume_m3(cms_m_n, sd_m2, &self.air)),
                ("eta0_ratio", radiator.efficiency_ratio(&self.air)),
                ("sensitivity_db", radiator.level_db_spl(DATA_SHEET_V, &self.air)),
                ("sensitivity_1w_db", radiator.level_db_spl(free.re_ohm.sqrt(), &self.air)),
            ]);
        }
        found
    }

    fn method_results(&self, apart: [Option<f64>; 2]) -> Vec<MethodResult> {
        let all = &self.numbers.all;
        let one = |number: &dyn Fn(&[f64]) -> Option<f64>| {
            number(&all.values)?;
            let found = propagated(all, |p| vec![number(p).unwrap_or(f64::NAN)]);
            Some(Doubted { value: found.values[0], u: found.u(0) })
        };
        let result = |method: Method| {
            let mass = |p: &[f64]| self.log_masses(p).into_iter().find(|m| m.0 == method).map(|m| m.1.exp());
            let volume = |p: &[f64]| match (method, mass(p), self.numbers.sd) {
                (Method::TestBox, _, _) => self.boxed_volume_m3(p),
                (_, Some(kg), Some(sd)) => {
                    let cms_m_n = self.numbers.free.resonance(p).compliance_m_n(kg);
                    Some(equivalent_volume_m3(cms_m_n, p[sd], &self.air))
                }
                _ => None,
            };
            let (mms_kg, vas_m3) = (one(&mass), one(&volume));
            let weighed = self.ways.methods.iter().find(|way| way.0 == method).map(|way| way.1);
            (mms_kg.is_some() || vas_m3.is_some()).then(|| MethodResult {
                method,
                mms_kg,
                vas_m3,
                textbook: self.textbook(method),
                apart: match method {
                    Method::AddedMass => apart[0],
                    Method::TestBox => apart[1],
                    Method::KnownMass => None,
                },
                weight: weighed.unwrap_or(1.0),
            })
        };
        [Method::AddedMass, Method::TestBox, Method::KnownMass].into_iter().filter_map(result).collect()
    }

    /// M_ms = ΔM/((f_s/f_s')² − 1), or V_as = V_b·((f_c/f_s)² − 1).
    fn textbook(&self, method: Method) -> Option<f64> {
        let p = &self.numbers.all.values;
        let square = |other: &Option<Place>| {
            Some((other.as_ref()?.resonance(p).fs_hz / self.numbers.free.resonance(p).fs_hz).powi(2))
        };
        match method {
            Method::AddedMass => Some(p[self.numbers.added?] / (1.0 / square(&self.numbers.loaded)? - 1.0)),
            Method::TestBox => Some(p[self.numbers.volume?] * (square(&self.numbers.boxed)? - 1.0)),
            Method::KnownMass => None,
        }
    }
}

/// Two answers to one question, joined.
struct Joined {
    weights: [f64; 2],
    /// What their being apart adds to the relative doubt of the mean.
    slack: f64,
    apart: f64,
}

impl Joined {
    fn of(two: &Correlated) -> Self {
        let weights = best_weights(&two.covariance);
        let weights = [weights[0], weights[1]];
        let u_apart = two.u_difference(0, 1);
        let apart = if u_apart > 0.0 { (two.values[0] - two.values[1]) / u_apart } else { 0.0 };
        let mean = weights[0] * two.values[0] + weights[1] * two.values[1];
        let mean_of = |values: &[f64]| weights[0] * values[0] + weights[1] * values[1];
        let own_u = propagated(two, |values| vec![mean_of(values)]).u(0);
        let widened = (apart.abs() / MOST_APART).max(1.0);
        Self { weights, slack: own_u * (widened * widened - 1.0).sqrt() / mean, apart }
    }
}

fn agreements(found: &[Method], masses: &Correlated) -> Vec<Agreement> {
    let pair = |a: usize, b: usize| Agreement {
        a: found[a],
        b: found[b],
        difference_percent: Doubted {
            value: 100.0 * (masses.values[a] - masses.values[b]).exp_m1(),
            u: 100.0 * masses.u_difference(a, b),
        },
    };
    (0..found.len()).flat_map(|a| (a + 1..found.len()).map(move |b| (a, b))).map(|(a, b)| pair(a, b)).collect()
}

/// All methods together where they agree; else the first, which leans on the fewest other numbers.
fn mass_weights(found: &[Method], masses: &Correlated, agreements: &[Agreement]) -> Vec<(Method, f64)> {
    let weights = if agreements.iter().all(Agreement::agree) {
        best_weights(&masses.covariance)
    } else {
        (0..found.len()).map(|at| if at == 0 { 1.0 } else { 0.0 }).collect()
    };
    found.iter().copied().zip(weights).collect()
}
