//! A picture that goes into a page: just drawn, or read back from the file in which it was kept.
//!
//! A file on disk may have been touched by anyone. So a picture is not copied but read and written anew, and only what
//! our own pictures consist of is known: groups, paths, rectangles, dots, words. Anything else is refused by name.

use super::super::ReportError;
use super::picture::Picture;
use super::vector::{escaped, head};
use roxmltree::{Document, Node, ParsingOptions};
use serde::{Deserialize, Serialize};

/// A picture for a page that brings the font itself ([`super::page_font_css`]).
#[derive(Debug, Clone, PartialEq)]
pub struct PagePicture {
    title: String,
    svg: String,
}

const SVG: &str = "http://www.w3.org/2000/svg";
/// Our largest pictures, maps, have some thousands.
const MOST_NODES: u32 = 200_000;
/// Picture, panel, curve.
const DEEPEST: usize = 4;

impl Picture {
    /// The picture as it stands in a page.
    ///
    /// # Errors
    /// [`ReportError::Drawing`] if the picture cannot be drawn.
    pub fn in_page(&self) -> Result<PagePicture, ReportError> {
        Ok(PagePicture { title: self.title().to_owned(), svg: self.svg_in_page()? })
    }
}

impl PagePicture {
    /// The picture in the text of a file that [`Picture::svg`] wrote.
    ///
    /// # Errors
    /// [`ReportError::NotOurs`] at the first thing that our pictures do not consist of.
    pub fn read(text: &str) -> Result<Self, ReportError> {
        let options = ParsingOptions { allow_dtd: false, nodes_limit: MOST_NODES, ..ParsingOptions::default() };
        let document = Document::parse_with_options(text, options).map_err(|error| not_ours(error.to_string()))?;
        let root = document.root_element();
        if root.tag_name().name() != "svg" || root.tag_name().namespace() != Some(SVG) {
            return Err(not_ours(format!("<{}>", root.tag_name().name())));
        }
        let child = |name: &str| root.children().find(|node| node.has_tag_name((SVG, name)));
        let words = |name: &str| child(name).and_then(|node| node.text()).unwrap_or_default().to_owned();
        let legible = child("metadata").and_then(|node| node.text()).unwrap_or_default();
        let legible: Legible = serde_json::from_str(legible).map_err(|error| not_ours(format!("metadata: {error}")))?;
        let (title, description) = (words("title"), words("desc"));
        let mut svg = head(size(&root)?, &title, &description);
        let about = serde_json::to_string(&legible.checked()?).map_err(|error| not_ours(error.to_string()))?;
        svg.push_str(&format!("<metadata>{}</metadata>\n", escaped(&about)));
        for node in root.children().filter(Node::is_element) {
            match node.tag_name().name() {
                "title" | "desc" | "metadata" | "style" => {}
                _ => copy(&node, &mut svg, DEEPEST)?,
            }
        }
        svg.push_str("</svg>\n");
        Ok(Self { title, svg })
    }

    /// What stands above the picture.
    pub fn title(&self) -> &str {
        &self.title
    }

    /// The SVG element, font not included.
    pub fn svg(&self) -> &str {
        &self.svg
    }
}

fn not_ours(what: impl Into<String>) -> ReportError {
    ReportError::NotOurs { what: what.into() }
}

/// Width and height in units of the sheet.
fn size(root: &Node<'_, '_>) -> Result<[f64; 2], ReportError> {
    let side = |name: &str| {
        let found = root.attribute(name).and_then(|text| text.parse::<f64>().ok());
        found
            .filter(|side| (1.0..=10_000.0).contains(side))
            .ok_or_else(|| not_ours(format!("a picture without {name}")))
    };
    Ok([side("width")?, side("height")?])
}

/// What `legible` wrote.
#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Legible {
    x: Scaled,
    panels: Vec<Field>,
    curves: Vec<String>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    shades: Vec<[String; 2]>,
}

#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Field {
    frame: [i32; 4],
    y: Scaled,
}

#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Scaled {
    scale: String,
    from: f64,
    to: f64,
    size: f64,
    title: String,
    unit: String,
}

impl Legible {
    fn checked(self) -> Result<Self, ReportError> {
        if self.panels.is_empty() {
            return Err(not_ours("a picture without panels"));
        }
        match self.shades.iter().find(|[colour, _]| !is_colour(colour)) {
            Some([colour, _]) => Err(not_ours(format!("the colour {colour:?}"))),
            None => Ok(self),
        }
    }
}

/// Writes an element anew, if it is one of ours.
fn copy(node: &Node<'_, '_>, svg: &mut String, deeper: usize) -> Result<(), ReportError> {
    let name = node.tag_name().name();
    let is_known = matches!(name, "g" | "path" | "rect" | "circle" | "text");
    if !is_known || node.tag_name().namespace() != Some(SVG) || deeper == 0 {
        return Err(not_ours(format!("<{name}>")));
    }
    svg.push('<');
    svg.push_str(name);
    for attribute in node.attributes() {
        let (key, value) = (attribute.name(), attribute.value());
        if attribute.namespace().is_some() || !is_allowed(name, key, value) {
            return Err(not_ours(format!("{key}={value:?} in <{name}>")));
        }
        svg.push_str(&format!(" {key}=\"{value}\""));
    }
    if matches!(name, "path" | "rect" | "circle") && !node.has_children() {
        svg.push_str("/>\n");
        return Ok(());
    }
    svg.push_str(if name == "g" { ">\n" } else { ">" });
    match name {
        "text" if node.children().all(|child| child.is_text()) => {
            svg.push_str(&escaped(node.text().unwrap_or_default()))
        }
        "text" => return Err(not_ours("an element within <text>")),
        _ => {
            for child in node.children().filter(Node::is_element) {
                copy(&child, svg, if name == "g" { deeper - 1 } else { 0 })?;
            }
        }
    }
    svg.push_str(&format!("</{name}>\n"));
    Ok(())
}

