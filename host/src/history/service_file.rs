//! A vehicle's service record, `service.toml` in its folder: the only thing of the history that is not in its runs. The program
//! only ever adds at its end; a person may mend it by hand.

use super::service::{ServiceEvent, Work};
use crate::explain::{Explain, Status};
pub use crate::files::instant_us;
use crate::files::{Example, Item, LoadError, Section, read, read_text, written};
use crate::vehicle::Side;
use serde::Serialize;
use std::fs::OpenOptions;
use std::io::{ErrorKind, Read, Write};
use std::path::{Path, PathBuf};

/// The file in a vehicle's folder.
pub const SERVICE_FILE: &str = "service.toml";

const HEAD: &str = "# What was done to this vehicle, and when. hingeline service adds at the end; runs after an entry begin the\n\
                    # baselines anew that it concerns. Mend a slip by hand.\nformat = 1\n";

/// The service record cannot be written.
#[derive(Debug, thiserror::Error)]
pub enum ServiceError {
    /// The disk said no.
    #[error("{} cannot be written: {source}", .path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// A value has no form in TOML.
    #[error("the entry cannot be written: {0}")]
    Text(String),
}

impl Explain for ServiceError {
    fn status(&self) -> Status {
        Status::Device
    }
}

/// An entry as the file has it.
#[derive(Debug, Default, Serialize)]
struct Entry {
    date: String,
    text: String,
    work: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    element: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    end: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    hole: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    axle: Option<String>,
}

/// What an entry's `work` says before its other keys are known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Word {
    Replaced,
    Greased,
    Retorqued,
    Checked,
    Moved,
    Tyre,
    Pressure,
    RideHeight,
    Refitted,
    Note,
}

const WORDS: [(&str, Word); 10] = [
    ("replaced", Word::Replaced),
    ("greased", Word::Greased),
    ("retorqued", Word::Retorqued),
    ("checked", Word::Checked),
    ("moved", Word::Moved),
    ("tyre", Word::Tyre),
    ("pressure", Word::Pressure),
    ("ride height", Word::RideHeight),
    ("refitted", Word::Refitted),
    ("note", Word::Note),
];

const SIDES: [(&str, Side); 2] = [("chassis", Side::Chassis), ("axle", Side::Axle)];

fn word_of(work: &Work) -> Word {
    match work {
        Work::Replaced { .. } => Word::Replaced,
        Work::Greased { .. } => Word::Greased,
        Work::Retorqued { .. } => Word::Retorqued,
        Work::Checked { .. } => Word::Checked,
        Work::Moved { .. } => Word::Moved,
        Work::Tyre { .. } => Word::Tyre,
        Work::Pressure { .. } => Word::Pressure,
        Work::RideHeight { .. } => Word::RideHeight,
        Work::Refitted => Word::Refitted,
        Work::Note => Word::Note,
    }
}

fn entry(event: &ServiceEvent) -> Entry {
    let word = word_of(&event.work);
    let axle = match &event.work {
        Work::Tyre { axle } | Work::Pressure { axle } | Work::RideHeight { axle } => axle.clone(),
        _ => None,
    };
    let hole = match &event.work {
        Work::Moved { hole, .. } => *hole,
        _ => None,
    };
    Entry {
        date: event.date.clone(),
        text: event.text.clone(),
        work: WORDS.iter().find(|w| w.1 == word).map_or("note", |w| w.0),
        element: event.work.element().map(str::to_owned),
        end: event.work.end().and_then(|end| SIDES.iter().find(|s| s.1 == end)).map(|s| s.0),
        hole,
        axle,
    }
}

