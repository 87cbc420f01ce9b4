//! The project's files as the rules see them: text with its path, and Rust with comments, strings and tests blanked out.

use std::fs;
use std::path::{Path, PathBuf};

/// What builds and tools make.
const NOT_OURS: [&str; 4] = ["target", ".git", "__pycache__", "node_modules"];

/// The project's root.
pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// A text file of the project.
pub struct Source {
    /// From the root, with `/`.
    pub path: String,
    /// What it holds.
    pub text: String,
}

impl Source {
    /// Whether its name ends so.
    pub fn is(&self, extension: &str) -> bool {
        Path::new(&self.path).extension().is_some_and(|e| e == extension)
    }

    /// Its first line numbers, with the lines, of `text` that `wanted` finds.
    pub fn lines_where<'a>(
        text: &'a str,
        wanted: impl Fn(&str) -> bool + 'a,
    ) -> impl Iterator<Item = usize> + 'a {
        text.lines().enumerate().filter(move |(_, line)| wanted(line)).map(|(k, _)| k + 1)
    }
}

/// Every text file below `folder` (from the root), in the order of their paths.
pub fn below(folder: &str) -> Vec<Source> {
    let mut found = Vec::new();
    walk(&root().join(folder), folder, &mut found);
    found.sort_by(|a, b| a.path.cmp(&b.path));
    assert!(!found.is_empty(), "nothing below {folder}: the rules would hold of nothing");
    found
}

/// Every text file of the project.
pub fn all() -> Vec<Source> {
    below("")
}

/// Every Rust file of the project.
pub fn rust() -> Vec<Source> {
    all().into_iter().filter(|s| s.is("rs")).collect()
}

fn walk(folder: &Path, name: &str, found: &mut Vec<Source>) {
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let file = entry.file_name().to_string_lossy().into_owned();
        let path = if name.is_empty() { file.clone() } else { format!("{name}/{file}") };
        if NOT_OURS.contains(&file.as_str()) {
            continue;
        }
        if entry.path().is_dir() {
            walk(&entry.path(), &path, found);
        } else if let Ok(text) = fs::read_to_string(entry.path()) {
            found.push(Source { path, text });
        }
    }
}

/// Rust with the insides of comments, strings and characters blanked out, line for line.
pub fn code(text: &str) -> String {
    let chars: Vec<char> = text.chars().collect();
    let mut out = String::with_capacity(text.len());
    let mut at = 0;
    while at < chars.len() {
        let end = token_to_blank(&chars, at);
        if end == at {
            out.push(chars[at]);
            at += 1;
        } else {
            out.extend(chars[at..end].iter().map(|c| if *c == '\n' { '\n' } else { ' ' }));
            at = end;
        }
    }
    out
}

/// Where the comment, string or character that starts at `at` ends; `at` itself if none starts there.
fn token_to_blank(chars: &[char], at: usize) -> usize {
    let next = |k: usize| chars.get(at + k).copied().unwrap_or('\0');
    let inside_a_word = at > 0 && (chars[at - 1].is_alphanumeric() || chars[at - 1] == '_');
    match chars[at] {
        '/' if next(1) == '/' => find(chars, at, "\n"),
        '/' if next(1) == '*' => find(chars, at, "*/") + 2,
        '"' => quoted(chars, at + 1, '"'),
        'r' if !inside_a_word
            && (next(1) == '"' || (next(1) == '#' && (next(2) == '"' || next(2) == '#'))) =>
        {
            let hashes = chars[at + 1..].iter().take_while(|c| **c == '#').count();
            let close = format!("\"{}", "#".repeat(hashes));
            find(chars, at + hashes + 2, &close) + close.len()
        }
        '\'' if next(1) == '\\' || next(2) == '\'' => quoted(chars, at + 1, '\''),
        _ => at,
    }
    .min(chars.len())
}

fn find(chars: &[char], from: usize, what: &str) -> usize {
    let what: Vec<char> = what.chars().collect();
    (from..chars.len()).find(|k| chars[*k..].starts_with(&what)).unwrap_or(chars.len())
}

fn quoted(chars: &[char], from: usize, close: char) -> usize {
    let mut at = from;
    while at < chars.len() && chars[at] != close {
        at += if chars[at] == '\\' { 2 } else { 1 };
    }
    at + 1
}

/// Code (see [`code`]) without its `#[cfg(test)]` items, line for line, and the names of modules that are tests.
pub fn without_tests(code: &str) -> (String, Vec<String>) {
    let lines: Vec<&str> = code.lines().collect();
    let (mut kept, mut modules) = (Vec::new(), Vec::new());
    let mut at = 0;
    while at < lines.len() {
        if lines[at].trim() != "#[cfg(test)]" {
            kept.push(lines[at]);
            at += 1;
            continue;
        }
        let indent = &lines[at][..lines[at].len() - lines[at].trim_start().len()];
        let item = (at + 1..lines.len()).find(|k| !lines[*k].trim().starts_with("#[")).unwrap_or(at);
        if let Some(name) = lines[item].split("mod ").nth(1).and_then(|m| m.trim().strip_suffix(';')) {
            modules.push(name.to_owned());
        }
        let one_line = lines[item].trim_end().ends_with([';', '}']);
        let close = format!("{indent}}}");
        let end =
            if one_line { item } else { (item..lines.len()).find(|k| lines[*k] == close).unwrap_or(item) };
        kept.extend((at..=end).map(|_| ""));
        at = end + 1;
    }
    (kept.join("\n"), modules)
}

/// The Rust below `folder` that the program is made of: no comments, no strings, no tests.
pub fn production(folder: &str) -> Vec<Source> {
    let mut test_modules = Vec::new();
    let mut found = Vec::new();
    for source in below(folder).into_iter().filter(|s| s.is("rs")) {
        let (text, modules) = without_tests(&code(&source.text));
        let stem = source.path.trim_end_matches(".rs");
        let home = stem.strip_suffix("/mod").or(stem.strip_suffix("/lib")).unwrap_or(stem).to_owned();
        test_modules.extend(modules.into_iter().map(|m| format!("{home}/{m}")));
        found.push(Source { path: source.path, text });
    }
    found.retain(|s| {
        let stem = s.path.trim_end_matches(".rs");
        !test_modules.iter().any(|m| stem == m || stem.starts_with(&format!("{m}/")))
    });
    found
}

#[test]
fn comments_strings_and_tests_are_blanked_and_nothing_else() {
    let text = "let a = \"un//safe\"; // unsafe\nlet b: &'static str = r#\"x \" y\"#;\nlet c = '\\'';\n/* z */ let d = 'd';\n";
    let seen = code(text);
    assert_eq!(seen.lines().count(), text.lines().count());
    assert!(!seen.contains("safe") && !seen.contains('x') && !seen.contains('z'));
    assert!(["let a =", "&'static str", "let c =", "let d ="].iter().all(|kept| seen.contains(kept)));
    let (kept, modules) =
        without_tests("a\n#[cfg(test)]\nmod tests {\n    b\n}\nc\n#[cfg(test)]\nmod synthetic;\nd");
    assert_eq!(kept.split_whitespace().collect::<Vec<_>>(), ["a", "c", "d"]);
    assert_eq!(modules, ["synthetic"]);
}
