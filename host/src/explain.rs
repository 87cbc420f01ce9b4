//! What every error owes the person who meets it: an exit status and, where there is one, the next thing to do.

use std::error::Error;

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