/// The service record of a vehicle, oldest first; empty where there is none.
///
/// # Errors
/// Every mistake of the file at once.
pub fn load(vehicle_folder: &Path) -> Result<Vec<ServiceEvent>, LoadError> {
    let path = vehicle_folder.join(SERVICE_FILE);
    if !path.exists() {
        return Ok(Vec::new());
    }
    let text = read_text(&path)?;
    if text.trim().is_empty() {
        return Ok(Vec::new());
    }
    let mut events = read(&text, &path.display().to_string(), |root| {
        let sections = root.sections("event", "event");
        let known = sections.len();
        let events: Vec<ServiceEvent> = sections.into_iter().filter_map(event).collect();
        (events.len() == known).then_some(events)
    })?;
    events.sort_by_key(|e| e.at_us);
    Ok(events)
}

fn event(mut section: Section<'_>) -> Option<ServiceEvent> {
    let date = section
        .require("date", Example::Text("\"2026-11-25T14:00:00+01:00\""), "when it was done")
        .and_then(|item| item.date());
    let text = section.or("text", String::new(), |i| i.text().map(str::to_owned));
    let word = section
        .require("work", Example::Text("\"replaced\""), "what was done")
        .and_then(|i| i.choice(&WORDS));
    let work = match word {
        Some(word) => work(&mut section, word),
        None => {
            section.give_up();
            None
        }
    };
    if word.is_some() {
        section.finish();
    }
    let (date, at_us) = date?;
    Some(ServiceEvent { date, at_us, text: text?, work: work? })
}

fn work(section: &mut Section<'_>, word: Word) -> Option<Work> {
    let element = |section: &mut Section<'_>| {
        section
            .require(
                "element",
                Example::Text("\"lower left\""),
                "the link, arm or spring, as vehicle.toml calls it",
            )
            .and_then(|i| i.name())
    };
    let end = |item: Item<'_>| item.choice(&SIDES);
    Some(match word {
        Word::Replaced => Work::Replaced { element: element(section)?, end: section.optional("end", end)? },
        Word::Greased => Work::Greased { element: element(section)? },
        Word::Retorqued => Work::Retorqued { element: element(section)? },
        Word::Checked => Work::Checked { element: element(section)? },
        Word::Moved => {
            let element = element(section);
            let hole = section.optional("hole", |i| i.whole_within(1, 99));
            let end = section
                .require("end", Example::Text("\"chassis\""), "the end that hangs elsewhere")
                .and_then(end);
            let hole = hole?.and_then(|hole| u32::try_from(hole).ok());
            Work::Moved { element: element?, end: end?, hole }
        }
        Word::Tyre => Work::Tyre { axle: section.optional("axle", |i| i.name())? },
        Word::Pressure => Work::Pressure { axle: section.optional("axle", |i| i.name())? },
        Word::RideHeight => Work::RideHeight { axle: section.optional("axle", |i| i.name())? },
        Word::Refitted => Work::Refitted,
        Word::Note => Work::Note,
    })
}

