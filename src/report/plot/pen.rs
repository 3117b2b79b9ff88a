//! The pen: lines, areas, signs and text, in units of the sheet, on whichever paper lies under it.
//!
//! There are two papers: [`super::bitmap`], which knows pixels, and [`super::vector`], which writes SVG. What belongs
//! to one curve, one panel or one entry of the legend is drawn between `begin` and `end`; a bitmap has no use for that.

use super::palette::{Colour, Marker, PAPER, Stroke};
use super::sheet::Tint;
use super::trace::Place;

/// Where a text touches its place.
#[derive(Debug, Clone, Copy)]
pub(super) enum Anchor {
    Left,
    Middle,
    Right,
}

/// A text to be written on its baseline.
#[derive(Debug, Clone, Copy)]
pub(super) struct Writing<'a> {
    pub text: &'a str,
    pub baseline: Place,
    pub em: f64,
    pub anchor: Anchor,
    pub colour: Colour,
}

/// What belongs together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Part {
    /// A panel, by its place.
    Panel(usize),
    /// What a curve has in a panel, by the curve's number.
    Curve(usize),
    /// A curve's entry in the legend, by the curve's number.
    Entry(usize),
}

/// The result of every stroke; errors are the paper's own, as text.
pub(super) type Drawn = Result<(), String>;

/// Draws on a paper.
pub(super) trait Pen {
    /// Strokes of one look, dashed if it says so; a stroke of one place is a dot.
    fn strokes(&mut self, strokes: &[Vec<Place>], look: Stroke) -> Drawn;

    /// A filled area with this outline.
    fn fill(&mut self, outline: &[Place], tint: Tint) -> Drawn;

    /// A filled rectangle between two opposite corners.
    fn fill_rectangle(&mut self, corners: [Place; 2], tint: Tint) -> Drawn;

    /// The fields of a map: opaque rectangles between two opposite corners that do not lie on each other.
    fn fields(&mut self, fields: &[([Place; 2], Colour)]) -> Drawn {
        fields.iter().try_for_each(|&(corners, colour)| self.fill_rectangle(corners, Tint { colour, opacity: 1.0 }))
    }

    /// A text on its baseline.
    fn write(&mut self, writing: Writing<'_>) -> Drawn;

    /// What follows belongs to this, until [`Pen::end`].
    fn begin(&mut self, _part: Part) {}

    /// Ends what was begun last.
    fn end(&mut self) {}

    /// A stroke through places.
    fn stroke(&mut self, places: &[Place], look: Stroke) -> Drawn {
        self.strokes(&[places.to_vec()], look)
    }

    /// A sign of a curve, white inside: two areas, because a closed stroke leaves notches on bitmaps.
    fn marker(&mut self, marker: Marker, centre: Place, look: Stroke) -> Drawn {
        self.fill(&marker_outline(marker, centre, 1.2), Tint { colour: look.colour, opacity: 1.0 })?;
        self.fill(&marker_outline(marker, centre, 0.62), Tint { colour: PAPER, opacity: 1.0 })
    }
}

fn marker_outline(marker: Marker, (x, y): Place, size: f64) -> Vec<Place> {
    // Radii that make the signs about equally large to the eye.
    let corners = |count: u32, radius: f64, turn: f64| -> Vec<Place> {
        let angle = |n: u32| std::f64::consts::TAU * (f64::from(n) / f64::from(count) + turn);
        (0..count).map(|n| (x + size * radius * angle(n).sin(), y - size * radius * angle(n).cos())).collect()
    };
    match marker {
        Marker::Circle => corners(24, 3.6, 0.0),
        Marker::Square => corners(4, 4.5, 0.125),
        Marker::Triangle => corners(3, 4.9, 0.0),
        Marker::Diamond => corners(4, 4.7, 0.0),
        Marker::TriangleDown => corners(3, 4.9, 0.5),
        Marker::Bar => {
            // Slim, but with room for the white inside.
            let (half_width, half_height) = (0.9 + size, 1.5 + 3.5 * size);
            let corner = |across: f64, down: f64| (x + across * half_width, y + down * half_height);
            vec![corner(-1.0, -1.0), corner(1.0, -1.0), corner(1.0, 1.0), corner(-1.0, 1.0)]
        }
    }
}
