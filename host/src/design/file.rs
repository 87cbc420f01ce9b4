//! A table of states to predict: a line of headings `heave_m,roll_rad`, then one state per line, SI.

use crate::files::{Diagnostic, FileErrors, LoadError, locate, read_text, with_point};
use std::ops::Range;
use std::path::Path;

const HEAVE: &str = "heave_m";
const ROLL: &str = "roll_rad";

/// Reads the states of the table `text`, each as heave (m) and roll (rad); `label` is what messages call it.
///
/// # Errors
/// Every mistake of the table at once, each with its line and column.
pub fn parse_states(text: &str, label: &str) -> Result<Vec<(f64, f64)>, FileErrors> {
    let mut errors = Vec::new();
    let states = states(text, &mut errors);
    if errors.is_empty() { Ok(states) } else { Err(FileErrors::new(label, text, errors)) }
}

/// Reads the states of the table at `path`.
///
/// # Errors
/// If there is no such file, if it cannot be read, or if it has mistakes.
pub fn load_states(path: &Path) -> Result<Vec<(f64, f64)>, LoadError> {
    Ok(parse_states(&read_text(path)?, &path.display().to_string())?)
}

/// The lines of a text that say something, each with the place of its first byte.
fn lines(text: &str) -> impl Iterator<Item = (usize, &str)> {
    let mut at = 0;
    text.split_inclusive('\n').filter_map(move |line| {
        let start = at;
        at += line.len();
        (!line.trim_matches(['\u{feff}', ' ', '\t', '\r', '\n']).is_empty()).then_some((start, line))
    })
}

/// A line's cells without blanks and quotes, each with its place.
fn cells(start: usize, line: &str) -> Vec<(Range<usize>, &str)> {
    let mut at = start;
    let mut cells = Vec::new();
    for raw in line.split(',') {
        let cell = raw.trim_matches(|c: char| c.is_whitespace() || c == '"' || c == '\u{feff}');
        let from = at + raw.find(cell).unwrap_or(0);
        cells.push((from..from + cell.len(), cell));
        at += raw.len() + 1;
    }
    cells
}

/// The first fraction of a line whose cells are parted by its decimal commas, with a point.
fn fraction(cells: &[(Range<usize>, &str)]) -> Option<String> {
    let pairs = cells.iter().zip(cells.iter().skip(1));
    pairs
        .filter(|((_, whole), _)| !whole.contains('.'))
        .find_map(|((_, a), (_, b))| with_point(&format!("{a},{b}")))
}

fn states(text: &str, errors: &mut Vec<Diagnostic>) -> Vec<(f64, f64)> {
    let mut wrong = |span: Range<usize>, message: String, help: &str| {
        errors.push(locate(text, span, message, help.to_owned()));
    };
    let headings_help =
        "let the first line be heave_m,roll_rad, with a comma between, and write one state per line below it";
    let mut lines = lines(text);
    let Some((start, line)) = lines.next() else {
        wrong(0..0, "the table is empty".into(), headings_help);
        return Vec::new();
    };
    let headings = cells(start, line);
    let swapped = match headings.iter().map(|(_, h)| *h).collect::<Vec<_>>().as_slice() {
        [HEAVE, ROLL] => false,
        [ROLL, HEAVE] => true,
        _ => {
            let end = start + line.trim_end().len();
            wrong(start..end, "these are not the headings heave_m and roll_rad".into(), headings_help);
            return Vec::new();
        }
    };
    let mut states = Vec::new();
    for (start, line) in lines {
        let cells = cells(start, line);
        let [first, second] = cells.as_slice() else {
            let end = start + line.trim_end().len();
            let message = format!("this line has {} cells, a state has 2", cells.len());
            let help = "write heave in metres, a comma, roll in radians, as in -0.06,0.3";
            let help = match fraction(&cells) {
                Some(point) => format!("{help}; a fraction has a point: {point}"),
                None => help.to_owned(),
            };
            wrong(start..end, message, &help);
            continue;
        };
        let mut number = |(span, cell): &(Range<usize>, &str)| match cell.parse::<f64>() {
            Ok(value) if value.is_finite() => Some(value),
            _ => {
                let message = format!("\"{cell}\" is not a number");
                wrong(span.clone(), message, "write a plain number with a point, in metres or radians");
                None
            }
        };
        let both = (number(first), number(second));
        if let (Some(first), Some(second)) = both {
            states.push(if swapped { (second, first) } else { (first, second) });
        }
    }
    if states.is_empty() && errors.is_empty() {
        errors.push(locate(text, start..start, "the table has no state".into(), headings_help.to_owned()));
    }
    states
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn states_are_read_whatever_the_order_of_columns() {
        let want = Ok(vec![(0.08, 0.0), (-0.06, 0.3)]);
        assert_eq!(parse_states("heave_m,roll_rad\n0.08,0\n-0.06,0.3\n", "s.csv"), want);
        assert_eq!(parse_states("\u{feff}roll_rad, heave_m\r\n0,\"0.08\"\r\n\r\n0.3 ,-6e-2", "s.csv"), want);
    }

    #[test]
    fn every_mistake_is_told_with_line_and_column() {
        let errors = parse_states("heave_m,roll_rad\n0.08,zero\n1,2,3\nnan,0\n", "s.csv").unwrap_err();
        let places: Vec<_> = errors.errors.iter().map(|e| (e.line, e.column, e.text.as_str())).collect();
        assert_eq!(places, [(2, 6, "zero"), (3, 1, "1,2,3"), (4, 1, "nan")]);
    }

    #[test]
    fn a_decimal_comma_is_told_for_what_it_is() {
        for (line, point) in [("0,08,0", "0.08"), ("-0,06,0,3", "-0.06"), ("\"0,08\",\"0\"", "0.08")] {
            let errors = parse_states(&format!("heave_m,roll_rad\n{line}\n"), "s.csv").unwrap_err();
            let help = &errors.errors[0].help;
            assert!(help.ends_with(&format!("a fraction has a point: {point}")), "{line}: {help}");
        }
        let errors = parse_states("heave_m,roll_rad\n1.5,2.5,3.5\n", "s.csv").unwrap_err();
        assert!(!errors.errors[0].help.contains("point"), "{:?}", errors.errors[0]);
    }

    #[test]
    fn a_table_without_headings_or_states_is_refused() {
        for (text, message) in [
            ("", "the table is empty"),
            ("0.08,0\n", "these are not the headings heave_m and roll_rad"),
            ("heave_m,roll_rad\n", "the table has no state"),
        ] {
            assert_eq!(parse_states(text, "s.csv").unwrap_err().errors[0].message, message);
        }
    }
}
