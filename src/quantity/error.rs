//! Why a number was refused.

/// Why a number was refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[allow(missing_docs)] // the messages say what each field is
pub enum QuantityError {
    #[error("a sample rate of {found_hz} Hz, the range is {lowest_hz} to {highest_hz} Hz")]
    Rate { found_hz: f64, lowest_hz: u32, highest_hz: u32 },
    #[error("a frequency grid needs at least one point, none was given")]
    Empty,
    #[error("a frequency grid of {points} points, the most is {most}")]
    TooManyPoints { points: usize, most: usize },
    #[error("frequencies must rise: point {point} is {hz} Hz after {before_hz} Hz")]
    NotRising { point: usize, hz: f64, before_hz: f64 },
    #[error("air of {temperature_c} °C and {pressure_kpa} kPa, the range is -40 to 60 °C and 50 to 110 kPa")]
    Air { temperature_c: f64, pressure_kpa: f64 },
    #[error("{typed:?} is no {expected}")]
    Typed { typed: String, expected: &'static str },
}

impl QuantityError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::Rate { .. } => "use a rate that sound cards have, 44.1 to 192 kHz",
            Self::Empty => "widen the band until a point falls into it",
            Self::TooManyPoints { .. } => "narrow the band, or take fewer points an octave",
            Self::NotRising { .. } => "sort the frequencies and remove doubles",
            Self::Air { .. } => {
                "give the temperature in degrees Celsius and the pressure in kPa, as they are in your room"
            }
            Self::Typed { .. } => "write a number and its unit, for example 120 mm, 4.7k, 5 ms or 1/12",
        }
    }
}
