//! The pen: lines, areas, signs and text on any surface of the drawing library, in units of the sheet.
//!
//! Surfaces know whole pixels only, so a unit is several pixels: ten in SVG, where the view box takes them back, and
//! four in a bitmap, which is averaged down to half. They disagree on what the size and the place of a text mean;
//! here both are told to put a baseline of given em at a given place.

use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::font::{FAMILIES, LINE_PER_EM};
use super::palette::{Colour, Dash, Marker, PAPER, Stroke};
use super::sheet::Tint;
use super::trace::{Place, dashes};

/// Where a text touches its place.
#[derive(Debug, Clone, Copy)]
pub(super) enum Anchor {
    Left,
    Middle,
    Right,
}

/// How a surface takes text: the size that means one em, and how far above the baseline its place lies, in em.
#[derive(Debug, Clone, Copy)]
pub(super) struct TextHabit {
    pub size_per_em: f64,
    pub place_above_baseline_em: f64,
}

impl TextHabit {
    /// The SVG surface writes `font-size = size/1.24` and, for a place at the top, `dy = 0.76 em`.
    pub const SVG: Self = Self { size_per_em: 1.24, place_above_baseline_em: 0.76 };
    /// The bitmap surface takes the size for the height of a line, and puts the baseline half of that below the place.
    pub const BITMAP: Self = Self { size_per_em: LINE_PER_EM, place_above_baseline_em: LINE_PER_EM / 2.0 };
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

/// Draws on a surface; errors are the surface's own, as text.
pub(super) struct Pen<'a, DB: DrawingBackend> {
    pub area: &'a DrawingArea<DB, Shift>,
    pub pixels_per_unit: f64,
    pub habit: TextHabit,
}

/// The result of every stroke.
pub(super) type Drawn = Result<(), String>;

impl<DB: DrawingBackend> Pen<'_, DB> {
    fn pixel(&self, (x, y): Place) -> (i32, i32) {
        ((x * self.pixels_per_unit).round() as i32, (y * self.pixels_per_unit).round() as i32)
    }

    /// A stroke through places, dashed if its look says so, with its signs.
    pub fn stroke(&self, places: &[Place], look: Stroke) -> Drawn {
        match look.dash {
            Dash::Solid => self.line(places, look)?,
            Dash::Dashed { stroke, gap } => {
                for dash in dashes(places, stroke, gap) {
                    self.line(&dash, look)?;
                }
            }
        }
        Ok(())
    }

    fn line(&self, places: &[Place], look: Stroke) -> Drawn {
        let mut pixels: Vec<(i32, i32)> = places.iter().map(|place| self.pixel(*place)).collect();
        pixels.dedup(); // a stroke without length confuses the bitmap surface
        let width = (look.width * self.pixels_per_unit).round().max(1.0) as u32;
        match pixels.as_slice() {
            [] => Ok(()),
            [only] => self.dot(*only, (width / 2).max(1), look.colour),
            _ => said(self.area.draw(&PathElement::new(pixels, rgb(look.colour).stroke_width(width)))),
        }
    }

    fn dot(&self, pixel: (i32, i32), radius: u32, colour: Colour) -> Drawn {
        said(self.area.draw(&Circle::new(pixel, radius, rgb(colour).filled())))
    }

    /// A filled area with this outline.
    pub fn fill(&self, outline: &[Place], tint: Tint) -> Drawn {
        let pixels: Vec<(i32, i32)> = outline.iter().map(|place| self.pixel(*place)).collect();
        if pixels.len() < 3 {
            return Ok(());
        }
        said(self.area.draw(&Polygon::new(pixels, rgb(tint.colour).mix(tint.opacity).filled())))
    }

    /// A filled rectangle between two opposite corners.
    pub fn fill_rectangle(&self, corners: [Place; 2], tint: Tint) -> Drawn {
        let corners = corners.map(|corner| self.pixel(corner));
        said(self.area.draw(&Rectangle::new(corners, rgb(tint.colour).mix(tint.opacity).filled())))
    }

    /// A sign of a curve, white inside: two areas, because a closed stroke leaves notches on bitmaps.
    pub fn marker(&self, marker: Marker, centre: Place, look: Stroke) -> Drawn {
        self.fill(&marker_outline(marker, centre, 1.2), Tint { colour: look.colour, opacity: 1.0 })?;
        self.fill(&marker_outline(marker, centre, 0.62), Tint { colour: PAPER, opacity: 1.0 })
    }

    /// A text on its baseline.
    pub fn write(&self, writing: Writing<'_>) -> Drawn {
        if writing.text.is_empty() {
            return Ok(());
        }
        let anchor = match writing.anchor {
            Anchor::Left => HPos::Left,
            Anchor::Middle => HPos::Center,
            Anchor::Right => HPos::Right,
        };
        let size = writing.em * self.habit.size_per_em * self.pixels_per_unit;
        let colour = rgb(writing.colour);
        let style = TextStyle::from((FontFamily::Name(FAMILIES), size).into_font())
            .color(&colour)
            .pos(Pos::new(anchor, VPos::Top));
        let (x, y) = writing.baseline;
        let place = self.pixel((x, y - self.habit.place_above_baseline_em * writing.em));
        said(self.area.draw_text(writing.text, &style, place))
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

fn rgb((red, green, blue): Colour) -> RGBColor {
    RGBColor(red, green, blue)
}

/// The error of a surface as text, because the two surfaces have two types of it.
pub(super) fn said<E: std::error::Error + Send + Sync>(result: Result<(), DrawingAreaErrorKind<E>>) -> Drawn {
    result.map_err(|error| error.to_string())
}
