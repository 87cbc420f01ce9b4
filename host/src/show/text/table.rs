//! A small table: a column of labels and columns of numbers, narrow enough for a terminal.

use super::page::{WIDTH, cut, wrap};

/// Blanks in front of a table.
const INDENT: usize = 2;
/// Longest label on one line.
const LABEL: usize = 26;
/// Longest word of a label that is kept whole: names of runs are to be pasted.
const LONGEST_WORD: usize = 40;
/// Columns that words across a table need.
const REMARK: usize = 24;
/// Longest piece of a heading on one line.
const HEADING: usize = 13;

/// A table.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Table {
    /// The first stands above the labels.
    pub headings: Vec<String>,
    /// Whether headings are names, which stay on one line where there is room.
    pub unbroken: bool,
    /// Labels with what stands beside them.
    pub rows: Vec<(String, Cells)>,
}

/// What stands beside a label.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Cells {
    /// One per column; a line feed parts lines of a cell.
    Values(Vec<String>),
    /// Words across all columns.
    Remark(String),
}

impl Table {
    /// Lines of the heading, and those of the rows, on lines of so many columns. Where these are few and the table does not fit,
    /// each value stands on a line of its own behind its heading.
    pub fn lines(&self, width: usize) -> (Vec<String>, Vec<String>) {
        let (first, others) = match self.headings.split_first() {
            Some((first, others)) => (first.as_str(), others),
            None => return Default::default(),
        };
        let labels = std::iter::once(first).chain(self.rows.iter().map(|(label, _)| label.as_str()));
        let label_width = labels.flat_map(label_lines).map(|l| size(&l)).max().unwrap_or(0);
        let room = width.saturating_sub(INDENT + label_width);
        let remarks = self.rows.iter().any(|(_, cells)| matches!(cells, Cells::Remark(_)));
        let (widths, gap) = match self.widths(others, room) {
            Some(fit) if width >= WIDTH || !remarks || room >= REMARK => fit,
            _ if width < WIDTH => return (Vec::new(), self.stacked(others, width)),
            _ => {
                let share = (room / others.len().max(1)).saturating_sub(1).max(1);
                (vec![share; others.len()], 1)
            }
        };
        let join = |label: Vec<String>, cells: Vec<Vec<String>>, hang: bool| {
            let count = cells.iter().map(Vec::len).chain([label.len()]).max().unwrap_or(0);
            // Headings stand on their numbers, cells hang from their label.
            let at = |lines: &[String], k: usize| {
                let k = if hang { Some(k) } else { (k + lines.len()).checked_sub(count) };
                k.and_then(|k| lines.get(k)).cloned().unwrap_or_default()
            };
            (0..count)
                .map(|k| {
                    let mut line = format!("{:INDENT$}{:label_width$}", "", at(&label, k));
                    for (cell, width) in cells.iter().zip(&widths) {
                        line += &format!("{:gap$}{:>width$}", "", at(cell, k));
                    }
                    line.trim_end().to_owned()
                })
                .collect::<Vec<_>>()
        };
        let heads = others.iter().zip(&widths).map(|(h, w)| cell_lines(h, *w)).collect();
        let headings = join(label_lines(first), heads, false);
        let rows = self.rows.iter().flat_map(|(label, cells)| match cells {
            Cells::Values(values) => {
                let cells = values.iter().zip(&widths).map(|(v, w)| cell_lines(v, *w)).collect();
                join(label_lines(label), cells, true)
            }
            Cells::Remark(text) => {
                let lines = wrap(text, room.saturating_sub(gap));
                let blank = " ".repeat(gap);
                let label = label_lines(label);
                (0..lines.len().max(label.len()))
                    .map(|k| {
                        let of = |lines: &[String]| lines.get(k).cloned().unwrap_or_default();
                        let line = format!("{:INDENT$}{:label_width$}{blank}{}", "", of(&label), of(&lines));
                        line.trim_end().to_owned()
                    })
                    .collect()
            }
        });
        (headings, rows.collect())
    }

