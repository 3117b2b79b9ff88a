//! A loudspeaker as it was designed: its ways, its box, its front, its network, and from where it is heard.

use super::{Cone, MeasuredWay};
use crate::baffle::FlatBaffle;
use crate::enclosure::{LossFactors, Port};
use crate::network::{GROUND, INPUT, Netlist};
use crate::quantity::Air;

/// A loudspeaker; SI.
#[derive(Debug, Clone, PartialEq)]
pub struct Design {
    /// The air.
    pub air: Air,
    /// Its ways, at least one.
    pub ways: Vec<Way>,
    /// The box behind those ways that are in it.
    pub cabinet: Option<Cabinet>,
    /// Its front; absent: an endless wall.
    pub front: Option<Front>,
    /// What lies between amplifier and ways.
    pub network: Netlist,
    /// How far its parts are off, relative standard deviation; none said: by kind.
    pub part_spread: Option<f64>,
    /// Where the axis passes through the front; absent: the middle between the outermost ways.
    pub axis_m: Option<[f64; 2]>,
    /// From where it is heard.
    pub ear: Ear,
    /// Whether the front's edges count.
    pub space: Space,
    /// What the amplifier gives, rms.
    pub drive_v: f64,
}

/// From where a loudspeaker is heard.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ear {
    /// Distance from where the axis passes through the front.
    pub distance_m: f64,
    /// Angle from the axis, to the right seen from the loudspeaker's front.
    pub across_rad: f64,
    /// Angle from the axis, upwards.
    pub up_rad: f64,
}

/// The space that a loudspeaker radiates into.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Space {
    /// With a front: the whole space around it. Without one: half of it.
    #[default]
    AsDesigned,
    /// Half of it, as if the front were an endless wall.
    Half,
    /// The whole, as if there were no front at all.
    Full,
}

/// A way of a loudspeaker.
#[derive(Debug, Clone, PartialEq)]
pub struct Way {
    /// Its driver's name.
    pub name: String,
    /// What sounds.
    pub source: Source,
    /// Its nodes in the network, plus and minus.
    pub nodes: [usize; 2],
    /// How it is connected.
    pub polarity: Polarity,
    /// Place on the front, from its lower left corner; absent: on the axis.
    pub at_m: Option<[f64; 2]>,
    /// How far its acoustic centre lies behind the front.
    pub behind_m: f64,
    /// Whether its rear works on the box.
    pub rear: Rear,
}

/// Where the rear of a cone is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rear {
    /// In the loudspeaker's box.
    InBox,
    /// In a chamber of its own that its numbers hold already, or behind an endless wall.
    OnItsOwn,
}

/// What sounds.
#[derive(Debug, Clone, PartialEq)]
pub enum Source {
    /// A driver known by its parameters.
    Cone(Cone),
    /// A driver known by its curves.
    Curves(MeasuredWay),
}

/// Plus to plus, or not.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Polarity {
    /// A positive voltage moves the cone outwards.
    #[default]
    Straight,
    /// The wires are swapped.
    Reversed,
}

/// A box.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cabinet {
    /// Volume of its air.
    pub volume_m3: f64,
    /// What it has beside the drivers.
    pub opening: CabinetOpening,
    /// What it loses: at f_c for a closed box, at f_b for one with an opening.
    pub losses: LossFactors,
}

/// What a box has beside the drivers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum CabinetOpening {
    /// Nothing: closed.
    None,
    /// Tubes that tune it.
    Port(Port),
    /// A vent of which only the tuning is known.
    Vent {
        /// Tuning.
        fb_hz: f64,
    },
    /// A passive radiator.
    PassiveRadiator {
        /// Tuning of the box with it.
        fb_hz: f64,
        /// Its own resonance.
        fp_hz: f64,
    },
    /// No back.
    Back {
        /// Area of what is open.
        area_m2: f64,
    },
}

/// The front of a box.
#[derive(Debug, Clone, PartialEq)]
pub enum Front {
    /// A flat one with edges.
    Flat(FlatBaffle),
    /// The box is a ball.
    Sphere {
        /// Its diameter.
        diameter_m: f64,
    },
}

impl Polarity {
    /// +1 or −1.
    pub fn sign(self) -> f64 {
        match self {
            Self::Straight => 1.0,
            Self::Reversed => -1.0,
        }
    }

    /// The other one.
    pub fn turned(self) -> Self {
        match self {
            Self::Straight => Self::Reversed,
            Self::Reversed => Self::Straight,
        }
    }

