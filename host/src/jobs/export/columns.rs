//! What a table that leaves the program is made of: named columns in SI, and batches of their cells.

/// What the cells of a column hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Holds {
    /// A 64-bit float.
    Number,
    /// UTF-8.
    Text,
    /// An instant, µs since 1970, UTC.
    Instant,
}

/// A column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Column {
    /// Its name; a number's ends in its unit.
    pub name: &'static str,
    /// What its cells hold.
    pub holds: Holds,
    /// Whether a cell may be empty.
    pub may_lack: bool,
}

impl Column {
    /// Numbers in every row.
    pub const fn number(name: &'static str) -> Self {
        Self { name, holds: Holds::Number, may_lack: false }
    }

    /// Text in every row.
    pub const fn text(name: &'static str) -> Self {
        Self { name, holds: Holds::Text, may_lack: false }
    }

    /// Instants in every row.
    pub const fn instant(name: &'static str) -> Self {
        Self { name, holds: Holds::Instant, may_lack: false }
    }

    /// The same column with rows that have no cell.
    pub const fn or_none(self) -> Self {
        Self { may_lack: true, ..self }
    }
}

/// Cells of one column.
#[derive(Debug, Clone, PartialEq)]
pub enum Cells<'a> {
    /// Of a column of numbers.
    Number(Vec<Option<f64>>),
    /// Of a column of text.
    Text(Vec<Option<&'a str>>),
    /// Of a column of instants.
    Instant(Vec<Option<i64>>),
}

/// One cell on its way into a batch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Cell<'a> {
    /// A number; one that is not finite counts as none.
    Number(Option<f64>),
    /// Text.
    Text(Option<&'a str>),
    /// An instant, µs since 1970.
    Instant(Option<i64>),
}

impl From<f64> for Cell<'_> {
    fn from(value: f64) -> Self {
        Cell::Number(Some(value))
    }
}

impl From<Option<f64>> for Cell<'_> {
    fn from(value: Option<f64>) -> Self {
        Cell::Number(value)
    }
}

impl<'a> From<&'a str> for Cell<'a> {
    fn from(text: &'a str) -> Self {
        Cell::Text(Some(text))
    }
}

impl<'a> From<Option<&'a str>> for Cell<'a> {
    fn from(text: Option<&'a str>) -> Self {
        Cell::Text(text)
    }
}

/// Rows of a table, kept by column.
#[derive(Debug, Clone, PartialEq)]
pub struct Batch<'a> {
    /// By column of the table, all as long.
    pub columns: Vec<Cells<'a>>,
    rows: usize,
}

impl<'a> Batch<'a> {
    /// No rows yet.
    pub fn new(columns: &[Column]) -> Self {
        let empty = |column: &Column| match column.holds {
            Holds::Number => Cells::Number(Vec::new()),
            Holds::Text => Cells::Text(Vec::new()),
            Holds::Instant => Cells::Instant(Vec::new()),
        };
        Self { columns: columns.iter().map(empty).collect(), rows: 0 }
    }

    /// How many rows it has.
    pub fn rows(&self) -> usize {
        self.rows
    }

    /// Adds a row with a cell for each column, in their order; a cell of another kind than its column counts as none.
    pub fn push<const N: usize>(&mut self, row: [Cell<'a>; N]) {
        debug_assert_eq!(N, self.columns.len(), "a row has a cell for each column");
        for (cells, cell) in self.columns.iter_mut().zip(row) {
            match (cells, cell) {
                (Cells::Number(cells), Cell::Number(value)) => cells.push(value.filter(|v| v.is_finite())),
                (Cells::Text(cells), Cell::Text(text)) => cells.push(text),
                (Cells::Instant(cells), Cell::Instant(us)) => cells.push(us),
                (Cells::Number(cells), _) => cells.push(None),
                (Cells::Text(cells), _) => cells.push(None),
                (Cells::Instant(cells), _) => cells.push(None),
            }
        }
        self.rows += 1;
    }

    /// Takes the rows out; what they need of memory is kept for the next.
    pub fn clear(&mut self) {
        for cells in &mut self.columns {
            match cells {
                Cells::Number(cells) => cells.clear(),
                Cells::Text(cells) => cells.clear(),
                Cells::Instant(cells) => cells.clear(),
            }
        }
        self.rows = 0;
    }
}
