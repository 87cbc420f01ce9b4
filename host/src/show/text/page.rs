//! Lays text out on lines of 80 columns, or of as many as there are: paragraphs, headings, labelled entries with hanging lines.

use super::Options;
use super::table::Table;
use owo_colors::OwoColorize;
use owo_colors::Style;

/// Columns of a line.
pub const WIDTH: usize = 80;
/// Columns below which lines only get worse.
pub(super) const LEAST: usize = 24;
/// Columns from which on labels have values beside them; on fewer these stand below.
const BESIDE: usize = 64;
/// Column in which the values of entries begin.
const VALUE_COLUMN: usize = 32;
/// Longest label that shares a line with its value.
const LABEL: usize = VALUE_COLUMN - 5;

/// A meaning that colour may repeat; the words beside it carry it alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ink {
    /// As it is.
    Plain,
    /// A heading.
    Strong,
    /// As wished.
    Good,
    /// Needs a look.
    Bad,
    /// Beside the point.
    Faint,
}

impl Ink {
    fn style(self) -> Style {
        match self {
            Ink::Plain => Style::new(),
            Ink::Strong => Style::new().bold(),
            Ink::Good => Style::new().green(),
            Ink::Bad => Style::new().bold().magenta(),
            Ink::Faint => Style::new().dimmed(),
        }
    }
}

/// Text as it grows.
#[derive(Debug)]
pub(super) struct Page {
    text: String,
    styled: bool,
    width: usize,
}

impl Page {
    pub fn new(options: &Options) -> Self {
        let width = options.columns.clamp(LEAST, WIDTH);
        Self { text: String::new(), styled: options.styled, width }
    }

    /// Without colours.
    pub fn plain(columns: usize) -> Self {
        Self::new(&Options { columns, ..Options::default() })
    }

    pub fn finish(self) -> String {
        self.text
    }

    fn line(&mut self, indent: usize, text: &str, ink: Ink) {
        self.text.push_str(&" ".repeat(indent));
        self.push(text, ink);
        self.text.push('\n');
    }

    fn push(&mut self, text: &str, ink: Ink) {
        if self.styled && ink != Ink::Plain {
            self.text.push_str(&text.style(ink.style()).to_string());
        } else {
            self.text.push_str(text);
        }
    }

    /// An empty line, unless the page begins or just had one.
    pub fn gap(&mut self) {
        if !self.text.is_empty() && !self.text.ends_with("\n\n") {
            self.text.push('\n');
        }
    }

    /// Sentences over the whole width.
    pub fn paragraph(&mut self, text: &str, ink: Ink) {
        for line in wrap(text, self.width) {
            self.line(0, &line, ink);
        }
    }

    /// A heading, with a gap before it.
    pub fn heading(&mut self, text: &str) {
        self.gap();
        self.paragraph(text, Ink::Strong);
    }

    /// A sign, a label and sentences that hang under one another.
    pub fn entry(&mut self, sign: char, ink: Ink, label: &str, sentences: &[String]) {
        self.text.push_str("  ");
        self.push(&sign.to_string(), ink);
        if self.width < BESIDE {
            self.below(label, sentences);
            return;
        }
        let labels: Vec<String> = wrap(label, LABEL).iter().flat_map(|l| cut(l, LABEL)).collect();
        let values: Vec<String> = sentences.iter().flat_map(|s| wrap(s, self.width - VALUE_COLUMN)).collect();
        for k in 0..labels.len().max(values.len()) {
            let lead = if k == 0 { 1 } else { 4 };
            let label = labels.get(k).map_or("", String::as_str);
            let value = values.get(k).map_or("", String::as_str);
            let line = format!("{}{label:<width$}{value}", " ".repeat(lead), width = VALUE_COLUMN - 4);
            self.text.push_str(line.trim_end());
            self.text.push('\n');
        }
    }

