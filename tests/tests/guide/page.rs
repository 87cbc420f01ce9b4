//! The guide's page with what the program puts into it: numbers in sentences, tables, pictures.
//!
//! A number in a sentence stands between `<!--=NAME-->` and `<!--/-->`, a table between lines `<!--table NAME-->` and
//! `<!--/table-->`. Neither shows on the page.

use std::collections::BTreeMap;

/// What the program says.
#[derive(Default)]
pub struct Answers {
    /// Numbers in sentences, as written.
    pub numbers: BTreeMap<String, String>,
    /// Tables, in Markdown, without a last line end.
    pub tables: BTreeMap<String, String>,
    /// Files that stand beside the page, with their content.
    pub files: BTreeMap<String, String>,
}

impl Answers {
    /// Keeps a number with a fixed number of decimals.
    pub fn number(&mut self, name: &str, value: f64, decimals: usize) {
        self.words(name, &shown(value, decimals));
    }

    /// Keeps words.
    pub fn words(&mut self, name: &str, words: &str) {
        let before = self.numbers.insert(name.to_owned(), words.to_owned());
        assert!(before.is_none(), "two numbers are called {name}");
    }

    /// Keeps a table: heads, then rows.
    pub fn table(&mut self, name: &str, heads: &[&str], rows: &[Vec<String>]) {
        let line = |cells: Vec<String>| format!("| {} |", cells.join(" | "));
        let mut lines = vec![line(heads.iter().map(|h| (*h).to_owned()).collect())];
        lines.push(line(
            heads.iter().enumerate().map(|(k, _)| if k == 0 { "---" } else { "--:" }.into()).collect(),
        ));
        lines.extend(rows.iter().map(|row| line(row.clone())));
        self.tables.insert(name.to_owned(), lines.join("\n"));
    }
}

/// A number as people read it; zero has no sign.
pub fn shown(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(size) if size.chars().any(|c| ('1'..='9').contains(&c)) => format!("−{size}"),
        Some(size) => size.to_owned(),
        None => text,
    }
}

/// The page with the program's numbers and tables in place of its own, and the names that it uses.
pub fn filled(page: &str, answers: &Answers) -> (String, Vec<String>) {
    let mut used = Vec::new();
    let with_tables = replaced(page, "<!--table ", "-->\n", "\n<!--/table-->", &answers.tables, &mut used);
    let filled = replaced(&with_tables, "<!--=", "-->", "<!--/-->", &answers.numbers, &mut used);
    (filled, used)
}

fn replaced(
    page: &str,
    open: &str,
    close: &str,
    end: &str,
    with: &BTreeMap<String, String>,
    used: &mut Vec<String>,
) -> String {
    let mut parts = page.split(open);
    let mut out = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        let (name, rest) =
            part.split_once(close).unwrap_or_else(|| panic!("no {close} behind {open}{part:.20}"));
        let (_, rest) = rest.split_once(end).unwrap_or_else(|| panic!("{name} has no {end}"));
        let value = with.get(name).unwrap_or_else(|| panic!("the program says nothing of {name}"));
        out += &format!("{open}{name}{close}{value}{end}{rest}");
        used.push(name.to_owned());
    }
    out
}

/// The page's own words: without what the program puts in, code and the targets of links.
pub fn own_words(page: &str) -> String {
    let without = |text: &str, open: &str, end: &str| -> String {
        let mut parts = text.split(open);
        let first = parts.next().unwrap_or_default().to_owned();
        parts.fold(first, |out, part| out + part.split_once(end).map_or("", |(_, rest)| rest))
    };
    let page = without(page, "<!--table ", "<!--/table-->");
    let page = without(&page, "<!--=", "<!--/-->");
    let page = without(&page, "```", "```");
    without(&page, "](", ")")
}

/// Whether two pictures are the same but for the last digit of what is drawn: another machine's sine may round elsewhere.
pub fn same_picture(a: &str, b: &str) -> bool {
    /// In the picture's own units: a quarter of a pixel for plots, a tenth for drawings, each rounded.
    const ROUNDED: f64 = 2.0;
    let (a, b) = (tokens(a), tokens(b));
    a.len() == b.len()
        && a.iter().zip(&b).all(|(p, q)| match (p.parse::<f64>(), q.parse::<f64>()) {
            (Ok(p), Ok(q)) => (p - q).abs() <= ROUNDED,
            _ => p == q,
        })
}

/// Numbers and what stands between them; the font's letters are no numbers.
fn tokens(text: &str) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    let mut numeric = false;
    for (k, part) in text.split("base64,").enumerate() {
        let (font, drawn) = if k == 0 { ("", part) } else { part.split_once(')').unwrap_or((part, "")) };
        out.push(font.to_owned());
        for c in drawn.chars() {
            let now = c.is_ascii_digit() || c == '.';
            match out.last_mut() {
                Some(last) if now == numeric => last.push(c),
                _ => out.push(c.to_string()),
            }
            numeric = now;
        }
    }
    out
}
