//! A finished picture and its two forms.

use plotters::coord::Shift;
use plotters::prelude::*;

use super::super::ReportError;
use super::bitmap::{BitmapPen, said};
use super::font::{page_font_css, printable, register};
use super::geometry::geometry;
use super::kinship::{Kinship, kinship};
use super::legible::metadata;
use super::palette::PAPER;
use super::pen::{Drawn, Pen};
use super::render::render;
use super::sheet::{Sheet, Tint};
use super::vector::{VectorPen, head};

/// A picture with axes, curves and legend, ready to be drawn. The same picture gives the same bytes.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    sheet: Sheet,
    description: String,
}

/// Pixels of a PNG in one unit of the sheet: sharp in print and on fine screens.
const PNG_PIXELS_PER_UNIT: usize = 2;
/// A bitmap is drawn so many times larger and averaged down: lines of even strength.
const OVERSAMPLING: usize = 2;

impl Picture {
    /// A picture of a sheet; `description` says in words what it shows, for those who cannot see it.
    pub(super) fn new(mut sheet: Sheet, description: &str) -> Self {
        sheet.title = printable(&sheet.title);
        for entry in &mut sheet.legend {
            entry.name = printable(&entry.name);
        }
        for panel in &mut sheet.panels {
            panel.y.title = printable(&panel.y.title);
        }
        Self { sheet, description: printable(description) }
    }

    /// What stands above the picture.
    pub fn title(&self) -> &str {
        &self.sheet.title
    }

    /// What the picture shows, in words.
    pub fn description(&self) -> &str {
        &self.description
    }

    /// The picture as an SVG file of its own, font included.
    ///
    /// # Errors
    /// [`ReportError::Drawing`] if the drawing library refuses.
    pub fn svg(&self) -> Result<String, ReportError> {
        let style = format!("<style>{}</style>", page_font_css());
        self.svg_with(&style)
    }

    /// The picture as an SVG element for a page that brings the font itself ([`super::page_font_css`]).
    ///
    /// # Errors
    /// [`ReportError::Drawing`] if the drawing library refuses.
    pub fn svg_in_page(&self) -> Result<String, ReportError> {
        self.svg_with("")
    }

    fn svg_with(&self, style: &str) -> Result<String, ReportError> {
        register();
        let (places, kin) = (geometry(&self.sheet), self.kinship());
        let size = [places.width, places.height];
        let mut pen = VectorPen::default();
        let paper = Tint { colour: PAPER, opacity: 1.0 };
        pen.fill_rectangle([(0.0, 0.0), (places.width, places.height)], paper)
            .and_then(|()| render(&mut pen, &self.sheet, &places, &kin))
            .map_err(|why| self.not_drawn(why))?;
        let head = head(size, &self.sheet.title, &self.description);
        Ok(format!("{head}{}{style}{}</svg>\n", metadata(&self.sheet, &places, &kin), pen.drawn))
    }

    /// Which strokes are one curve.
    pub(super) fn kinship(&self) -> Kinship {
        kinship(&self.sheet)
    }

    fn not_drawn(&self, why: String) -> ReportError {
        ReportError::Drawing { title: self.sheet.title.clone(), why }
    }

    /// The picture as the bytes of a PNG file, two pixels to a unit of the SVG.
    ///
    /// # Errors
    /// [`ReportError::Drawing`] if the drawing library refuses, [`ReportError::Packing`] if the packer does.
    pub fn png(&self) -> Result<Vec<u8>, ReportError> {
        let (width, pixels) = self.bitmap()?;
        let height = pixels.len() / 3 / width;
        let mut bytes = Vec::new();
        let mut encoder = png::Encoder::new(&mut bytes, width as u32, height as u32);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Eight);
        encoder.set_compression(png::Compression::Default);
        encoder.set_filter(png::FilterType::Up); // long upright lines: most rows repeat the one above
        let packed = encoder.write_header().and_then(|mut writer| {
            writer.write_image_data(&pixels)?;
            writer.finish()
        });
        let refused = |error: png::EncodingError| ReportError::Packing {
            title: self.sheet.title.clone(),
            why: error.to_string(),
        };
        packed.map_err(refused)?;
        Ok(bytes)
    }

    /// Width, and the pixels row by row, red, green and blue.
    fn bitmap(&self) -> Result<(usize, Vec<u8>), ReportError> {
        let places = geometry(&self.sheet);
        let fineness = PNG_PIXELS_PER_UNIT * OVERSAMPLING;
        let (width, height) = (places.width as usize * fineness, places.height as usize * fineness);
        let mut fine = vec![255; width * height * 3];
        let area = BitMapBackend::with_buffer(&mut fine, (width as u32, height as u32)).into_drawing_area();
        self.draw(&area, fineness as f64).map_err(|why| self.not_drawn(why))?;
        drop(area);
        Ok((width / OVERSAMPLING, averaged(&fine, width)))
    }

    fn draw<DB: DrawingBackend>(&self, area: &DrawingArea<DB, Shift>, pixels_per_unit: f64) -> Drawn {
        register();
        let (red, green, blue) = PAPER;
        said(area.fill(&RGBColor(red, green, blue)))?;
        let mut pen = BitmapPen { area, pixels_per_unit };
        render(&mut pen, &self.sheet, &geometry(&self.sheet), &self.kinship())?;
        said(area.present())
    }
}

/// The mean of each square of pixels, in linear steps of the file's own values.
fn averaged(fine: &[u8], width: usize) -> Vec<u8> {
    const SQUARE: u16 = (OVERSAMPLING * OVERSAMPLING) as u16;
    let mut mean = Vec::with_capacity(fine.len() / (OVERSAMPLING * OVERSAMPLING));
    let mut sums = vec![[0u16; 3]; width / OVERSAMPLING];
    for rows in fine.chunks_exact(width * 3 * OVERSAMPLING) {
        sums.fill([0; 3]);
        for row in rows.chunks_exact(width * 3) {
            for (sum, pixels) in sums.iter_mut().zip(row.as_chunks::<{ 3 * OVERSAMPLING }>().0) {
                for (at, colour) in pixels.iter().enumerate() {
                    sum[at % 3] += u16::from(*colour);
                }
            }
        }
        mean.extend(sums.iter().flatten().map(|sum| (sum / SQUARE) as u8));
    }
    mean
}
