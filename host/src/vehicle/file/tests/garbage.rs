//! No text, however broken, makes the reader panic, and what it refuses it always explains.

use super::super::parse;
use super::BRAMBLE;
use proptest::prelude::*;

fn explained(text: &str) {
    if let Err(errors) = parse(text, "vehicle.toml") {
        assert!(!errors.errors.is_empty(), "refused without a reason:\n{text}");
        let rendered = errors.render(false);
        assert!(rendered.contains("error:") && rendered.contains("help:"));
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 192, ..ProptestConfig::default() })]

    #[test]
    fn random_text(text in "\\PC{0,200}") {
        explained(&text);
    }

    #[test]
    fn random_toml_like_text(text in "(format|name|units|vehicle|axle|link|use|=|\\[|\\]|\\{|\\}|\"|'|,|\\.|#|\n| |1|-|nan|inf|true|é){0,80}") {
        explained(&text);
    }

    #[test]
    fn lines_taken_out_doubled_and_swapped(edits in prop::collection::vec((0..3u8, any::<prop::sample::Index>(), any::<prop::sample::Index>()), 1..6)) {
        let mut lines: Vec<&str> = BRAMBLE.lines().collect();
        for (kind, a, b) in edits {
            let (a, b) = (a.index(lines.len()), b.index(lines.len()));
            match kind {
                0 => { lines.remove(a); }
                1 => lines.insert(a, lines[b]),
                _ => lines.swap(a, b),
            }
        }
        explained(&lines.join("\n"));
    }

    #[test]
    fn characters_changed(edits in prop::collection::vec((any::<prop::sample::Index>(), "[-\\[\\]{}=\",.#a-z0-9é\n]|\\PC"), 1..8)) {
        let mut text: Vec<char> = BRAMBLE.chars().collect();
        for (at, with) in edits {
            let at = at.index(text.len());
            text.splice(at..=at, with.chars());
        }
        explained(&text.into_iter().collect::<String>());
    }

    #[test]
    fn values_replaced(at in any::<prop::sample::Index>(), value in prop::sample::select(vec![
        "nan", "-inf", "1e308", "-1", "0", "true", "\"\"", "\"x\"", "[]", "[[]]", "{}", "[1, 2]", "2026-01-01",
        "9999999999999999999999999", "{ holes = [], use = 1 }", "{ holes = [[1, 2, 3]], use = -9223372036854775808 }",
    ])) {
        let assignments: Vec<usize> = BRAMBLE.lines().enumerate().filter(|(_, l)| l.contains(" = ")).map(|(i, _)| i).collect();
        let line = assignments[at.index(assignments.len())];
        let changed: Vec<String> = BRAMBLE.lines().enumerate().map(|(i, l)| match l.split_once(" = ") {
            Some((key, _)) if i == line => format!("{key} = {value}"),
            _ => l.to_owned(),
        }).collect();
        explained(&changed.join("\n"));
    }
}

#[test]
fn deep_nesting_is_refused_not_overflowed() {
    explained(&format!("a = {}", "[".repeat(100_000)));
    explained(&format!("a = {}", "{ b = ".repeat(100_000)));
    explained(&format!("[{}]", vec!["a"; 50_000].join(".")));
}