    /// Rows whose values stand below their label, each behind its heading.
    fn stacked(&self, headings: &[String], width: usize) -> Vec<String> {
        let hung = |indent: usize, text: &str| -> Vec<String> {
            let lines = wrap(text, width.saturating_sub(indent + 2));
            let at = |k: usize| if k == 0 { indent } else { indent + 2 };
            lines.iter().enumerate().map(|(k, line)| format!("{:1$}{line}", "", at(k))).collect()
        };
        let of_row = |(label, cells): &(String, Cells)| {
            let mut lines = hung(INDENT, label);
            match cells {
                Cells::Remark(text) => lines.extend(hung(2 * INDENT, text)),
                Cells::Values(values) => {
                    let behind = |(heading, value): (&String, &String)| {
                        let colon = if heading.is_empty() { "" } else { ": " };
                        hung(2 * INDENT, &format!("{heading}{colon}{}", value.replace('\n', ", ")))
                    };
                    lines.extend(headings.iter().zip(values).flat_map(behind));
                }
            }
            lines
        };
        self.rows.iter().flat_map(of_row).collect()
    }

    /// Width of each column and the gap before it. Where whole cells do not fit, a ± goes under its value; nothing where even that
    /// is too wide.
    fn widths(&self, headings: &[String], room: usize) -> Option<(Vec<usize>, usize)> {
        let needs = |widths: &[usize], gap: usize| widths.iter().map(|w| w + gap).sum::<usize>();
        let name = if self.unbroken { size } else { longest_word };
        let tries: [(Measure, Measure, usize); 6] = [
            (whole, name, 2),
            (whole, name, 1),
            (whole, longest_word, 1),
            (parted, name, 2),
            (parted, name, 1),
            (parted, longest_word, 1),
        ];
        for (cell, heading, gap) in tries {
            let widths: Vec<usize> = headings
                .iter()
                .enumerate()
                .map(|(k, h)| self.widest(k, cell).max(heading(h).min(HEADING)))
                .collect();
            if needs(&widths, gap) <= room {
                return Some((widths, gap));
            }
        }
        None
    }

    /// The widest cell of a column.
    fn widest(&self, column: usize, measure: Measure) -> usize {
        let cells = self.rows.iter().filter_map(|(_, cells)| match cells {
            Cells::Values(values) => values.get(column),
            Cells::Remark(_) => None,
        });
        cells.map(|cell| measure(cell)).max().unwrap_or(0)
    }
}

/// How wide a text wants to be.
type Measure = fn(&str) -> usize;

fn size(text: &str) -> usize {
    text.chars().count()
}

/// Width of a cell whose numbers keep their ± beside them; words may wrap.
fn whole(cell: &str) -> usize {
    let line = |line: &str| if is_number(line) { size(line) } else { longest_word(line) };
    cell.lines().map(line).max().unwrap_or(0)
}

/// Width of a cell whose ± goes below the value.
fn parted(cell: &str) -> usize {
    cell.lines()
        .flat_map(|l| l.split(" ± ").enumerate())
        .map(|(k, part)| {
            let part_size = if is_number(part) { size(part) } else { longest_word(part) };
            if k == 0 { part_size } else { part_size + 2 }
        })
        .max()
        .unwrap_or(0)
}

fn longest_word(text: &str) -> usize {
    text.split_whitespace().map(size).max().unwrap_or(0)
}

fn is_number(text: &str) -> bool {
    text.chars().any(|c| c.is_ascii_digit())
}

fn label_lines(label: &str) -> Vec<String> {
    wrap(label, LABEL).iter().flat_map(|line| cut(line, LONGEST_WORD)).collect()
}

