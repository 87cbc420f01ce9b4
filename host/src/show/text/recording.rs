//! What a recording says while it runs and when it has ended.

use super::page::{Ink, Page, WIDTH};
use super::parts;
use crate::jobs::record::fetch::{Fetched, Recording as FetchedRecording};
use crate::jobs::record::{Progress, Recorded};
use crate::run::{Phase, Recording};
use crate::show::words;

/// One line about a recording that runs.
pub fn recording(progress: &Progress<'_>) -> String {
    let phase = progress.phase.map_or("waiting", Phase::words);
    // By the logger's clock, as in everything that is said of the run later.
    let elapsed = progress.live.trail().end_s();
    let received = progress.live.received;
    let mut line = format!("{phase}  {elapsed:.0} s  {received} readings, {} lost", progress.live.lost);
    let silent = progress.live.silent();
    let sensors = &progress.rig.sensors;
    let name = |k: &usize| sensors.get(*k).map_or("", |s| s.name.as_str());
    match silent.as_slice() {
        [] => {}
        _ if elapsed <= 1.0 => {}
        [one] => line.push_str(&format!("  silent: {}", name(one))),
        [first, rest @ ..] => line.push_str(&format!("  silent: {} and {} more", name(first), rest.len())),
    }
    if !progress.linked {
        line.push_str("  no logger");
    }
    line
}

/// A recording that ended.
pub fn recorded(recorded: &Recorded) -> String {
    let mut page = Page::plain(WIDTH);
    let phases: Vec<&str> = recorded.phases.iter().map(|p| p.words()).collect();
    let phases = if phases.is_empty() { "no phase".to_owned() } else { words::list(&phases) };
    // Trouble that ended it is told by itself, with what to do about it.
    let why = match &recorded.trouble {
        Some(trouble) if trouble.to_string() == recorded.why => String::new(),
        _ => format!("; it ended because {}", recorded.why),
    };
    page.paragraph(&format!("Recorded {:.0} s with {phases}{why}.", recorded.seconds), Ink::Plain);
    let mut counts = format!("{} readings received, {} lost", recorded.received, recorded.lost);
    if recorded.damaged_frames > 0 {
        counts.push_str(&format!(", {} frames damaged on the line and left out", recorded.damaged_frames));
    }
    if recorded.gaps.0 > 0 {
        counts.push_str(&format!(
            ", the line gone {} times for {:.0} s in all",
            recorded.gaps.0, recorded.gaps.1
        ));
    }
    if recorded.restarts > 0 {
        counts.push_str(&format!(", the logger restarted {} times", recorded.restarts));
    }
    page.paragraph(&format!("{counts}."), Ink::Plain);
    if !recorded.silent.is_empty() {
        let text = format!(
            "Not one reading came from {}: what they would have told is missing. `hingeline device` says what to check.",
            words::list(&recorded.silent)
        );
        page.paragraph(&text, Ink::Plain);
    }
    page.finish().trim_end().to_owned()
}

/// What was fetched from a board's own store: each recording with its run, and when and for how long it was recorded.
pub fn fetched(fetched: &Fetched, columns: usize) -> String {
    let mut page = Page::plain(columns);
    let recordings = fetched.recordings.len();
    let kept = match fetched.missing {
        0 => String::new(),
        count => format!("; {count} did not come in spite of asking again"),
    };
    let lead = format!(
        "Fetched {} records of {recordings} recording{}{kept}. The board keeps them.",
        fetched.records,
        if recordings == 1 { "" } else { "s" },
    );
    page.paragraph(&lead, Ink::Plain);
    for recording in &fetched.recordings {
        page.item("·", &fetched_recording(recording));
    }
    if fetched.left_out > 0 {
        let text = format!("{} records are of boots that read nothing, and were left out.", fetched.left_out);
        page.paragraph(&text, Ink::Plain);
    }
    page.finish().trim_end().to_owned()
}

fn fetched_recording(recording: &FetchedRecording) -> String {
    let FetchedRecording { name, begun, seconds, scans, known, .. } = recording;
    let when = match begun {
        Some(begun) => format!("from {}", begun.strftime("%Y-%m-%d %H:%M:%S")),
        None => "when is not known: the board was switched off since".to_owned(),
    };
    let before = if *known { "; fetched before" } else { "" };
    format!("{name}: {seconds:.0} s, {scans} scans, {when}{before}")
}

/// A table that became a run.
pub fn imported(recording: &Recording, columns: usize) -> String {
    let mut page = Page::plain(columns);
    let mut phases: Vec<&str> = recording.phases.iter().map(|p| p.phase.words()).collect();
    phases.dedup();
    page.paragraph(&format!("Imported with {}.", words::list(&phases)), Ink::Plain);
    parts::samples(&mut page, &recording.counts);
    parts::remarks(&mut page, &recording.remarks);
    page.finish().trim_end().to_owned()
}
