//! The font that pictures and reports carry, and how wide text is in it.

use plotters::style::{FontDesc, FontFamily, FontStyle, register_font};
use std::sync::Once;

/// What pictures and pages call it.
pub const FAMILY: &str = "hingeline-sans";

const REGULAR: &[u8] = include_bytes!("fonts/sans-condensed.ttf");
const BOLD: &[u8] = include_bytes!("fonts/sans-condensed-bold.ttf");

/// Ascent and descent of the font per em, which is the size that the rasteriser counts in (hhea table: 1901 and 483 of 2048).
pub const HEIGHT_PER_EM: f64 = (1901.0 + 483.0) / 2048.0;

/// Makes the font known to the plotter; does nothing the second time.
pub fn register() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        for (style, bytes) in [(FontStyle::Normal, REGULAR), (FontStyle::Bold, BOLD)] {
            // Both files are part of the program; a test reads them.
            let _ = register_font(FAMILY, style, bytes);
        }
    });
}

/// Width of `text` at `size_px` (CSS pixels per em).
pub fn width_px(text: &str, size_px: f64) -> f64 {
    /// The rasteriser rounds to whole pixels; it is asked at a larger size.
    const FINE: f64 = 16.0;
    register();
    let font = FontDesc::new(FontFamily::Name(FAMILY), FINE * size_px * HEIGHT_PER_EM, FontStyle::Normal);
    // Without the font every letter would count as one em wide, which no letter is.
    font.box_size(text).map_or(text.chars().count() as f64 * size_px, |(width, _)| f64::from(width) / FINE)
}

/// Both faces as TrueType files: regular, bold.
pub fn files() -> [&'static [u8]; 2] {
    [REGULAR, BOLD]
}

/// The `@font-face` rules that make a page carry the font.
pub fn css() -> String {
    [face(REGULAR, "normal"), face(BOLD, "bold")].concat()
}

/// The same for a picture: no picture has bold text.
pub fn picture_css() -> String {
    face(REGULAR, "normal")
}

fn face(bytes: &[u8], weight: &str) -> String {
    let data = base64(bytes);
    format!(
        "@font-face{{font-family:\"{FAMILY}\";font-weight:{weight};src:url(data:font/ttf;base64,{data})}}"
    )
}

/// RFC 4648, section 4.
fn base64(bytes: &[u8]) -> String {
    const ALPHABET: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for group in bytes.chunks(3) {
        let word = group.iter().fold(0u32, |w, b| (w << 8) | u32::from(*b)) << (8 * (3 - group.len()));
        for k in 0..4 {
            let letter = ALPHABET[(word >> (18 - 6 * k) & 63) as usize];
            text.push(if k <= group.len() { char::from(letter) } else { '=' });
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_font_is_whole_and_small() {
        for (style, bytes) in [(FontStyle::Normal, REGULAR), (FontStyle::Bold, BOLD)] {
            assert!(register_font("read again", style, bytes).is_ok());
            assert!(bytes.len() < 50_000);
        }
        // Advance widths of the regular face in units of 1/2048 em, read with fonttools.
        for (text, units) in [("0", 1172.0), ("00000", 5860.0), ("W", 1822.0)] {
            let width = width_px(text, 100.0);
            assert!((width - 100.0 * units / 2048.0).abs() < 0.1, "{text}: {width}");
        }
        assert!(width_px("≠±−°·χ²", 12.0) > 6.0 * 4.0, "the signs that results use are in it");
    }

    #[test]
    fn base64_has_the_published_vectors() {
        // RFC 4648, section 10.
        let vectors = [("", ""), ("f", "Zg=="), ("fo", "Zm8="), ("foo", "Zm9v"), ("foobar", "Zm9vYmFy")];
        for (plain, coded) in vectors {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
    }
}
