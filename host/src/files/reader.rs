//! One file being read: its text, its units, and the mistakes found so far.

use super::comma::first_in;
use super::diagnostic::locate;
use super::{Diagnostic, FileErrors, Section, Units};
use std::cell::{Cell, RefCell};
use std::ops::Range;
use toml::de::{DeTable, DeValue};

/// The file format that this build writes; older ones are read, newer ones refused.
pub const FORMAT: i64 = 1;

/// What is shared while a file is read.
#[derive(Debug)]
pub struct Reader<'s> {
    text: &'s str,
    units: Cell<Units>,
    syntax: Vec<Diagnostic>,
    problems: RefCell<Vec<Diagnostic>>,
    defaults: RefCell<Vec<String>>,
}

impl<'s> Reader<'s> {
    /// The units of the file.
    pub fn units(&self) -> Units {
        self.units.get()
    }

    /// Sets the units that later values are in.
    pub fn set_units(&self, units: Units) {
        self.units.set(units);
    }

    /// Notes a mistake at `span`.
    pub fn problem(&self, span: Range<usize>, message: impl Into<String>, help: impl Into<String>) {
        self.problems.borrow_mut().push(locate(self.text, span, message.into(), help.into()));
    }

    /// Notes that something is not there. Where the text itself is broken it may well be there, so nothing is said.
    pub(super) fn missing(&self, span: Range<usize>, message: String, help: String) {
        if self.syntax.is_empty() {
            self.problem(span, message, help);
        }
    }

    /// Notes a default that the file left to the project, as a sentence part.
    pub fn default_used(&self, text: String) {
        let mut defaults = self.defaults.borrow_mut();
        if !defaults.contains(&text) {
            defaults.push(text);
        }
    }

    /// The defaults noted so far.
    pub fn defaults(&self) -> Vec<String> {
        self.defaults.borrow().clone()
    }

    /// The line of the byte `at`, counted from 1.
    pub fn line_of(&self, at: usize) -> usize {
        self.text.bytes().take(at).filter(|b| *b == b'\n').count() + 1
    }

    /// The text of the file.
    pub(super) fn text(&self) -> &'s str {
        self.text
    }

    /// All mistakes: those of the syntax, and those found behind it that are not its echo.
    fn into_errors(self) -> Vec<Diagnostic> {
        let Reader { text, syntax, problems, .. } = self;
        // A list that is not closed swallows every line after it.
        if let Some(open) = syntax.iter().map(|d| d.line).min().and_then(|first| unclosed_list(text, first)) {
            let before = problems.into_inner().into_iter().filter(|d| d.line < open.line);
            return before.chain([open.clone()]).collect();
        }
        // Below a broken section header every key would seem to belong to the section before it.
        let broken_header = syntax.iter().filter(|d| is_header(line(text, d.line))).map(|d| d.line).min();
        let readable_to = broken_header.unwrap_or(usize::MAX);
        let echo = |d: &Diagnostic| d.line >= readable_to || syntax.iter().any(|s| s.line == d.line);
        let mut all: Vec<Diagnostic> = problems.into_inner().into_iter().filter(|d| !echo(d)).collect();
        // What is wrong first in a line is what went wrong; the rest of it follows from that.
        let mut told = Vec::new();
        for error in syntax {
            let follows =
                told.contains(&error.line) || error.line > readable_to && error.message.ends_with(TWICE);
            told.push(error.line);
            if !follows {
                all.push(error);
            }
        }
        all
    }
}

/// How the message about a key that is given twice ends.
const TWICE: &str = "is here twice";

/// The line with this number, counted from 1.
fn line(text: &str, number: usize) -> &str {
    text.lines().nth(number.saturating_sub(1)).unwrap_or_default()
}

/// What is wrong with a line whose value is a fraction with a comma, where that is what is wrong with it.
fn decimal_comma(text: &str, found: &Diagnostic) -> Option<Diagnostic> {
    let line_start = text.get(..found.span.start)?.rfind('\n').map_or(0, |i| i + 1);
    let line = text.get(line_start..)?.lines().next()?;
    let value = line.find('=')? + 1;
    let code = line.get(value..)?.split('#').next()?;
    let (place, point) = first_in(code)?;
    let start = line_start + value + place.start;
    let span = start..start + place.len();
    // Only where the line breaks off at that very comma: elsewhere it may part two numbers.
    let broken = found.span.start >= span.start && found.span.start <= span.end + 1;
    let written = code.get(place)?;
    broken.then(|| {
        let message = format!("`{written}` has a comma where a decimal point belongs");
        locate(text, span, message, format!("write {point}"))
    })
}

/// The list that begins at or before a line and is not closed although the next line is another key or a header; none where
/// lists are closed.
fn unclosed_list(text: &str, first_error: usize) -> Option<Diagnostic> {
    let mut lines = text.split_inclusive('\n').scan(0, |from, line| {
        *from += line.len();
        Some((*from - line.len(), line))
    });
    let mut before = lines.next();
    for next in lines.take(first_error) {
        let goes_on = outside_quotes(next.1);
        if goes_on.trim().is_empty() {
            continue;
        }
        let (from, line) = before?;
        let code = outside_quotes(line);
        let count = |bracket: char| code.chars().filter(|c| *c == bracket).count();
        // A list may go on with tables, which have keys of their own, but not with a bare key.
        let is_key = goes_on.trim_start().starts_with(char::is_alphabetic) && goes_on.contains('=');
        let is_another = is_key || is_header(&goes_on);
        if code.contains('=') && count('[') > count(']') && is_another {
            let end = from + line.trim_end().len();
            let message = "the list on this line is not closed".to_owned();
            let span = from + line.find('[').unwrap_or(0)..end;
            return Some(locate(text, span, message, "write as many ] as there are [".to_owned()));
        }
        before = Some(next);
    }
    None
}