/// Adds events at the end of a vehicle's service record and sees them onto the disk.
///
/// # Errors
/// When the disk refuses.
pub fn append(vehicle_folder: &Path, events: &[ServiceEvent]) -> Result<(), ServiceError> {
    #[derive(Serialize)]
    struct Block {
        event: Vec<Entry>,
    }
    let block = Block { event: events.iter().map(entry).collect() };
    let added = written::to_text(&block).map_err(ServiceError::Text)?;
    let path = vehicle_folder.join(SERVICE_FILE);
    let write = || -> std::io::Result<()> {
        let mut file = OpenOptions::new().read(true).append(true).create(true).open(&path)?;
        // Two programs that add at once take turns; the lock goes with the file.
        if let Err(error) = file.lock()
            && error.kind() != ErrorKind::Unsupported
        {
            return Err(error);
        }
        let mut before = Vec::new();
        file.read_to_end(&mut before)?;
        let lead = match before.last() {
            None => HEAD,
            Some(b'\n') => "",
            Some(_) => "\n",
        };
        // One call: a program that dies leaves all of it or nothing.
        let text = format!("{lead}\n{}", added.trim_start());
        file.write_all(text.as_bytes()).and_then(|()| file.sync_all()).inspect_err(|_| {
            // A full disk: the record stays as it was.
            let _ = file.set_len(before.len() as u64);
            if before.is_empty() {
                let _ = std::fs::remove_file(&path);
            }
        })
    };
    write().map_err(|source| ServiceError::Write { path, source })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn stamped(text: &str, work: Work) -> ServiceEvent {
        let date = "2026-11-25T14:00:00+01:00";
        ServiceEvent { date: date.into(), at_us: instant_us(date).unwrap(), text: text.into(), work }
    }

    #[test]
    fn an_empty_file_is_an_empty_record() {
        let dir = tempfile::tempdir().unwrap();
        std::fs::write(dir.path().join(SERVICE_FILE), "").unwrap();
        assert_eq!(load(dir.path()).unwrap(), []);
        append(dir.path(), &[stamped("greased", Work::Greased { element: "lower left".into() })]).unwrap();
        assert_eq!(load(dir.path()).unwrap().len(), 1);
    }

    #[test]
    fn the_file_is_the_documented_one_and_only_grows() {
        let dir = tempfile::tempdir().unwrap();
        let work = Work::Replaced { element: "lower left".into(), end: Some(Side::Chassis) };
        append(dir.path(), &[stamped("new bush, the old one was \"oval\"", work)]).unwrap();
        let path = dir.path().join(SERVICE_FILE);
        let first = std::fs::read_to_string(&path).unwrap();
        insta::assert_snapshot!(first);
        append(dir.path(), &[stamped("", Work::Refitted)]).unwrap();
        assert!(std::fs::read_to_string(&path).unwrap().starts_with(&first));
        assert_eq!(load(dir.path()).unwrap().len(), 2);
    }

    #[test]
    fn mistakes_are_shown_where_they_are() {
        let dir = tempfile::tempdir().unwrap();
        let wrong = "format = 1\n[[event]]\ndate = \"yesterday\"\nwork = \"replacd\"\n\n[[event]]\ndate = \"2026-11-25\"\nwork = \"moved\"\nelement = \"lower left\"\nhol = 3\n";
        std::fs::write(dir.path().join(SERVICE_FILE), wrong).unwrap();
        let told = load(dir.path()).unwrap_err().report(false).unwrap();
        let told = told.replace(&dir.path().display().to_string(), "DIR");
        insta::assert_snapshot!(told);
    }

    fn any_work() -> impl Strategy<Value = Work> {
        let name = || "[a-z][a-z \"\\\\=#]{0,12}[a-z]";
        let end = || prop_oneof![Just(Side::Chassis), Just(Side::Axle)];
        prop_oneof![
            (name(), prop::option::of(end())).prop_map(|(element, end)| Work::Replaced { element, end }),
            name().prop_map(|element| Work::Greased { element }),
            name().prop_map(|element| Work::Retorqued { element }),
            name().prop_map(|element| Work::Checked { element }),
            (name(), end(), prop::option::of(1u32..99)).prop_map(|(element, end, hole)| Work::Moved {
                element,
                end,
                hole
            }),
            prop::option::of(name()).prop_map(|axle| Work::Tyre { axle }),
            prop::option::of(name()).prop_map(|axle| Work::Pressure { axle }),
            prop::option::of(name()).prop_map(|axle| Work::RideHeight { axle }),
            Just(Work::Refitted),
            Just(Work::Note),
        ]
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]
        #[test]
        fn whatever_is_added_comes_back(work in prop::collection::vec((any_work(), any::<String>()), 1..5)) {
            let dir = tempfile::tempdir().unwrap();
            let events: Vec<ServiceEvent> = work.into_iter().map(|(work, text)| stamped(&text, work)).collect();
            for event in &events {
                append(dir.path(), std::slice::from_ref(event)).unwrap();
            }
            prop_assert_eq!(load(dir.path()).unwrap(), events);
        }
    }
}
