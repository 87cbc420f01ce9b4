//! Settings in columns: by what was wished, and by what they do over the travel.

use super::Telling;
use crate::design::tune::{Candidate, Class, Hole};
use crate::show::text::page::{Ink, Page};
use crate::show::text::table::{Cells, Table};
use crate::show::tuning::losses;
use crate::show::units::{Scale, Units};
use crate::vehicle::numbers::Key;

/// Columns of wishes that fit beside the others.
const COLUMNS: usize = 3;

impl Telling<'_> {
    /// The letter of a bracket.
    fn letter(&self, hole: &Hole) -> String {
        self.lettered().iter().position(|h| h.same_bracket(hole)).map_or_else(|| "?".into(), letter)
    }

    /// Brackets of all that is told, the present ones first.
    pub(super) fn lettered(&self) -> Vec<&Hole> {
        let mut all: Vec<&Hole> = Vec::new();
        for candidate in std::iter::once(&self.axle.present).chain(&self.axle.best).chain(&self.axle.front) {
            for hole in &candidate.holes {
                if !all.iter().any(|h| h.same_bracket(hole)) {
                    all.push(hole);
                }
            }
        }
        all
    }

    /// `A3 B1`, with alternatives.
    pub(super) fn code(&self, candidate: &Candidate) -> String {
        let mut parts: Vec<String> =
            candidate.holes.iter().map(|h| format!("{}{}", self.letter(h), h.hole + 1)).collect();
        parts.extend(candidate.alternatives.iter().map(|a| format!("+{a}")));
        match parts.is_empty() {
            true => "as it stands".to_owned(),
            false => parts.join(" "),
        }
    }

    pub(super) fn ranking(&self, page: &mut Page) {
        let count = self.axle.best.len();
        let which =
            if count == 1 { "Which is the best?".to_owned() } else { format!("Which are the best {count}?") };
        page.heading(&which);
        let wishes: Vec<usize> = (0..self.axle.wishes.len()).collect();
        for block in wishes.chunks(COLUMNS) {
            page.table(&self.by_wish(block));
            page.gap();
        }
        page.table(&self.by_travel());
        page.paragraph(
            "Steer, sideways, wheelbase, bind: the most at full bump, droop and articulation, either way. Kept: how \
             sure every limit is; better: how sure the first comes before.",
            Ink::Faint,
        );
    }

    fn table(&self, headings: Vec<String>, cells: impl Fn(&Candidate) -> Vec<String>) -> Table {
        let row = |candidate: &Candidate| {
            let mark = if candidate.is_present { " (now)" } else { "" };
            let rank = candidate.rank.map(|r| r.to_string()).unwrap_or_default();
            let label = format!("{rank:>2}  {}{mark}", self.code(candidate));
            if candidate.standing.class < Class::FallsShort {
                return (label, Cells::Values(cells(candidate)));
            }
            let why = losses(self.axle, candidate, self.units).into_iter().next();
            (label, Cells::Remark(why.unwrap_or_default()))
        };
        let first = "rank, holes".to_owned();
        Table {
            headings: std::iter::once(first).chain(headings).collect(),
            unbroken: false,
            rows: self.axle.best.iter().map(row).collect(),
        }
    }

    fn by_wish(&self, wishes: &[usize]) -> Table {
        let heading = |wish: &usize| {
            let key = self.axle.wishes.get(*wish)?.wanted.key;
            Some(format!("{} {}", short(key), self.units.of(key).unit.trim()))
        };
        let mut headings: Vec<String> = wishes.iter().filter_map(heading).collect();
        headings.extend(["points".to_owned(), "kept %".to_owned()]);
        self.table(headings, |candidate| {
            let mut cells: Vec<String> = wishes.iter().map(|k| self.wish_cell(candidate, *k)).collect();
            cells.push(points(candidate.standing.missed));
            cells.push(hundredths(candidate.sureness.as_ref().map(|s| s.kept_all)));
            cells
        })
    }

    fn by_travel(&self) -> Table {
        let columns = self.ease_columns();
        let length = self.units.length();
        let mut headings: Vec<String> =
            columns.iter().map(|c| format!("{} {}", c.heading, c.scale.unit.trim())).collect();
        headings.extend([format!("wheelbase {}", length.unit.trim()), "1st better %".to_owned()]);
        let decimals = if self.units == Units::Mm { 1 } else { 2 };
        self.table(headings, |candidate| {
            let u = candidate.u_of_trouble();
            let ease = columns
                .iter()
                .map(|c| c.scale.bare_with_u(candidate.trouble[c.which], u.map(|u| u[c.which])));
            let mut cells: Vec<String> = ease.collect();
            cells.push(length.column(candidate.wheelbase_change_m(), decimals));
            let better = candidate.sureness.as_ref().filter(|_| candidate.rank != Some(1));
            cells.push(hundredths(better.map(|s| s.behind_first)));
            cells
        })
    }

    fn wish_cell(&self, candidate: &Candidate, wish: usize) -> String {
        let Some(tuning) = self.axle.wishes.get(wish) else { return String::new() };
        let scale = self.units.of(tuning.wanted.key);
        let Some((_, Some(value))) = candidate.values.get(wish) else { return "none".to_owned() };
        let value = scale.bare_with_u(*value, candidate.u_of_wish(wish));
        match candidate.points.get(wish) {
            Some(missed) if *missed > 0.0 => {
                format!("{value}\ncosts {}", points(missed * tuning.wanted.wish.weight))
            }
            _ => value,
        }
    }

    /// Columns of ease that say anything.
    pub(super) fn ease_columns(&self) -> Vec<Column> {
        /// A tenth of the last digit shown.
        const NOTHING: [f64; 3] = [1e-5, 5e-5, 0.5];
        let all = [
            Column { heading: "steer", scale: self.units.angle(), decimals: 2, which: 0 },
            Column { heading: "sideways", scale: self.units.length(), decimals: 1, which: 1 },
            Column { heading: "bind", scale: self.units.moment(), decimals: 0, which: 2 },
        ];
        let says = |c: &Column| {
            self.axle.best.iter().any(|b| b.trouble[c.which].abs() > NOTHING[c.which]) || c.which == 0
        };
        all.into_iter().filter(says).collect()
    }
}

/// One of the troubles over the travel.
pub(super) struct Column {
    pub heading: &'static str,
    pub scale: Scale,
    pub decimals: usize,
    pub which: usize,
}

/// A probability in a column.
fn hundredths(probability: Option<f64>) -> String {
    match probability.map(|p| 100.0 * p) {
        None => "–".to_owned(),
        Some(p) if p > 99.0 => "> 99".to_owned(),
        Some(p) if p < 1.0 => "< 1".to_owned(),
        Some(p) => format!("{p:.0}"),
    }
}

fn points(points: f64) -> String {
    if points == 0.0 { "0".to_owned() } else { format!("{points:.2}") }
}

/// A label without what stands behind its comma.
pub(super) fn short(key: Key) -> &'static str {
    let label = key.label();
    label.split_once(" (").map_or(label, |(head, _)| head)
}

/// `A`, `B`, … `Z`, `A2`, ….
pub(super) fn letter(k: usize) -> String {
    let name = char::from(b'A' + (k % 26) as u8);
    if k < 26 { name.to_string() } else { format!("{name}{}.", k / 26 + 1) }
}
