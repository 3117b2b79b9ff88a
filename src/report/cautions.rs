//! What can hurt people, drivers and amplifiers, in plain words, in one place for program and report.
//!
//! Where the facts come from:
//!
//! - Hearing: NIOSH publication 98-126, "Criteria for a Recommended Standard: Occupational Noise Exposure" (1998): 85 dB(A)
//!   for 8 h, 3 dB more halves the time, `t = 8 h/2^((L−85)/3)`: 94 dB 1 h, 100 dB 15 min. Its ceiling of 140 dB peak is not
//!   used here: we have it from memory only.
//! - Bridge-tied outputs: both terminals are live; a grounded input on either shorts an output stage (public notes on
//!   measuring amplifiers).
//! - Line inputs: 100 W into 8 Ω is √(100·8) = 28.3 V rms, 40 V peak (derived).
//! - Resistors and coils: P = V²/R, 2 V of direct voltage into 5.6 Ω is 0.71 W (derived). A charged capacitor falls as
//!   `t = R·C·ln(V₀/V₁)` (derived).
//! - Vented boxes: below its tuning the driver is not held by the air of the box (public lecture notes).
//! - Protective earth: principle of IEC 62368-1; sweep level and treble protection: common practice (both from memory), like
//!   the advice on dividers, series capacitors and the rating of resistors.

/// When a caution matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Moment {
    /// While cables and amplifiers are being connected.
    Wiring,
    /// Just before a sound is played through a loudspeaker.
    BeforeSound,
    /// Before a treble driver is driven, above all without its crossover.
    TrebleDriver,
    /// Before a line input is connected to an amplifier's output, or parts are measured at one.
    AmplifierOutput,
    /// While parts with mains, large capacitors or load resistors are being handled.
    Parts,
}

/// What one of the [`CAUTIONS`] is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Danger {
    /// To the ears.
    Hearing,
    /// To any driver: too much travel or heat.
    Driver,
    /// To a treble driver.
    TrebleDriver,
    /// To amplifiers whose two output terminals are both live.
    BridgedOutput,
    /// To people, from the mains.
    ProtectiveEarth,
    /// To the input of an interface.
    LineInput,
    /// From resistors that dissipate power.
    HotResistor,
    /// From capacitors that keep their charge.
    ChargedCapacitor,
}

/// A warning: what it is about, when it matters, and what to do in plain words.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Caution {
    /// What it is about.
    pub danger: Danger,
    /// When it matters.
    pub moments: &'static [Moment],
    /// A few words for a heading.
    pub heading: &'static str,
    /// What can happen, and what to do.
    pub says: &'static str,
}

/// Stands beside every list of cautions.
pub const LOCAL_CODES_FIRST: &str =
    "Local electrical codes and licensed practice come first; where they say otherwise, follow them and not this text.";

