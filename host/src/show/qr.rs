//! Addresses as codes that a phone's camera reads (ISO/IEC 18004).

use qrcode::{Color, EcLevel, QrCode};

/// Light modules around a code: the standard asks for four.
const QUIET: usize = 4;

/// A code for a terminal, two modules to a letter's height. Light modules are drawn, which is right on a dark terminal; cameras
/// read the reverse too. An address that is too long for any code is given as it is.
pub fn terminal(address: &str) -> String {
    let Some(modules) = modules(address) else { return address.to_owned() };
    let size = modules.len();
    let light = |x: usize, y: usize| !modules.get(y).and_then(|row| row.get(x)).copied().unwrap_or(false);
    let mut text = String::new();
    for y in (0..size).step_by(2) {
        for x in 0..size {
            text.push(match (light(x, y), light(x, y + 1)) {
                (true, true) => '█',
                (true, false) => '▀',
                (false, true) => '▄',
                (false, false) => ' ',
            });
        }
        text.push('\n');
    }
    text
}

/// Rows of dark modules with their quiet zone.
fn modules(address: &str) -> Option<Vec<Vec<bool>>> {
    let code = QrCode::with_error_correction_level(address.as_bytes(), EcLevel::L).ok()?;
    let width = code.width();
    let whole = width + 2 * QUIET;
    let mut rows = vec![vec![false; whole]; whole];
    for (k, colour) in code.to_colors().into_iter().enumerate() {
        if let Some(module) = rows.get_mut(QUIET + k / width).and_then(|row| row.get_mut(QUIET + k % width)) {
            *module = colour == Color::Dark;
        }
    }
    Some(rows)
}

#[cfg(test)]
mod tests {
    use super::*;

    const ADDRESS: &str = "http://192.168.1.20:8480/enter?token=0123456789abcdef0123456789abcdef";

    #[test]
    fn the_code_is_square_with_a_quiet_zone_and_three_finders() {
        let rows = modules(ADDRESS).unwrap();
        let size = rows.len();
        assert!(rows.iter().all(|row| row.len() == size));
        assert!(rows.iter().take(QUIET).flatten().all(|dark| !dark), "quiet");
        // ISO/IEC 18004, 6.3.3: a dark ring of 7 modules in three corners.
        for (x, y) in [(QUIET, QUIET), (size - QUIET - 7, QUIET), (QUIET, size - QUIET - 7)] {
            assert!(
                (0..7).all(|k| rows[y][x + k] && rows[y + 6][x + k] && rows[y + k][x] && rows[y + k][x + 6])
            );
            assert!((1..6).all(|k| !rows[y + 1][x + k]) && rows[y + 3][x + 3]);
        }
    }

    #[test]
    fn a_terminal_of_eighty_columns_shows_it_whole() {
        let text = terminal(ADDRESS);
        let widths: Vec<usize> = text.lines().map(|line| line.chars().count()).collect();
        assert!(widths.iter().all(|w| *w == widths[0]) && widths[0] <= 79, "{widths:?}");
        assert!(widths.len() <= 24, "{} lines", widths.len());
    }
}
