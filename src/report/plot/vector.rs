//! The paper of paths: SVG, ten units of its view box to a unit of the sheet.
//!
//! Each curve of a panel is one group (`<g data-curve="N">`), so is its entry in the legend (`<g data-entry="N">`), each
//! panel is one (`<g data-panel="N">`). All strokes of a look are one path; after its first place a stroke goes on by
//! differences, which are short numbers.

use super::font::FAMILIES;
use super::palette::{Colour, Dash, Stroke};
use super::pen::{Anchor, Drawn, Part, Pen, Writing};
use super::sheet::Tint;
use super::trace::Place;
use std::fmt::Write as _;

/// Units of the view box in one unit of the sheet: curves are placed to a tenth of a pixel.
pub(super) const FINENESS: f64 = 10.0;

/// A pen that writes SVG elements.
#[derive(Debug, Default)]
pub(super) struct VectorPen {
    /// What was drawn.
    pub drawn: String,
}

/// How a picture begins: its size in units of the sheet, and its words.
pub(super) fn head([width, height]: [f64; 2], title: &str, description: &str) -> String {
    let [wide, high] = [fine(width), fine(height)];
    let [title, description] = [title, description].map(escaped);
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" viewBox=\"0 0 {wide} {high}\" \
         fill=\"none\" stroke-linejoin=\"round\" font-family=\"{FAMILIES}\" role=\"img\" aria-label=\"{description}\">\n\
         <title>{title}</title>\n<desc>{description}</desc>\n"
    )
}

/// The text as it stands between tags or quotation marks.
pub(super) fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

/// A colour as CSS has it.
pub(super) fn hex((red, green, blue): Colour) -> String {
    format!("#{red:02X}{green:02X}{blue:02X}")
}

/// A length in units of the view box.
pub(super) fn fine(length: f64) -> i32 {
    (length * FINENESS).round() as i32
}

/// The commands of a path through places: `M` to the first, then differences.
fn through(places: &[(i32, i32)]) -> String {
    let mut path = String::new();
    let mut before: Option<(i32, i32)> = None;
    for &(x, y) in places {
        let (lead, [across, down]) = match before {
            None => ("M", [x, y]),
            Some((before_x, before_y)) => (if path.contains('l') { " " } else { "l" }, [x - before_x, y - before_y]),
        };
        // A minus sign parts two numbers as well as a blank does.
        let lead = if lead == " " && across < 0 { "" } else { lead };
        let between = if down < 0 { "" } else { " " };
        let _ = write!(path, "{lead}{across}{between}{down}");
        before = Some((x, y));
    }
    path
}

impl VectorPen {
    fn element(&mut self, element: std::fmt::Arguments<'_>) -> Drawn {
        self.drawn.write_fmt(element).map_err(|error| error.to_string())?;
        self.drawn.push('\n');
        Ok(())
    }
}

fn places_of(places: &[Place]) -> Vec<(i32, i32)> {
    let mut places: Vec<(i32, i32)> = places.iter().map(|(x, y)| (fine(*x), fine(*y))).collect();
    places.dedup();
    places
}

fn filling(tint: Tint) -> String {
    let colour = hex(tint.colour);
    if tint.opacity < 1.0 {
        format!("fill=\"{colour}\" fill-opacity=\"{}\"", tint.opacity)
    } else {
        format!("fill=\"{colour}\"")
    }
}

impl Pen for VectorPen {
    fn strokes(&mut self, strokes: &[Vec<Place>], look: Stroke) -> Drawn {
        let colour = hex(look.colour);
        let width = fine(look.width).max(1);
        let all: Vec<Vec<(i32, i32)>> = strokes.iter().map(|places| places_of(places)).collect();
        for (x, y) in all.iter().filter_map(|places| if let [only] = places[..] { Some(only) } else { None }) {
            self.element(format_args!(
                "<circle cx=\"{x}\" cy=\"{y}\" r=\"{}\" fill=\"{colour}\"/>",
                (width / 2).max(1)
            ))?;
        }
        let path: String = all.iter().filter(|places| places.len() > 1).map(|places| through(places)).collect();
        if path.is_empty() {
            return Ok(());
        }
        let dashes = match look.dash {
            Dash::Solid => String::new(),
            Dash::Dashed { stroke, gap } => format!(" stroke-dasharray=\"{} {}\"", fine(stroke), fine(gap)),
        };
        self.element(format_args!("<path d=\"{path}\" stroke=\"{colour}\" stroke-width=\"{width}\"{dashes}/>"))
    }

