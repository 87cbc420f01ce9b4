//! Files that pages ask for besides themselves.

use crate::show::font::{self, FAMILY};
use crate::show::report;

/// A file of the pages.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Asset {
    /// Its name below `/assets/`.
    pub name: &'static str,
    /// Its media type.
    pub media_type: &'static str,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

const ICON: &str = "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 32 32\"><rect width=\"32\" height=\"32\" \
    rx=\"6\" fill=\"#005f73\"/><path d=\"M5 22 27 10\" stroke=\"#fff\" stroke-width=\"3\"/><circle cx=\"9\" cy=\"20\" \
    r=\"4\" fill=\"#fff\"/><circle cx=\"23\" cy=\"12\" r=\"4\" fill=\"#fff\"/></svg>";

const FACES: [(&str, &str); 2] = [("sans.ttf", "normal"), ("sans-bold.ttf", "bold")];

const SCRIPTS: [(&str, &str); 5] = [
    ("design.js", include_str!("design.js")),
    ("post.js", include_str!("post.js")),
    ("record.js", include_str!("record.js")),
    ("run.js", include_str!("run.js")),
    ("turn.js", include_str!("turn.js")),
];

/// Every file.
pub fn all() -> Vec<Asset> {
    let text = |name, media_type, text: &str| Asset { name, media_type, bytes: text.as_bytes().to_vec() };
    let mut all =
        vec![text("page.css", "text/css; charset=utf-8", &sheet()), text("icon.svg", "image/svg+xml", ICON)];
    for (name, script) in SCRIPTS {
        all.push(text(name, "text/javascript; charset=utf-8", script));
    }
    for ((name, _), bytes) in FACES.into_iter().zip(font::files()) {
        all.push(Asset { name, media_type: "font/ttf", bytes: bytes.to_vec() });
    }
    all
}

/// The look of reports, the font from files, and what pages have beyond a report.
fn sheet() -> String {
    let faces: String = FACES
        .map(|(name, weight)| {
            format!("@font-face{{font-family:\"{FAMILY}\";font-weight:{weight};src:url(/assets/{name})}}")
        })
        .concat();
    faces + &report::look() + include_str!("page.css")
}
