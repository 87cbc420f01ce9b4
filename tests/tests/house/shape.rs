//! How long files and functions may be, and how each file begins.

use crate::sources::{Source, all, code, rust};

/// A file that does not fit a few screens does more than one thing.
const FILE_LINES: usize = 500;
/// A function that does not fit a screen does more than one thing.
const FUNCTION_LINES: usize = 60;
/// Longer functions, each with the reason why parting it would not make it clearer.
const LONG_FUNCTIONS: [(&str, &str); 2] = [
    ("protocol/tests/golden.rs::device_message", "one row for each message of the wire"),
    ("host/src/vehicle/file/tests.rs::every_key_arrives_in_si", "one row for each key of the file"),
];

fn is_written_by_hand(source: &Source) -> bool {
    ["rs", "py", "md", "sh", "toml"].iter().any(|e| source.is(e)) || source.path == "tests/run"
}

#[test]
fn files_fit_a_few_screens() {
    let long: Vec<String> = all()
        .iter()
        .filter(|s| is_written_by_hand(s) && s.text.lines().count() > FILE_LINES)
        .map(|s| format!("{}: {} lines", s.path, s.text.lines().count()))
        .collect();
    assert!(long.is_empty(), "more than {FILE_LINES} lines:\n{}", long.join("\n"));
}

/// Name, first line and number of lines of each function, trusting rustfmt: its last line closes at its first line's indent.
fn functions(code: &str) -> Vec<(String, usize, usize)> {
    let lines: Vec<&str> = code.lines().collect();
    let mut found = Vec::new();
    for (first, line) in lines.iter().enumerate() {
        let Some(name) = function_name(line) else { continue };
        let indent = &line[..line.len() - line.trim_start().len()];
        let close = format!("{indent}}}");
        let opening =
            (first..lines.len()).find(|k| lines[*k].trim_end().ends_with(['{', ';', '}'])).unwrap_or(first);
        let last = if lines[opening].trim_end().ends_with('{') {
            (opening..lines.len()).find(|k| lines[*k].trim_end() == close).unwrap_or(lines.len() - 1)
        } else {
            opening
        };
        found.push((name, first + 1, last + 1 - first));
    }
    found
}

/// The name of the function that a line begins.
fn function_name(line: &str) -> Option<String> {
    let mut words = line.trim_start().split(' ').skip_while(|word| {
        matches!(*word, "pub" | "const" | "async") || (word.starts_with("pub(") && word.ends_with(')'))
    });
    if words.next()? != "fn" {
        return None;
    }
    words.next().map(|rest| rest.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect())
}

#[test]
fn functions_fit_a_screen() {
    let mut long = Vec::new();
    for source in rust() {
        for (name, line, length) in functions(&code(&source.text)) {
            let excused =
                LONG_FUNCTIONS.iter().any(|(which, _)| *which == format!("{}::{name}", source.path));
            if length > FUNCTION_LINES && !excused {
                long.push(format!("{}:{line}: {name} has {length} lines", source.path));
            }
        }
    }
    assert!(long.is_empty(), "more than {FUNCTION_LINES} lines:\n{}", long.join("\n"));
}

#[test]
fn lengths_are_counted_from_the_first_line_to_the_closing_brace() {
    let code = "impl A {\n    pub(crate) const fn f(\n        a: u8,\n    ) -> u8 {\n        if a > 1 {\n            1\n        } else {\n            2\n        }\n    }\n    fn g(&self) -> u8;\n    fn h() {}\n}\n";
    let found = functions(code);
    assert_eq!(found, [("f".to_owned(), 2, 9), ("g".to_owned(), 11, 1), ("h".to_owned(), 12, 1)]);
}

#[test]
fn every_rust_file_says_what_it_is_for() {
    let silent: Vec<String> =
        rust().into_iter().filter(|s| !s.text.starts_with("//!")).map(|s| s.path).collect();
    assert!(silent.is_empty(), "these do not begin with `//!`: {silent:?}");
}