/// A line without its comment and without what stands in quotes.
fn outside_quotes(line: &str) -> String {
    let mut quote = None;
    let kept = line.chars().take_while(|c| {
        quote = match quote {
            Some(open) if open == *c => None,
            None if matches!(c, '"' | '\'') => Some(*c),
            other => other,
        };
        quote.is_some() || *c != '#'
    });
    let kept: String = kept.collect();
    kept.split('"').step_by(2).collect()
}

/// Whether the line was meant to be a section header, and not a line of a list.
fn is_header(line: &str) -> bool {
    let bracketed = line.trim_start().starts_with('[') || line.contains('[') && !line.contains(" = ");
    let first = line.trim_start_matches([' ', '\t', '[']).chars().next();
    bracketed && !line.contains(',') && !first.is_some_and(|c| c.is_ascii_digit() || "+-.\"'".contains(c))
}

/// Reads a file: `make` walks its root section and makes the type, noting mistakes on the way.
///
/// # Errors
/// Every mistake of the file at once; for a file of a newer format, that alone.
pub fn read<T>(
    text: &str,
    file: &str,
    make: impl FnOnce(&mut Section<'_>) -> Option<T>,
) -> Result<T, FileErrors> {
    let (document, errors) = DeTable::parse_recoverable(text);
    let syntax = errors.iter().map(|e| syntax_error(text, e)).collect();
    let reader = Reader {
        text,
        units: Cell::default(),
        syntax,
        problems: RefCell::default(),
        defaults: RefCell::default(),
    };
    if let Some(newer) = newer_format(text, document.get_ref()) {
        return Err(FileErrors::new(file, text, vec![newer]));
    }
    let mut root = Section::root(&reader, document.get_ref());
    format(&mut root);
    let made = make(&mut root);
    root.finish();
    let errors = reader.into_errors();
    match made {
        Some(made) if errors.is_empty() => Ok(made),
        _ => Err(FileErrors::new(file, text, errors)),
    }
}

fn newer_format(text: &str, root: &DeTable<'_>) -> Option<Diagnostic> {
    let (_, value) = root.iter().find(|(key, _)| key.get_ref() == "format")?;
    let DeValue::Integer(integer) = value.get_ref() else { return None };
    let format: i64 = i64::from_str_radix(integer.as_str(), integer.radix()).ok()?;
    (format > FORMAT).then(|| {
        locate(
            text,
            value.span(),
            format!("this file has format {format}, and this hingeline reads formats up to {FORMAT}"),
            "install a newer hingeline, or use a file of the older format".to_owned(),
        )
    })
}

fn format(root: &mut Section<'_>) {
    let Some(item) = root.need("format", || format!("add `format = {FORMAT}` as the first line")) else {
        return;
    };
    if let Some(format) = item.whole_number()
        && format < 1
    {
        item.wrong(
            format!("there is no file format {format}"),
            format!("write `format = {FORMAT}`, the format that this hingeline writes"),
        );
    }
}

fn syntax_error(text: &str, error: &toml::de::Error) -> Diagnostic {
    let span = error.span().unwrap_or_default();
    let offending = text.get(span.clone()).unwrap_or_default();
    let said = error.message();
    let numeric = offending.starts_with(|c: char| c.is_ascii_digit() || "+-.".contains(c));
    let mut found = locate(text, span.clone(), String::new(), String::new());
    if let Some(comma) = decimal_comma(text, &found) {
        return comma;
    }
    let (message, help) = if said.starts_with("duplicate key") {
        (
            format!("`{offending}` {TWICE}"),
            "keep one of the two; a list of sections needs double brackets, such as [[axle]]",
        )
    } else if is_header(line(text, found.line)) {
        (
            "this section header cannot be read".to_owned(),
            "write [name] or [[name]]: as many brackets after as before, and no spaces in the name",
        )
    } else if said.starts_with("string values must be quoted") && numeric {
        (
            format!("`{offending}` is not a number"),
            "a number has only digits, a sign and a decimal point; a comma stands between two numbers",
        )
    } else if said.starts_with("string values must be quoted") {
        (
            format!("`{offending}` is not in quotes"),
            "put text in quotes; only numbers, true and false stand without",
        )
    } else if said.starts_with("invalid basic string") || said.starts_with("invalid literal string") {
        (
            "the text in quotes does not end on this line".to_owned(),
            "close it with the quote that it began with",
        )
    } else {
        (
            format!("this line cannot be read: {said}"),
            "a line is `key = value`; text goes in quotes, lists in [ ], and a section starts with [name] or [[name]]",
        )
    };
    found.message = message;
    found.help = help.to_owned();
    found
}
