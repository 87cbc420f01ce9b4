//! What every error owes the person who meets it: an exit status and, where there is one, the next thing to do.

use std::error::Error;
use std::path::Path;

/// How a failed command ends, by who has to act.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Status {
    /// The caller asked to be told of a finding and there is one (exit 1).
    Finding,
    /// The input is wrong: a file, a name, a flag (exit 2).
    BadInput,
    /// A device or the disk is in trouble (exit 3).
    Device,
    /// The person stopped it (exit 130, as a shell says of Ctrl-C).
    Stopped,
}

impl Status {
    /// The process exit code.
    pub fn code(self) -> u8 {
        match self {
            Status::Finding => 1,
            Status::BadInput => 2,
            Status::Device => 3,
            Status::Stopped => 130,
        }
    }
}

/// An error that can explain itself. `Display` is one sentence: what, and where.
pub trait Explain: Error + Send + Sync + 'static {
    /// Who has to act.
    fn status(&self) -> Status {
        Status::BadInput
    }

    /// What to do next, as a command or an edit; printed after a blank line.
    fn hint(&self) -> Option<String> {
        None
    }

    /// Everything there is to show in place of the sentence and its hint, where that is more than they say
    /// (a file's mistakes, each with its line); `styled` adds colours.
    fn report(&self, _styled: bool) -> Option<String> {
        None
    }
}

/// Any module's error on its way to the command line.
pub type Failure = Box<dyn Explain>;

impl<E: Explain> From<E> for Failure {
    fn from(error: E) -> Self {
        Box::new(error)
    }
}

/// A path as it is pasted into a command line: in double quotes, which shells of every system take, where one would not take it
/// for one word.
pub fn pasted(path: &Path) -> String {
    let text = path.display().to_string();
    let plain = |c: char| c.is_alphanumeric() || "/\\:._-+=,@".contains(c);
    if !text.is_empty() && text.chars().all(plain) {
        return text;
    }
    // Within double quotes a shell of Unix still reads these.
    let escape = |c: char| if cfg!(unix) && "$`\"\\".contains(c) { format!("\\{c}") } else { c.to_string() };
    format!("\"{}\"", text.chars().map(escape).collect::<String>())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_path_can_be_pasted() {
        assert_eq!(pasted(Path::new("a/b-1.toml")), "a/b-1.toml");
        assert_eq!(pasted(Path::new("my log book/Büro")), "\"my log book/Büro\"");
        assert_eq!(pasted(Path::new("")), "\"\"");
        if cfg!(unix) {
            assert_eq!(pasted(Path::new("it's $5")), "\"it's \\$5\"");
        }
    }
}
