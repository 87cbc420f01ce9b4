//! A logger as it was found, for a person with a screwdriver in the other hand.

use super::Options;
use super::page::{Ink, Page};
use crate::jobs::device::{Answering, Moved, Progress, Report, Row, Sense};
use crate::show::hand;
use crate::show::units::Units;
use crate::show::words;

/// What the logger's one light says; its firmware's panel has the same table.
const LIGHT: [(&str, &str); 6] = [
    ("a flash every 3 s", "ready: hold the button to record without a computer"),
    ("half a second on, half off", "recording"),
    ("on", "recording the still: touch nothing"),
    ("two flashes every second", "recording, but a sensor does not answer"),
    ("very fast", "its store is full: fetch it"),
    ("three flashes every 2 s", "cannot record by itself: nothing is set up, or it has no store"),
];

/// The report as text.
pub fn device(report: &Report, options: &Options) -> String {
    let mut page = Page::new(options);
    page.paragraph(&verdict(report), if report.is_well() { Ink::Good } else { Ink::Bad });
    who(&mut page, report);
    sensors(&mut page, report, options.units);
    by_hand(&mut page, report);
    if !report.answering.is_empty() {
        page.heading("What answers on its buses?");
        report
            .answering
            .iter()
            .for_each(|answering| page.entry('·', Ink::Plain, &place(answering), &[addresses(answering)]));
    }
    page.heading("What does its light say?");
    LIGHT.iter().for_each(|(light, says)| page.entry('·', Ink::Plain, light, &[(*says).to_owned()]));
    page.finish()
}

fn verdict(report: &Report) -> String {
    let troubled: Vec<&str> =
        report.rows.iter().filter(|r| r.trouble.is_some()).map(|r| r.name.as_str()).collect();
    let ended = if report.broken_off { " It was ended before all was done." } else { "" };
    let vehicle = report.vehicle.as_ref().map_or_else(String::new, |v| format!(" for {v}"));
    let sentence = match troubled.len() {
        0 if report.rows.is_empty() => "The logger answers.".to_owned(),
        0 if report.is_well() => {
            format!("The logger answers, and all {} sensors{vehicle} read.", report.rows.len())
        }
        0 => "All sensors read, but something needs a look.".to_owned(),
        1 => format!("One sensor of {} is missing or silent: \"{}\".", report.rows.len(), troubled.join("")),
        count => format!(
            "{count} sensors of {} are missing or silent: {}.",
            report.rows.len(),
            words::list(&troubled)
        ),
    };
    format!("{sentence}{ended}")
}

fn who(page: &mut Page, report: &Report) {
    let identity = &report.identity;
    page.heading("Who is it?");
    let mut entry = |label: &str, text: String| page.entry('·', Ink::Plain, label, &[text]);
    entry("board", format!("{} on {}", identity.board, report.port));
    let version = format!(
        "{}, build {}; wire {}.{}",
        identity.firmware, identity.build, identity.major, identity.minor
    );
    entry("firmware", version);
    let minutes = identity.uptime_us as f64 / 60e6;
    entry("runs", format!("for {minutes:.1} min, since boot {}", identity.boot_count));
    entry("last reset", report.last_reset());
    entry("kept by itself", stored(identity.stored));
    if let Some(drift) = report.drift {
        let fast = if drift.ppm >= 0.0 { "fast" } else { "slow" };
        let half = 1.96 * drift.u_ppm;
        entry("clock", format!("{:.0} ± {half:.0} ppm {fast} against this computer", drift.ppm.abs()));
    }
    if let Some([scans, messages, transfers]) = report.left_out {
        let damaged = report.damaged_frames;
        let lost =
            format!("{scans} scans left out, {messages} messages dropped, {transfers} bus transfers failed");
        entry("since boot", format!("{lost}; {damaged} frames damaged on the line"));
    }
    let known = report.set_up_for.iter().map(String::as_str).collect::<Vec<_>>();
    entry("set up for", if known.is_empty() { "nothing".to_owned() } else { words::list(&known) });
    for difference in &report.settings {
        page.item("≠", difference);
    }
}

fn stored(records: u32) -> String {
    match records {
        0 => "nothing".to_owned(),
        count => format!("{count} records wait to be fetched"),
    }
}

fn sensors(page: &mut Page, report: &Report, units: Units) {
    if report.rows.is_empty() && report.shared.is_empty() {
        return;
    }
    page.heading("Is every sensor there?");
    for sentence in &report.shared {
        page.item("!", sentence);
    }
    for row in &report.rows {
        match &row.trouble {
            None => page.entry('✓', Ink::Good, &row.name, &[reading(row, units)]),
            Some(trouble) => {
                page.entry('✗', Ink::Bad, &row.name, &[format!("{}.", trouble.what.trim_end_matches('.'))]);
                for check in &trouble.check {
                    page.item("   check:", check);
                }
            }
        }
    }
}

/// The latest reading of a scalar, or how large an inertial unit's are.
fn reading(row: &Row, units: Units) -> String {
    let latest: Vec<f64> = row.readings.iter().filter_map(|c| c.seen.map(|s| s.latest)).collect();
    let place = row.place.as_ref().map_or_else(String::new, |p| format!("; {}", p.words()));
    let what = match (latest.as_slice(), row.readings.first().map(|c| c.unit)) {
        (&[value], Some("m")) => units.length().with_u(value, None),
        (&[value], Some("rad")) => units.angle().with_u(value, None),
        (&[value], Some(unit)) => format!("{value:.1} {unit}"),
        (&[ax, ay, az, ..], _) => {
            let size = (ax * ax + ay * ay + az * az).sqrt();
            format!("{size:.2} m/s² in all, at rest 9.8")
        }
        _ => "answers".to_owned(),
    };
    format!("{what}{place}")
}

