//! Colours and strokes.
//!
//! The colours of curves are those of M. Okabe, K. Ito, "Color Universal Design" (2008), which stay apart for people with
//! any of the usual forms of colour blindness. The order is ours: neighbours differ in lightness, for a grey print.

/// A colour, red, green and blue.
pub(super) type Colour = (u8, u8, u8);

pub(super) const PAPER: Colour = (255, 255, 255);
pub(super) const INK: Colour = (26, 26, 26);
pub(super) const SOFT_INK: Colour = (84, 84, 84);
pub(super) const FRAME: Colour = (96, 96, 96);
pub(super) const GRID: Colour = (202, 202, 202);
pub(super) const FINE_GRID: Colour = (231, 231, 231);
pub(super) const NOT_VALID: Colour = (226, 226, 226);

pub(super) const BLUE: Colour = (0, 114, 178);
pub(super) const ORANGE: Colour = (230, 159, 0);
pub(super) const BLACK: Colour = (0, 0, 0);
pub(super) const SKY: Colour = (86, 180, 233);
pub(super) const VERMILION: Colour = (213, 94, 0);
pub(super) const PURPLE: Colour = (204, 121, 167);
pub(super) const GREEN: Colour = (0, 158, 115);

const CURVES: [Colour; 7] = [BLUE, ORANGE, BLACK, SKY, VERMILION, PURPLE, GREEN];
const MARKERS: [Marker; 6] =
    [Marker::Circle, Marker::Square, Marker::Triangle, Marker::Diamond, Marker::TriangleDown, Marker::Bar];

/// A small sign on a curve, by which it is known without its colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Marker {
    Circle,
    Square,
    Triangle,
    Diamond,
    TriangleDown,
    Bar,
}

/// Lengths of stroke and gap, in units of the sheet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Dash {
    Solid,
    Dashed { stroke: f64, gap: f64 },
}

/// What predicted curves are drawn with.
pub(super) const PREDICTED: Dash = Dash::Dashed { stroke: 9.0, gap: 5.0 };

/// How a line looks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Stroke {
    pub colour: Colour,
    pub width: f64,
    pub dash: Dash,
    pub marker: Option<Marker>,
}

impl Stroke {
    pub fn plain(colour: Colour, width: f64) -> Self {
        Self { colour, width, dash: Dash::Solid, marker: None }
    }

    /// The look of the curve with this place in the picture and so many of its origin before it.
    ///
    /// The first curve is strongest; the first of an origin needs no sign.
    pub fn of_curve(place: usize, before: usize, dash: Dash) -> Self {
        let marker = before.checked_sub(1).map(|later| MARKERS[later % MARKERS.len()]);
        let width = if place == 0 { 2.4 } else { 1.8 };
        Self { colour: CURVES[place % CURVES.len()], width, dash, marker }
    }
}
