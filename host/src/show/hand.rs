//! What came of moving sensors by hand, in words that text and JSON share.

use crate::jobs::device::{Moved, Report, Sense};

/// A movement's outcome in a word or two.
pub fn moved(report: &Report, moved: &Moved) -> String {
    let name = |k: usize| report.rows.get(k).map_or("?", |row| row.name.as_str());
    match moved {
        Moved::Waiting => "not tried".to_owned(),
        Moved::Itself => "its own row moved".to_owned(),
        Moved::Other(other) => format!("the row \"{}\" moved", name(*other)),
        Moved::Several(rows) => {
            let names: Vec<String> = rows.iter().map(|k| format!("\"{}\"", name(*k))).collect();
            format!("several rows moved: {}", names.join(", "))
        }
        Moved::Skipped => "left out".to_owned(),
    }
}

/// Which way it went, in a word or two.
pub fn sense(sense: Sense) -> &'static str {
    match sense {
        Sense::Right => "right way",
        Sense::Wrong => "wrong way",
        Sense::Silent => "says nothing",
    }
}
