//! A table of a file, walked key by key: what is missing, and what nobody asked for.

use super::suggest::nearest;
use super::{Item, Quantity, Reader};
use std::ops::Range;
use toml::de::{DeTable, DeValue};

/// What a missing value would look like, in SI; help lines show it in the file's own units.
#[derive(Debug, Clone, Copy)]
pub enum Example {
    /// A quantity.
    Value(Quantity, f64),
    /// A point, m.
    Point([f64; 3]),
    /// Text as it would stand in the file.
    Text(&'static str),
}

/// A table being read. Each key is asked for by name once; [`Section::finish`] then knows which keys nobody knows.
#[derive(Debug)]
pub struct Section<'s> {
    reader: &'s Reader<'s>,
    table: &'s DeTable<'s>,
    /// What a sentence calls it, such as `link "lower left"`.
    what: String,
    span: Range<usize>,
    asked: Vec<&'static str>,
    missing: Vec<Missing>,
    /// Whether it is of a file of another kind.
    foreign: bool,
}

/// A key that must be there and is not; said at the end, unless a misspelt key stands for it.
#[derive(Debug)]
struct Missing {
    key: &'static str,
    message: String,
    help: String,
}

impl<'s> Section<'s> {
    /// The whole file.
    pub(super) fn root(reader: &'s Reader<'s>, table: &'s DeTable<'s>) -> Self {
        // A missing key of the file itself is shown at its first line.
        let first_line = reader.text().lines().next().unwrap_or_default().len();
        Self {
            reader,
            table,
            what: "this file".to_owned(),
            span: 0..first_line,
            asked: Vec::new(),
            missing: Vec::new(),
            foreign: false,
        }
    }

    /// The table `table` at `span`.
    pub(super) fn new(
        reader: &'s Reader<'s>,
        table: &'s DeTable<'s>,
        what: String,
        span: Range<usize>,
    ) -> Self {
        Self { reader, table, what, span, asked: Vec::new(), missing: Vec::new(), foreign: false }
    }

    /// The file that it is part of.
    pub fn reader(&self) -> &'s Reader<'s> {
        self.reader
    }

    /// What a sentence calls it.
    pub fn what(&self) -> &str {
        &self.what
    }

    /// Where it starts.
    pub fn span(&self) -> Range<usize> {
        self.span.clone()
    }

    /// Whether the file has `key` here; asking does not count as reading it.
    pub fn has(&self, key: &str) -> bool {
        self.table.iter().any(|(k, _)| k.get_ref() == key)
    }

    fn is_list(&self, key: &str) -> bool {
        let value = self.table.iter().find(|(k, _)| k.get_ref() == key).map(|(_, value)| value.get_ref());
        matches!(value, Some(DeValue::Array(_)))
    }

