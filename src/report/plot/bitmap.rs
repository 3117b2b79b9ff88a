//! The paper of pixels, drawn by the drawing library.
//!
//! It knows whole pixels only, so a unit of the sheet is several of them, and what comes out is averaged down. A text's
//! size is for it the height of a line, and its place lies half of that above the baseline.

use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::font::{FAMILIES, LINE_PER_EM};
use super::palette::{Colour, Dash, Stroke};
use super::pen::{Anchor, Drawn, Pen, Writing};
use super::sheet::Tint;
use super::trace::{Place, dashes};

/// A pen on a bitmap.
pub(super) struct BitmapPen<'a, DB: DrawingBackend> {
    pub area: &'a DrawingArea<DB, Shift>,
    pub pixels_per_unit: f64,
}

impl<DB: DrawingBackend> BitmapPen<'_, DB> {
    fn pixel(&self, (x, y): Place) -> (i32, i32) {
        ((x * self.pixels_per_unit).round() as i32, (y * self.pixels_per_unit).round() as i32)
    }

    fn line(&self, places: &[Place], look: Stroke) -> Drawn {
        let mut pixels: Vec<(i32, i32)> = places.iter().map(|place| self.pixel(*place)).collect();
        pixels.dedup(); // a stroke without length confuses the drawing library
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
}

impl<DB: DrawingBackend> Pen for BitmapPen<'_, DB> {
    fn strokes(&mut self, strokes: &[Vec<Place>], look: Stroke) -> Drawn {
        for places in strokes {
            match look.dash {
                Dash::Solid => self.line(places, look)?,
                Dash::Dashed { stroke, gap } => {
                    for dash in dashes(places, stroke, gap) {
                        self.line(&dash, look)?;
                    }
                }
            }
        }
        Ok(())
    }

    fn fill(&mut self, outline: &[Place], tint: Tint) -> Drawn {
        let pixels: Vec<(i32, i32)> = outline.iter().map(|place| self.pixel(*place)).collect();
        if pixels.len() < 3 {
            return Ok(());
        }
        said(self.area.draw(&Polygon::new(pixels, rgb(tint.colour).mix(tint.opacity).filled())))
    }

    fn fill_rectangle(&mut self, corners: [Place; 2], tint: Tint) -> Drawn {
        let corners = corners.map(|corner| self.pixel(corner));
        said(self.area.draw(&Rectangle::new(corners, rgb(tint.colour).mix(tint.opacity).filled())))
    }

    fn write(&mut self, writing: Writing<'_>) -> Drawn {
        if writing.text.is_empty() {
            return Ok(());
        }
        let anchor = match writing.anchor {
            Anchor::Left => HPos::Left,
            Anchor::Middle => HPos::Center,
            Anchor::Right => HPos::Right,
        };
        let size = writing.em * LINE_PER_EM * self.pixels_per_unit;
        let colour = rgb(writing.colour);
        let style = TextStyle::from((FontFamily::Name(FAMILIES), size).into_font())
            .color(&colour)
            .pos(Pos::new(anchor, VPos::Top));
        let (x, y) = writing.baseline;
        let place = self.pixel((x, y - LINE_PER_EM / 2.0 * writing.em));
        said(self.area.draw_text(writing.text, &style, place))
    }
}

fn rgb((red, green, blue): Colour) -> RGBColor {
    RGBColor(red, green, blue)
}

/// The drawing library's error as text.
pub(super) fn said<E: std::error::Error + Send + Sync>(result: Result<(), DrawingAreaErrorKind<E>>) -> Drawn {
    result.map_err(|error| error.to_string())
}
