//! A finished picture and its two forms.

use plotters::prelude::*;

use super::super::ReportError;
use super::font::{page_font_css, printable, register};
use super::geometry::geometry;
use super::palette::PAPER;
use super::pen::{Drawn, Pen, TextHabit};
use super::render::render;
use super::sheet::Sheet;

/// A picture with axes, curves and legend, ready to be drawn. The same picture gives the same bytes.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    sheet: Sheet,
    description: String,
}

/// Units of the SVG's view box in one unit of the sheet: curves are placed to a tenth of a pixel.
const SVG_FINENESS: f64 = 10.0;
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
        let places = geometry(&self.sheet);
        let size = ((places.width * SVG_FINENESS) as u32, (places.height * SVG_FINENESS) as u32);
        let mut drawn = String::new();
        let area = SVGBackend::with_string(&mut drawn, size).into_drawing_area();
        let pen = Pen { area: &area, pixels_per_unit: SVG_FINENESS, habit: TextHabit::SVG };
        self.draw(&pen)?;
        drop(area);
        // The library's own head has the fine units as its size; everything after it is kept.
        let body = drawn.split_once('>').map_or("", |(_, body)| body);
        let head = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{}\" height=\"{}\" viewBox=\"0 0 {} {}\" \
             stroke-linejoin=\"round\" role=\"img\" aria-label=\"{}\">",
            places.width,
            places.height,
            size.0,
            size.1,
            escaped(&self.description)
        );
        let title = escaped(&self.sheet.title);
        let description = escaped(&self.description);
        Ok(format!("{head}\n<title>{title}</title>\n<desc>{description}</desc>\n{style}{body}"))
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
        encoder.set_compression(png::Compression::Best);
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
        let pen = Pen { area: &area, pixels_per_unit: fineness as f64, habit: TextHabit::BITMAP };
        self.draw(&pen)?;
        drop(area);
        Ok((width / OVERSAMPLING, averaged(&fine, width)))
    }

    fn draw<DB: DrawingBackend>(&self, pen: &Pen<'_, DB>) -> Result<(), ReportError> {
        register();
        let everything = || -> Drawn {
            let (red, green, blue) = PAPER;
            super::pen::said(pen.area.fill(&RGBColor(red, green, blue)))?;
            render(pen, &self.sheet, &geometry(&self.sheet))?;
            super::pen::said(pen.area.present())
        };
        everything().map_err(|why| ReportError::Drawing { title: self.sheet.title.clone(), why })
    }
}

/// The mean of each square of pixels, in linear steps of the file's own values.
fn averaged(fine: &[u8], width: usize) -> Vec<u8> {
    let rows: Vec<&[u8]> = fine.chunks_exact(width * 3).collect();
    let mut mean = Vec::with_capacity(fine.len() / (OVERSAMPLING * OVERSAMPLING));
    for square_rows in rows.chunks_exact(OVERSAMPLING) {
        for column in 0..width / OVERSAMPLING {
            for colour in 0..3 {
                let at = |n: usize| (column * OVERSAMPLING + n) * 3 + colour;
                let sum: usize =
                    square_rows.iter().flat_map(|row| (0..OVERSAMPLING).map(|n| usize::from(row[at(n)]))).sum();
                mean.push((sum / (OVERSAMPLING * OVERSAMPLING)) as u8);
            }
        }
    }
    mean
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
