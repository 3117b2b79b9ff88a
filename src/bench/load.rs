//! What hangs on the jig's clips.
//!
//! ```text
//! value(t) = value·(1 + share·(1 − e^{−t/τ}))
//! ```
//!
//! share: how much it has changed in the end; τ: time constant, s; t counts from the start of the recording. So a voice
//! coil warms up (R_e), and a new suspension breaks in (C_ms grows, R_ms falls).
//! Ours: one time constant is the simplest way towards a new state of rest; real coils and magnets have several.

use super::defect::Defect;
use super::driver::Driver;
use super::enclosure::{Enclosure, Opening, RingingWall};
use super::error::{BenchError, check};
use super::load_circuit::MOST_WAYS;
use super::speaker::{Filter, Pad, Polarity, Speaker, Way};
use serde::{Deserialize, Serialize};

/// What hangs on the jig's clips.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Load {
    /// Nothing.
    Open,
    /// The clips are joined.
    Short,
    /// A resistor.
    Resistor {
        /// Its value.
        ohm: f64,
    },
    /// One driver.
    Driver(Box<HungDriver>),
    /// A whole loudspeaker, its ways side by side with their crossover.
    Loudspeaker(Speaker),
}

/// A driver on the jig.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HungDriver {
    /// The driver, cold and new.
    pub driver: Driver,
    /// Mass that was added to the cone.
    pub added_mass_kg: f64,
    /// The box behind it; absent: free air.
    pub enclosure: Option<Enclosure>,
    /// A capacitor in series, by mistake or as protection.
    pub series_capacitor_f: Option<f64>,
    /// Creep of the suspension, κ of `creep.rs`; zero: none.
    pub creep_per_decade: f64,
    /// How the voice coil's resistance grows.
    pub warm_up: Change,
    /// How the compliance grows.
    pub break_in: Change,
    /// What becomes of the mechanical resistance meanwhile, a share; negative: it falls.
    pub loss_share: f64,
}

/// A slow change of a value towards another one.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Change {
    /// How much larger the value is in the end, as a share of what it was.
    pub share: f64,
    /// Time constant.
    pub time_s: f64,
}

impl Change {
    /// Nothing changes.
    pub const NONE: Self = Self { share: 0.0, time_s: 1.0 };

    /// The value's factor at a time; 1 before the start.
    pub fn factor(&self, time_s: f64) -> f64 {
        1.0 + self.share * -(-time_s.max(0.0) / self.time_s).exp_m1()
    }

    fn check(&self, what: &'static str) -> Result<(), BenchError> {
        check(what, self.share, [-0.9, 10.0])?;
        check("time constant of a change in s", self.time_s, [0.01, 1e6])
    }
}

/// What moves along with the mid-woofer in a box more than in free air: an eighth of the 0.41 g that (8/3)·ρ·a³ on both
/// sides weigh.
const BOXED_AIR_KG: f64 = 0.05e-3;
/// Air that is no box: one in which a driver of 1 m³ of V_as rises by a part in 10⁹.
const FREE_AIR_M3: f64 = 1e9;

impl HungDriver {
    /// A driver in free air, steady.
    pub fn free(driver: Driver) -> Self {
        Self {
            driver,
            added_mass_kg: 0.0,
            enclosure: None,
            series_capacitor_f: None,
            creep_per_decade: 0.0,
            warm_up: Change::NONE,
            break_in: Change::NONE,
            loss_share: 0.0,
        }
    }

    /// The mid-woofer of the small satellite.
    pub fn mid() -> Self {
        Self::free(Speaker::rear_satellite().ways.swap_remove(0).driver)
    }

    /// The mid-woofer in the first box that was built for it: 1.82 l instead of the designed 1.9, a leaking seam, a
    /// wall that rings.
    pub fn first_box() -> Self {
        let wall = RingingWall { hz: 372.0, q: 35.0, share: 0.012 };
        let enclosure = Enclosure { ql: Some(8.0), qa: Some(45.0), wall: Some(wall), ..Enclosure::closed(1.82e-3) };
        Self { enclosure: Some(enclosure), added_mass_kg: BOXED_AIR_KG, ..Self::mid() }
    }

    /// The same box, sealed, with a brace on that wall.
    pub fn sealed_box() -> Self {
        let wall = RingingWall { hz: 610.0, q: 25.0, share: 0.003 };
        let enclosure = Enclosure { qa: Some(40.0), wall: Some(wall), ..Enclosure::closed(1.81e-3) };
        Self { enclosure: Some(enclosure), added_mass_kg: BOXED_AIR_KG, ..Self::mid() }
    }

