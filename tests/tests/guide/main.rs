//! The guide to choosing a layout cannot go stale: its numbers, tables and pictures are made afresh and compared.
//! `HINGELINE_WRITE_GUIDE=1` writes them instead.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

mod budget;
mod facts;
mod figures;
mod layouts;
mod page;
mod wishbone;

use page::{Answers, filled, own_words, same_picture};
use std::fs;
use std::path::{Path, PathBuf};

fn guide() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../host/guide")
}

fn the_page() -> String {
    fs::read_to_string(guide().join("which-layout.md")).expect("the page")
}

fn answers() -> Answers {
    let mut answers = Answers::default();
    facts::answer(&mut answers);
    wishbone::answer(&mut answers);
    figures::draw(&mut answers);
    answers
}

fn writes() -> bool {
    std::env::var_os("HINGELINE_WRITE_GUIDE").is_some()
}

#[test]
fn the_page_says_what_the_program_says() {
    let (page, answers) = (the_page(), answers());
    let (fresh, used) = filled(&page, &answers);
    if writes() {
        fs::write(guide().join("which-layout.md"), &fresh).expect("written");
    } else {
        for (line, (theirs, ours)) in fresh.lines().zip(page.lines()).enumerate() {
            assert_eq!(ours, theirs, "line {}: HINGELINE_WRITE_GUIDE=1 writes it anew", line + 1);
        }
        assert_eq!(page, fresh);
    }
    let unused: Vec<&String> =
        answers.numbers.keys().chain(answers.tables.keys()).filter(|name| !used.contains(name)).collect();
    assert!(unused.is_empty(), "worked out and not said: {unused:?}");
}

#[test]
fn the_error_budget_is_what_sensors_says() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../hardware-notes/error-budget.md");
    let page = fs::read_to_string(&path).expect("the page");
    let mut answers = Answers::default();
    budget::answer(&mut answers);
    let (fresh, used) = filled(&page, &answers);
    if writes() {
        fs::write(&path, &fresh).expect("written");
    } else {
        assert_eq!(page, fresh, "HINGELINE_WRITE_GUIDE=1 writes it anew");
    }
    assert_eq!(used.len(), answers.tables.len());
}

#[test]
fn the_files_beside_the_page_are_those_that_the_program_makes() {
    let folder = guide().join("which-layout");
    let (page, answers) = (the_page(), answers());
    for (name, fresh) in &answers.files {
        let path = folder.join(name);
        if writes() {
            fs::create_dir_all(&folder).expect("a folder");
            fs::write(&path, fresh).expect("written");
        }
        let kept = fs::read_to_string(&path).unwrap_or_default();
        let same = if name.ends_with(".svg") { same_picture(&kept, fresh) } else { kept == *fresh };
        assert!(same, "{name} is not what the program makes: HINGELINE_WRITE_GUIDE=1 writes it anew");
        assert!(page.contains(name.as_str()), "the page does not show {name}");
    }
    let there = fs::read_dir(&folder).expect("a folder").count();
    assert_eq!(there, answers.files.len(), "a file beside the page is made by nobody");
}

/// What the page may say in its own words: the states that the comparisons are made at.
const SETTINGS: [&str; 5] = ["10°", "20°", "100 mm", "60 mm", "0°"];

#[test]
fn no_number_of_the_page_is_typed_by_hand() {
    let mut own = own_words(&the_page());
    for setting in SETTINGS {
        own = own.replace(setting, "");
    }
    let chars: Vec<char> = own.chars().collect();
    for (k, c) in chars.iter().enumerate().filter(|(_, c)| c.is_ascii_digit()) {
        let rest: String = chars[k + 1..].iter().take(5).collect();
        let rest = rest.trim_start_matches(|c: char| c.is_ascii_digit() || c == '.' || c == ' ');
        let unit = ["°", "mm", "%", "N·m"].iter().any(|unit| rest.starts_with(unit));
        let around: String = chars[k.saturating_sub(30)..(k + 20).min(chars.len())].iter().collect();
        assert!(!unit, "{c} stands outside what the program puts in: …{around}…");
    }
}

#[test]
fn a_stale_number_would_be_found() {
    let mut answers = Answers::default();
    answers.number("steer", 1.1, 2);
    answers.table("t", &["a", "b"], &[vec!["c".into(), "1.10".into()]]);
    let page = "It steers <!--=steer-->1.30<!--/-->°.\n<!--table t-->\nold\n<!--/table-->\nThen 3°.";
    let (fresh, used) = filled(page, &answers);
    assert_eq!(
        fresh,
        "It steers <!--=steer-->1.10<!--/-->°.\n<!--table t-->\n| a | b |\n| --- | --: |\n| c | 1.10 |\n<!--/table-->\nThen 3°."
    );
    assert_eq!(used, ["t", "steer"]);
    assert_eq!(own_words(&fresh).trim(), "It steers °.\n\nThen 3°.");
    assert!(same_picture("<p d=\"M10 20\"/>", "<p d=\"M11 19\"/>"));
    assert!(!same_picture("<p d=\"M10 20\"/>", "<p d=\"M14 20\"/>"));
    assert!(!same_picture("<p d=\"M10 20\"/>", "<q d=\"M10 20\"/>"));
}