    /// A label behind a sign, and sentences below it.
    fn below(&mut self, label: &str, sentences: &[String]) {
        const INDENT: usize = 6;
        for (k, line) in wrap(label, self.width - 4).iter().enumerate() {
            self.text.push_str(if k == 0 { " " } else { "    " });
            self.text.push_str(line);
            self.text.push('\n');
        }
        let width = self.width - INDENT;
        for line in sentences.iter().flat_map(|s| wrap(s, width)) {
            self.line(INDENT, &line, Ink::Plain);
        }
    }

    /// Columns under headings.
    pub fn table(&mut self, table: &Table) {
        let (headings, rows) = table.lines(self.width);
        for line in headings {
            self.line(0, &line, Ink::Faint);
        }
        for line in rows {
            self.line(0, &line, Ink::Plain);
        }
    }

    /// Sentences with something in front, hanging under the first.
    pub fn item(&mut self, lead: &str, text: &str) {
        let indent = 2 + lead.chars().count() + 1;
        for (k, line) in wrap(text, self.width.saturating_sub(indent)).iter().enumerate() {
            let start = if k == 0 { format!("  {lead} ") } else { " ".repeat(indent) };
            self.text.push_str(&start);
            self.text.push_str(line);
            self.text.push('\n');
        }
    }
}

/// Breaks text into lines of at most `width` characters; a longer word keeps a line of its own. A number stays with its ±
/// and its unit.
pub(super) fn wrap(text: &str, width: usize) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in pieces(text) {
        let grown = line.chars().count() + 1 + word.chars().count();
        if !line.is_empty() && grown > width {
            lines.push(std::mem::take(&mut line));
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(&word);
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines
}

/// Cuts a word that no line can hold.
pub(super) fn cut(text: &str, width: usize) -> Vec<String> {
    let letters: Vec<char> = text.chars().collect();
    letters.chunks(width.max(1)).map(|part| part.iter().collect()).collect()
}

/// Words, with `1.2 ± 0.3 mm` as one.
fn pieces(text: &str) -> Vec<String> {
    const UNITS: [&str; 12] =
        ["mm", "in", "%", "N/mm", "lbf/in", "N·m/°", "lbf·in/°", "N", "s", "N·m", "lbf·in", "J"];
    let mut pieces: Vec<String> = Vec::new();
    let mut glue = false;
    for word in text.split_whitespace() {
        let bare = word.trim_end_matches(['.', ',', ';', ':', ')']);
        let number = |w: &String| w.chars().last().is_some_and(|c| c.is_ascii_digit());
        let unit = UNITS.contains(&bare) && pieces.last().is_some_and(number);
        match pieces.last_mut() {
            Some(last) if glue || word == "±" || unit => {
                last.push(' ');
                last.push_str(word);
            }
            _ => pieces.push(word.to_owned()),
        }
        glue = word == "±";
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_number_keeps_its_half_width_and_unit() {
        assert_eq!(wrap("steer 1.2 ± 0.3 mm more", 12), ["steer", "1.2 ± 0.3 mm", "more"]);
        assert_eq!(wrap("± is so", 4), ["± is", "so"]);
    }

    proptest! {
        #[test]
        fn no_word_is_lost_and_no_line_too_long(text in "[a-z ]{0,200}", width in 12usize..90) {
            let lines = wrap(&text, width);
            let kept: Vec<&str> = lines.iter().flat_map(|l| l.split_whitespace()).collect();
            prop_assert_eq!(kept, text.split_whitespace().collect::<Vec<_>>());
            for line in &lines {
                prop_assert!(line.chars().count() <= width || !line.contains(' '));
            }
        }
    }

    #[test]
    fn colours_only_repeat_the_text() {
        let write = |styled| {
            let mut page = Page::new(&Options { styled, ..Options::default() });
            page.heading("Why");
            page.entry('≠', Ink::Bad, "roll steer", &["1.2 ± 0.1°".into()]);
            page.finish()
        };
        let bare = anstream::adapter::strip_str(&write(true)).to_string();
        assert_eq!(bare, write(false));
        assert_ne!(write(true), write(false));
    }
}
