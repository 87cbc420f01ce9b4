//! Lines and cells of a table, whatever program wrote it: any line ending, a byte-order mark, quotes, decimal commas.

use super::error::{Spot, TableError, Trouble};
use std::borrow::Cow;
use std::io::{BufRead, Read};

/// Longest line that is taken for one: 1 MiB, a thousand columns of the longest numbers many times over.
const LONGEST_LINE: usize = 1 << 20;

/// Hands bytes on and hashes them on the way.
pub struct Hashing<R> {
    source: R,
    hasher: blake3::Hasher,
}

impl<R: Read> Hashing<R> {
    pub fn new(source: R) -> Self {
        Self { source, hasher: blake3::Hasher::new() }
    }

    /// BLAKE3 of the bytes read, hex.
    pub fn hash(&self) -> String {
        self.hasher.finalize().to_hex().to_string()
    }
}

impl<R: Read> Read for Hashing<R> {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let count = self.source.read(buffer)?;
        self.hasher.update(&buffer[..count]);
        Ok(count)
    }
}

/// Lines that end in LF, CR LF or CR alone, one at a time.
pub struct Lines<R> {
    source: R,
    line: Vec<u8>,
    /// Number of the current line, from 1.
    pub number: u64,
    after_cr: bool,
}

impl<R: BufRead> Lines<R> {
    pub fn new(source: R) -> Self {
        Self { source, line: Vec::new(), number: 0, after_cr: false }
    }

    /// The current line without its end.
    pub fn line(&self) -> &[u8] {
        &self.line
    }

    /// What the lines are read from.
    pub fn source(&self) -> &R {
        &self.source
    }

    /// Goes to the next line; `None` after the last one.
    ///
    /// # Errors
    /// When the source cannot be read, or a line goes on without an end.
    pub fn next_line(&mut self) -> Result<Option<()>, TableError> {
        self.line.clear();
        let mut any = false;
        loop {
            let mut bytes = self.source.fill_buf().map_err(TableError::Read)?;
            if self.after_cr && !bytes.is_empty() {
                self.after_cr = false;
                if bytes.first() == Some(&b'\n') {
                    self.source.consume(1);
                    continue;
                }
                bytes = self.source.fill_buf().map_err(TableError::Read)?;
            }
            if bytes.is_empty() {
                if !any {
                    return Ok(None);
                }
                break;
            }
            any = true;
            if let Some(end) = bytes.iter().position(|&b| b == b'\n' || b == b'\r') {
                self.after_cr = bytes.get(end) == Some(&b'\r');
                self.line.extend_from_slice(bytes.get(..end).unwrap_or_default());
                self.source.consume(end + 1);
                break;
            }
            let count = bytes.len();
            self.line.extend_from_slice(bytes);
            self.source.consume(count);
            if self.line.len() > LONGEST_LINE {
                return Err(TableError::at(Spot::line(self.number + 1), Trouble::LongLine));
            }
        }
        self.number += 1;
        Ok(Some(()))
    }
}

/// The cells of a line, trimmed, quotes taken off (a doubled quote inside quotes is one).
pub fn cells(line: &str, delimiter: char) -> impl Iterator<Item = Cow<'_, str>> {
    let mut rest = Some(line);
    std::iter::from_fn(move || {
        let text = rest?;
        let start = text.trim_start_matches(|c: char| c.is_whitespace() && c != delimiter);
        let Some(quoted) = start.strip_prefix('"') else {
            let (cell, after) = text.split_once(delimiter).map_or((text, None), |(c, a)| (c, Some(a)));
            rest = after;
            return Some(Cow::Borrowed(cell.trim()));
        };
        let mut cell = String::new();
        let mut characters = quoted.char_indices().peekable();
        let mut after = "";
        while let Some((at, c)) = characters.next() {
            if c != '"' {
                cell.push(c);
            } else if characters.next_if(|(_, next)| *next == '"').is_some() {
                cell.push('"');
            } else {
                after = quoted.get(at + 1..).unwrap_or("");
                break;
            }
        }
        rest = after.split_once(delimiter).map(|(_, a)| a);
        Some(Cow::Owned(cell.trim().to_owned()))
    })
}

/// How a table writes fractions; the first number that has one decides.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Decimal {
    Unknown,
    Point,
    Comma,
}