/// All cautions, those that concern people first.
pub const CAUTIONS: [Caution; 8] = [
    Caution {
        danger: Danger::Hearing,
        moments: &[Moment::BeforeSound],
        heading: "Your ears",
        says: "Start at a low level and raise it in small steps. 85 dB(A) is the recommended limit for a working day of 8 hours, and every \
               3 dB more halves the time: 94 dB one hour, 100 dB a quarter of an hour. A sweep sounds louder as it rises. \
               Wear ear protection or leave the room for anything loud, and keep others and animals out.",
    },
    Caution {
        danger: Danger::ProtectiveEarth,
        moments: &[Moment::Wiring, Moment::AmplifierOutput, Moment::Parts],
        heading: "The protective earth stays connected",
        says: "Never lift the protective earth of a mains plug to get rid of hum: it is what keeps a faulty case from killing \
               you. Use an isolated or differential input, an audio transformer, or put everything on one outlet.",
    },
    Caution {
        danger: Danger::ChargedCapacitor,
        moments: &[Moment::Wiring, Moment::Parts],
        heading: "Capacitors keep their charge",
        says: "Discharge the capacitors of a crossover or of an amplifier's power supply before you touch or connect them: they stay \
               charged after all is switched off. Use a resistor, never a screwdriver, and measure that the voltage is gone.",
    },
    Caution {
        danger: Danger::HotResistor,
        moments: &[Moment::Wiring, Moment::AmplifierOutput, Moment::Parts],
        heading: "Resistors get hot",
        says: "Take a sense or load resistor rated for several times the heat that it gets, V²/R, or 12.5 W for 10 V across 8 ohm. \
               Keep it clear of table and fingers, and let it cool before you trust its value.",
    },
    Caution {
        danger: Danger::Driver,
        moments: &[Moment::BeforeSound],
        heading: "Any driver",
        says: "Begin at least 20 dB below the level you mean to use. Below its resonance, and in a vented box below the tuning, a \
               cone moves furthest for the least sound: do not start a loud sweep there. No direct voltage: 2 V on 5.6 ohm \
               is 0.7 W of heat and holds the coil off its centre. Stop at once when something scrapes or smells.",
    },
    Caution {
        danger: Danger::TrebleDriver,
        moments: &[Moment::TrebleDriver, Moment::BeforeSound, Moment::Wiring],
        heading: "Treble drivers",
        says: "Give the sweep a lower limit when a treble driver without its crossover is connected: bass can destroy it within \
               seconds. For its sound begin above its resonance, start very low, and put a capacitor in series that holds back switch-on \
               thumps. On the impedance jig the sweep has to pass the resonance: there a low level is the only protection.",
    },
    Caution {
        danger: Danger::BridgedOutput,
        moments: &[Moment::Wiring, Moment::AmplifierOutput],
        heading: "Bridge-tied outputs have no ground",
        says: "Never connect a grounded input or clip to an amplifier that drives both of its output terminals, as many class D and \
               car amplifiers do: on either of them it shorts an output stage. Use a differential or isolated input, or two inputs \
               that share the amplifier's ground, one at each terminal, and take the difference.",
    },
    Caution {
        danger: Danger::LineInput,
        moments: &[Moment::Wiring, Moment::AmplifierOutput],
        heading: "Line inputs are not made for amplifiers",
        says: "Put a resistive divider between a power amplifier and a line input, which takes a few volts: 100 W into 8 ohm is 28 V rms, \
               40 V at the peaks. Try the level with the amplifier turned down.",
    },
];

/// The cautions that matter at a moment, those that concern people first.
pub fn cautions_at(moment: Moment) -> impl Iterator<Item = &'static Caution> {
    CAUTIONS.iter().filter(move |caution| caution.moments.contains(&moment))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_moment_has_a_caution_and_every_danger_one_text() {
        use Moment::{AmplifierOutput, BeforeSound, Parts, TrebleDriver, Wiring};
        for moment in [Wiring, BeforeSound, TrebleDriver, AmplifierOutput, Parts] {
            assert!(cautions_at(moment).count() > 0, "{moment:?}");
        }
        let dangers: std::collections::HashSet<Danger> = CAUTIONS.iter().map(|caution| caution.danger).collect();
        assert_eq!(dangers.len(), CAUTIONS.len());
    }

    /// NIOSH 98-126: t = 8 h/2^((L − 85)/3). Derived: V = √(P·R), peak √2 times that; P = V²/R.
    #[test]
    fn the_numbers_in_the_texts_are_those_of_their_formulas() {
        let says = |danger| CAUTIONS.iter().find(|caution| caution.danger == danger).unwrap().says;
        let hours = |level_db: f64| 8.0 / 2f64.powf((level_db - 85.0) / 3.0);
        assert_eq!((hours(94.0), hours(100.0)), (1.0, 0.25));
        assert!(says(Danger::Hearing).contains("94 dB one hour, 100 dB a quarter of an hour"));
        let rms_v = (100.0f64 * 8.0).sqrt();
        let shown = format!("{rms_v:.0} V rms, {:.0} V at the peaks", rms_v * 2f64.sqrt());
        assert!(says(Danger::LineInput).contains(&shown), "{shown}");
        assert!(says(Danger::HotResistor).contains(&format!("{} W for 10 V across 8 ohm", 10.0 * 10.0 / 8.0)));
        assert!(says(Danger::Driver).contains(&format!("{:.1} W of heat", 2.0 * 2.0 / 5.6)));
    }
}
