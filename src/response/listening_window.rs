//! Directions around a loudspeaker, and those of the listening window.
//!
//! ```text
//! listening window: on axis; ±10° vertical; ±10°, ±20°, ±30° horizontal; the mean of their powers, all alike
//! ```
//!
//! Source: ANSI/CTA-2034-A (2015), from memory. Directions are given in degrees, in which the standard names them, so that
//! equal ones compare equal.

use super::ResponseError;

/// The plane in which a direction is off the axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Plane {
    /// To the side.
    Horizontal,
    /// Up (positive) or down.
    Vertical,
}

/// A direction from a loudspeaker: so far off its axis in one plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Direction {
    plane: Plane,
    angle_deg: f64,
}

impl Direction {
    /// A direction; straight ahead is horizontal, whatever plane it is given in.
    ///
    /// # Errors
    /// [`ResponseError::Angle`] outside of ±180°.
    pub fn new(plane: Plane, angle_deg: f64) -> Result<Self, ResponseError> {
        if !(-180.0..=180.0).contains(&angle_deg) {
            return Err(ResponseError::Angle { found_deg: angle_deg });
        }
        // The second one takes the sign off a negative zero.
        Ok(if angle_deg == 0.0 { ON_AXIS } else { Self { plane, angle_deg } })
    }
}

/// `0`, `-10`, `v10`: as it is typed.
impl std::fmt::Display for Direction {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let plane = if self.plane == Plane::Vertical { "v" } else { "" };
        write!(f, "{plane}{}", self.angle_deg)
    }
}

const ON_AXIS: Direction = Direction { plane: Plane::Horizontal, angle_deg: 0.0 };

/// The nine directions of the listening window.
pub const LISTENING_WINDOW: [Direction; 9] = [
    ON_AXIS,
    Direction { plane: Plane::Vertical, angle_deg: 10.0 },
    Direction { plane: Plane::Vertical, angle_deg: -10.0 },
    Direction { plane: Plane::Horizontal, angle_deg: 10.0 },
    Direction { plane: Plane::Horizontal, angle_deg: -10.0 },
    Direction { plane: Plane::Horizontal, angle_deg: 20.0 },
    Direction { plane: Plane::Horizontal, angle_deg: -20.0 },
    Direction { plane: Plane::Horizontal, angle_deg: 30.0 },
    Direction { plane: Plane::Horizontal, angle_deg: -30.0 },
];

/// How a set of directions differs from the listening window; nothing in any of them means that it is one.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct BesideWindow {
    /// Those of the window that are not in the set.
    pub missing: Vec<Direction>,
    /// Those of the set that are not in the window.
    pub foreign: Vec<Direction>,
    /// Those that the set has more than once.
    pub doubled: Vec<Direction>,
}

impl BesideWindow {
    /// The differences of a set.
    pub fn of(directions: &[Direction]) -> Self {
        let without = |all: &[Direction], others: &[Direction]| {
            all.iter().copied().filter(|one| !others.contains(one)).collect::<Vec<_>>()
        };
        let doubled = (0..directions.len()).filter(|at| directions[..*at].contains(&directions[*at]));
        Self {
            missing: without(&LISTENING_WINDOW, directions),
            foreign: without(directions, &LISTENING_WINDOW),
            doubled: doubled.map(|at| directions[at]).collect(),
        }
    }

    /// Whether the set is the listening window.
    pub fn is_window(&self) -> bool {
        self.missing.is_empty() && self.foreign.is_empty() && self.doubled.is_empty()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use Plane::{Horizontal, Vertical};

    fn all(of: &[(Plane, f64)]) -> Vec<Direction> {
        of.iter().map(|(plane, angle_deg)| Direction::new(*plane, *angle_deg).unwrap()).collect()
    }

    #[test]
    fn nine_directions_in_any_order_are_the_window_and_no_others() {
        let mut window = LISTENING_WINDOW.to_vec();
        window.reverse();
        assert!(BesideWindow::of(&window).is_window());
        window[0] = all(&[(Horizontal, 40.0)])[0];
        let beside = BesideWindow::of(&window);
        assert_eq!((beside.missing, beside.foreign), (all(&[(Horizontal, -30.0)]), all(&[(Horizontal, 40.0)])));
        window[0] = window[1];
        assert_eq!(BesideWindow::of(&window).doubled, all(&[(Horizontal, 30.0)]));
    }

    #[test]
    fn straight_ahead_is_one_direction_and_each_is_written_as_it_is_typed() {
        let [zero, other] = [all(&[(Vertical, -0.0)])[0], all(&[(Horizontal, 0.0)])[0]];
        assert_eq!((zero, zero.to_string()), (other, "0".to_owned()));
        let written: Vec<String> =
            all(&[(Vertical, 10.0), (Horizontal, -22.5)]).iter().map(|d| d.to_string()).collect();
        assert_eq!(written, ["v10", "-22.5"]);
        assert_eq!(Direction::new(Vertical, 190.0), Err(ResponseError::Angle { found_deg: 190.0 }));
        assert!(Direction::new(Vertical, f64::NAN).is_err());
    }
}