/// A number, or `None` where the cell says that there is no reading (empty, NaN, NA, infinite).
///
/// # Errors
/// What is wrong with the cell.
pub fn number(cell: &str, decimal: &mut Decimal) -> Result<Option<f64>, Trouble> {
    const NOTHING: [&str; 5] = ["nan", "na", "n/a", "null", "none"];
    if cell.is_empty() || NOTHING.iter().any(|n| cell.eq_ignore_ascii_case(n)) {
        return Ok(None);
    }
    let bad = || Trouble::NotANumber { text: cell.chars().take(40).collect() };
    let style = match (cell.contains('.'), cell.contains(',')) {
        (true, true) => return Err(bad()),
        (true, false) => Decimal::Point,
        (false, true) => Decimal::Comma,
        (false, false) => Decimal::Unknown,
    };
    let text = if style == Decimal::Comma { Cow::Owned(cell.replace(',', ".")) } else { Cow::Borrowed(cell) };
    let value: f64 = text.parse().map_err(|_| bad())?;
    if style != Decimal::Unknown {
        if *decimal != Decimal::Unknown && *decimal != style {
            return Err(Trouble::MixedDecimals { text: cell.to_owned() });
        }
        *decimal = style;
    }
    Ok(value.is_finite().then_some(value))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn lines_of(bytes: &[u8], chunk: usize) -> Vec<String> {
        let mut lines = Lines::new(std::io::BufReader::with_capacity(chunk, bytes));
        let mut out = Vec::new();
        while lines.next_line().unwrap().is_some() {
            out.push(String::from_utf8(lines.line().to_vec()).unwrap());
        }
        assert_eq!(lines.number as usize, out.len());
        out
    }

    proptest! {
        #[test]
        fn lines_come_back_whatever_ends_them(
            parts in prop::collection::vec(("[a-c;]{0,6}", prop::sample::select(vec!["\n", "\r\n"])), 0..8),
            chunk in 1_usize..9,
        ) {
            let text: String = parts.iter().map(|(line, end)| format!("{line}{end}")).collect();
            let expected: Vec<&str> = text.lines().collect();
            prop_assert_eq!(lines_of(text.as_bytes(), chunk), expected.clone());
            let old = expected.join("\r");
            if !expected.iter().any(|l| l.is_empty()) {
                prop_assert_eq!(lines_of(old.as_bytes(), chunk), expected);
            }
        }

        #[test]
        fn quoted_cells_come_back(texts in prop::collection::vec("[a-z,\" ]{0,6}", 1..5)) {
            let line: Vec<_> = texts.iter().map(|t| format!("\"{}\"", t.replace('"', "\"\""))).collect();
            let back: Vec<_> = cells(&line.join(","), ',').map(Cow::into_owned).collect();
            prop_assert_eq!(back, texts.iter().map(|t| t.trim()).collect::<Vec<_>>());
        }

        #[test]
        fn numbers_come_back_with_point_and_comma(value in -1e9..1e9f64) {
            let point = format!("{value:?}");
            prop_assert_eq!(number(&point, &mut Decimal::Unknown), Ok(Some(value)));
            let comma = point.replace('.', ",");
            prop_assert_eq!(number(&comma, &mut Decimal::Unknown), Ok(Some(value)));
        }
    }

    #[test]
    fn empty_cells_survive_at_both_ends_and_between_tabs() {
        assert_eq!(cells(";a;;", ';').collect::<Vec<_>>(), ["", "a", "", ""]);
        assert_eq!(cells("\ta\t", '\t').collect::<Vec<_>>(), ["", "a", ""]);
    }

    #[test]
    fn a_table_keeps_to_one_way_of_writing_fractions() {
        let mut decimal = Decimal::Unknown;
        assert_eq!(number("3", &mut decimal), Ok(Some(3.0)));
        assert_eq!(number("1,5", &mut decimal), Ok(Some(1.5)));
        assert_eq!(number("1.234", &mut decimal), Err(Trouble::MixedDecimals { text: "1.234".into() }));
        assert!(matches!(number("1.234,5", &mut decimal), Err(Trouble::NotANumber { .. })));
        assert_eq!(number("inf", &mut decimal), Ok(None));
        assert_eq!(number("NaN", &mut decimal), Ok(None));
    }
}