    /// The mid-woofer in a vented box of 4 l whose tube came out 12 mm too long: 87 Hz where 93 Hz were designed.
    pub fn vented_box() -> Self {
        let opening = Opening::Vent { diameter_m: 0.032, length_m: 0.057, count: 1, qp: Some(60.0) };
        let enclosure = Enclosure { ql: Some(18.0), qa: Some(60.0), opening: Some(opening), ..Enclosure::closed(4e-3) };
        Self { enclosure: Some(enclosure), added_mass_kg: BOXED_AIR_KG, ..Self::mid() }
    }

    /// The mid-woofer in a box of 4 l with a passive radiator.
    pub fn radiator_box() -> Self {
        let opening = Opening::PassiveRadiator { mass_kg: 8e-3, area_m2: 60e-4, fp_hz: 45.0, qmp: 8.0 };
        let enclosure = Enclosure { ql: Some(25.0), qa: Some(60.0), opening: Some(opening), ..Enclosure::closed(4e-3) };
        Self { enclosure: Some(enclosure), added_mass_kg: BOXED_AIR_KG, ..Self::mid() }
    }

    /// Whether it is another driver at the end than at the start.
    pub fn changes(&self) -> bool {
        self.warm_up.share != 0.0 || self.break_in.share != 0.0 || self.loss_share != 0.0
    }

    /// What the driver has become at a time, with the added mass.
    pub(super) fn driver_at(&self, time_s: f64) -> Driver {
        let driver = &self.driver;
        let losses = Change { share: self.loss_share, ..self.break_in };
        Driver {
            re_ohm: driver.re_ohm * self.warm_up.factor(time_s),
            cms_m_n: driver.cms_m_n * self.break_in.factor(time_s),
            rms_kg_s: driver.rms_kg_s * losses.factor(time_s),
            mms_kg: driver.mms_kg + self.added_mass_kg,
            ..driver.clone()
        }
    }

    /// The driver at the start with its air, as a way without filter.
    pub(super) fn way(&self) -> Way {
        let free = Enclosure::closed(FREE_AIR_M3);
        Way {
            name: "driver".to_owned(),
            driver: self.driver_at(0.0),
            enclosure: self.enclosure.unwrap_or(free),
            filter: Filter::None,
            pad: Pad::default(),
            polarity: Polarity::Straight,
            above_axis_m: 0.0,
            defect: None,
        }
    }

    fn check(&self) -> Result<(), BenchError> {
        self.driver.check("driver")?;
        check("added mass in kg", self.added_mass_kg, [0.0, 10.0])?;
        self.enclosure.as_ref().map_or(Ok(()), Enclosure::check)?;
        check("series capacitor in F", self.series_capacitor_f.unwrap_or(1e-6), [1e-8, 1.0])?;
        check("creep per decade", self.creep_per_decade, [0.0, 1.0])?;
        self.warm_up.check("warming up of the voice coil, a share")?;
        self.break_in.check("breaking in of the compliance, a share")?;
        check("change of the mechanical resistance, a share", self.loss_share, [-0.9, 10.0])
    }
}

impl Load {
    /// Its ways as the circuit sees them; none for what does not move.
    pub(super) fn ways(&self) -> Vec<Way> {
        match self {
            Self::Open | Self::Short | Self::Resistor { .. } => Vec::new(),
            Self::Driver(hung) => vec![hung.way()],
            Self::Loudspeaker(speaker) => speaker.ways.clone(),
        }
    }

    /// Refuses values without physical sense.
    pub(super) fn check(&self) -> Result<(), BenchError> {
        match self {
            Self::Open | Self::Short => Ok(()),
            Self::Resistor { ohm } => check("resistor on the jig in ohm", *ohm, [1e-6, 1e9]),
            Self::Driver(hung) => hung.check(),
            Self::Loudspeaker(speaker) if speaker.ways.len() > MOST_WAYS => {
                Err(BenchError::TooManyWays { found: speaker.ways.len(), most: MOST_WAYS })
            }
            Self::Loudspeaker(speaker) => {
                let loose = speaker.ways.iter().find(|way| matches!(way.defect, Some(Defect::Loose(_))));
                loose.map_or(Ok(()), |way| Err(BenchError::LooseOnJig { way: way.name.clone() }))?;
                speaker.check()
            }
        }
    }
}
