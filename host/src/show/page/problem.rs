//! Pages that say why there is nothing to show.

use super::{Frame, Place, Setting};
use maud::html;

/// What went wrong, for a person.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// One sentence: what, and where.
    pub sentence: String,
    /// What to do next.
    pub hint: Option<String>,
    /// A file's mistakes, each with its line.
    pub details: Option<String>,
}

/// The page of a problem.
pub fn problem(problem: &Problem, setting: &Setting) -> String {
    // Details that end with what to do need not be told it again.
    let told = |hint: &str| problem.details.as_ref().is_some_and(|details| details.ends_with(hint));
    let hint = problem.hint.as_deref().filter(|hint| !told(hint));
    let body = html! {
        section role="alert" {
            h1.verdict { (super::super::words::capital(&problem.sentence)) "." }
            @if let Some(details) = &problem.details { pre tabindex="0" { (details) } }
            @if let Some(hint) = hint { p { "What to do: " (hint) } }
            p { a href="/" { "To the list of runs" } }
        }
    };
    Frame::new(setting, Place::Elsewhere, "Not shown").page(&body)
}

/// The page that is shown while the history measures runs that it lacks; it loads itself again.
pub fn catching_up(doing: Option<&str>, setting: &Setting) -> String {
    let body = html! {
        h1.verdict { "The runs are being measured." }
        p role="status" { @match doing {
            Some(doing) => (doing),
            None => "It begins now.",
        } }
        p.note { "Runs that the history lacks are measured once. This page loads itself again every two seconds." }
    };
    Frame { again_s: Some(2), ..Frame::new(setting, Place::Runs, "Measuring runs") }.page(&body)
}
