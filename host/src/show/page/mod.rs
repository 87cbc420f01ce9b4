//! The pages of the local web server: pure renderers from result types to HTML. Scripts and style sheets are files of their
//! own, part of the program; no page carries a line of either.

pub mod assets;
mod compare;
mod design;
mod live;
mod model;
mod problem;
mod runs;
mod wear;

#[cfg(test)]
mod tests;

pub use compare::runs_side_by_side;
pub use design::{Redrawn, board, redrawn, which_drawing};
pub use live::{Rigged, Told, numbers_so_far, record};
pub use problem::{Problem, catching_up, problem};
pub use runs::{Asked, PAGE, run, runs};
pub use wear::{wear, which_vehicle};

use super::Units;
use maud::{DOCTYPE, Markup, html};

/// What every page is told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Setting {
    /// What the logbook's owner calls it.
    pub logbook: String,
    /// Units of lengths.
    pub units: Units,
    /// What the page sends back with everything that changes something.
    pub page_token: String,
}

/// The pages that the bar leads to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// The list of runs, and what hangs on it.
    Runs,
    /// A recording.
    Record,
    /// The drawing board.
    Design,
    /// Wear over all runs.
    Wear,
    /// None of them.
    Elsewhere,
}

impl Place {
    const BAR: [(Place, &'static str, &'static str); 4] = [
        (Place::Runs, "Runs", "/"),
        (Place::Record, "Record", "/record"),
        (Place::Design, "Design", "/design"),
        (Place::Wear, "Wear", "/wear"),
    ];
}

/// How a page is put together.
#[derive(Debug, Clone, Copy)]
struct Frame<'a> {
    setting: &'a Setting,
    place: Place,
    title: &'a str,
    /// Whether the page is as wide as the window lets it; text is not.
    wide: bool,
    scripts: &'a [&'a str],
    /// Loads itself again after so many seconds.
    again_s: Option<u32>,
}

impl<'a> Frame<'a> {
    fn new(setting: &'a Setting, place: Place, title: &'a str) -> Self {
        Self { setting, place, title, wide: false, scripts: &[], again_s: None }
    }

    fn page(&self, body: &Markup) -> String {
        html! {
            (DOCTYPE)
            html lang="en" {
                head {
                    meta charset="utf-8";
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    meta name="page-token" content=(self.setting.page_token);
                    meta name="referrer" content="same-origin";
                    @if let Some(seconds) = self.again_s { meta http-equiv="refresh" content=(seconds); }
                    title { (self.title) " – " (self.setting.logbook) }
                    link rel="icon" href="/assets/icon.svg" type="image/svg+xml";
                    link rel="stylesheet" href="/assets/page.css";
                    @for script in self.scripts { script src=(script) type="module" {} }
                }
                body {
                    a.skip href="#content" { "Skip to the content" }
                    header.bar {
                        p.brand { span { "hingeline" } " " (self.setting.logbook) }
                        nav aria-label="Pages" { ul {
                            @for (place, name, path) in Place::BAR {
                                li { a href=(path) aria-current=[(place == self.place).then_some("page")] { (name) } }
                            }
                        } }
                    }
                    main #content .wide-page[self.wide] tabindex="-1" { (body) }
                    footer { p { "hingeline " (env!("CARGO_PKG_VERSION"))
                        ". It advises; it does not certify a vehicle as safe." } }
                }
            }
        }
        .into_string()
    }
}

/// A part of a path: percent-encoded but for letters, digits and `-._~` (RFC 3986, 2.3).
pub fn path_part(text: &str) -> String {
    let mut coded = String::with_capacity(text.len());
    for byte in text.bytes() {
        match byte {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' => {
                coded.push(char::from(byte))
            }
            other => coded.push_str(&format!("%{other:02X}")),
        }
    }
    coded
}

/// The address of a run's page.
fn run_path(vehicle: &str, run: &str) -> String {
    format!("/run/{}/{}", path_part(vehicle), path_part(run))
}
