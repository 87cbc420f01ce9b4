//! The colours of pictures and reports. They can be told apart without colour vision, every text colour is dark enough to
//! read, and each meaning also has a word, a sign, a line style or a marker.

/// A colour in sRGB, 8 bits each.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Colour(pub u8, pub u8, pub u8);

impl Colour {
    /// As CSS and SVG write it.
    pub fn hex(self) -> String {
        format!("#{:02x}{:02x}{:02x}", self.0, self.1, self.2)
    }
}

/// The page and the ground of every picture.
pub const PAPER: Colour = Colour(255, 255, 255);
/// Ground of tables' heads, the verdict and code.
pub const SHADE: Colour = Colour(240, 243, 243);
/// Text, and what is drawn.
pub const INK: Colour = Colour(27, 31, 36);
/// Text beside the point.
pub const FAINT: Colour = Colour(84, 92, 101);
/// Lines that only guide the eye.
pub const GRID: Colour = Colour(208, 214, 217);
/// Measured going up; agreement.
pub const PETROL: Colour = Colour(0, 95, 115);
/// Measured coming down; difference.
pub const RUST: Colour = Colour(174, 66, 0);
/// What is not decided.
pub const PLUM: Colour = Colour(109, 46, 138);

#[cfg(test)]
mod tests {
    use super::*;

    /// Least contrast of text of any size (WCAG 2.1, success criterion 1.4.3, level AA).
    const TEXT_CONTRAST: f64 = 4.5;
    /// Least difference of two lines that stand for different things, CIE 1976 ΔE; a few units can just be seen side by side.
    const TOLD_APART: f64 = 15.0;

    type Rgb = [f64; 3];

    /// Linear light from sRGB (IEC 61966-2-1).
    fn linear(colour: Colour) -> Rgb {
        [colour.0, colour.1, colour.2].map(|c| {
            let c = f64::from(c) / 255.0;
            if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
        })
    }

    fn luminance(colour: Colour) -> f64 {
        let [r, g, b] = linear(colour);
        0.2126 * r + 0.7152 * g + 0.0722 * b
    }

    fn contrast(a: Colour, b: Colour) -> f64 {
        let (a, b) = (luminance(a), luminance(b));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    fn times(m: [Rgb; 3], v: Rgb) -> Rgb {
        m.map(|row| row.iter().zip(v).map(|(a, b)| a * b).sum())
    }

    /// CIE 1976 L*a*b* under D65.
    fn lab(rgb: Rgb) -> Rgb {
        let to_xyz = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]];
        let [x, y, z] = times(to_xyz, rgb.map(|c| c.clamp(0.0, 1.0)));
        let f = |t: f64| if t > 0.008856 { t.cbrt() } else { 7.787 * t + 16.0 / 116.0 };
        let (fx, fy, fz) = (f(x / 0.9505), f(y), f(z / 1.089));
        [116.0 * fy - 16.0, 500.0 * (fx - fy), 200.0 * (fy - fz)]
    }

    #[test]
    fn text_can_be_read() {
        for ground in [PAPER, SHADE] {
            for text in [INK, FAINT, PETROL, RUST, PLUM] {
                let contrast = contrast(text, ground);
                assert!(contrast >= TEXT_CONTRAST, "{} on {}: {contrast:.2}", text.hex(), ground.hex());
            }
        }
        assert!((contrast(Colour(0, 0, 0), PAPER) - 21.0).abs() < 1e-9, "black on white is 21 by definition");
    }

    #[test]
    fn lines_are_told_apart_without_colour_vision() {
        // Machado, Oliveira, Fernandes 2009, "A physiologically-based model for simulation of color vision deficiency",
        // severity 1.0: protanopia, deuteranopia, tritanopia (from memory; each row adds up to 1).
        let sight = [
            [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
            [
                [0.152286, 1.052583, -0.204868],
                [0.114503, 0.786281, 0.099216],
                [-0.003882, -0.048116, 1.051998],
            ],
            [
                [0.367322, 0.860646, -0.227968],
                [0.280085, 0.672501, 0.047413],
                [-0.011820, 0.042940, 0.968881],
            ],
            [
                [1.255528, -0.076749, -0.178779],
                [-0.078411, 0.930809, 0.147602],
                [0.004733, 0.691367, 0.303900],
            ],
        ];
        let lines = [INK, PETROL, RUST, PLUM];
        for seen in sight {
            for (k, a) in lines.iter().enumerate() {
                for b in &lines[k + 1..] {
                    let (p, q) = (lab(times(seen, linear(*a))), lab(times(seen, linear(*b))));
                    let apart = p.iter().zip(q).map(|(p, q)| (p - q).powi(2)).sum::<f64>().sqrt();
                    assert!(apart > TOLD_APART, "{} and {}: {apart:.1}", a.hex(), b.hex());
                }
            }
        }
    }
}