fn cell_lines(cell: &str, width: usize) -> Vec<String> {
    let line = |line: &str| -> Vec<String> {
        match line.split_once(" ± ") {
            _ if size(line) <= width => vec![line.to_owned()],
            Some((value, half)) => vec![value.to_owned(), format!("± {half}")],
            None => wrap(line, width),
        }
    };
    cell.lines().flat_map(line).flat_map(|l| cut(&l, width)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn table(values: &[&str]) -> Table {
        let mut headings = vec!["state".to_owned()];
        headings.extend(values.iter().map(|_| "left wheel mm".to_owned()));
        let cells = Cells::Values(values.iter().map(|v| (*v).to_owned()).collect());
        Table { headings, unbroken: false, rows: vec![("90 mm of bump".into(), cells)] }
    }

    #[test]
    fn headings_stand_on_right_aligned_numbers() {
        let (headings, rows) = table(&["1.5", "−12.25 ± 0.31\nleft"]).lines(WIDTH);
        assert_eq!(
            headings,
            ["                  left", "                 wheel", "  state             mm  left wheel mm"]
        );
        assert_eq!(rows, ["  90 mm of bump    1.5  −12.25 ± 0.31", "                                 left"]);
    }

    #[test]
    fn a_half_width_goes_below_its_value_where_the_line_is_full() {
        let (_, rows) = table(&["−1234.25 ± 100.31"; 4]).lines(WIDTH);
        assert_eq!(rows.len(), 2);
        assert!(rows[0].ends_with("−1234.25") && rows[1].ends_with("± 100.31"), "{rows:?}");
    }

    #[test]
    fn a_name_of_a_run_is_never_cut() {
        let name = "2026-11-26-1024-rock-forward-12";
        let mut runs = table(&["606.8 ± 2.1"]);
        runs.rows = vec![(name.to_owned(), Cells::Values(vec!["606.8 ± 2.1".into()]))];
        for width in [WIDTH, 60, 40] {
            let (_, rows) = runs.lines(width);
            assert!(rows.iter().any(|row| row.contains(name)), "{width}: {rows:?}");
        }
    }

    #[test]
    fn on_a_narrow_screen_values_stand_behind_their_headings() {
        let (headings, rows) =
            table(&["1.5 ± 0.2", "−1234.25 ± 100.31\nleft", "−1234.25 ± 100.31"]).lines(32);
        assert_eq!(headings, Vec::<String>::new());
        assert_eq!(
            rows,
            [
                "  90 mm of bump",
                "    left wheel mm: 1.5 ± 0.2",
                "    left wheel mm:",
                "      −1234.25 ± 100.31, left",
                "    left wheel mm:",
                "      −1234.25 ± 100.31"
            ]
        );
    }

    proptest! {
        #[test]
        fn narrow_tables_fit(cells in prop::collection::vec("[0-9]{1,9}( ± [0-9]{1,9})?|[a-z ]{0,30}", 1..8), label in "[a-z ]{1,60}", width in 32usize..80) {
            let cells: Vec<&str> = cells.iter().map(String::as_str).collect();
            let mut table = table(&cells);
            table.rows.push((label.clone(), Cells::Remark(format!("{label} {label}"))));
            let (headings, rows) = table.lines(width);
            for line in headings.iter().chain(&rows) {
                prop_assert!(line.chars().count() <= width || line.split_whitespace().any(|w| w.chars().count() > 24), "{line}");
            }
        }

        #[test]
        fn tables_fit(cells in prop::collection::vec("[0-9]{1,9}( ± [0-9]{1,9})?|[a-z ]{0,30}", 1..8), label in "[a-z ]{1,60}") {
            let cells: Vec<&str> = cells.iter().map(String::as_str).collect();
            let mut table = table(&cells);
            table.rows.push((label.clone(), Cells::Remark(format!("{label} {label}"))));
            let (headings, rows) = table.lines(WIDTH);
            for line in headings.iter().chain(&rows) {
                prop_assert!(line.chars().count() <= WIDTH || line.split_whitespace().any(|w| w.chars().count() > 40), "{line}");
            }
        }
    }
}