    fn fill(&mut self, outline: &[Place], tint: Tint) -> Drawn {
        if outline.len() < 3 {
            return Ok(());
        }
        let path = through(&places_of(outline));
        self.element(format_args!("<path d=\"{path}z\" {}/>", filling(tint)))
    }

    fn fill_rectangle(&mut self, [one, other]: [Place; 2], tint: Tint) -> Drawn {
        let ends = |a: f64, b: f64| [fine(a.min(b)), fine(a.max(b))];
        let ([left, right], [top, bottom]) = (ends(one.0, other.0), ends(one.1, other.1));
        let (wide, high) = (right - left, bottom - top);
        let filling = filling(tint);
        self.element(format_args!("<rect x=\"{left}\" y=\"{top}\" width=\"{wide}\" height=\"{high}\" {filling}/>"))
    }

    /// One path for each colour: a map has thousands of fields and few colours.
    fn fields(&mut self, fields: &[([Place; 2], Colour)]) -> Drawn {
        let mut paths: Vec<(Colour, String)> = Vec::new();
        for ([one, other], colour) in fields {
            let ends = |a: f64, b: f64| [fine(a.min(b)), fine(a.max(b))];
            let ([left, right], [top, bottom]) = (ends(one.0, other.0), ends(one.1, other.1));
            let (wide, high) = (right - left, bottom - top);
            let field = format!("M{left} {top}h{wide}v{high}h{}z", -wide);
            match paths.iter_mut().find(|(of, _)| of == colour) {
                Some((_, path)) => path.push_str(&field),
                None => paths.push((*colour, field)),
            }
        }
        paths
            .iter()
            .try_for_each(|(colour, path)| self.element(format_args!("<path d=\"{path}\" fill=\"{}\"/>", hex(*colour))))
    }

    fn write(&mut self, writing: Writing<'_>) -> Drawn {
        if writing.text.is_empty() {
            return Ok(());
        }
        let anchor = match writing.anchor {
            Anchor::Left => "",
            Anchor::Middle => " text-anchor=\"middle\"",
            Anchor::Right => " text-anchor=\"end\"",
        };
        let (x, y) = (fine(writing.baseline.0), fine(writing.baseline.1));
        let (size, colour, text) = (fine(writing.em), hex(writing.colour), escaped(writing.text));
        self.element(format_args!(
            "<text x=\"{x}\" y=\"{y}\" font-size=\"{size}\" fill=\"{colour}\"{anchor}>{text}</text>"
        ))
    }

    fn begin(&mut self, part: Part) {
        let (name, number) = match part {
            Part::Panel(number) => ("panel", number),
            Part::Curve(number) => ("curve", number),
            Part::Entry(number) => ("entry", number),
        };
        let _ = writeln!(self.drawn, "<g data-{name}=\"{number}\">");
    }

    fn end(&mut self) {
        self.drawn.push_str("</g>\n");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_path_goes_on_by_differences_and_spares_blanks() {
        assert_eq!(through(&[(100, 200), (104, 197), (101, 199), (101, 190)]), "M100 200l4-3-3 2 0-9");
        assert_eq!(through(&[(7, 8)]), "M7 8");
        assert_eq!(through(&[]), "");
    }

    #[test]
    fn the_fields_of_a_map_are_one_path_for_each_colour() {
        let (dark, light) = ((0, 47, 84), (176, 214, 236));
        let mut pen = VectorPen::default();
        let row = |n: f64| [(n, 2.0), (n + 1.0, 4.5)];
        pen.fields(&[(row(0.0), dark), (row(1.0), light), (row(2.0), dark)]).unwrap();
        let expected = "<path d=\"M0 20h10v25h-10zM20 20h10v25h-10z\" fill=\"#002F54\"/>\n\
             <path d=\"M10 20h10v25h-10z\" fill=\"#B0D6EC\"/>\n";
        assert_eq!(pen.drawn, expected);
    }

    #[test]
    fn strokes_of_a_look_are_one_path_and_a_lone_place_is_a_dot() {
        let look = Stroke { dash: Dash::Dashed { stroke: 9.0, gap: 5.0 }, ..Stroke::plain((0, 114, 178), 1.8) };
        let mut pen = VectorPen::default();
        pen.strokes(&[vec![(1.0, 2.0), (3.0, 2.0)], vec![(5.0, 5.0)], vec![(6.0, 1.0), (7.0, 0.0)]], look).unwrap();
        let expected = "<circle cx=\"50\" cy=\"50\" r=\"9\" fill=\"#0072B2\"/>\n\
             <path d=\"M10 20l20 0M60 10l10-10\" stroke=\"#0072B2\" stroke-width=\"18\" stroke-dasharray=\"90 50\"/>\n";
        assert_eq!(pen.drawn, expected);
    }
}