fn by_hand(page: &mut Page, report: &Report) {
    let name = |k: usize| report.rows.get(k).map_or("?", |row| row.name.as_str());
    if report.rows.iter().all(|row| row.moved.is_none()) {
        return;
    }
    page.heading("Does each row belong to its sensor?");
    for (a, b) in &report.swapped {
        page.item(
            "!",
            &format!(
                "\"{}\" and \"{}\" are swapped: exchange their plugs, or their `input` in rig.toml.",
                name(*a),
                name(*b)
            ),
        );
    }
    if !report.moved_together.is_empty() {
        let text = format!(
            "{} moved together: it seems that the vehicle itself moves. Let it rest, and check again; which way each row goes was not \
             looked at.",
            listed(report, &report.moved_together)
        );
        page.item("!", &text);
    }
    if report.rows.iter().any(|row| matches!(row.moved, Some(Moved::Other(_)))) {
        page.item("·", "Which way each row goes was not looked at: mend the plugs first, then check again.");
    }
    for row in &report.rows {
        let Some(moved) = &row.moved else { continue };
        let (sign, ink) = match moved {
            Moved::Itself => ('✓', Ink::Good),
            Moved::Other(_) | Moved::Several(_) => ('✗', Ink::Bad),
            Moved::Waiting | Moved::Skipped => ('·', Ink::Plain),
        };
        let mut sentences = vec![hand::moved(report, moved)];
        match row.sense {
            Some(Sense::Wrong) => sentences.push(wrong_way(report)),
            Some(Sense::Right) => {
                sentences.push("and with the left corner down it went the right way".to_owned())
            }
            Some(Sense::Silent) | None => {}
        }
        let wrong = row.sense == Some(Sense::Wrong);
        page.entry(
            if wrong { '✗' } else { sign },
            if wrong { Ink::Bad } else { ink },
            &row.name,
            &[sentences.join(", ")],
        );
    }
}

/// What a row that went the wrong way may mean. Other rows that moved as well make it doubtful that only the corner was pushed.
fn wrong_way(report: &Report) -> String {
    let mend = "turn the sign of its `scale` in rig.toml, or it is clipped on the other side";
    if report.also_moved.is_empty() {
        return format!("and with the left corner down it went the wrong way: {mend}");
    }
    format!(
        "and it went the wrong way, but {} moved as well: if the vehicle was moving, let it rest and check again; if only the left corner \
         was pushed down, {mend}",
        listed(report, &report.also_moved)
    )
}

/// Rows by their names.
fn listed(report: &Report, rows: &[usize]) -> String {
    let names: Vec<String> =
        rows.iter().filter_map(|k| report.rows.get(*k)).map(|row| format!("\"{}\"", row.name)).collect();
    words::list(&names.iter().map(String::as_str).collect::<Vec<_>>())
}

fn place(answering: &Answering) -> String {
    match answering.mux {
        None => format!("bus {}", answering.bus),
        Some((mux, output)) => format!("bus {}, 0x{mux:02x} output {output}", answering.bus),
    }
}

fn addresses(answering: &Answering) -> String {
    if answering.addresses.is_empty() {
        return "nothing".to_owned();
    }
    let all: Vec<String> = answering.addresses.iter().map(|a| format!("0x{a:02x}")).collect();
    all.join(" ")
}

/// The line of progress while sensors are moved, and the line that is printed once where there is no terminal.
pub fn moving(progress: &Progress<'_>, units: Units) -> String {
    match progress {
        Progress::Looking(doing) => format!("{doing} …"),
        Progress::Push { armed: false, restless } => {
            format!("Next a push on the corner; let everything rest …{}", waiting_for(restless))
        }
        Progress::Push { .. } => {
            "Push the body down over the left wheel of this axle, and let go. Enter leaves it out.".to_owned()
        }
        Progress::Move { sensor, armed: false, restless, .. } => {
            format!("Next \"{sensor}\"; let everything rest …{}", waiting_for(restless))
        }
        Progress::Move { sensor, moving: Some(row), rows, .. } => {
            let reading = rows.iter().find(|(name, _)| name == row).and_then(|(_, reading)| *reading);
            let shown =
                reading.map_or_else(String::new, |value| format!("  {}", units.length().with_u(value, None)));
            let mark = if row == sensor { "✓" } else { "✗" };
            format!("\"{sensor}\": {mark} the row \"{row}\" moves{shown}")
        }
        Progress::Move { sensor, how, .. } => format!("\"{sensor}\": {how}."),
    }
}

/// The rows that do not rest, as the end of a line.
fn waiting_for(restless: &[&str]) -> String {
    match restless {
        [] => String::new(),
        [one] => format!(" \"{one}\" moves"),
        [first, rest @ ..] => format!(" \"{first}\" and {} more move", rest.len()),
    }
}

/// What a sensor's turn asks for, as one line for a person who reads a log.
pub fn turn(progress: &Progress<'_>) -> Option<String> {
    match progress {
        Progress::Move { sensor, how, done, of, .. } => {
            Some(format!("{} of {of}, \"{sensor}\": {how}. Enter leaves it out.", done + 1))
        }
        Progress::Push { armed: true, .. } => Some(moving(progress, Units::Mm)),
        Progress::Push { .. } | Progress::Looking(_) => None,
    }
}