    /// `+` or `-`.
    pub fn symbol(self) -> &'static str {
        match self {
            Self::Straight => "+",
            Self::Reversed => "-",
        }
    }
}

impl Way {
    /// A way at the amplifier, on the axis, in the box.
    pub fn plain(name: &str, source: Source) -> Self {
        Self {
            name: name.to_owned(),
            source,
            nodes: [INPUT, GROUND],
            polarity: Polarity::Straight,
            at_m: None,
            behind_m: 0.0,
            rear: Rear::InBox,
        }
    }

    /// Its cone, where it is known by its parameters.
    pub fn cone(&self) -> Option<&Cone> {
        match &self.source {
            Source::Cone(cone) => Some(cone),
            Source::Curves(_) => None,
        }
    }
}

impl Ear {
    /// A metre away on the axis.
    pub const USUAL: Self = Self { distance_m: 1.0, across_rad: 0.0, up_rad: 0.0 };
}

impl CabinetOpening {
    /// f_b of a box with this volume; none for a closed or an open one.
    pub fn tuning_hz(&self, volume_m3: f64, air: &Air) -> Option<f64> {
        match self {
            Self::None | Self::Back { .. } => None,
            Self::Port(port) => Some(port.fb_hz(volume_m3, air)),
            Self::Vent { fb_hz } | Self::PassiveRadiator { fb_hz, .. } => Some(*fb_hz),
        }
    }
}

/// Coils and resistors of ± 5 %, capacitors of ± 10 % (common practice), as standard deviations.
const PART_SPREADS: [f64; 3] = [0.025, 0.025, 0.05];

impl Design {
    /// How far a part is usually off, relative.
    pub fn part_spread(&self, at: usize) -> f64 {
        let [resistor, coil, capacitor] = PART_SPREADS;
        self.part_spread.unwrap_or(match self.network.parts[at].kind {
            crate::network::Kind::Resistor => resistor,
            crate::network::Kind::Coil => coil,
            crate::network::Kind::Capacitor => capacitor,
        })
    }

    /// Where the axis passes through the front: as given, or the middle between the outermost ways, or of the front.
    pub fn axis_m(&self) -> [f64; 2] {
        let places: Vec<[f64; 2]> = self.ways.iter().filter_map(|way| way.at_m).collect();
        let middle = |at: usize| {
            let along = places.iter().map(|place| place[at]);
            let [least, most] = [along.clone().fold(f64::MAX, f64::min), along.fold(f64::MIN, f64::max)];
            (least + most) / 2.0
        };
        let of_ways = (!places.is_empty()).then(|| [middle(0), middle(1)]);
        self.axis_m.or(of_ways).unwrap_or_else(|| self.front.as_ref().map_or([0.0; 2], Front::middle_m))
    }
}

impl Front {
    /// Cosine of the angle between two places of a ball, seen from its middle; places as seen from the front.
    pub(super) fn cosine_between(&self, one_m: [f64; 2], other_m: [f64; 2]) -> f64 {
        let radius_m = match self {
            Self::Sphere { diameter_m } => diameter_m / 2.0,
            Self::Flat(_) => return 1.0,
        };
        let middle_m = self.middle_m();
        let from_middle = |place: [f64; 2]| {
            let [x, y] = [place[0] - middle_m[0], place[1] - middle_m[1]];
            [x, y, (radius_m * radius_m - x * x - y * y).max(0.0).sqrt()]
        };
        let (one, other) = (from_middle(one_m), from_middle(other_m));
        let product: f64 = one.iter().zip(other).map(|(a, b)| a * b).sum();
        product / (radius_m * radius_m)
    }

    /// Its middle, from the lower left corner.
    pub fn middle_m(&self) -> [f64; 2] {
        use crate::baffle::Outline;
        match self {
            Self::Sphere { diameter_m } => [diameter_m / 2.0; 2],
            Self::Flat(FlatBaffle { outline: Outline::Circle { centre_m, .. }, .. }) => *centre_m,
            Self::Flat(FlatBaffle { outline: Outline::Polygon(corners), .. }) => {
                let middle = |at: usize| {
                    let along = corners.iter().map(|corner| corner[at]);
                    (along.clone().fold(f64::MAX, f64::min) + along.fold(f64::MIN, f64::max)) / 2.0
                };
                [middle(0), middle(1)]
            }
        }
    }
}