/// Whether an element of ours has this attribute with such a value. No value that passes can end its quotation marks.
fn is_allowed(element: &str, key: &str, value: &str) -> bool {
    let of = |allowed: &str| !value.is_empty() && value.chars().all(|c| c.is_ascii_digit() || allowed.contains(c));
    match (element, key) {
        ("g", "data-panel" | "data-curve" | "data-entry") => of("") && value.len() < 6,
        ("path", "d") => of("Mlhvz -"),
        ("path", "stroke-dasharray") => of(" "),
        ("path", "stroke-width") | ("text", "font-size") | ("circle", "cx" | "cy" | "r") => of("-"),
        ("rect", "x" | "y" | "width" | "height") | ("text", "x" | "y") => of("-"),
        ("path", "stroke") | ("path" | "rect" | "circle" | "text", "fill") => is_colour(value),
        ("path" | "rect", "fill-opacity") => of("."),
        ("text", "text-anchor") => matches!(value, "middle" | "end"),
        _ => false,
    }
}

fn is_colour(text: &str) -> bool {
    text.len() == 7 && text.starts_with('#') && text[1..].chars().all(|c| c.is_ascii_hexdigit())
}

#[cfg(test)]
mod tests {
    use super::super::{LevelCurve, Origin, PhasePanel, ResponsePicture};
    use super::*;

    fn drawn() -> Picture {
        let curve = LevelCurve {
            name: "rear \"left\" <1> & more".into(),
            origin: Origin::Predicted,
            frequency_hz: vec![100.0, 1000.0, 3000.0],
            level_db: vec![80.0, 81.0, 79.0],
            u_db: vec![0.1, 0.1, 0.2],
            phase_deg: vec![0.0, 10.0, -20.0],
        };
        ResponsePicture {
            title: "A <b> & \"c\"".into(),
            level_reference: "dB re 20 µPa".into(),
            curves: vec![curve],
            valid_hz: Some([200.0, 2000.0]),
            shown_hz: None,
            phase: PhasePanel::Beneath,
        }
        .picture()
    }

    #[test]
    fn a_picture_comes_back_from_its_file_as_it_would_stand_in_the_page() {
        let kept = PagePicture::read(&drawn().svg().unwrap()).unwrap();
        let in_page = drawn().in_page().unwrap();
        assert_eq!(kept.title(), in_page.title());
        assert_eq!(kept.svg(), in_page.svg());
        assert!(!kept.svg().contains("<style") && drawn().svg().unwrap().contains("<style"));
    }

    #[test]
    fn what_is_not_ours_is_refused_by_name() {
        let ours = drawn().svg().unwrap();
        let put = |what: &str| ours.replace("</svg>", &format!("{what}</svg>"));
        let in_panel = |what: &str| ours.replacen("<g data-panel=\"0\">", what, 1);
        for (text, expected) in [
            (put("<script>alert(1)</script>"), "<script>"),
            (put("<image href='http://example.org/x'/>"), "<image>"),
            (put("<foreignObject><p xmlns='http://www.w3.org/1999/xhtml'>x</p></foreignObject>"), "<foreignObject>"),
            (put("<g><g><g><g><g/></g></g></g></g>"), "<g>"),
            (put("<p xmlns='http://www.w3.org/1999/xhtml'/>"), "<p>"),
            (put("<text x='1' y='1'><tspan>x</tspan></text>"), "an element within <text>"),
            (in_panel("<g data-panel=\"0\" onload=\"alert(1)\">"), "onload=\"alert(1)\" in <g>"),
            (in_panel("<g data-panel=\"0\" style=\"x\">"), "style=\"x\" in <g>"),
            (
                put("<path d=\"M1 1l2 2\" fill=\"url(http://example.org)\"/>"),
                "fill=\"url(http://example.org)\" in <path>",
            ),
            (put("<path xmlns:x='urn:x' x:d=\"M1 1\"/>"), "d=\"M1 1\" in <path>"),
            (ours.replacen("width=\"", "width=\"x", 1), "a picture without width"),
            (ours.replacen("#", "&#x1F;", 1), ""),
            (ours.replacen("<metadata>", "<metadata>x", 1), "metadata: "),
            ("<html/>".to_owned(), "<html>"),
            (String::new(), ""),
            (format!("<!DOCTYPE svg [<!ENTITY x \"y\">]>{ours}"), ""),
        ] {
            let error = PagePicture::read(&text).unwrap_err().to_string();
            assert!(error.contains(expected), "{error}: {expected}");
        }
    }
}
