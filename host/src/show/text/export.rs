//! What an export wrote.

use super::page::{Ink, Page};
use crate::jobs::export::Exported;

/// An export as text.
pub fn exported(exported: &Exported, columns: usize) -> String {
    let mut page = Page::plain(columns);
    let runs = |count: usize| format!("{count} run{}", if count == 1 { "" } else { "s" });
    let sum = |of: fn(&crate::jobs::export::ExportedRun) -> u64| exported.runs.iter().map(of).sum::<u64>();
    let mut text = format!(
        "Exported {} to {}: {} readings, {} poses, {} numbers.",
        runs(exported.runs.len()),
        exported.into.display(),
        sum(|r| r.samples),
        sum(|r| r.poses),
        sum(|r| r.numbers)
    );
    if exported.kept > 0 {
        text.push_str(&format!(" {} there already, left as they were.", runs(exported.kept)));
    }
    page.paragraph(&text, Ink::Plain);
    for run in &exported.runs {
        if let Some(why) = &run.not_measured {
            let text = format!("{}/{} has its readings only: {why}.", run.vehicle, run.run);
            page.paragraph(&text, Ink::Plain);
        }
    }
    for unread in &exported.unread {
        let text = format!("{}/{} was left out: {}.", unread.vehicle, unread.run, unread.why);
        page.paragraph(&text, Ink::Plain);
    }
    page.finish()
}
