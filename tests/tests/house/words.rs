//! What the project's files may not say: work put off, printing inside the library, unsafe code, one machine's folders.

use crate::sources::{Source, all, code, production, rust};

/// Words of work put off, in halves so that this file passes its own test.
const PUT_OFF: [[&str; 2]; 6] = [
    ["to", "do"],
    ["fix", "me"],
    ["place", "holder"],
    ["for ", "now"],
    ["not yet ", "implemented"],
    ["simplified ", "version"],
];

/// Folders that only one machine has; halves again.
const MACHINE_FOLDERS: [[&str; 2]; 5] =
    [["/wo", "rk/"], ["/ro", "ot/"], ["/ho", "me/"], ["/Use", "rs/"], ["/tm", "p/"]];

/// Whether `text` holds `word` with no letter right before or after it.
fn says(text: &str, word: &str) -> bool {
    text.match_indices(word).any(|(at, found)| {
        let before = text[..at].chars().next_back().unwrap_or(' ');
        let after = text[at + found.len()..].chars().next().unwrap_or(' ');
        !before.is_alphanumeric() && !after.is_alphanumeric() && before != '_'
    })
}

#[test]
fn no_work_is_put_off() {
    let mut found = Vec::new();
    for source in all().iter().filter(|s| s.path != "Cargo.lock") {
        let small = source.text.to_lowercase();
        for word in PUT_OFF.map(|halves| halves.concat()) {
            // clippy's own name for its lint against put-off work is no put-off work.
            let lines = Source::lines_where(&small, |line| {
                says(line, &word) && !line.starts_with(&format!("{word} = \""))
            });
            found.extend(lines.map(|line| format!("{}:{line}: {word}", source.path)));
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn no_file_names_a_folder_of_one_machine() {
    let mut found = Vec::new();
    for source in all() {
        for folder in MACHINE_FOLDERS.map(|halves| halves.concat()) {
            let named = |line: &str| {
                line.match_indices(&folder)
                    .any(|(at, _)| !line[..at].ends_with(|c: char| c.is_alphanumeric() || c == '.'))
            };
            let lines: Vec<usize> = Source::lines_where(&source.text, named).collect();
            found.extend(lines.iter().map(|line| format!("{}:{line}: {folder}", source.path)));
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn only_the_command_line_prints() {
    let mut found = Vec::new();
    for folder in ["host/src", "protocol/src", "firmware/src"] {
        for source in production(folder) {
            if source.path.starts_with("host/src/cli/") || source.path == "host/src/main.rs" {
                continue;
            }
            let prints = |line: &str| {
                ["print!", "println!", "eprint!", "eprintln!", "dbg!"].iter().any(|p| says(line, p))
            };
            found.extend(
                Source::lines_where(&source.text, prints).map(|line| format!("{}:{line}", source.path)),
            );
        }
    }
    assert!(found.is_empty(), "results are returned and rendered, not printed:\n{}", found.join("\n"));
}

#[test]
fn no_code_is_unsafe() {
    let word = ["un", "safe"].concat();
    // Outside the workspace: a board's own memory is reached by address, and nothing else is.
    for source in rust().into_iter().filter(|s| !s.path.starts_with("firmware/boards/")) {
        let text = code(&source.text);
        let lines: Vec<usize> = Source::lines_where(&text, |line| says(line, &word)).collect();
        assert!(lines.is_empty(), "{}: lines {lines:?}", source.path);
    }
}

#[test]
fn words_are_found_whole() {
    assert!(says("a link: b", "link") && !says("blink links", "link"));
}
