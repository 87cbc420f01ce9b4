//! The documents name only what is there: paths, tests, pictures, links between them.

use crate::sources::{Source, all, root};
use std::fs;
use std::path::Path;

/// Folders at the top: a word in backticks that begins with one of them is a path.
const TOP_FOLDERS: [&str; 6] = ["firmware/", "hardware-notes/", "host/", "protocol/", "tests/", ".ci/"];
/// Files at the top.
const TOP_FILES: [&str; 6] =
    ["CHANGELOG.md", "Cargo.toml", "Cargo.lock", "DEVELOPERS.md", "LICENSE", "README.md"];

fn documents() -> Vec<Source> {
    all().into_iter().filter(|s| s.is("md")).collect()
}

/// Words in backticks, from lines outside fenced blocks; a span may not cross a line.
fn spans(text: &str) -> Vec<String> {
    let mut fenced = false;
    let mut found = Vec::new();
    for line in text.lines() {
        if line.trim_start().starts_with("```") {
            fenced = !fenced;
        } else if !fenced {
            found.extend(line.split('`').skip(1).step_by(2).map(str::to_owned));
        }
    }
    found
}

/// What a span names from the root: a path, and a function in it where `::` follows.
fn named(span: &str) -> Option<(String, Option<String>)> {
    let first = span.split([' ', ',']).next().unwrap_or_default();
    let is_path = TOP_FOLDERS.iter().any(|f| first.starts_with(f)) || TOP_FILES.contains(&first);
    if !is_path || first.contains(['*', '<', '{']) {
        return None;
    }
    let (path, function) = first.split_once("::").map_or((first, None), |(p, f)| (p, Some(f.to_owned())));
    Some((path.to_owned(), function))
}

#[test]
fn every_path_and_test_named_in_a_document_is_there() {
    let (mut missing, mut seen) = (Vec::new(), 0);
    for document in documents() {
        for (path, function) in spans(&document.text).iter().filter_map(|s| named(s)) {
            seen += 1;
            let whole = root().join(&path);
            let there = whole.exists()
                && function.as_ref().is_none_or(|f| {
                    fs::read_to_string(&whole).is_ok_and(|text| text.contains(&format!("fn {f}(")))
                });
            if !there {
                missing.push(format!("{}: {path} {}", document.path, function.unwrap_or_default()));
            }
        }
    }
    assert!(seen > 0, "no document names a path: the rule would hold of nothing");
    assert!(missing.is_empty(), "named but not there:\n{}", missing.join("\n"));
}

/// Targets of `[text](target)` and `![text](target)` that are files.
fn links(text: &str) -> Vec<String> {
    text.split("](")
        .skip(1)
        .filter_map(|rest| rest.split(')').next())
        .map(|target| target.split('#').next().unwrap_or_default().to_owned())
        .filter(|target| !target.is_empty() && !target.contains("://"))
        .collect()
}

#[test]
fn every_link_leads_somewhere() {
    let mut broken = Vec::new();
    for document in documents() {
        let folder = root().join(Path::new(&document.path).parent().unwrap());
        let lost = links(&document.text).into_iter().filter(|target| !folder.join(target).exists());
        broken.extend(lost.map(|target| format!("{} → {target}", document.path)));
    }
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}

#[test]
fn every_picture_is_shown_somewhere() {
    let documents = documents();
    for picture in all().into_iter().filter(|s| s.is("svg") && s.path.starts_with("hardware-notes/")) {
        let name = picture.path.rsplit('/').next().unwrap().to_owned();
        assert!(documents.iter().any(|d| d.text.contains(&name)), "no document shows {}", picture.path);
    }
}

#[test]
fn paths_are_told_from_other_words() {
    assert_eq!(named("host/src/lib.rs"), Some(("host/src/lib.rs".into(), None)));
    assert_eq!(named("tests/run --check"), Some(("tests/run".into(), None)));
    assert_eq!(named("tests/a.rs::holds"), Some(("tests/a.rs".into(), Some("holds".into()))));
    assert_eq!(named("host/src/<module>/"), None);
    assert_eq!(named("rig.toml"), None);
}

/// Words that follow the program's name in backticks, or at the start of a line between fences.
fn commands_named(text: &str) -> Vec<String> {
    let quoted = text.split("`hingeline ").skip(1);
    let typed = fences(text).into_iter().filter_map(|line| line.trim_start().strip_prefix("hingeline "));
    let word = |rest: &str| rest.chars().take_while(char::is_ascii_lowercase).collect::<String>();
    quoted.chain(typed).map(word).filter(|w| !w.is_empty()).collect()
}

/// Lines between fences.
fn fences(text: &str) -> Vec<&str> {
    text.split("```").skip(1).step_by(2).flat_map(str::lines).collect()
}

#[test]
fn every_command_that_anybody_is_sent_to_is_there() {
    let list = fs::read_to_string(root().join("host/src/cli/mod.rs")).unwrap();
    let (_, variants) = list.split_once("enum Command {").unwrap();
    let known: Vec<String> = variants
        .lines()
        .map_while(|line| (line.trim() != "}").then_some(line.trim()))
        .filter_map(|line| line.split('(').next())
        .map(str::to_lowercase)
        .collect();
    let mut lost = Vec::new();
    for source in all().iter().filter(|s| ["md", "toml", "rs"].iter().any(|e| s.is(e))) {
        let named = commands_named(&source.text).into_iter().filter(|c| !known.contains(c) && c != "help");
        lost.extend(named.map(|c| format!("{}: hingeline {c}", source.path)));
    }
    assert!(known.len() > 5, "the list of commands was not found: {known:?}");
    assert!(lost.is_empty(), "there is no such command:\n{}", lost.join("\n"));
}
