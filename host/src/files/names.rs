//! Names that results tell things apart by, and that must not be given twice.

use super::{Item, Section};

/// The names given so far to things that results tell apart by name.
#[derive(Debug, Clone, Default)]
pub struct Names(Vec<Taken>);

#[derive(Debug, Clone)]
struct Taken {
    name: String,
    line: usize,
    mirrored: bool,
}

impl Names {
    /// The names taken so far.
    pub fn iter(&self) -> impl Iterator<Item = &str> {
        self.0.iter().map(|t| t.name.as_str())
    }

    /// The same names without those that are `replaced`.
    pub fn without(&self, replaced: &[String]) -> Self {
        Self(self.0.iter().filter(|t| !replaced.contains(&t.name)).cloned().collect())
    }

    /// Takes `name` for the thing that `section` describes; whether it was free. A second one of that name is a mistake.
    pub fn take(&mut self, section: &Section<'_>, name: &str) -> bool {
        let free = self.check(name, |holder| {
            section
                .wrong(format!("\"{name}\" is already taken {holder}"), "give one of the two another name");
        });
        let line = section.reader().line_of(section.span().start);
        self.0.push(Taken { name: name.to_owned(), line, mirrored: false });
        free
    }

    /// Takes `name` for the mirror image that `mirror` asks for.
    pub fn take_twin(&mut self, mirror: &Item<'_>, name: &str) {
        self.check(name, |holder| {
            mirror.wrong(
                format!("the mirror image would be called \"{name}\", which is already taken {holder}"),
                "take the mirror out, or the element that has the name",
            );
        });
        let line = mirror.reader().line_of(mirror.span().start);
        self.0.push(Taken { name: name.to_owned(), line, mirrored: true });
    }

    fn check(&self, name: &str, complain: impl Fn(String)) -> bool {
        let Some(holder) = self.0.iter().find(|t| t.name == name) else { return true };
        complain(match holder.mirrored {
            true => format!("by the mirror image made on line {}", holder.line),
            false => format!("on line {}", holder.line),
        });
        false
    }
}
