//! The font of all pictures, carried along so that they look the same on a machine without fonts.
//!
//! A subset of DejaVu Sans (`src/report/fonts/`: licence, and the script that made it): as outlines for bitmaps and for
//! measuring text, and packed for SVG and HTML. Both are the same glyphs, so the layout measured here is the one a
//! browser shows. A viewer of SVG that ignores embedded fonts takes the next family of the list.

use std::sync::Once;

use plotters::style::{FontFamily, FontStyle, IntoFont, register_font};

/// The families in order of preference, as CSS has them; also the name under which the outlines are registered.
pub(super) const FAMILIES: &str = "Boxwright Sans, DejaVu Sans, Verdana, sans-serif";

const OUTLINES: &[u8] = include_bytes!("../fonts/drawing.ttf");
const PACKED_BASE64: &str = include_str!("../fonts/page.woff2.base64");

/// Height of a line over the size of an em: `(ascender − descender)/unitsPerEm` of the font, (1901 + 483)/2048.
pub(super) const LINE_PER_EM: f64 = (1901.0 + 483.0) / 2048.0;

/// The style sheet rule that brings the font into an SVG or HTML file.
pub fn page_font_css() -> String {
    format!("@font-face{{font-family:\"Boxwright Sans\";src:url(data:font/woff2;base64,{PACKED_BASE64})}}")
}

/// Makes the outlines known to the drawing library; any number of times.
pub(super) fn register() {
    static REGISTERED: Once = Once::new();
    // A font that is refused shows at the first text as a drawing error, so its absence is not silent.
    REGISTERED.call_once(|| drop(register_font(FAMILIES, FontStyle::Normal, OUTLINES)));
}

/// How wide a text is, in the unit of `em`.
pub(super) fn text_width(text: &str, em: f64) -> f64 {
    register();
    // Measured large, because the library rounds to whole pixels: 1/1000 em.
    const MEASURED_EM: f64 = 1000.0;
    let font = (FontFamily::Name(FAMILIES), MEASURED_EM * LINE_PER_EM).into_font();
    font.box_size(text).map_or(0.0, |(width, _)| f64::from(width) * em / MEASURED_EM)
}

/// The text without the characters that a picture or an XML file cannot hold.
pub(super) fn printable(text: &str) -> String {
    text.chars().map(|c| if c.is_whitespace() { ' ' } else { c }).filter(|c| is_printable(*c)).collect()
}

fn is_printable(c: char) -> bool {
    !c.is_control() && !matches!(c, '\u{FFFE}' | '\u{FFFF}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_digit_is_as_wide_as_the_font_file_says() {
        // DejaVu Sans: the advance of every digit is 1303/2048 em. 0.002: rounding to 1/1000 em.
        let width = text_width("7", 1.0);
        assert!((width - 1303.0 / 2048.0).abs() < 0.002, "{width}");
        let eight = text_width("20000.00", 12.0) - text_width(".", 12.0);
        assert!((eight - 7.0 * 12.0 * 1303.0 / 2048.0).abs() < 0.1, "{eight}");
    }

    #[test]
    fn every_sign_that_pictures_use_is_in_the_font() {
        // A sign that is missing has the width of the empty box, 1229/2048 em: compare with one surely missing.
        let missing = text_width("\u{4E2D}", 1.0);
        for sign in "−±·°Ωµ²³⁻⁰¹⁴–—“”αβωφ≤≥≈∞√".chars() {
            let width = text_width(&sign.to_string(), 1.0);
            assert!(width > 0.1 && (width - missing).abs() > 1e-4, "{sign}: {width}, missing {missing}");
        }
    }

    #[test]
    fn control_characters_do_not_reach_a_picture() {
        assert_eq!(printable("a\u{0}b\nc\u{FFFF}\u{1b}[1m"), "ab c[1m");
    }
}
