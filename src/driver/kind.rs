//! The models by name: which one a coil or a suspension is, and what it is called.

use super::{Suspension, SuspensionKind, VoiceCoil, VoiceCoilKind};

impl VoiceCoilKind {
    /// Which model a voice coil follows.
    pub fn of(voice_coil: &VoiceCoil) -> Self {
        match voice_coil {
            VoiceCoil::Inductance { .. } => Self::Inductance,
            VoiceCoil::Ladder { .. } => Self::Ladder,
            VoiceCoil::SemiInductance { .. } => Self::SemiInductance,
            VoiceCoil::PowerLaw { .. } => Self::PowerLaw,
        }
    }

    /// Its name in documents.
    pub fn name(self) -> &'static str {
        match self {
            Self::Inductance => "inductance",
            Self::Ladder => "ladder",
            Self::SemiInductance => "semi-inductance",
            Self::PowerLaw => "power-law",
        }
    }
}

impl SuspensionKind {
    /// Which model a suspension follows.
    pub fn of(suspension: &Suspension) -> Self {
        match suspension {
            Suspension::Plain => Self::Plain,
            Suspension::Creep { .. } => Self::Creep,
        }
    }

    /// Its name in documents.
    pub fn name(self) -> &'static str {
        match self {
            Self::Plain => "plain",
            Self::Creep => "creep",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_model_and_its_kind_have_one_name() {
        for coil in [
            VoiceCoil::Inductance { le_h: 1.0 },
            VoiceCoil::Ladder { le_h: 1.0, l2_h: 1.0, r2_ohm: 1.0 },
            VoiceCoil::SemiInductance { leb_h: 1.0, le_h: 1.0, ke_semih: 1.0 },
            VoiceCoil::PowerLaw { k: 1.0, n: 0.5 },
        ] {
            assert_eq!(VoiceCoilKind::of(&coil).name(), coil.name());
        }
        for suspension in [Suspension::Plain, Suspension::Creep { lambda: 0.1 }] {
            assert_eq!(SuspensionKind::of(&suspension).name(), suspension.name());
        }
    }
}