    /// The value of `key`, if it is there.
    pub fn get(&mut self, key: &'static str) -> Option<Item<'s>> {
        if !self.asked.contains(&key) {
            self.asked.push(key);
        }
        let (_, value) = self.table.iter().find(|(k, _)| k.get_ref() == key)?;
        let what = format!("`{key}` of {}", self.what);
        Some(Item::new(self.reader, what, value.get_ref(), value.span()))
    }

    /// What `read` makes of the value of `key`: `Some(None)` if it is not there, `None` if it is wrong.
    pub fn optional<T>(
        &mut self,
        key: &'static str,
        read: impl FnOnce(Item<'s>) -> Option<T>,
    ) -> Option<Option<T>> {
        self.get(key).map_or(Some(None), |item| read(item).map(Some))
    }

    /// What `read` makes of the value of `key`, or `default` if it is not there; `None` if it is wrong.
    pub fn or<T>(
        &mut self,
        key: &'static str,
        default: T,
        read: impl FnOnce(Item<'s>) -> Option<T>,
    ) -> Option<T> {
        self.get(key).map_or(Some(default), read)
    }

    /// The value of `key`; if it is not there, that is a mistake which `help` tells how to mend.
    pub fn need(&mut self, key: &'static str, help: impl FnOnce() -> String) -> Option<Item<'s>> {
        let item = self.get(key);
        if item.is_none() {
            self.missing.push(Missing {
                key,
                message: format!("{} has no `{key}`", self.what),
                help: help(),
            });
        }
        item
    }

    /// The value of `key`, which must be there; `example` and `meaning` tell how to add it.
    pub fn require(&mut self, key: &'static str, example: Example, meaning: &str) -> Option<Item<'s>> {
        let units = self.reader.units();
        self.need(key, || match example {
            Example::Value(quantity, si) => {
                let value = units.example(quantity, si);
                format!("add `{key} = {value}`, {meaning}, in {}", units.of(quantity).spoken)
            }
            Example::Point(si) => {
                let [x, y, z] = si.map(|c| units.example(Quantity::Length, c));
                let unit = units.of(Quantity::Length).spoken;
                format!("add `{key} = [{x}, {y}, {z}]`, {meaning}: forward, left, up, in {unit}")
            }
            Example::Text(text) => format!("add `{key} = {text}`, {meaning}"),
        })
    }

    /// Reads the section's `name` and calls the section by it from then on, such as `link "lower left"`.
    pub fn named(&mut self, kind: &str) -> Option<String> {
        let name = self
            .need("name", || format!("add `name = \"…\"`, what you call this {kind}"))
            .and_then(|item| item.name())?;
        self.what = format!("{kind} \"{name}\"");
        Some(name)
    }

    /// Every key with the place of it and its value, in the order of the file; counts all of them as read.
    pub fn entries(&mut self) -> Vec<(String, Range<usize>, Item<'s>)> {
        let mut all: Vec<_> = self
            .table
            .iter()
            .map(|(key, value)| {
                let what = format!("`{}` of {}", key.get_ref(), self.what);
                let item = Item::new(self.reader, what, value.get_ref(), value.span());
                (key.get_ref().to_string(), key.span(), item)
            })
            .collect();
        all.sort_by_key(|(_, span, _)| span.start);
        all
    }

    /// The sections `[[key]]`, each called `kind` with its number until it has a name.
    pub fn sections(&mut self, key: &'static str, kind: &str) -> Vec<Section<'s>> {
        let Some(item) = self.get(key) else { return Vec::new() };
        let DeValue::Array(array) = item.value() else {
            let header = self.reader.text().get(item.span()).unwrap_or_default();
            let help = if header.starts_with('[') {
                format!("write [{header}] with double brackets, once for each {kind}")
            } else {
                format!("give each {kind} a section of its own, with double brackets around its header")
            };
            item.wrong(format!("there can be more than one {kind}, so `{key}` is a list of sections"), help);
            return Vec::new();
        };
        let numbered = array.iter().enumerate();
        numbered
            .filter_map(|(i, value)| {
                let what = format!("{kind} number {}", i + 1);
                Item::new(self.reader, what.clone(), value.get_ref(), value.span()).section(&what)
            })
            .collect()
    }

    /// Notes a mistake that concerns the section as a whole.
    pub fn wrong(&self, message: impl Into<String>, help: impl Into<String>) {
        self.reader.problem(self.span(), message, help);
    }

    /// Notes that the file is one of another kind: none of its keys is a mistake then.
    pub fn other_kind(&mut self, message: &str, help: &str) {
        self.foreign = true;
        self.wrong(message, help);
    }

    /// Ends the reading: keys that nobody asked for are mistakes, and so are keys that must be there and are not.
    pub fn finish(&mut self) {
        if self.foreign {
            return;
        }
        for (key, _) in self.table.iter() {
            let typed: &str = key.get_ref();
            if self.asked.contains(&typed) {
                continue;
            }
            let absent = self.asked.iter().copied().filter(|k| !self.has(k));
            // Of a list the file may have some sections under the right header already.
            let lists = self.asked.iter().copied().filter(|k| self.is_list(typed) && self.is_list(k));
            let help = match nearest(typed, absent).or_else(|| nearest(typed, lists)) {
                Some(known) => {
                    self.missing.retain(|m| m.key != known);
                    format!("did you mean `{known}`?")
                }
                None => format!("{} takes: {}", self.what, self.asked.join(", ")),
            };
            self.reader.problem(key.span(), format!("`{typed}` is not a key of {}", self.what), help);
        }
        self.give_up();
    }

    /// Ends the reading where the other keys cannot be judged: only what must be there and is not is a mistake.
    pub fn give_up(&mut self) {
        for Missing { message, help, .. } in self.missing.drain(..) {
            self.reader.missing(self.span.clone(), message, help);
        }
    }
}
