//! Screens and disks that are not as usual: a terminal without cursor codes, a narrow one, an output that is full, a disk that is.

#![cfg(unix)]

use super::done;
use hingeline_tests::{Running, program};
use std::path::Path;
use std::process::{Command, Output};

const PLAN: &str = "still,bounce";

/// Runs a shell's line with the program as `$0`.
fn shell(at: &Path, line: &str) -> Output {
    Command::new("bash")
        .args(["-c", line])
        .arg(program())
        .current_dir(at)
        .env("NO_COLOR", "1")
        .output()
        .expect("a shell")
}

/// What `record` writes on a terminal of this kind and width while a virtual vehicle bounces.
fn recorded_on(term: &str, columns: usize) -> String {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    done(at, &["init", "."]);
    done(at, &["new", "double-triangulated-four-link", "Bramble"]);
    let rig = Running::start(at, &["simulate", "Bramble/vehicle.toml", "--speed", "6", "--plan", PLAN]);
    // The terminal is one that `script` (util-linux) makes.
    let line = format!(
        "TERM={term} script -qec 'stty cols {columns} rows 40; exec '\"$0\"' record --vehicle Bramble --plan {PLAN} --port {}' /dev/null",
        rig.first_line
    );
    let output = shell(at, &line);
    let told = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(output.status.success(), "{told}");
    assert!(told.contains("Bramble/20"), "the run's name: {told}");
    told
}

#[test]
fn a_terminal_without_cursor_codes_gets_plain_lines() {
    let told = recorded_on("dumb", 80);
    assert!(!told.contains('\u{1b}'), "{told:?}");
    // A carriage return stands only before a line feed, where the terminal puts it.
    assert!(!told.replace("\r\n", "").contains('\r'), "{told:?}");
    assert!(
        told.contains("bounce: Raise and lower") && told.contains("Recorded "),
        "what to do is said: {told}"
    );
}

#[test]
fn a_narrow_terminal_is_drawn_over_and_never_wraps() {
    const COLUMNS: usize = 44;
    let told = recorded_on("xterm", COLUMNS);
    assert!(told.contains("\u{1b}[J"), "it is drawn over: {told:?}");
    // The path of the port is one word, which a narrow line cannot break.
    let plain = told.replace("\u{1b}[J", "");
    let cursor =
        |line: &str| line.trim_end_matches('\r').split('\r').next_back().unwrap_or_default().to_owned();
    for line in plain.lines().map(cursor) {
        let shown = line
            .split_once("A")
            .filter(|(code, _)| code.starts_with("\u{1b}["))
            .map_or(line.as_str(), |p| p.1);
        assert!(shown.chars().count() <= COLUMNS, "{shown:?}");
    }
    assert!(told.contains("numbers resolved") || told.contains("resolved well"), "{told}");
}

#[test]
fn help_that_finds_no_room_says_so_and_is_no_success() {
    let folder = tempfile::tempdir().expect("a folder");
    for words in ["--help", "record --help", "--version", "predict --help"] {
        let output = shell(folder.path(), &format!("exec \"$0\" {words} >/dev/full"));
        let told = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(3), "{words}: {told}");
        assert!(
            told.starts_with("hingeline: cannot write the output") && told.lines().count() == 1,
            "{told}"
        );
    }
    let wrong = shell(folder.path(), "exec \"$0\" predict --no-such-flag");
    assert_eq!(wrong.status.code(), Some(2), "a wrong flag is still a wrong flag");
    let gone = shell(folder.path(), "\"$0\" --help | true; exit ${PIPESTATUS[0]}");
    assert!(gone.status.success(), "a reader that goes away is no error");
}

#[test]
fn a_full_disk_leaves_no_half_made_folders() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    done(at, &["init", "book"]);
    for (words, left) in [
        ("init shed/deep", "shed"),
        ("--logbook book new four-link Bramble", "book/Bramble"),
        ("demo given", "given"),
    ] {
        // No file may grow at all; the signal that goes with it is not the program's to die of.
        let output = shell(at, &format!("trap '' XFSZ; ulimit -f 0; exec \"$0\" {words}"));
        assert_eq!(output.status.code(), Some(3), "{words}: {}", String::from_utf8_lossy(&output.stderr));
        assert!(!at.join(left).exists(), "{words} left {left}");
    }
}
